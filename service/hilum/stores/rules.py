"""What every store refuses or settles in the same way, in the same words."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace

from hilum.domain.corrections import Correction, check_figures
from hilum.domain.errors import ConflictError, InvalidInputError, NotFoundError
from hilum.domain.model import (
    Box,
    Changes,
    CurveKey,
    Event,
    GerminationTest,
    LedgerRows,
    Lot,
    Placement,
    PlanLine,
    Reading,
    Reject,
    RejectReason,
    Role,
    SeasonPlan,
    Sensor,
    Stay,
)
from hilum.domain.moments import utc_words as utc
from hilum.science.kinds import kinds

REJECTS_KEPT = 10_000
NEWEST_ROWS = 2
"""Rows at the end of a curve that change as readings come; older ones only as the past does."""

PAYLOAD_KEPT = 2_000  # bytes of a rejected message
LATEST_MS = 253_402_300_799_999  # end of the year 9999

Values = tuple[float | None, float | None, float | None, float | None]


def span(from_ms: int, to_ms: int | None) -> str:
    """Write an interval for a message."""
    return f"from {utc(from_ms)} " + ("until now" if to_ms is None else f"to {utc(to_ms)}")


def missing(what: str, name: object) -> NotFoundError:
    """Say that a thing is not here."""
    return NotFoundError(f"There is no {what} “{name}” here.")


def has_password() -> ConflictError:
    """Say that a first password comes too late."""
    return ConflictError("There is a password already. “hilum password” sets another one.")


# Readings


def values(reading: Reading) -> Values:
    """Give what a reading reports, temperature first; not-a-number means not reported."""
    given = (reading.temp_c, reading.rh_pct, reading.battery_pct, reading.battery_v)
    temp_c, rh_pct, battery_pct, battery_v = (
        None if value is None or math.isnan(value) else value for value in given
    )
    return (temp_c, rh_pct, battery_pct, battery_v)


def merged(kept: Values, new: Values) -> Values | None:
    """Fill the gaps of a kept reading from a new one; ``None`` if they contradict each other.

    A reading that contradicts the kept one in any quantity fills in none: it may belong to another
    moment or another sensor, and the two must not be mixed.
    """
    pairs = tuple(zip(kept, new, strict=True))
    if any(old is not None and now is not None and old != now for old, now in pairs):
        return None
    temp_c, rh_pct, battery_pct, battery_v = (now if old is None else old for old, now in pairs)
    return (temp_c, rh_pct, battery_pct, battery_v)


def conflict(reading: Reading, kept: Values, received_ms: int) -> Reject:
    """Make the reject that records a reading which contradicts the kept one."""
    detail = (
        f"At {utc(reading.time_ms)} the sensor first said {_said(kept)}; "
        f"this one says {_said(values(reading))}. The first is kept."
    )
    return Reject(received_ms, "", RejectReason.CONFLICT, detail, sensor=reading.sensor)


def _said(given: Values) -> str:
    units = ("°C", "% RH", "% battery", "V")
    said = [f"{v!r} {unit}" for v, unit in zip(given, units, strict=True) if v is not None]
    return ", ".join(said) or "nothing"


def trimmed(reject: Reject) -> Reject:
    """Cut a reject to what is kept of it; characters no database can hold become “?”."""
    return replace(
        reject,
        topic=reject.topic.encode("utf-8", "replace").decode(),
        detail=reject.detail.encode("utf-8", "replace").decode(),
        payload=bytes(reject.payload[:PAYLOAD_KEPT]),
    )


# Sensors, boxes, lots, tests


def check_sensor(sensor: Sensor) -> None:
    """Refuse a sensor without a name."""
    if not sensor.name:
        raise InvalidInputError("A sensor needs a name.", "name")


def check_box(box: Box) -> None:
    """Refuse a box that could not be found again or whose limits cannot be used."""
    if not box.slug or not box.name.strip():
        raise InvalidInputError("A box needs a name.", "name")
    if not 0 <= box.target_low_pct < box.target_high_pct <= 100:
        raise InvalidInputError(
            "The target band needs a lower and a higher limit between 0 and 100 % RH, "
            f"not {box.target_low_pct:g} and {box.target_high_pct:g}.",
            "target_low_pct",
        )
    if box.gap_limit_s <= 0:
        raise InvalidInputError("The longest silence allowed must be above zero.", "gap_limit_s")


def check_lot(lot: Lot) -> None:
    """Refuse a lot without a code or with figures that no lot can have.

    Any kind is taken: the table of kinds may change, and a lot whose kind has left it must still be
    kept, shown and put away. Whoever takes a kind from a person looks it up.
    """
    if not lot.code.strip():
        raise InvalidInputError("A lot needs a code.", "code")
    if not lot.kind:
        raise InvalidInputError(f"Lot {lot.code} needs a kind of seed.", "kind")
    for field in ("label_pct", "minimum_pct", "prior_rh_pct"):
        _check_range(lot, field, getattr(lot, field), 0, 100)
    for field in ("seeds", "grams"):
        _check_range(lot, field, getattr(lot, field), 0, math.inf)
    _check_range(lot, "label_n", lot.label_n, 1, math.inf)


def _check_range(lot: Lot, field: str, value: float | None, low: float, high: float) -> None:
    if value is not None and not low <= value <= high:
        limits = f"at least {low:g}" if math.isinf(high) else f"between {low:g} and {high:g}"
        raise InvalidInputError(f"Lot {lot.code}: {field} must be {limits}, not {value:g}.", field)


def check_test(test: GerminationTest) -> None:
    """Refuse a test in which more came up than was sown."""
    if test.sown < 1:
        raise InvalidInputError("A germination test needs at least one seed sown.", "sown")
    if not 0 <= test.germinated <= test.sown:
        raise InvalidInputError(
            f"Of {test.sown} seeds sown, {test.germinated} cannot have come up.", "germinated"
        )


def check_plan(plan: SeasonPlan, lines: Sequence[PlanLine]) -> None:
    """Refuse a plan nobody could find again, or lines that want what cannot be."""
    if not plan.name.strip():
        raise InvalidInputError("A season plan needs a name.", "name")
    for at, line in enumerate(lines, start=1):
        if line.kind not in kinds():
            raise missing("kind of seed", line.kind)
        for field, value, low, high in (
            ("plants", line.plants, 1, 100_000),
            ("packet_seeds", line.packet_seeds, 1, 1_000_000),
            ("packet_plants", line.packet_plants, 1, 100_000),
            ("loss_pct", line.loss_pct, 0, 90),
            ("field_factor", line.field_factor, 0.1, 1),
        ):
            if value is not None and not low <= value <= high:
                raise InvalidInputError(
                    f"Line {at}: {field} must be between {low:g} and {high:g}, not {value:g}.",
                    field,
                )


def check_event(event: Event) -> None:
    """Refuse an event at a time no calendar has."""
    _check_time(event.time_ms, "time_ms")


def _check_time(time_ms: int, field: str) -> None:
    if not 0 <= time_ms <= LATEST_MS:
        raise InvalidInputError("A time must lie between the years 1970 and 9999.", field)


def check_interval(from_ms: int, to_ms: int | None) -> None:
    """Refuse an interval that ends before it begins."""
    _check_time(from_ms, "from_ms")
    if to_ms is None:
        return
    _check_time(to_ms, "to_ms")
    if to_ms < from_ms:
        raise InvalidInputError(
            f"The end, {utc(to_ms)}, lies before the beginning, {utc(from_ms)}.", "to_ms"
        )


# Where sensors stand and lots lie


def overlap(one: Placement | Stay, other: Placement | Stay) -> bool:
    """Tell whether two intervals [from, to) share any time; an empty one shares none."""
    start = max(one.from_ms, other.from_ms)
    end = min(math.inf if item.to_ms is None else item.to_ms for item in (one, other))
    return start < end


def _begin(item: Placement | Stay) -> tuple[int, int]:
    return item.from_ms, item.id


def check_placement(new: Placement, others: Iterable[Placement]) -> None:
    """Refuse one sensor in two places, and two inside sensors in one box, at the same time."""
    check_interval(new.from_ms, new.to_ms)
    for kept in sorted(others, key=_begin):
        if kept.id == new.id or not overlap(new, kept):
            continue
        when = span(kept.from_ms, kept.to_ms)
        if kept.sensor == new.sensor:
            raise ConflictError(
                f"Sensor {new.sensor} stands in box “{kept.box}” {when}; "
                "it cannot be in two places at the same time."
            )
        if kept.box == new.box and kept.role == new.role == Role.INSIDE:
            raise ConflictError(
                f"Box “{new.box}” already has an inside sensor {when}: {kept.sensor}. "
                "Say first that it stands there no longer (hilum sensors end, or on the page of "
                f"sensors), or place {new.sensor} as a second sensor."
            )


def settle_stay(new: Stay, others: Iterable[Stay]) -> Stay | None:
    """Check a new stay of a lot; give back the open stay that ends where the new one begins."""
    check_interval(new.from_ms, new.to_ms)
    ended = None
    for kept in sorted(others, key=_begin):
        if kept.to_ms is None and kept.from_ms <= new.from_ms:
            ended = replace(kept, to_ms=new.from_ms)
        elif overlap(new, kept):
            raise _two_boxes(kept)
    return ended


def check_stay(changed: Stay, others: Iterable[Stay]) -> None:
    """Refuse a stay that overlaps another of the same lot."""
    check_interval(changed.from_ms, changed.to_ms)
    for kept in sorted(others, key=_begin):
        if kept.id != changed.id and overlap(changed, kept):
            raise _two_boxes(kept)


def check_stays(stays: Iterable[Stay]) -> None:
    """Refuse stays of one lot of which two overlap."""
    before: list[Stay] = []
    for stay in stays:
        check_stay(stay, before)
        before.append(stay)


def check_changes(changes: Changes) -> None:
    """Refuse changes of which one could not be written alone."""
    for box in changes.boxes:
        check_box(box)
    for lot in changes.lots:
        check_lot(lot)
    for test in changes.tests:
        check_test(test)
    for event in changes.events:
        check_event(event)


def _two_boxes(kept: Stay) -> ConflictError:
    return ConflictError(
        f"Lot {kept.lot} is in box “{kept.box}” {span(kept.from_ms, kept.to_ms)}; "
        "it cannot be in two boxes at the same time."
    )


# Corrections


def check_correction(new: Correction, others: Iterable[Correction]) -> None:
    """Refuse a correction no working sensor needs, or a second one of the same moment."""
    if not 0 <= new.from_ms <= LATEST_MS:
        raise InvalidInputError("The date of a correction must lie between 1970 and 9999.", "since")
    check_figures(new)
    for kept in others:
        if kept.sensor == new.sensor and kept.from_ms == new.from_ms:
            raise ConflictError(
                f"Sensor {new.sensor} has a correction from {utc(new.from_ms)} on already "
                f"(number {kept.id}); remove it first."
            )


# Ledger


def check_rows(from_hour: int, rows: LedgerRows) -> None:
    """Refuse rows before the hour they replace from, or out of order."""
    hours = rows.hour
    if len(hours) and (hours[0] < from_hour or (hours[1:] <= hours[:-1]).any()):
        raise InvalidInputError("Ledger rows must be in order of time and not before their start.")


def unknown_curve(key: CurveKey) -> NotFoundError:
    """Say that a curve is not known."""
    return missing("curve", f"{key.model} in {key.wrap}, box {key.box}")
