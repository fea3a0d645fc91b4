"""The ranges against published storage trials, by a method fixed beforehand."""

from pathlib import Path

import pytest

from hilum.science.surrogates import Level
from science.how_sure import REASONS, Trial, median_width, report, rows, share, trials, valid

PAGE = Path(__file__).resolve().parents[2] / "service" / "docs" / "how-sure.md"


def test_the_table_of_trials_is_whole() -> None:
    """214 published trials, of which most can be compared."""
    assert len(rows()) == 214
    assert len(valid()) >= 170


def test_nine_in_ten_outcomes_lie_inside() -> None:
    """90 to 97 % of outcomes lie in the 95 % ranges: not too narrow, and not idly wide."""
    assert 90.0 <= share(each.inside for each in valid()) <= 97.0
    assert 90.0 <= share(each.inside_shown for each in valid()) <= 97.0


def test_bands_of_the_pages_hold_what_they_claim() -> None:
    """Of all outcomes 87 to 95 % lie in the 90 % band of a lot's page, nothing allowed."""
    assert 87.0 <= share(each.inside_page for each in valid()) <= 95.0
    boxes = [each for each in valid() if each.box_like]
    assert 85.0 <= share(each.inside_page for each in boxes) <= 95.0


@pytest.mark.parametrize("level", Level)
def test_no_basis_is_far_off(level: Level) -> None:
    """On every basis at least 85 % of outcomes lie inside, too damp trials counted in or not."""
    some = [each for each in valid() if each.level is level]
    assert some
    assert share(each.inside for each in some) >= 85.0
    assert share(each.inside for each in trials() if each.level is level) >= 85.0
    assert share(each.inside_shown for each in some) >= 85.0


def test_ranges_still_say_something_in_a_box() -> None:
    """In conditions like a seed box the median range is no wider than 48 points."""
    boxes = [each for each in valid() if each.box_like]
    assert len(boxes) >= 50
    assert median_width(boxes) <= 48.0


def test_every_miss_has_a_likely_reason() -> None:
    """Each trial outside its range is explained, and no explanation is left over."""
    missed: list[Trial] = [each for each in valid() if not each.inside]
    assert [each.row["species"] for each in missed if not each.reason] == []
    assert len(missed) == len(REASONS)


def test_the_page_is_current() -> None:
    """The page ``how-sure.md`` is what the check prints today."""
    assert PAGE.read_text(encoding="utf-8") == report()
