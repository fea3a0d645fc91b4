"""Whether seed may go into the freezer, and when a cold jar may be opened.

The rule is derived and careful; it is no published standard. Ice forms in seed from about 20 to
26 g water per 100 g of dry matter without oil (Vertucci 1989, Plant Physiol. 90:1478; Dussert et
al. 2001, Physiol. Plant. 112:401; both read as abstract), which is 75 to 85 % seed humidity. The
limits here stand well below.
"""

from dataclasses import dataclass
from enum import StrEnum

from hilum.science._quantities import checked
from hilum.science.isotherms import dry_from_wet_pct
from hilum.science.kinds import Behaviour, Kind, own_isotherm
from hilum.science.psychrometrics import dew_point_c

DRY_ENOUGH_PCT = 30.0
FRIDGE_ONLY_PCT = 50.0
DANGER_PCT = 65.0
"""Seed humidity near room temperature [%]: up to the first seed may be frozen, up to the second it
may go into the fridge, above the third it must be dried at once. Status: derived."""

MOISTURE_LIMITS: tuple[tuple[float, float], ...] = ((10.0, 9.0), (25.0, 8.0), (100.0, 6.5))
"""Oil [% of dry weight] and most moisture [% wet basis] with which seed is frozen: below 10 % oil,
from 10 to 25 % oil, above. Status: derived."""

MOST_ASKED_PCT = 50.0
"""Up to this moisture [% wet basis] the verdict is given; wetter seed is as much in danger."""

OPEN_MARGIN_C = 2.0
"""A box is opened this far above the room's dew point [°C]. Status: derived."""

ROOM_C = 20.0
"""Near room temperature: where seed humidity is judged [°C]."""

CAUTIONS = (
    "Judge it once the seed is even: two weeks closed, or its humidity steady for a week.",
    "Use an airtight container: frost-free freezers warm up and cool down over and over.",
    "When you take it out, leave it closed for a day: water condenses at once on a cold jar.",
)
"""Shown with every verdict that allows cold storage. Trade advice (24 h), status read; the rest
derived."""

RULE_SOURCE = "careful rule derived from published freezing limits; no published standard"

_NEVER = {
    Behaviour.RECALCITRANT: "its seed dies when it dries, and when it freezes",
    Behaviour.INTERMEDIATE: "its seed bears drying only in part, and frost often not",
    Behaviour.STORAGE_ORGAN: "it is a storage organ, not seed: frost kills it",
    Behaviour.UNKNOWN: "it is not known whether its seed bears drying and frost",
}


class Freezing(StrEnum):
    """What to do about cold storage."""

    ALLOWED = "may be frozen"
    FRIDGE = "fridge yes, freezer not yet"
    NO = "do not freeze"
    DANGER = "dry now"
    NEVER = "never freeze"


@dataclass(frozen=True, slots=True)
class FreezingAdvice:
    """A verdict, the reason in words, and what to mind.

    ``erh_pct`` is the seed's humidity at 20 °C [%]; ``limit_pct`` is the most moisture [% wet
    basis] with which this kind is frozen. Both are ``None`` where freezing is out of the question.
    """

    verdict: Freezing
    words: str
    erh_pct: float | None = None
    limit_pct: float | None = None
    cautions: tuple[str, ...] = ()
    source: str = RULE_SOURCE


@dataclass(frozen=True, slots=True)
class OpeningAdvice:
    """Whether a cold box may be opened in a room. Temperatures in °C."""

    may_open: bool
    dew_point_c: float
    open_from_c: float
    words: str


def most_moisture_pct(oil_pct: float) -> float:
    """Most moisture with which seed is frozen.

    Parameters
    ----------
    oil_pct : float
        Oil [% of dry weight], 0 to 100.

    Returns
    -------
    float
        Moisture [% wet basis].

    Raises
    ------
    OutOfRangeError
        The oil lies outside its range.

    Examples
    --------
    >>> most_moisture_pct(24.9)
    8.0

    References
    ----------
    Derived from Vertucci 1989, Plant Physiol. 90:1478, and Dussert et al. 2001, Physiol. Plant.
    112:401: oil holds no water, so oily seed freezes at less moisture.
    """
    checked("oil content", oil_pct, 0.0, 100.0, "%")
    (lean, most_lean), (middling, most_middling), (_, most_oily) = MOISTURE_LIMITS
    if oil_pct < lean:
        return most_lean
    return most_middling if oil_pct <= middling else most_oily


