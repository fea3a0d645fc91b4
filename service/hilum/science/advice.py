"""Seed moisture as it is told to a person: the figure, how sure it is, and where it comes from."""

from dataclasses import dataclass

from hilum.science import tables
from hilum.science._kindtable import NO_OIL
from hilum.science._quantities import checked
from hilum.science.drying import drying_caution
from hilum.science.isotherms import (
    GeneralIsotherm,
    Isotherm,
    d245,
    dry_from_wet_pct,
    wet_from_dry_pct,
)
from hilum.science.kinds import Kind, own_isotherm

UNCERTAINTY_PCT = 1.0  # % moisture; rms 0.8 on vegetable tables, single kinds miss by up to 2
UNCERTAINTY_DRY_PCT = 1.3  # below 15 % humidity
UNCERTAINTY_FAMILY_PCT = 1.3  # with its family's oil; rms 1.2 on the same tables
UNCERTAINTY_NO_OIL_PCT = 2.0  # with the middle of all oil contents; rms 1.6, two thirds within 1.9
DRY_RH_PCT = 15.0
GENERAL_SOURCE = "Cromarty, Ellis & Roberts 1982, IBPGR (general seed isotherm)"
GENERAL_STATUS = "memory (form checked against printed tables)"
RH_VALID_PCT = (10.0, 70.0)
MC_WET_MAX_PCT = 50.0


@dataclass(frozen=True, slots=True)
class MoistureAnswer:
    """Moisture of seed in equilibrium with air; ``notes`` say what limits it, a sentence each."""

    mc_wet_pct: float
    mc_dry_pct: float
    erh_pct: float
    uncertainty_pct: float
    isotherm: str
    source: str
    status: str
    notes: tuple[str, ...]


def moisture_answer(
    kind: Kind | None,
    *,
    oil_pct: float | None = None,
    rh_pct: float | None = None,
    mc_wet_pct: float | None = None,
    temp_c: float,
) -> MoistureAnswer:
    """Moisture of seed from humidity, or humidity from moisture.

    Parameters
    ----------
    kind : Kind or None
        The kind of seed; ``None`` with an oil content of one's own.
    oil_pct : float, optional
        Oil [% of dry weight], 0 to 70, where no kind is given.
    rh_pct : float, optional
        Humidity of the air [%], 0 to 99.9. This or `mc_wet_pct`.
    mc_wet_pct : float, optional
        Moisture of the seed [% of fresh weight], 0 to 50.
    temp_c : float
        Temperature [°C], 0 to 50: isotherms are published for no other.

    Returns
    -------
    MoistureAnswer
        Moisture and humidity that belong together, with uncertainty and source.

    Raises
    ------
    OutOfRangeError
        A number lies outside its range.

    Examples
    --------
    >>> answer = moisture_answer(None, oil_pct=2.0, rh_pct=50.0, temp_c=20.0)
    >>> round(answer.mc_wet_pct, 2)
    11.46

    References
    ----------
    Cromarty, Ellis & Roberts 1982, IBPGR; ASAE D245.
    """
    checked("temperature", temp_c, 0.0, 50.0, "°C")
    isotherm: Isotherm
    if kind is None:
        checked("oil content", oil_pct or 0.0, 0.0, 70.0, "%")
        isotherm = GeneralIsotherm((oil_pct or 0.0) / 100.0)
    else:
        isotherm = own_isotherm(kind)
    if mc_wet_pct is not None:
        checked("moisture (wet basis)", mc_wet_pct, 0.0, MC_WET_MAX_PCT, "%")
        mc_dry_pct = dry_from_wet_pct(mc_wet_pct)
        erh_pct = isotherm.erh_pct(mc_dry_pct, temp_c)
    else:
        erh_pct = float("nan") if rh_pct is None else rh_pct
        mc_dry_pct = isotherm.mc_dry_pct(erh_pct, temp_c)
    words, source, status, notes = _provenance(kind, oil_pct)
    return MoistureAnswer(
        mc_wet_pct=wet_from_dry_pct(mc_dry_pct),
        mc_dry_pct=mc_dry_pct,
        erh_pct=erh_pct,
        uncertainty_pct=_uncertainty_pct(kind, erh_pct),
        isotherm=words,
        source=source,
        status=status,
        notes=(*notes, *_range_notes(isotherm, erh_pct)),
    )


def _miss(kind: Kind | None) -> dict[str, str] | None:
    """What is known of a kind that lies off its curve."""
    rows = tables.rows("isotherm_misses") if kind is not None else ()
    return next((row for row in rows if kind is not None and row["kind"] == kind.key), None)


def _uncertainty_pct(kind: Kind | None, erh_pct: float) -> float:
    doubt = UNCERTAINTY_DRY_PCT if erh_pct < DRY_RH_PCT else UNCERTAINTY_PCT
    if kind is None:
        return doubt
    if not kind.isotherm.value and kind.oil_pct.status == "derived":
        unknown = kind.oil_pct.note == NO_OIL
        doubt = max(doubt, UNCERTAINTY_NO_OIL_PCT if unknown else UNCERTAINTY_FAMILY_PCT)
    miss = _miss(kind)
    return doubt if miss is None else max(doubt, float(miss["uncertainty"]))


def _provenance(kind: Kind | None, oil_pct: float | None) -> tuple[str, str, str, tuple[str, ...]]:
    """Isotherm in words, its source and status, and notes."""
    if kind is None:
        words = f"general seed isotherm, {oil_pct:g} % oil as given"
        return words, GENERAL_SOURCE, GENERAL_STATUS, ()
    notes = _notes(kind)
    if kind.isotherm.value:
        found = d245(kind.isotherm.value)
        return f"own isotherm ({found.material})", found.source, found.status, notes
    oil = kind.oil_pct
    words = f"general seed isotherm, {oil.value:g} % oil"
    note = f"Oil content: {oil.source} ({oil.status})."
    said = (note, oil.note) if oil.note else (note,)
    return words, GENERAL_SOURCE, GENERAL_STATUS, (*said, *notes)


def _notes(kind: Kind) -> tuple[str, ...]:
    """What sets a kind apart: it lies off its curve, or is not dried at all."""
    miss, caution = _miss(kind), drying_caution(kind)
    off = f"{miss['words']} ({miss['source']}; {miss['status']})" if miss else None
    return tuple(filter(None, (off, caution)))


def _range_notes(isotherm: Isotherm, erh_pct: float) -> tuple[str, ...]:
    low, high = RH_VALID_PCT
    if isinstance(isotherm, GeneralIsotherm) and not low <= erh_pct <= high:
        return (f"Outside {low:g} to {high:g} % humidity the general isotherm is a rough guide.",)
    return ()
