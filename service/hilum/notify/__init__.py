"""Telling: one file for each channel, and the sender that works off what is to be told."""
