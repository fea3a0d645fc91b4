"""Checks predicted ranges against published storage trials; writes ``service/docs/how-sure.md``.

``python tests/science/how_sure.py`` prints the page. The method: start from the trial's first test;
conditions as printed; the range is the model's, by the factor of the basis; the counting error of
the two tests together, at least 4 points, is allowed on either side. Nothing is fitted here.
"""

import csv
import math
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from statistics import fmean, median

from hilum.science import tables
from hilum.science.germination import Count, Evidence
from hilum.science.kinds import Behaviour, Kind, kinds, unlisted_kind
from hilum.science.normal import ned, viability_fraction
from hilum.science.posterior import posterior
from hilum.science.ranges import (
    WORKING_SAMPLE,
    PredictedRange,
    counting_error_points,
    predict_range,
)
from hilum.science.surrogates import (
    COLD_BELOW_C,
    COLD_FACTOR,
    DRY_BELOW_RH_PCT,
    DRY_FACTOR,
    FACTORS,
    Level,
)

TRIALS = Path(__file__).resolve().parent.parent / "data" / "outcomes.csv"
ASSUMED_START_PCT = 95.0  # where only the loss was printed
LEAST_ALLOWANCE_POINTS = 4.0
WIDER = 1.2  # how much larger a factor for the same family is tried

# Likely reasons for the misses, by species and conditions: (species, °C, RH % or moisture %).
REASONS = {
    ("Phaseolus vulgaris", "10", "51"): "the two damper stores of the same trial kept as well or "
    "better, so this is hardly ageing: dry beans are hurt when they soak, or turn hard",
    ("Beta vulgaris", "26.7", "44"): "germination rose in store: corky clusters lose what holds "
    "them back",
    ("Zea mays", "26.7", "66"): "the constants are too gloomy for maize in a damp, warm store",
    ("Spinacia oleracea", "10", "51"): "germination rose in store: fresh spinach seed is dormant",
    ("Carthamus tinctorius", "-12", "4"): "87 to 91 % at every temperature from -12 to 32 °C, so "
    "lost early or in testing, not by ageing; the crop label is inferred",
    ("Teesdalia conferta", "45", "60"): "a wild annual stands on rape, a crop; a wild candytuft of "
    "the same family lived about six times longer in the same trial",
    (
        "Allium cepa",
        "5",
        "6",
    ): "a probit in 20 months, where onion's constants give 32 years; the "
    "polyethylene bag may have let in damp",
}


@dataclass(frozen=True)
class Trial:
    """A trial beside its predicted ranges; ``low`` and ``high`` are the germination observed [%].

    ``band`` is the 90 % band of a lot's page for a lot of this start test and this loss.
    """

    row: dict[str, str]
    kind: Kind
    predicted: PredictedRange
    low: float
    high: float
    allowance: float
    band: tuple[float, float]

    @property
    def inside(self) -> bool:
        """Whether the outcome lies in the model's range, the counting error allowed."""
        return self._holds(
            self.predicted.model_low_pct - self.allowance,
            self.predicted.model_high_pct + self.allowance,
        )

    @property
    def inside_shown(self) -> bool:
        """Whether the outcome lies in the range shown, nothing allowed."""
        return self._holds(self.predicted.low_pct, self.predicted.high_pct)

    @property
    def inside_page(self) -> bool:
        """Whether the outcome lies in the band of a lot's page, nothing allowed."""
        return self._holds(*self.band)

    def _holds(self, low: float, high: float) -> bool:
        return self.high >= low and self.low <= high

    @property
    def level(self) -> Level:
        """Basis of the range."""
        return self.predicted.basis.level

    @property
    def temp_c(self) -> float:
        """Temperature of the store [°C]."""
        return float(self.row["temp_c"])

    @property
    def box_like(self) -> bool:
        """Whether a seed box could be like this store."""
        return 0.0 <= self.temp_c <= 30.0 and self.predicted.erh_pct <= 60.0

    @property
    def reason(self) -> str:
        """Likely reason why it lies outside."""
        moisture = self.row["mc_wet_percent"] or self.row["rh_percent"]
        return REASONS.get((self.row["species"], self.row["temp_c"], moisture), "")


