"""Comparisons and reviews printed for a person."""

from collections.abc import Sequence
from datetime import UTC, datetime, tzinfo
from typing import TYPE_CHECKING

import numpy as np

from hilum.domain.moments import in_zone, utc_words

if TYPE_CHECKING:
    from hilum.keeping.lots.compare import BoxComparison, Choice, LotComparison
    from hilum.keeping.seasons.review import Change, Review, Week

SHOWN_YEARS = (1.0, 3.0, 5.0, 10.0)


def print_lot_comparison(found: "LotComparison") -> None:
    """Print one lot kept in several ways."""
    name = f"{found.lot.code}, {found.lot.kind} {found.lot.variety}".rstrip()
    print(f"{name}; minimum {found.minimum_pct:.0f} %. {found.freezing.words}")
    for choice in found.choices:
        print(f"\n{_capital(choice.storage.words)}:")
        print(f"  {_in_words(choice)}")
        if choice.band is not None:
            print(f"  {_bands(choice, found.years)}")
        for note in choice.notes:
            print(f"  {note}")
    for note in found.notes:
        print(f"\n{note}")


def _in_words(choice: "Choice") -> str:
    if choice.ruled_out:
        return choice.ruled_out
    if choice.band is None:
        return "Nothing can be worked out."
    if choice.years_left == 0.0:
        return "It is under its minimum already."
    left = _years(choice.years_left)
    return (
        f"Reaches its minimum {left} ({_years(choice.years_earliest)} at the earliest, "
        f"{_years(choice.years_latest)} at the latest)."
    )


def _years(years: float | None) -> str:
    if years is None:
        return "not within fifty years"
    if years == 0.0:
        return "now"
    return f"in {years:.0f} years" if years >= 2.0 else f"in {years * 12:.0f} months"


def _bands(choice: "Choice", years: Sequence[float]) -> str:
    said = []
    for year in SHOWN_YEARS:
        if choice.band is not None and year in years:
            at = years.index(year)
            median, low, high = (
                float(np.asarray(value)[at])
                for value in (choice.band.median_pct, choice.band.low_pct, choice.band.high_pct)
            )
            said.append(f"after {year:.0f} y {median:.0f} % ({low:.0f}–{high:.0f} %)")
    return ", ".join(said)


def print_box_comparison(found: "BoxComparison") -> None:
    """Print all lots of a box kept in several ways."""
    print(f"{found.box.name}: {len(found.lots)} lots. Lots still above their minimum after")
    years = "".join(f"{year:>6.0f} y" for year in found.years)
    print(f"{years}")
    for storage, counts in zip(found.storages, found.above, strict=True):
        print("".join(f"{count:>8}" for count in counts) + f"   {storage.words}")
    for lot in found.lots:
        print(f"\n{lot.lot.code} {lot.lot.kind} {lot.lot.variety}".rstrip())
        for choice in lot.choices:
            print(f"  {choice.storage.key}: {_in_words(choice)}")


def print_review(found: "Review", changes: "Sequence[Change]", zone: tzinfo) -> None:
    """Print a season of a box; its span and silences as clocks in a zone show them."""
    print(f"{found.box.name}, {_day(found.start_ms, zone)} to {_day(found.end_ms, zone)}")
    print(
        f"{found.hours_read:,} of {found.hours:,} hours have readings "
        f"({100.0 * found.coverage:.0f} %); longer silences: {len(found.gaps)}."
    )
    for gap in found.gaps:
        span = f"  silent from {utc_words(gap.from_ms)} to {utc_words(gap.to_ms)}"
        print(in_zone(span, zone))
    band = f"{found.box.target_low_pct:.0f}–{found.box.target_high_pct:.0f} %"
    print(
        f"In the band of {band}: {found.in_band:,} hours; drier: {found.below:,}; damp: "
        f"{found.damp:,}, of these wet: {found.wet:,}."
    )
    print(f"Best week: {_week(found.best)}. Worst week: {_week(found.worst)}.")
    print(f"Openings: {found.openings}; fresh desiccant: {found.swaps}; alerts: {found.alerts}.")
    for loss in found.losses:
        print(f"  {loss.words} ({loss.loss_probit:.2f} probits in {loss.days:.0f} days)")
    for note in found.notes:
        print(note)
    if changes:
        print("\nAgainst a year before:")
        for each in changes:
            now, before = _figure(each.now, each.unit), _figure(each.before, each.unit)
            print(f"  {each.what}: {now}, before {before}")


def _figure(value: float | None, unit: str) -> str:
    return "not known" if value is None else f"{value:.3g} {unit}".rstrip()


def _week(week: "Week | None") -> str:
    if week is None:
        return "none with enough readings"
    share = 100.0 * week.in_band_share
    return f"from {_day(week.start_ms)}, {share:.0f} % in the band, mean {week.erh_mean_pct:.0f} %"


def _day(time_ms: int, zone: tzinfo = UTC) -> str:
    """Give a day; weeks are those of UTC."""
    return f"{datetime.fromtimestamp(time_ms / 1000, zone):%Y-%m-%d}"


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]
