"""Corrects sensors from a date on, and takes corrections back; both are written in the journal."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from hilum.domain.corrections import Correction, check_figures
from hilum.domain.errors import ConflictError, InvalidInputError
from hilum.domain.model import Event, EventType
from hilum.domain.ports import Store
from hilum.keeping.care.lotparts import check_past
from hilum.keeping.overview import current_sensor
from hilum.keeping.reckoning.corrected import in_force
from hilum.science.salts import Calibration, SaltPoint

COMPUTED_AGAIN = (
    "Figures since then are computed again: at once if Hilum is running, else when it starts."
)


@dataclass(frozen=True, slots=True)
class CorrectionDone:
    """The correction, its line in the journal, and what else to say, a sentence each."""

    correction: Correction
    event: Event
    notes: tuple[str, ...] = ()


def correct_sensor(
    store: Store,
    sensor: str,
    from_ms: int,
    *,
    temp_offset_c: float | None = None,
    humidity: Calibration | None = None,
    how: str = "",
    now_ms: int,
    local: Callable[[int], str],
) -> CorrectionDone:
    """Correct a sensor from a time on, with a line in the journal; see ``planned``."""
    plan = planned(
        store,
        sensor,
        from_ms,
        temp_offset_c=temp_offset_c,
        humidity=humidity,
        how=how,
        now_ms=now_ms,
        local=local,
    )
    kept = store.add_correction(plan.correction)
    text = f"Sensor {sensor} corrected from {local(from_ms)} on: {words(kept)}."
    return CorrectionDone(kept, _journal(store, kept, "correct", text, now_ms), plan.notes)


@dataclass(frozen=True, slots=True)
class Planned:
    """A correction as it would be kept (number 0), and what else to say, a sentence each."""

    correction: Correction
    notes: tuple[str, ...]


def planned(
    store: Store,
    sensor: str,
    from_ms: int,
    *,
    temp_offset_c: float | None = None,
    humidity: Calibration | None = None,
    how: str = "",
    now_ms: int,
    local: Callable[[int], str],
) -> Planned:
    """Work out a correction; the quantity not given stays corrected as it is then.

    Parameters
    ----------
    store : Store
        Where corrections and the journal are kept.
    sensor : str
        Name of the sensor.
    from_ms, now_ms : int
        From when on; and the time of writing [ms since 1970 UTC].
    temp_offset_c : float, optional
        What to add to the temperature [°C].
    humidity : Calibration, optional
        The line from what it read to the true humidity.
    how : str
        How that was found.
    local : callable
        Writes a time [ms] for people.

    Raises
    ------
    NotFoundError
        There is no such sensor.
    InvalidInputError
        Nothing is corrected, the time lies in the future, or no working sensor is so far off.
    ConflictError
        The sensor has a correction from that very moment on.
    """
    if temp_offset_c is None and humidity is None:
        raise InvalidInputError("Say what is to be corrected: temperature, humidity or both.")
    check_past(from_ms, now_ms)
    store.sensor(sensor)
    held = store.corrections(sensor)
    same = next((each for each in held if each.from_ms == from_ms), None)
    if same is not None:
        raise ConflictError(
            f"Sensor {sensor} has a correction from {local(from_ms)} on already (number "
            f"{same.id}); take it back first, or choose another moment."
        )
    base = in_force(held, from_ms) or Correction(0, sensor, 0)
    temp_c = base.temp_offset_c if temp_offset_c is None else temp_offset_c
    line = Calibration(base.rh_gain, base.rh_offset_pct) if humidity is None else humidity
    made = Correction(0, sensor, from_ms, temp_c, line.gain, line.offset_pct, how)
    check_figures(made)
    notes = []
    if base.id:
        notes.append(
            f"It takes the place of correction {base.id}, and does not add to it: its figures must "
            "be against what the sensor itself says."
        )
        if temp_offset_c is None or humidity is None:
            notes.append(f"What was not given stays as correction {base.id} has it.")
    later = next((each for each in held if each.from_ms > from_ms), None)
    if later is not None:
        notes.append(f"It holds until {local(later.from_ms)}, when correction {later.id} begins.")
    return Planned(made, tuple(notes))


def uncorrect_sensor(
    store: Store, correction_id: int, *, now_ms: int, local: Callable[[int], str]
) -> CorrectionDone:
    """Take a correction back: what the sensor sent counts again, or an earlier correction does.

    Raises
    ------
    NotFoundError
        There is no such correction.
    """
    gone = store.remove_correction(correction_id)
    text = (
        f"Correction of sensor {gone.sensor} from {local(gone.from_ms)} on taken back "
        f"({words(gone)})."
    )
    earlier = in_force(store.corrections(gone.sensor), gone.from_ms)
    notes = (f"Correction {earlier.id} goes on in its place.",) if earlier is not None else ()
    return CorrectionDone(gone, _journal(store, gone, "uncorrect", text, now_ms), notes)


def over_salts(points: Sequence[tuple[SaltPoint, float]], temp_c: float) -> str:
    """Write down what a correction rests on: what was read over each salt, at a temperature."""
    stood = (
        f"read {read:g} % over {p.salt.key} ({p.rh_pct:.1f} ± {p.uncertainty_pct:.1f} %)"
        for p, read in points
    )
    return f"{', '.join(stood)} at {temp_c:g} °C"


def words(correction: Correction) -> str:
    """Say what a correction does."""
    parts = []
    if correction.temp_offset_c:
        parts.append(f"temperature {_signed(correction.temp_offset_c)} °C")
    if correction.rh_gain != 1.0:
        gain, offset = correction.rh_gain, correction.rh_offset_pct
        sign = "−" if offset < 0 else "+"
        parts.append(f"humidity {gain:.3f} × reading {sign} {abs(offset):.1f} %")
    elif correction.rh_offset_pct:
        parts.append(f"humidity {_signed(correction.rh_offset_pct)} %")
    return ", ".join(parts) or "as the sensor says"


def _signed(value: float) -> str:
    return f"{value:+.1f}".replace("-", "−")


def _journal(store: Store, correction: Correction, action: str, text: str, now_ms: int) -> Event:
    place = current_sensor(store.placements(sensor=correction.sensor), now_ms)
    event = Event(
        0, now_ms, EventType.SETTING, place.box if place else None, sensor=correction.sensor,
        text=text,
        data=(
            ("action", action), ("correction", correction.id), ("from_ms", correction.from_ms),
            ("temp_offset_c", correction.temp_offset_c), ("rh_gain", correction.rh_gain),
            ("rh_offset_pct", correction.rh_offset_pct), ("how", correction.how),
        ),
    )  # fmt: skip
    return store.add_event(event)
