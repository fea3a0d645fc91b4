"""What the page of a lot says about its life: the outlook turned into words and pictures."""

from hilum.domain.model import MS_PER_DAY
from hilum.keeping.lots.losses import LotLoss
from hilum.keeping.lots.lossparts import LossParts
from hilum.keeping.lots.outlook import LotOutlook
from hilum.science.kindmodel import GerminationMethod
from hilum.science.kinds import PRIMED_SEED, TREATED_SEED
from hilum.science.posterior import Band
from hilum.web.views.contexts import Budget, Share, Viability
from hilum.web.views.format import NBSP, Style, count, number, pct, span_pct
from hilum.web.views.pieces import Fact

WET_LEAST_S = 1800.0
"""Less time than this above the equation's limit is not told on its own. Our choice."""

NEAR_DAYS = 5 * 365.25
"""Dates further ahead are given as years."""

MONTH_DAYS = 30.4
YEAR_DAYS = 350.0
"""A time this long is called a year: it holds every season."""

STATUS_WORDS = {
    "read": "looked up where it was published",
    "memory": "quoted from memory, not looked up again",
    "derived": "our own estimate",
    "computed": "worked out from a published formula",
    "set": "",
}
TRADE = "usual in the trade; no published source is known to us"
NO_SOURCE = "common practice"
"""Begins the source of a figure that has none."""

RECALLED = ", recalled here"
"""Ends the words for constants from memory, which are said beside them."""

NO_FIGURE = "How much of it is alive cannot be worked out."


def band_words(band: Band) -> str:
    """A viability with its band: "62 % (48–74 %)"."""
    low, high = float(band.low_pct), float(band.high_pct)
    return f"{pct(float(band.median_pct))} ({span_pct(low, high)})"


def headline(outlook: LotOutlook) -> str:
    """Viability now, in a sentence."""
    if outlook.now is None:
        return NO_FIGURE
    median, band = band_words(outlook.now).split(" (")
    return f"About {median} now ({band}."


def prospect(outlook: LotOutlook, style: Style) -> str:
    """Say when a lot falls under its minimum if things go on as they did."""
    if outlook.now is None or outlook.minimum is None:
        return ""
    minimum = pct(outlook.minimum.pct)
    if float(outlook.now.median_pct) < outlook.minimum.pct:
        return f"It is probably under its minimum of {minimum} already ({_chance(outlook)})."
    if outlook.reached_ms is None:
        return (
            f"{_pace(outlook)} it stays above its minimum of {minimum} for longer than can be told."
        )
    when = _date(outlook.reached_ms, outlook.at_ms, style)
    early = (
        f"perhaps as early as {_date(outlook.earliest_ms, outlook.at_ms, style)}"
        if outlook.earliest_ms is not None
        else f"perhaps already ({_chance(outlook)})"
    )
    return f"{_pace(outlook)} it falls under its minimum of {minimum} about {when}, {early}."


def _pace(outlook: LotOutlook) -> str:
    """Name the time whose rate stands for what is to come."""
    days = outlook.loss.ahead_days or 0.0
    if days >= YEAR_DAYS:
        return "At the rate of the last year"
    if days >= 2 * MONTH_DAYS:
        return f"At the rate of its {days / MONTH_DAYS:.0f} months here"
    return "At the rate of its time here so far" if days >= 1 else "At the rate of this moment"


def _chance(outlook: LotOutlook) -> str:
    chance = 100 * (outlook.prob_below or 0.0)
    return f"chance over {pct(99)}" if chance > 99 else f"chance {pct(chance)}"


def _date(time_ms: int, now_ms: int, style: Style) -> str:
    moment = style.local(time_ms)
    return f"{moment:%Y}" if time_ms - now_ms > NEAR_DAYS * MS_PER_DAY else f"{moment:%Y-%m}"


def viability(outlook: LotOutlook) -> Viability | None:
    """Give the figure as a place on a scale."""
    if outlook.now is None or outlook.minimum is None:
        return None
    words = f"about {band_words(outlook.now)}; minimum {pct(outlook.minimum.pct)}"
    return Viability(
        label=words,
        now=round(float(outlook.now.median_pct), 2),
        low=round(float(outlook.now.low_pct), 2),
        high=round(float(outlook.now.high_pct), 2),
        minimum=outlook.minimum.pct,
        now_words=pct(float(outlook.now.median_pct)),
    )


PART_NAMES = (
    ("before", "before its first box, not measured"),
    ("measured", "measured"),
    ("estimated", "estimated: in gaps and between boxes"),
)


def budget(outlook: LotOutlook, parts: LossParts | None) -> Budget | None:
    """Give what is spent of the ageing a lot can bear, and where it was spent."""
    spent = outlook.spent_share
    if spent is None or parts is None:
        return None
    drawn = 100 * min(max(spent, 0.0), 1.0)
    shares = _shares(parts, drawn)
    words = "All" if spent >= 1 else pct(100 * max(spent, 0.0))
    told = ", ".join(f"{share.words} of it {share.name}" for share in shares if share.width)
    return Budget(
        label=f"{words} spent: {told or 'no ageing yet'}",
        spent=words,
        burn="" if spent >= 1 else _burn(outlook.burn_share),
        shares=shares,
    )


