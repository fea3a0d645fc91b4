"""What a person does to lots, boxes and sensors, each with its line in the journal."""
