"""Whether seed is dry enough to be sealed: damp seed fares worse so than in the open."""

from dataclasses import dataclass

from hilum.science._quantities import checked
from hilum.science.drying import drying_caution
from hilum.science.kindmodel import Kind

DAMP = "sealed so damp it fares worse than in the open"


@dataclass(frozen=True, slots=True)
class SealingAdvice:
    """A verdict with its reason; ``limit_pct`` is the most moisture [% wet basis], if any."""

    may_seal: bool
    words: str
    limit_pct: float | None
    source: str
    status: str


def sealing_advice(kind: Kind, mc_wet_pct: float) -> SealingAdvice:
    """Say whether seed of this moisture may go into an airtight pack.

    Parameters
    ----------
    kind : Kind
        The kind.
    mc_wet_pct : float
        Moisture of its seed [% wet basis], 0 to 50.

    Returns
    -------
    SealingAdvice
        The verdict; never for kinds that are not dried.

    Raises
    ------
    OutOfRangeError
        The moisture lies outside its range.

    Notes
    -----
    The limits are those for seed sold in hermetic packs; some states allow 1 % more (Oregon, read).

    Examples
    --------
    >>> from hilum.science.kinds import kind
    >>> sealing_advice(kind("lettuce"), 6.0).may_seal
    False

    References
    ----------
    7 CFR 201.36c (US Federal Seed Act regulations); status: read.
    """
    checked("moisture (wet basis)", mc_wet_pct, 0.0, 50.0, "%")
    most, caution = kind.hermetic_mc_wet_pct, drying_caution(kind)
    if most is None or caution is not None:
        behaviour = kind.behaviour_fact
        words = f"Do not seal it. {caution or ''}".strip()
        return SealingAdvice(False, words, None, behaviour.source, behaviour.status)
    about = f"it holds about {mc_wet_pct:.1f} % water, and {most.value:g} % is the most"
    may = mc_wet_pct <= most.value
    words = f"It may be sealed: {about}." if may else f"Do not seal it yet: {about}; {DAMP}."
    return SealingAdvice(may, words, most.value, most.source, most.status)