def freezing_advice(kind: Kind | None, mc_wet_pct: float | None) -> FreezingAdvice:
    """Say whether seed of this kind and moisture may be frozen.

    Parameters
    ----------
    kind : Kind or None
        The kind; ``None``: not known.
    mc_wet_pct : float or None
        Moisture of the kind's own seed [% wet basis], 0 to 50; ``None``: not known.

    Returns
    -------
    FreezingAdvice
        The verdict, with the seed's humidity at 20 °C [%].

    Raises
    ------
    OutOfRangeError
        The moisture lies outside its range.

    Notes
    -----
    By seed humidity at 20 °C: up to 30 % freezing is allowed; up to 50 % the fridge, and further
    drying before the freezer; above 50 % do not freeze; above 65 % dry now, for mould and frost
    both threaten. Too much moisture for the kind's oil forbids the freezer also below 30 %. Kinds
    that are not known to bear drying are never frozen.

    Examples
    --------
    >>> from hilum.science.kinds import kind
    >>> str(freezing_advice(kind("onion"), 6.0).verdict)
    'may be frozen'

    References
    ----------
    Own rule, see the head of this module. Behaviour of kinds: see the table of kinds.
    """
    behaviour = Behaviour.UNKNOWN if kind is None else kind.behaviour
    if kind is None or behaviour is not Behaviour.ORTHODOX:
        return FreezingAdvice(Freezing.NEVER, f"Never freeze it: {_NEVER[behaviour]}.")
    limit = most_moisture_pct(kind.oil_pct.value)
    if mc_wet_pct is None:
        words = "Do not freeze it: how moist the seed is, is not known."
        return FreezingAdvice(Freezing.NO, words, None, limit)
    checked("moisture (wet basis)", mc_wet_pct, 0.0, MOST_ASKED_PCT, "%")
    erh_pct = own_isotherm(kind).erh_pct(dry_from_wet_pct(mc_wet_pct), ROOM_C)
    verdict, words = _by_moisture(erh_pct, mc_wet_pct, limit)
    cautions = CAUTIONS if verdict in {Freezing.ALLOWED, Freezing.FRIDGE} else ()
    return FreezingAdvice(verdict, words, erh_pct, limit, cautions)


def opening_advice(box_temp_c: float, room_temp_c: float, room_rh_pct: float) -> OpeningAdvice:
    """Say whether a cold box may be opened in a room without water condensing on the seed.

    Parameters
    ----------
    box_temp_c : float
        Temperature inside the box [°C], -100 to 100.
    room_temp_c : float
        Temperature of the room [°C], -100 to 100.
    room_rh_pct : float
        Humidity of the room [%], above 0 to 100.

    Returns
    -------
    OpeningAdvice
        Yes or no, and the temperature from which on it may be opened [°C].

    Raises
    ------
    OutOfRangeError
        A number lies outside its range.

    Examples
    --------
    >>> round(opening_advice(4.0, 20.0, 60.0).open_from_c, 1)
    14.0

    References
    ----------
    Dew point: Hyland & Wexler 1983 (see `hilum.science.psychrometrics`); margin of 2 °C: derived.
    """
    checked("temperature of the box", box_temp_c, -100.0, 100.0, "°C")
    dew_point = dew_point_c(room_temp_c, room_rh_pct)
    open_from = dew_point + OPEN_MARGIN_C
    if box_temp_c >= open_from:
        words = "It may be opened: it is warm enough for no water to condense in it."
    else:
        words = (
            f"Keep it closed until it has {open_from:.0f} °C inside: below that the room's water "
            "condenses on the seed. Best leave it for a day."
        )
    return OpeningAdvice(box_temp_c >= open_from, dew_point, open_from, words)


def _by_moisture(erh_pct: float, mc_wet_pct: float, limit: float) -> tuple[Freezing, str]:
    about = f"its humidity is about {erh_pct:.0f} % at {ROOM_C:.0f} °C"
    if erh_pct > DANGER_PCT:
        return Freezing.DANGER, f"Dry it now: {about}, and mould and frost both threaten."
    if erh_pct > FRIDGE_ONLY_PCT:
        return Freezing.NO, f"Do not freeze it: {about}. Dry it below {DRY_ENOUGH_PCT:.0f} % first."
    too_moist = mc_wet_pct > limit
    if erh_pct > DRY_ENOUGH_PCT or too_moist:
        why = f"{about}, and {DRY_ENOUGH_PCT:.0f} % is safe for the freezer"
        if too_moist:
            why = (
                f"it holds about {mc_wet_pct:.1f} % water, and {limit:g} % is the most for its oil"
            )
        return Freezing.FRIDGE, f"It may go into the fridge; dry it further before freezing: {why}."
    return Freezing.ALLOWED, f"It may be frozen: {about}."
