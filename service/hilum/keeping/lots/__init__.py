"""What storage has cost each lot, how alive it is, and what is to come."""
