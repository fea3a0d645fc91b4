"""Alerts from the command line."""

from pathlib import Path

import pytest

from cli.conftest import Run
from hilum.domain.alerts import Alert, AlertChange, AlertState
from hilum.domain.model import Box, BoxType
from hilum.stores.sqlite import SqliteStore

T0 = 1_735_689_600_000


@pytest.fixture
def data(tmp_path: Path) -> Path:
    """A data folder with three alerts about one box."""
    folder = tmp_path / "data"
    folder.mkdir()
    (folder / "hilum.toml").write_text("mqtt = false\n", encoding="utf-8")
    store = SqliteStore(folder / "hilum.sqlite3")
    store.save_box(Box("tub", "Blue tub", BoxType.TUB))
    for rule, state in (("damp", "raised"), ("warm", "waiting"), ("mould", "cleared")):
        alert = Alert(f"{rule}-1", rule, AlertState(state), T0, f"It is {rule}.", "Do.", box="tub")
        store.change_alerts([AlertChange(alert, None)])
    store.close()
    return folder


def test_what_is_wrong_is_listed(hilum: Run, data: Path) -> None:
    """By default what is raised; with --all also what waits and what is over."""
    assert data.exists()
    answer = hilum("alerts", "list")
    assert answer.code == 0
    assert answer.out == "damp-1\traised\tsince 2025-01-01 00:00\tIt is damp.\n"
    assert len(hilum("alerts", "list", "--all").out.splitlines()) == 3
    found = hilum("alerts", "list", "--json").json["alerts"]
    assert [(each["id"], each["since"]) for each in found] == [("damp-1", "2025-01-01T00:00:00Z")]


def test_an_alert_is_taken_note_of(hilum: Run, data: Path) -> None:
    """Seen once and seen again are the same; what is not raised cannot be."""
    assert data.exists()
    for _ in range(2):
        answer = hilum("alerts", "seen", "damp-1")
        assert (answer.code, answer.out) == (0, "Noted: It is damp.\n")
    assert "seen" in hilum("alerts", "list").out
    answer = hilum("alerts", "seen", "mould-1")
    assert answer.code == 1
    assert answer.err == "The alert “mould-1” is not raised: it is cleared.\n"
    answer = hilum("alerts", "seen", "nothing")
    assert (answer.code, answer.err) == (3, "There is no alert “nothing” here.\n")


def test_nothing_is_wrong(hilum: Run) -> None:
    """An empty list is said in words."""
    assert hilum("alerts", "list").out == "Nothing is wrong.\n"
    assert hilum("alerts", "list", "--json").json == {"alerts": []}
    assert hilum("alerts", "list", "--box", "attic").code == 3


def test_channels_are_listed_and_tried(hilum: Run, data: Path) -> None:
    """Names without one; a server that cannot be reached is an error in words."""
    assert hilum("alerts", "test-channel").out == ""
    (data / "hilum.toml").write_text(
        'mqtt = false\n[channels]\nmail_host = "no-such-host.invalid"\n'
        'mail_from = "a@example.org"\nmail_to = ["b@example.org"]\n',
        encoding="utf-8",
    )
    assert hilum("alerts", "test-channel").out == "mail:b@example.org\n"
    answer = hilum("alerts", "test-channel", "mail:b@example.org")
    assert answer.code == 1
    assert answer.err == "The mail server cannot be reached: no connection.\n"
