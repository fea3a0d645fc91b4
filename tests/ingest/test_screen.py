"""Which values are kept."""

import pytest

from hilum.domain.model import Reading, RejectReason
from hilum.ingest.screen import Flaw, Slot, printable, screen_reading, screened, time_flaw

NOW = 1_764_061_200_000


@pytest.mark.parametrize(
    ("value", "kept"),
    [(0.0, 0.0), (100.0, 100.0), (101.3, 100.0), (104.5, 100.0), (-1.5, 0.0), (-2.0, 0.0)],
)
def test_humidity_just_past_the_ends_counts_as_the_end(value: float, kept: float) -> None:
    """A sensor that does not clip says 101 % in saturated air (SHT4x data sheet: clip 0 to 100)."""
    assert screened(Slot.HUMIDITY, value) == kept


@pytest.mark.parametrize("value", [-3.0, -2.1, 104.6, 119.0, 140.0])
def test_impossible_humidity_is_refused(value: float) -> None:
    """What lies further out than the widest stated error of a sensor was not measured."""
    flaw = screened(Slot.HUMIDITY, value)
    assert isinstance(flaw, Flaw)
    assert flaw.reason is RejectReason.RANGE


def test_an_hour_ahead_is_a_clock_that_drifts() -> None:
    """A clock may be an hour ahead, and not a millisecond more; 2010 is the first year taken."""
    assert time_flaw(NOW + 3_600_000, NOW) is None
    assert time_flaw(NOW + 3_600_001, NOW) is not None
    assert time_flaw(1_262_304_000_000, NOW) is None
    assert time_flaw(1_262_303_999_999, NOW) is not None


def test_readings_from_a_file_are_screened_too() -> None:
    """What can be kept of a row is kept; the rest has its reason."""
    decoded = screen_reading(Reading("home/x", NOW, 21.0, 140.0), "log.csv", NOW)
    assert decoded.readings == (Reading("home/x", NOW, 21.0),)
    assert [(r.reason, r.topic) for r in decoded.rejects] == [(RejectReason.RANGE, "log.csv")]


def test_texts_from_outside_are_made_printable() -> None:
    """Control characters, lone surrogates and endless texts cannot reach a page or a file."""
    assert printable("a\n\x00\ud800é\u202e") == "a\\n\\x00\\ud800é\\u202e"
    assert len(printable("x" * 1000)) == 80
