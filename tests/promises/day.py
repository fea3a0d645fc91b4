"""A day at a store while the disk fails, as a process of its own.

python day.py FOLDER ERRNO MODE LENGTH CALL...

For each CALL a new database lives through the day, in a child process; the calls to the disk from
that one on, LENGTH of them, fail. MODE ``on``: the child tries again, as the service does. MODE
``die``: it ends at once at the first refusal, without a goodbye. Then the disk is well again, and
everything the child was told is kept must be there. Without CALLs the number of calls of a whole
day is printed, else a line for each with the number of refusals.
"""

import ctypes
import os
import sys
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import TypeVar

from hilum.domain.errors import StoreError
from hilum.domain.model import Reading
from hilum.keeping.reckoning.keeper import LedgerKeeper
from hilum.stores.sqlite import SqliteStore
from promises.truth import FAR_MS, START_MS, add_boxes, check_derived, edit, edits_kept

T = TypeVar("T")
SENSORS = {"home/one": "tub", "home/two": "jar"}
HOURS = 6
PER_BATCH = 25
TRIES = 200
DIED = 9
OFTEN = "PRAGMA wal_autocheckpoint = 20"


class Said:
    """What the child was told, one line each, kept where the parent can read it."""

    def __init__(self, path: Path, *, die: bool) -> None:
        self._file = path.open("a", buffering=1, encoding="utf-8")
        self._die = die

    def kept(self, what: str) -> None:
        """Note something that counts as kept."""
        self._file.write(f"{what}\n")

    def patiently(self, work: Callable[[], T]) -> T:
        """Work until the disk lets it; anything but an error in words ends the child."""
        for _ in range(TRIES):
            try:
                return work()
            except StoreError as error:
                self._file.write(f"refused: {error}\n")
                if self._die:
                    os._exit(DIED)
        raise AssertionError("the disk was well again, but the store was not")


def batch(sensor: str, hour: int, half: int) -> list[Reading]:
    """Give a batch of readings: half an hour."""
    start = START_MS + hour * 3_600_000 + half * 1_800_000
    return [
        Reading(sensor, start + k * 60_000, 15 + (hour + k) % 7, 40.0 + k % 9)
        for k in range(PER_BATCH)
    ]


def live(database: Path, said: Said) -> None:
    """Keep readings and edits, with the ledger behind them."""
    with closing(said.patiently(lambda: SqliteStore(database))) as store:
        # small, so that the log is worked into the database during the day too
        said.patiently(lambda: store._db.write(lambda c: c.execute(OFTEN).fetchall()))
        said.patiently(lambda: add_boxes(store, SENSORS))
        keeper = LedgerKeeper(store)
        for hour in range(HOURS):
            for half in range(2):
                for sensor in SENSORS:
                    readings = batch(sensor, hour, half)
                    said.patiently(lambda r=readings: store.add(r, r[0].time_ms))  # type: ignore[misc]
                    said.kept(f"readings {sensor} {hour} {half}")
            changes = edit(hour, "tub")
            said.patiently(lambda c=changes: store.change(c))  # type: ignore[misc]
            said.kept(f"edit {hour}")
            said.patiently(keeper.ensure_curves)
            said.patiently(keeper.update)


def check(database: Path, said: list[str]) -> None:
    """What was said to be kept is there; nothing is there in part; what is computed is right."""
    with closing(SqliteStore(database)) as store:
        assert store.check_integrity() == []
        add_boxes(store, SENSORS)
        for sensor in SENSORS:
            times = store.series(sensor, 0, FAR_MS).time_ms.tolist()
            assert len(times) == len(set(times))
            for hour in range(HOURS):
                for half in range(2):
                    wanted = {reading.time_ms for reading in batch(sensor, hour, half)}
                    there = wanted & set(times)
                    assert there in (wanted, set()), "a batch is there in part"
                    assert there or f"readings {sensor} {hour} {half}" not in said
        assert {int(line[5:]) for line in said if line.startswith("edit ")} <= edits_kept(store)
        check_derived(store)


def lived(folder: Path, die: bool) -> list[str]:
    """Live through the day in a child; give what it was told."""
    folder.mkdir()
    child = os.fork()
    if child == 0:
        live(folder / "hilum.sqlite3", Said(folder / "said", die=die))
        (folder / "calls").write_text(str(faults().faults_calls()), encoding="utf-8")
        os._exit(0)
    until = time.monotonic() + 60
    while not (ended := os.waitpid(child, os.WNOHANG))[0]:
        if time.monotonic() > until:
            os.kill(child, 9)
            os.waitpid(child, 0)
            raise AssertionError("the store hangs")
        time.sleep(0.005)
    assert os.waitstatus_to_exitcode(ended[1]) in ((0, DIED) if die else (0,))
    return (folder / "said").read_text(encoding="utf-8").splitlines()


def faults() -> ctypes.CDLL:
    """Give the library that makes the disk fail."""
    return ctypes.CDLL(None)


def main() -> None:
    """Go through the calls that are to fail."""
    folder, error, mode, length = Path(sys.argv[1]), int(sys.argv[2]), sys.argv[3], int(sys.argv[4])
    for call in map(int, sys.argv[5:] or ["-1"]):
        faults().faults_arm(call, length, error)
        said = lived(folder / f"call{call}", die=mode == "die")
        faults().faults_arm(-1, 0, 0)
        check(folder / f"call{call}" / "hilum.sqlite3", said)
        refused = [line for line in said if line.startswith("refused: ")]
        assert all("." in line and "Traceback" not in line for line in refused)
        print(call, len(refused), flush=True)
    if len(sys.argv) == 5:
        print((folder / "call-1" / "calls").read_text(encoding="utf-8"))


if __name__ == "__main__":
    main()