def _shares(parts: LossParts, drawn: float) -> tuple[Share, ...]:
    """Lay the parts of a loss one after the other, as far as the bar is drawn [%]."""
    losses = (parts.before_probit, parts.measured_probit, parts.estimated_probit)
    whole = max(sum(losses), 1e-12)
    places = [drawn * sum(losses[:count]) / whole for count in range(len(losses) + 1)]
    return tuple(
        Share(name, pct(100 * loss / whole), round(left, 2), round(right - left, 2), kind)
        for (kind, name), loss, left, right in zip(
            PART_NAMES, losses, places[:-1], places[1:], strict=True
        )
    )


def _burn(share: float | None) -> str:
    if share is None:
        return ""
    if share < 0.001:
        return "At the rate of the last month next to nothing more goes."
    digits = 0 if share >= 0.1 else 1
    return f"At the rate of the last month {pct(100 * share, digits)} more goes in thirty days."


def cautions(outlook: LotOutlook) -> tuple[str, ...]:
    """Give what must be read before the figure."""
    lot, found = outlook.lot, outlook.kind.caution if outlook.kind else None
    told = (found, TREATED_SEED if lot.treated else None, PRIMED_SEED if lot.primed else None)
    harm = (*(fact.value for fact in told if fact), *filter(None, (outlook.contradicted,)))
    if outlook.now is None:
        return (*harm, *outlook.notes)
    wet_s = outlook.loss.wet_s or 0.0
    if wet_s < WET_LEAST_S:
        return harm
    hours = count(max(1, round(wet_s / 3600)), "hour")
    wet = f"It was too wet for {hours}. What that cost is not known and not in this figure."
    return (*harm, wet)


def how_tested(outlook: LotOutlook) -> tuple[Fact, ...]:
    """Say how seed of the kind is tested; ``sources`` names the publications."""
    ways = outlook.kind.methods if outlook.kind else ()
    return tuple(
        Fact(
            way.value.rule.capitalize(),
            f"{way.value.substrate}, {way.value.temp_c}{NBSP}°C{_counts(way.value)}",
            way.value.advice,
        )
        for way in ways
    )


def _counts(way: GerminationMethod) -> str:
    """When seedlings are counted."""
    days = [day for day in (way.first_count_days, way.final_count_days) if day is not None]
    return f"; counted after {' and '.join(map(str, days))} days" if days else ""


def made(outlook: LotOutlook, wrap: str) -> tuple[Fact, ...]:
    """Say how the figure was made: constants, isotherm, start, minimum, coverage."""
    loss, basis = outlook.loss, outlook.loss.basis
    if outlook.now is None or basis is None or outlook.minimum is None:
        return ()
    facts = [
        Fact("Constants", basis.words.removesuffix(RECALLED), _status(basis.source, basis.status)),
        Fact("May be off by", f"a factor of {loss.factor or basis.factor:.2g} either way"),
        Fact("Moisture by", _isotherm(outlook)),
        Fact("Began at", outlook.start.words if outlook.start else "not known"),
        Fact(
            "Minimum",
            pct(outlook.minimum.pct),
            _status(outlook.minimum.source, outlook.minimum.status),
        ),
        Fact("Wrap", wrap),
        *coverage(loss),
    ]
    if loss.mc_wet_pct is not None and loss.erh_pct is not None:
        seed = f"{pct(loss.mc_wet_pct)} moisture"
        facts.append(Fact("Seed now", seed, f"at {pct(loss.erh_pct)} humidity; good to {pct(1)}"))
    if outlook.tests and outlook.multiplier is not None:
        median, low, high = (number(value, 1) for value in outlook.multiplier)
        told = f"{median} times as fast as the constants say ({low}–{high})"
        facts.append(Fact("By its tests it ages", told))
    return tuple(facts)


def _status(source: str, status: str) -> str:
    """Say how far a figure can be followed back."""
    if NO_SOURCE in source:
        return TRADE
    return STATUS_WORDS.get(status, status) if status != "set" else source


def sources(outlook: LotOutlook) -> tuple[Fact, ...]:
    """Name the publications behind a lot's figures, for those who want to follow them back."""
    found: dict[tuple[str, str], Fact] = {}
    basis, minimum = outlook.loss.basis, outlook.minimum
    named = [] if basis is None else [("Constants", basis.source, basis.status)]
    if minimum is not None and minimum.status != "set":
        named.append(("Minimum", minimum.source, minimum.status))
    named += [
        ("Testing", way.source, way.status)
        for way in (outlook.kind.methods if outlook.kind else ())
    ]
    for label, source, status in named:
        if source and NO_SOURCE not in source:
            found[label, source] = Fact(label, source, _status(source, status))
    return tuple(found.values())


def _isotherm(outlook: LotOutlook) -> str:
    basis = outlook.loss.basis
    if basis is None or basis.oil_fraction_dry is None:
        return "an isotherm of its own crop (ASABE D245)"
    oil = pct(100 * basis.oil_fraction_dry)
    return f"the general isotherm with {oil} oil"


def coverage(loss: LotLoss) -> tuple[Fact, ...]:
    """Say how much of a lot's time was measured."""
    covered, bridged = (loss.covered_s or 0.0) / 86_400, (loss.estimated_s or 0.0) / 86_400
    wet_h = (loss.wet_s or 0.0) / 3600
    return (
        Fact("Measured", count(round(covered), "day"), f"{count(round(bridged), 'day')} bridged"),
        Fact("Not measured", count(round(loss.unobserved_days or 0.0), "day")),
        Fact("Wet hours", "none" if wet_h < 0.5 else f"{number(wet_h)}{NBSP}h, not in the loss"),
    )
