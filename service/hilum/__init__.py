"""Hilum: watches seed-storage boxes and says what the storage has done to the seed."""

__version__ = "0.1.0"
