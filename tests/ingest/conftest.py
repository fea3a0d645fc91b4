"""Fixtures of the ingest tests."""

from plugins.mosquitto import broker

__all__ = ["broker"]
