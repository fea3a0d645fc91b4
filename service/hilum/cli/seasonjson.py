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


def season_json(found: "Season") -> list[dict[str, Any]]:
    """A season plan, answered: an object for each lot that can serve a line.

    A line without such a lot has one object whose ``lot`` is null. ``packets_to_order`` is that of
    the whole line, and null where no number of packets would do.
    """
    return [
        {**_lot(each), **_line(line, at), "assumed": list(found.assumptions)}
        for at, line in enumerate(found.lines, start=1)
        for each in line.lots or (None,)
    ]


def _line(found: "SeasonLine", number: int) -> dict[str, Any]:
    return {
        "line": number,
        "kind": found.line.kind,
        "common_name": found.kind.common,
        "variety_wanted": found.line.variety or None,
        "plants_wanted": found.line.plants,
        "packets_to_order": found.packets if found.packets >= 0 else None,
        "packet_seeds": found.packet_seeds,
        "own_chance": round(found.own_chance, 4),
        "answer": found.words,
        "duplicate": found.duplicate,
        "line_notes": list(found.notes),
    }


def _lot(each: "LineLot | None") -> dict[str, Any]:
    """One lot for one line; nothing where no lot can serve it."""
    if each is None:
        names = ("lot", "variety", "germination_pct", "sow_factor")
        return {
            **dict.fromkeys(names),
            "decision": "replace",
            "seeds_to_sow": 0,
            "reason": "There is no lot of it.",
        }
    judged, band = each.judgement, _band(each.at_sowing)
    return {
        "lot": each.lot.code,
        "variety": each.lot.variety,
        "box": each.box,
        "germination_pct": band and {name.removesuffix("_pct"): band[name] for name in band},
        "decision": judged and str(judged.verdict),
        "decision_without_test": judged and str(judged.without_test),
        "sow_factor": judged and judged.thickness and round(judged.thickness, 3),
        "seeds_to_sow": each.sow_seeds,
        "seeds_in_hand": each.hand.seeds,
        "seeds_from": each.hand.words,
        "test_seeds": judged and judged.test_seeds,
        "chance_of_change": judged and round(judged.chance_of_change, 4),
        "reason": each.words,
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
