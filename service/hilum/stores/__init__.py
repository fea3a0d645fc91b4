"""Where readings, lots and the ledger are kept: one contract, several stores."""

from hilum.stores.memory import MemoryStore
from hilum.stores.sqlite import SqliteStore

__all__ = ["MemoryStore", "SqliteStore"]
