"""What pages show: their contexts, the words, and the pictures, worked out to places and shapes."""
