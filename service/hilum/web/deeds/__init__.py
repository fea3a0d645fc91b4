"""What can be done on the pages: forms, what was typed in them, and what follows."""
