"""What the health address answers when something does not work."""

from pathlib import Path

import pytest
from starlette.testclient import TestClient

from hilum.bootstrap import open_store
from hilum.bootstrap.health import health
from hilum.bootstrap.keeping_loop import KeepingLoop
from hilum.bootstrap.service import Service
from hilum.config import settings_from
from hilum.domain.errors import StoreError
from hilum.domain.model import Box, DirtyMark
from hilum.keeping.reckoning.keeper import LedgerKeeper
from hilum.stores.memory import MemoryStore
from hilum.web.parts import IngestStatus
from plugins.sensors import wait_until

AWAY = "The broker at 127.0.0.1:1883 cannot be reached."
NOT_YET = "not connected to the broker at here yet"
HERE = IngestStatus(True, "here")


def test_a_running_service_says_what_works(tmp_path: Path) -> None:
    """The whole service answers with a line on each thing it looked at."""
    settings = settings_from({"mqtt": False}, tmp_path)
    with open_store(settings, exclusive=True) as store:
        app = Service(settings, store).app
        with TestClient(app, "http://localhost") as client:
            answer = client.get("/healthz")
    assert answer.status_code == 200
    assert answer.json()["status"] == "ok"
    assert [check["what"] for check in answer.json()["checks"]] == [
        "database", "ledger", "readings", "disk",
    ]  # fmt: skip


class Broken(MemoryStore):
    """A store that cannot be read."""

    def boxes(self) -> list[Box]:
        """Fail."""
        raise StoreError("The disk failed.")

    def dirty(self) -> list[DirtyMark]:
        """Fail."""
        raise StoreError("The disk failed.")


@pytest.mark.parametrize(
    ("store", "ledger", "ingest", "bad"),
    [
        (MemoryStore(), "", HERE, {}),
        (Broken(), "", HERE, {"database": "The disk failed."}),
        (MemoryStore(), "The disk is full.", HERE, {"ledger": "The disk is full."}),
        (MemoryStore(), "", IngestStatus(False, "here", AWAY), {"readings": AWAY}),
        (MemoryStore(), "", IngestStatus(False, "here"), {"readings": NOT_YET}),
        (MemoryStore(), "", IngestStatus(True, "here", "They wait."), {"readings": "They wait."}),
    ],
)
def test_what_does_not_work_is_named(
    tmp_path: Path,
    store: MemoryStore,
    ledger: str,
    ingest: IngestStatus,
    bad: dict[str, str],
) -> None:
    """Of the four things exactly the failing one is not good, with the reason."""
    found = health(store, tmp_path, ledger, ingest)
    assert {check.what: check.words for check in found if not check.good} == bad


def test_a_full_disk_is_not_well(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """With less room than is wanted, or a folder that is gone, the disk is not good."""
    assert not health(MemoryStore(), tmp_path / "gone", "", None)[-1].good
    monkeypatch.setattr("hilum.bootstrap.health.LEAST_FREE_BYTES", 10**18)
    assert not health(MemoryStore(), tmp_path, "", None)[-1].good


def test_the_loop_remembers_why_its_last_round_failed() -> None:
    """The reason stands until a round goes well."""
    loop = KeepingLoop(LedgerKeeper(Broken()), lambda _: None)
    loop.start()
    try:
        assert wait_until(lambda: loop.last_error == "The disk failed.")
    finally:
        loop.stop()
    well = KeepingLoop(LedgerKeeper(MemoryStore()), lambda _: None)
    well.last_error = "The disk failed."
    well.start()
    try:
        assert wait_until(lambda: not well.last_error)
    finally:
        well.stop()
