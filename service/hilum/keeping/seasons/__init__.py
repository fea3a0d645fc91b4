"""Before ordering season, and a storage season looked back on."""
