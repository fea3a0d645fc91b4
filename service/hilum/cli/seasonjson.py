"""Answers about seasons and storage as JSON: units in the names, times in ISO 8601 UTC."""

from collections.abc import Sequence
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from hilum.keeping.lots.compare import BoxComparison, Choice, LotComparison
    from hilum.keeping.lots.usefirst import UseFirst
    from hilum.keeping.seasons.review import Change, Review, Week
    from hilum.keeping.seasons.season import Season, SeasonLine
    from hilum.keeping.seasons.seasonline import LineLot
    from hilum.science.posterior import Band


def iso(time_ms: int | None) -> str | None:
    """Write a time."""
    if time_ms is None:
        return None
    return datetime.fromtimestamp(time_ms / 1000, UTC).isoformat().replace("+00:00", "Z")


def _band(band: "Band | None") -> dict[str, Any] | None:
    if band is None:
        return None
    values = (band.median_pct, band.low_pct, band.high_pct)
    names = ("median_pct", "low_pct", "high_pct")
    return {
        name: np.round(np.asarray(value), 2).tolist()
        for name, value in zip(names, values, strict=True)
    }


def season_json(found: "Season") -> dict[str, Any]:
    """A season plan, answered."""
    return {
        "name": found.plan.name,
        "sow_on": found.plan.sow_on.isoformat(),
        "as_of": iso(found.at_ms),
        "storage": {"key": found.storage.key, "words": found.storage.words},
        "assumptions": list(found.assumptions),
        "lines": [_line(line) for line in found.lines],
        "tests": [
            {
                "lot": test.lot.code,
                "seeds": test.seeds,
                "days": test.days,
                "chance_of_change": round(test.chance_of_change, 4),
                "needed": test.needed,
                "words": test.words,
            }
            for test in found.tests
        ],
        "order": [
            {
                "kind": line.line.kind,
                "variety": line.line.variety,
                "packets": line.packets if line.packets > 0 else None,
                "packet_seeds": line.packet_seeds,
            }
            for line in found.order
        ],
    }


def _line(found: "SeasonLine") -> dict[str, Any]:
    return {
        "kind": found.line.kind,
        "common": found.kind.common,
        "variety": found.line.variety,
        "plants": found.line.plants,
        "loss_pct": found.line.loss_pct,
        "field_factor": found.line.field_factor,
        "words": found.words,
        "own_chance": round(found.own_chance, 4),
        "packets": found.packets if found.packets >= 0 else None,
        "packet_seeds": found.packet_seeds,
        "duplicate": found.duplicate,
        "lots": [_lot(each) for each in found.lots],
        "notes": list(found.notes),
    }


def _lot(each: "LineLot") -> dict[str, Any]:
    judged = each.judgement
    return {
        "code": each.lot.code,
        "variety": each.lot.variety,
        "box": each.box,
        "seeds_in_hand": each.hand.seeds,
        "seeds_from": each.hand.words,
        "at_sowing": _band(each.at_sowing),
        "verdict": judged and str(judged.verdict),
        "without_test": judged and str(judged.without_test),
        "thickness": judged and judged.thickness and round(judged.thickness, 3),
        "chance_of_change": judged and round(judged.chance_of_change, 4),
        "test_seeds": judged and judged.test_seeds,
        "sow_seeds": each.sow_seeds,
        "words": each.words,
        "notes": list(each.notes),
    }


def use_first_json(found: "Sequence[UseFirst]") -> dict[str, Any]:
    """Lots in the order of use."""
    return {
        "lots": [
            {
                "code": each.lot.code,
                "kind": each.lot.kind,
                "variety": each.lot.variety,
                "group": str(each.group),
                "words": each.words,
                "now": _band(each.now),
                "minimum_pct": each.minimum_pct,
                "chance_below_minimum": each.prob_below,
                "reaches_minimum": iso(each.reached_ms),
                "notes": list(each.notes),
            }
            for each in found
        ]
    }


def lot_comparison_json(found: "LotComparison") -> dict[str, Any]:
    """One lot kept in several ways."""
    return {
        "lot": found.lot.code,
        "kind": found.lot.kind,
        "variety": found.lot.variety,
        "minimum_pct": found.minimum_pct,
        "years": list(found.years),
        "freezing": {
            "verdict": str(found.freezing.verdict),
            "words": found.freezing.words,
            "cautions": list(found.freezing.cautions),
            "source": found.freezing.source,
        },
        "choices": [_choice(choice) for choice in found.choices],
        "notes": list(found.notes),
    }


def _choice(choice: "Choice") -> dict[str, Any]:
    return {
        "key": choice.storage.key,
        "words": choice.storage.words,
        "viability": _band(choice.band),
        "years_until_minimum": choice.years_left,
        "years_earliest": choice.years_earliest,
        "years_latest": choice.years_latest,
        "ruled_out": choice.ruled_out,
        "notes": list(choice.notes),
    }


def box_comparison_json(found: "BoxComparison") -> dict[str, Any]:
    """All lots of a box kept in several ways."""
    return {
        "box": found.box.slug,
        "years": list(found.years),
        "storages": [{"key": each.key, "words": each.words} for each in found.storages],
        "lots_above_minimum": [list(counts) for counts in found.above],
        "lots": [lot_comparison_json(lot) for lot in found.lots],
    }


def review_json(
    found: "Review", before: "Review | None", changes: "Sequence[Change]"
) -> dict[str, Any]:
    """A season of a box, and what changed against another."""
    answer = _review(found)
    if before is not None:
        answer["before"] = _review(before)
        answer["changes"] = [
            {"what": each.what, "unit": each.unit, "now": each.now, "before": each.before}
            for each in changes
        ]
    return answer


def _review(found: "Review") -> dict[str, Any]:
    counts = (
        *("hours", "hours_read", "in_band", "below", "damp", "wet"),
        *("openings", "swaps", "alerts"),
    )
    return {
        "box": found.box.slug,
        "from": iso(found.start_ms),
        "to": iso(found.end_ms),
        **{name: getattr(found, name) for name in counts},
        "coverage": found.coverage,
        "erh_median_pct": found.erh_median_pct,
        "temp_median_c": found.temp_median_c,
        "best_week": _week(found.best),
        "worst_week": _week(found.worst),
        "gaps": [{"from": iso(gap.from_ms), "to": iso(gap.to_ms)} for gap in found.gaps],
        "losses": [
            {
                "kind": loss.kind,
                "wrap": loss.wrap,
                "lots": loss.lots,
                "days": loss.days,
                "loss_probit": loss.loss_probit,
                "wet_hours": loss.wet_hours,
                "words": loss.words,
            }
            for loss in found.losses
        ],
        "notes": list(found.notes),
    }


def _week(week: "Week | None") -> dict[str, Any] | None:
    if week is None:
        return None
    return {
        "from": iso(week.start_ms),
        "hours": week.hours,
        "in_band_share": week.in_band_share,
        "erh_mean_pct": week.erh_mean_pct,
        "temp_mean_c": None if np.isnan(week.temp_mean_c) else week.temp_mean_c,
    }
