"""The default store, in parts: one file each for the connection, its words, and what it keeps."""

from hilum.stores.sqlite.store import SqliteStore

__all__ = ["SqliteStore"]
