"""Lines of the broker's log, as Mosquitto 2.0.11 writes them (read from its log)."""

import pytest

from hilum.domain.model import Reading, RejectReason
from hilum.ingest.brokerlog import AGAIN_MS, SILENT_MS, Doorkeeper
from hilum.ingest.brokerwords import UNKNOWN, LetIn, Listening, TurnedAway
from hilum.stores.memory import MemoryStore

NOW_MS = 1_764_061_200_000
OPENED = "1795610612: New connection from 192.0.2.7:45217 on port 1883."
REFUSED = "1795610612: Client <unknown> disconnected, not authorised."
LET_IN = "1795610614: New client connected from 192.0.2.7:56603 as dev-x (p2, c1, k60, u'tub-1')."
TLS = "1795610617: Client connection from 192.0.2.7 failed: error:0A000418:SSL routines::{}."


class Clock:
    """A clock that is set by the test."""

    time_ms = NOW_MS

    def __call__(self) -> int:
        """Give the time that was set."""
        return self.time_ms


@pytest.mark.parametrize(
    ("lines", "meaning"),
    [
        ([OPENED, REFUSED], TurnedAway("192.0.2.7", "Its name or password is wrong.")),
        ([REFUSED], TurnedAway(UNKNOWN, "Its name or password is wrong.")),
        ([OPENED, LET_IN, REFUSED], TurnedAway(UNKNOWN, "Its name or password is wrong.")),
        (
            [REFUSED.replace(", not", ": not")],
            TurnedAway(UNKNOWN, "Its name or password is wrong."),
        ),
        ([LET_IN], LetIn("192.0.2.7", "tub-1")),
        ([LET_IN.replace("192.0.2.7", "2001:db8::7")], LetIn("2001:db8::7", "tub-1")),
        ([LET_IN.partition(": ")[2]], LetIn("192.0.2.7", "tub-1")),
        ([LET_IN.replace(", u'tub-1'", "")], None),
        ([OPENED], None),
        (["1795610611: Client <unknown> closed its connection."], None),
        (["", "1795610611: "], None),
        (["x" * 5000], None),
        ([TLS.format("unexpected eof while reading")], None),  # cut off, which is no fault of it
    ],
)
def test_what_lines_mean(lines: list[str], meaning: object) -> None:
    """The last of the lines, after those before it."""
    listening = Listening()
    assert [listening.read(line) for line in lines][-1] == meaning


@pytest.mark.parametrize(
    ("reason", "words"),
    [
        ("sslv3 alert certificate expired", "has expired"),
        ("tlsv1 alert unknown ca", "ca.der"),
        ("wrong version number", "does not speak TLS"),
        ("http request", "does not speak TLS"),
        ("some new alert", "could not be made (some new alert)"),
    ],
)
def test_reasons_of_tls(reason: str, words: str) -> None:
    """A reason of the TLS library becomes words; an unknown one is given as it is."""
    found = Listening().read(TLS.format(reason))
    assert isinstance(found, TurnedAway)
    assert words in found.why


def test_a_client_cannot_write_the_log() -> None:
    """A name of a session that imitates a line is no line."""
    forged = LET_IN.replace("dev-x", "x (p2, c1, k60, u'tub-9').\n1: Client y disconnected")
    assert Listening().read(forged) is None


def test_every_device_is_told_of_once_an_hour() -> None:
    """A device that tries every second is one line an hour; another one is a line of its own."""
    store, clock = MemoryStore(), Clock()
    door = Doorkeeper(store, "hilum", clock)
    for _ in range(3):
        for second in range(60):
            clock.time_ms += 1000
            door.hear(OPENED)
            door.hear(REFUSED)
            if second % 20 == 0:
                door.hear(OPENED.replace(".7:", ".8:"))
                door.hear(REFUSED)
        clock.time_ms += AGAIN_MS
    found = store.rejects()
    assert {each.reason for each in found} == {RejectReason.TURNED_AWAY}
    assert sorted(each.topic for each in found) == [
        *["a device at 192.0.2.7"] * 3,
        *["a device at 192.0.2.8"] * 3,
    ]


def test_who_is_let_in_and_says_nothing_is_told_of_after_an_hour() -> None:
    """Not before, not Hilum itself, not whoever was heard, and once a week."""
    store, clock = MemoryStore(), Clock()
    door = Doorkeeper(store, "hilum", clock)
    for user in ("tub-1", "tub-2", "hilum"):
        door.hear(LET_IN.replace("tub-1", user))
    store.add([Reading("home/tub-2", NOW_MS, 20.0)], NOW_MS + 1000)
    clock.time_ms += SILENT_MS - 1
    door.look()
    assert store.rejects() == []
    for _ in range(5):
        clock.time_ms += SILENT_MS
        door.look()
        door.hear(LET_IN)
    [told] = store.rejects()
    assert "“tub-1”" in told.detail


def test_a_reading_that_overtakes_the_log_counts() -> None:
    """A board sends and sleeps on; the line that let it in comes by another way, and later."""
    store, clock = MemoryStore(), Clock()
    door = Doorkeeper(store, "hilum", clock)
    store.add([Reading("home/tub-1", clock.time_ms - 9, 20.0)], clock.time_ms - 5)
    door.hear(LET_IN)
    clock.time_ms += SILENT_MS
    door.look()
    assert store.rejects() == []
