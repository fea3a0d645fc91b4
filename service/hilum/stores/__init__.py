"""Where readings, lots and the ledger are kept: one contract, several stores."""

from hilum.stores.sqlite import SqliteStore

__all__ = ["SqliteStore"]
