"""Every gathered value of equilibrium moisture against what Hilum computes for that seed.

``python tests/science/isotherm_check.py`` writes the page ``service/docs/isotherms.md``.
"""

import csv
import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from hilum.science.isotherms import GeneralIsotherm, Isotherm, d245, wet_from_dry_pct
from hilum.science.kinds import kind, own_isotherm

ROOT = Path(__file__).resolve().parent.parent.parent
DATA = ROOT / "tests" / "data" / "emc_all.csv"
PAGE = ROOT / "service" / "docs" / "isotherms.md"
SHOWN_RH_PCT = (10.0, 75.0)  # wetter than this the equation of life does not matter any more
KINDS = {
    "barley": "barley",
    "bean broad": "broad-bean",
    "bean lima": "lima-bean",
    "bean snap": "garden-bean",
    "beet garden": "beet",
    "buckwheat": "buckwheat",
    "cabbage": "cabbage",
    "cabbage Chinese": "chinese-cabbage",
    "carrot": "carrot",
    "celery": "celery",
    "corn sweet": "sweet-corn",
    "cucumber": "cucumber",
    "eggplant": "eggplant",
    "flax": "flax",
    "lettuce": "lettuce",
    "maize": "maize",
    "maize (corn kernels)": "maize",
    "maize white dent shelled": "maize",
    "maize yellow dent shelled": "maize",
    "mustard leaf": "mustard-greens",
    "oats": "oat",
    "okra": "okra",
    "onion": "onion",
    "onion Welsh": "welsh-onion",
    "parsnip": "parsnip",
    "pea": "pea",
    "peanut": "peanut",
    "pepper": "pepper",
    "popcorn": "maize",
    "radish": "radish",
    "rice long grain (rough)": "rice",
    "rye": "rye",
    "sorghum": "sorghum",
    "soybean": "soybean",
    "spinach": "spinach",
    "squash winter": "winter-squash",
    "tomato": "tomato",
    "turnip": "turnip",
    "watermelon": "watermelon",
    "wheat durum": "wheat",
    "wheat hard red spring": "wheat",
    "wheat hard red winter": "wheat",
    "wheat soft red winter": "wheat",
}
OF_1976 = "maize (shelled corn)"
GROUPS = {
    "starchy cereals (group)": 0.02,
    "sunflower/safflower/peanut (group)": 0.44,
    "starchy seed (upper bound)": 0.0,
    "very oily seed (lower bound)": 0.5,
}
"""Groups without a kind: oil fraction taken for them (middle of their members, our choice)."""


TEXT = """# Seed moisture against gathered values

This page is written by `python tests/science/isotherm_check.py`; a test fails when it is stale.

What Hilum computes for seed in air of a given humidity, less what was printed or measured, in
points of moisture (fresh weight), at 10 to 75 % humidity. *Read*: seen in the source. *Recalled*:
remembered by someone who knows the tables, not seen, so a difference may be the memory's. Many of
the read maize and rice values are themselves printed equations: they show that ours are the same,
not that nature is.

Together: {read} read values, rms {read_rms:.2f}; {recalled} recalled values, rms
{recalled_rms:.2f}. Beet "seed" is a corky cluster of fruits, and celery and carrot carry much coat:
there the general isotherm is worst. Where no oil content of a kind is known, that of its family or
a middle value stands in, as the Lot page says.

| seed | status | isotherm used | values | in range | rms | bias | worst |
| --- | --- | --- | --- | --- | --- | --- | --- |
{rows}

Sources: ASAE D245.5 as printed in an extension table; the 1976 modified Henderson set as printed in
a dryer handbook; Meronuk, quoted in Plants 2022, 11:3167; Gregg & Billups; University of Kentucky
2012; Kew; Harrington, in Justice & Bass 1978, USDA Agriculture Handbook 506; Coleman & Fellows
1925.
"""


@dataclass(frozen=True)
class Point:
    """A gathered value and what is computed for it [% wet basis]."""

    material: str
    rh_pct: float
    gathered: float
    computed: float
    status: str
    by: str

    @property
    def error(self) -> float:
        """Computed less gathered."""
        return self.computed - self.gathered


def isotherm_of(material: str) -> tuple[Isotherm, str]:
    """Give the isotherm Hilum uses for a material, and its name."""
    if material == OF_1976:
        return d245("maize yellow dent (1976 set)", "henderson").isotherm, "1976 set"
    if material in GROUPS:
        return GeneralIsotherm(GROUPS[material]), f"general, {100 * GROUPS[material]:g} % oil"
    seed = kind(KINDS[material])
    if seed.isotherm.value:
        return own_isotherm(seed), f"own ({seed.isotherm.value})"
    return own_isotherm(seed), f"general, {seed.oil_pct.value:g} % oil"


def points() -> Iterator[Point]:
    """Compare every gathered value."""
    with DATA.open(encoding="utf-8") as file:
        for row in csv.DictReader(line for line in file if not line.startswith("#")):
            isotherm, by = isotherm_of(row["material"])
            temp_c = float(row["temp_c"]) if row["temp_c"] else 25.0
            rh_pct = float(row["rh_pct"])
            computed = wet_from_dry_pct(isotherm.mc_dry_pct(min(rh_pct, 99.9), temp_c))
            gathered = float(row["mc_wet_pct"])
            yield Point(row["material"], rh_pct, gathered, computed, row["status"], by)


def rms(found: list[Point]) -> float:
    """Root of the mean square error."""
    return math.sqrt(sum(point.error**2 for point in found) / len(found))


def line(material: str, found: list[Point]) -> str:
    """Give a row of the table; figures over the humidities that matter for storage."""
    inside = [point for point in found if SHOWN_RH_PCT[0] <= point.rh_pct <= SHOWN_RH_PCT[1]]
    status = "read" if found[0].status == "read" else "recalled"
    name = f"| {material} | {status} | {found[0].by} | {len(found)} "
    if not inside:
        return f"{name}| 0 | | | |"
    bias = sum(point.error for point in inside) / len(inside)
    worst = max(inside, key=lambda point: abs(point.error))
    return (
        f"{name}| {len(inside)} | {rms(inside):.2f} | {bias:+.2f} | "
        f"{worst.error:+.1f} at {worst.rh_pct:g} % |"
    )


def report() -> str:
    """Write the page."""
    found = list(points())
    materials = sorted({point.material for point in found}, key=str.casefold)
    rows = "\n".join(line(m, [p for p in found if p.material == m]) for m in materials)
    inside = [p for p in found if SHOWN_RH_PCT[0] <= p.rh_pct <= SHOWN_RH_PCT[1]]
    read = [p for p in inside if p.status == "read"]
    recalled = [p for p in inside if p.status == "memory"]
    return TEXT.format(
        read=len(read),
        read_rms=rms(read),
        recalled=len(recalled),
        recalled_rms=rms(recalled),
        rows=rows,
    )


if __name__ == "__main__":
    PAGE.write_text(report(), encoding="utf-8")