CONDITIONS: list[tuple[str, Callable[[Trial], bool]]] = [
    ("like a seed box: 0 to 30 °C, up to 60 % RH", lambda each: each.box_like),
    (f"below {COLD_BELOW_C:g} °C", lambda each: each.temp_c < COLD_BELOW_C),
    ("45 °C, ageing tests", lambda each: each.temp_c == 45.0),
]

PAGE = """\
<!-- Written by tests/science/how_sure.py; a test compares. Do not edit by hand. -->
# How sure the figures are

Hilum says how much of a lot still germinates as a range, not as a number. This page sets those
ranges beside {number} published storage trials.

A range comes from the viability equation with the constants of the kind, or of a surrogate, and a
factor by which the time may be longer or shorter. The further the constants are from the kind, the
larger the factor:

- {factors}.
- Below {cold}, below {dry}: data are thin there.

A trial counts as inside when its outcome lies in that range, the counting error of both germination
tests allowed (at least {allowance} points). Where only the loss was printed, {start} % at the start
is assumed. The command `hilum loss` joins the range with the counting error of the start test (at
least 5 points each side) as independent errors: the next two columns are of that, with nothing
allowed. The pages show a lot's 90 % band: the middle nine tenths of what the start test and the
factor leave possible, narrower than the 95 % of the command. The last column is of that, with
nothing allowed either, so that 90 % is what it should hold less what the tests at the end err.

**Read this with care.** The factors were chosen on these trials and some more, so expect less on
new ones. Half of the rows come from two tables of one handbook, and the crop labels of one of them
are inferred. Of the {misses} misses {hopeful} were too hopeful. Lots of one kind differ as much as
kinds do: a germination test of your own is worth more than all of this.

## By basis

{by_basis}

On the basis of the same family {family_missed} of {family} outcomes lie outside what `hilum loss`
shows. {family_near} lie within {allowance} points of it, where hardly any loss is foretold and no
factor helps: that is the test at the end. {family_risen} germinated better at the end than at the
start, so that was dormancy. A factor of {family_factor} would hold {family_wider} more; one that
does makes the ranges in a seed box wider than they are worth. So it was left.

## By conditions

{by_conditions}

## Every miss

| seed | basis | store | germination | range of the model | likely reason |
| --- | --- | --- | --- | --- | --- |
{missed}

## Left out

{left_out}

## No trial known

For these no storage trial with figures was found; their range rests on the rule alone. Test a
sample: {untried}.

The trials are in `tests/data/outcomes.csv`, each with its source.
`python tests/science/how_sure.py` writes this page.
"""


def unusable(row: dict[str, str]) -> str:
    """Why a trial cannot be compared; empty if it can."""
    if not row["temp_c"]:
        return "temperature not printed"
    if not (row["rh_percent"] or row["mc_wet_percent"]):
        return "neither humidity nor moisture printed"
    if "after-ripening" in row["note"]:
        return "seed was after-ripening"
    return ""


def kind_of(row: dict[str, str]) -> Kind:
    """The kind of a trial: that of the table, else what is known of its genus and family."""
    name = row["species"].replace(" sp.", " spp.")
    for each in kinds().values():
        if each.botanical == name and each.behaviour is Behaviour.ORTHODOX:
            return each
    return unlisted_kind(name, row["common_name"], row["family"])


def observed(row: dict[str, str], start_pct: float) -> tuple[float, float]:
    """Germination at the end, as the span that the source leaves open."""
    if row["end_germination_percent"]:
        end = float(row["end_germination_percent"])
        return end, 100.0 if row["end_kind"] == "at_least" else end
    found = re.search(r"(loss_points|end_range)=([\d.]+)\.\.([\d.]+)", row["note"])
    assert found, row
    first, last = float(found[2]), float(found[3])
    return (start_pct - last, start_pct - first) if found[1] == "loss_points" else (first, last)


