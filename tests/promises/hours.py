"""Simulated hours at many sensors, as fast as the machine can, as a process of its own.

python hours.py DATABASE SENSORS HOURS

Each simulated minute every sensor says one reading; every five minutes the ledger is brought up to
date, as the service does. Prints a line of JSON for each hour: memory of the process, size of the
database and of its log, and how many rows there are.
"""

import json
import math
import resource
import sys
from contextlib import closing
from pathlib import Path

from hilum.domain.model import Reading
from hilum.keeping.reckoning.keeper import LedgerKeeper
from hilum.stores.sqlite import SqliteStore
from promises.truth import START_MS, add_boxes

MINUTE_MS = 60_000
PAGE = resource.getpagesize()
TABLES = ("reading", "hour", "day", "ledger")
COUNT = "SELECT count(*) FROM {}"


def resident_bytes() -> int:
    """Memory this process has now."""
    return int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1]) * PAGE


def said(sensor: int, minute: int) -> Reading:
    """Give what a sensor measures: a day's swing, another one for each."""
    angle = 2 * math.pi * (minute / 1440 + sensor / 50)
    temp_c = round(15 + 5 * math.sin(angle), 2)
    rh_pct = round(40 + 20 * math.cos(angle), 1)
    return Reading(f"home/s{sensor:02}", START_MS + minute * MINUTE_MS, temp_c, rh_pct)


def main() -> None:
    """Let the hours pass."""
    database, sensors, hours = Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3])
    with closing(SqliteStore(database)) as store:
        add_boxes(store, {f"home/s{n:02}": f"box-{n:02}" for n in range(sensors)})
        keeper = LedgerKeeper(store)
        for hour in range(hours):
            for minute in range(60 * hour, 60 * hour + 60):
                store.add([said(n, minute) for n in range(sensors)], START_MS + minute * MINUTE_MS)
                if minute % 5 == 4:
                    keeper.ensure_curves()
                    keeper.update()
            with store._db.reading() as conn:
                rows = {t: conn.execute(COUNT.format(t)).fetchone()[0] for t in TABLES}
                size = conn.execute(
                    "SELECT page_count * page_size FROM pragma_page_count, pragma_page_size"
                ).fetchone()[0]
            log = database.with_name(f"{database.name}-wal").stat().st_size
            line = {"memory": resident_bytes(), "size": size, "log": log, "rows": rows}
            print(json.dumps(line), flush=True)


if __name__ == "__main__":
    main()
