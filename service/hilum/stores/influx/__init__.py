"""A store for readings in InfluxDB, and one that keeps all else in SQLite beside it."""

from hilum.stores.influx.readings import InfluxReadings
from hilum.stores.influx.server import Place
from hilum.stores.influx.split import SplitStore

__all__ = ["InfluxReadings", "Place", "SplitStore"]