def compare(row: dict[str, str]) -> Trial:
    """Predict a trial and set the outcome beside it."""
    seeds = re.search(r"n=(\d+) at start, n=(\d+)", row["replicate_note"])
    first, last = (int(seeds[1]), int(seeds[2])) if seeds else (WORKING_SAMPLE, WORKING_SAMPLE)
    start_pct = float(row["start_germination_percent"] or ASSUMED_START_PCT)
    low, high = observed(row, start_pct)
    moisture, humidity = row["mc_wet_percent"], row["rh_percent"]
    kind = kind_of(row)
    predicted = predict_range(
        kind,
        start_pct=start_pct,
        days=float(row["duration_days"]),
        temp_c=float(row["temp_c"]),
        rh_pct=float(humidity) if humidity else None,
        mc_wet_pct=float(moisture) if moisture else None,
        tested_seeds=first,
    )
    error = math.hypot(
        counting_error_points(start_pct, first), counting_error_points((low + high) / 2.0, last)
    )
    allowance = max(error, LEAST_ALLOWANCE_POINTS)
    loss = float(row["duration_days"]) / predicted.sigma_days
    band = page_band(Count(start_pct / 100.0 * first, first), predicted.factor, loss)
    return Trial(row, kind, predicted, low, high, allowance, band)


def page_band(start: Count, factor: float, loss_probit: float) -> tuple[float, float]:
    """The 90 % band of a lot's page for a lot with one count at the start [%]."""
    band = posterior(Evidence((start,), factor)).shown(loss_probit)
    return float(band.low_pct), float(band.high_pct)


@cache
def rows() -> tuple[dict[str, str], ...]:
    """Every row of the table of trials."""
    lines = TRIALS.read_text(encoding="utf-8").splitlines()
    return tuple(csv.DictReader(line for line in lines if not line.startswith("#")))


@cache
def trials() -> tuple[Trial, ...]:
    """Every trial that can be compared, too damp ones included."""
    return tuple(compare(row) for row in rows() if not unusable(row))


def valid() -> list[Trial]:
    """Trials in which the equation holds."""
    return [each for each in trials() if not each.predicted.wet]


def share(holds: Iterable[bool]) -> float:
    """Share that holds [%]."""
    return 100.0 * fmean(holds)


def median_width(some: Iterable[Trial]) -> float:
    """Median width of the ranges shown [points of germination]."""
    return median(each.predicted.high_pct - each.predicted.low_pct for each in some)


def table(groups: Sequence[tuple[str, Callable[[Trial], bool]]]) -> str:
    """Lines of a table: for each group of trials how many lie inside, and how wide the range is."""
    lines = [
        "| trials | number | inside | inside `loss` | its median width | inside a lot's band |"
    ]
    lines += ["| --- | --- | --- | --- | --- | --- |"]
    for name, belongs in groups:
        some = [each for each in valid() if belongs(each)]
        inside, shown = share(t.inside for t in some), share(t.inside_shown for t in some)
        lines.append(
            f"| {name} | {len(some)} | {inside:.0f} % | {shown:.0f} % | "
            f"{median_width(some):.0f} points | {share(t.inside_page for t in some):.0f} % |"
        )
    return "\n".join(lines)


def miss_line(each: Trial) -> str:
    """One line about a trial outside its range."""
    row, predicted = each.row, each.predicted
    moisture, humidity = row["mc_wet_percent"], row["rh_percent"]
    damp = f"{moisture} % moisture" if moisture else f"{humidity} % RH"
    start = float(row["start_germination_percent"] or ASSUMED_START_PCT)
    end = f"{each.low:.0f}" if each.low == each.high else f"{each.low:.0f}–{each.high:.0f}"
    span = f"{predicted.model_low_pct:.0f}–{predicted.model_high_pct:.0f} %"
    return (
        f"| {row['common_name']} | {each.level} | {row['temp_c']} °C, {damp}, "
        f"{row['duration_days']} days | {start:.0f} → {end} % | {span} | "
        f"{each.reason} |"
    )


