"""Where readings, lots and the ledger are kept: one contract, several stores."""
