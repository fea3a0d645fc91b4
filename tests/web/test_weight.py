"""How heavy pages are: what a browser fetches at a first visit, packed, with files and chart."""

from dataclasses import replace
from datetime import date

import pytest
from starlette.testclient import TestClient

from hilum.bootstrap.sheet_reader import Sheets
from hilum.domain.model import (
    MS_PER_HOUR,
    Event,
    EventType,
    Lot,
    PlanLine,
    Reject,
    RejectReason,
    SeasonPlan,
    Stay,
    Wrap,
)
from hilum.domain.ports import Store
from hilum.keeping.reckoning.keeper import LedgerKeeper
from hilum.web.app import create_app
from hilum.web.parts import WebParts
from web.small_world import NOW_MS, START_MS
from web.weights import addresses, first_visit

MOST_BYTES = 150_000
KINDS = ("onion", "lettuce", "pea", "tomato", "carrot")
LOTS, LINES = 120, 40


def fill(store: Store) -> None:
    """Add lots, a long journal, refusals and a plan to the small place."""
    codes = [f"N-{number:04}" for number in range(LOTS)]
    store.save_lots(
        [
            Lot(code, KINDS[n % 5], f"Variety number {n}", "own", 2024, 90.0, 200, date(2024, 9, 1))
            for n, code in enumerate(codes)
        ]
    )
    for code in codes:
        store.add_stay(Stay(0, code, "tub", Wrap.PAPER, START_MS))
    for hours in range(1000):
        text = f"Looked for number {hours} and closed the lid again"
        store.add_event(
            Event(0, NOW_MS - hours * MS_PER_HOUR, EventType.OPENED, "tub", codes[0], text=text)
        )
    store.add_rejects(
        [
            Reject(NOW_MS - n, f"hilum/lane/x{n}/readings", RejectReason.NOT_JSON, "cut off", b"{")
            for n in range(500)
        ]
    )
    lines = [PlanLine(KINDS[n % 5], 10 + n, f"Variety number {n}") for n in range(LINES)]
    store.save_plan(SeasonPlan(0, "Spring", date(2026, 3, 1)), lines)
    keeper = LedgerKeeper(store)
    keeper.ensure_curves()
    keeper.update()


def test_no_page_is_heavy(parts: WebParts) -> None:
    """Every page of a well-filled place stays under 150 kB at a first visit."""
    fill(parts.store)
    whole = replace(parts, sheets=lambda: Sheets(parts.store, parts.clock, "UTC"))
    with TestClient(create_app(whole), "http://localhost") as client:
        found = {url: first_visit(client, url) for url in addresses(parts.store, "tub", "N-0000")}
    assert len(found) > 40
    heavy = {url: sizes for url, sizes in found.items() if sum(sizes.values()) > MOST_BYTES}
    assert not heavy
    chart = [file for file in found["/boxes/tub"] if file.startswith("/api/boxes/tub/history")]
    assert found["/boxes/tub"][chart[0]] > 1000


@pytest.mark.parametrize("file", ["hilum.css", "chart.js"])
def test_files_are_packed(client: TestClient, file: str) -> None:
    """A file crosses the network packed, at less than half its size."""
    answer = client.get(f"/static/{file}", headers={"Accept-Encoding": "gzip"})
    assert answer.headers["Content-Encoding"] == "gzip"
    assert answer.num_bytes_downloaded < len(answer.content) / 2