def report() -> str:
    """The page ``how-sure.md``."""
    missed = [each for each in valid() if not each.inside]
    genera = {row["genus"] for row in tables.rows("untried_genera")}
    untried = [each.common for each in kinds().values() if each.genus in genera and _is_seed(each)]
    return PAGE.format(
        number=len(valid()),
        factors="; ".join(f"{level}: {factor:g}" for level, factor in FACTORS.items()),
        cold=f"{COLD_BELOW_C:g} °C the factor is multiplied by {COLD_FACTOR:g}",
        dry=f"{DRY_BELOW_RH_PCT:g} % RH by {DRY_FACTOR:g}",
        allowance=f"{LEAST_ALLOWANCE_POINTS:g}",
        start=f"{ASSUMED_START_PCT:g}",
        hopeful=sum(each.high < each.predicted.model_low_pct for each in missed),
        misses=len(missed),
        by_basis=table([("all", lambda _: True), *((str(level), _of(level)) for level in Level)]),
        **of_family(),
        by_conditions=table(CONDITIONS),
        missed="\n".join(map(miss_line, missed)),
        left_out=left_out(),
        untried=", ".join(untried),
    )


def of_family() -> dict[str, object]:
    """What lies behind the outcomes outside the range on the basis of the same family."""
    some = [each for each in valid() if each.level is Level.FAMILY]
    missed = [each for each in some if not each.inside_shown]
    wider = sum(map(_held_wider, missed))
    near = sum(
        each.predicted.low_pct - LEAST_ALLOWANCE_POINTS <= each.high < each.predicted.low_pct
        for each in missed
    )
    risen = sum(each.low > float(each.row["start_germination_percent"]) for each in missed)
    return {
        "family": len(some),
        "family_missed": len(missed),
        "family_near": near,
        "family_risen": risen,
        "family_wider": wider or "none",
        "family_factor": f"{WIDER * FACTORS[Level.FAMILY]:g}",
    }


def _held_wider(each: Trial) -> bool:
    """Whether a somewhat larger factor would hold an outcome in the range of the command."""
    model = each.predicted
    start = ned(min(max(float(each.row["start_germination_percent"]) / 100.0, 1e-3), 1.0 - 1e-3))
    loss = float(each.row["duration_days"]) / model.sigma_days
    low, high = (
        100.0 * viability_fraction(start - loss * times)
        for times in (WIDER * model.factor, 1.0 / (WIDER * model.factor))
    )
    error, middle = model.counting_error_points, model.median_pct
    return middle - math.hypot(
        middle - low, error
    ) <= each.high and each.low <= middle + math.hypot(high - middle, error)


def left_out() -> str:
    """Lines about the trials that are not counted."""
    wet = [each for each in trials() if each.predicted.wet]
    refused = [unusable(row) for row in rows() if unusable(row)]
    lines = [f"- {count_of(why, refused)} trials: {why}." for why in dict.fromkeys(refused)]
    lines.append(
        f"- {len(wet)} trials: too damp for the equation (over 85 % RH or 15 % moisture), which "
        f"Hilum says instead of a figure; {sum(each.inside for each in wet)} of them lie inside "
        "all the same."
    )
    return "\n".join(lines)


def count_of(item: str, items: Sequence[str]) -> int:
    """How often an item stands in a list."""
    return sum(each == item for each in items)


def _is_seed(kind: Kind) -> bool:
    return kind.behaviour is Behaviour.ORTHODOX


def _of(level: Level) -> Callable[[Trial], bool]:
    return lambda each: each.level is level


if __name__ == "__main__":
    print(report(), end="")
