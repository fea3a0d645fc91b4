"""What if it were kept otherwise: one lot in small multiples, a box as a table."""

from collections.abc import Callable
from datetime import date

import numpy as np
from starlette.requests import Request
from starlette.responses import Response

from hilum.domain.model import Floats
from hilum.keeping.care.register import out_of_address
from hilum.keeping.lots.compare import FAR_YEARS, BoxComparison, Choice, LotComparison, compare_box
from hilum.keeping.lots.compare import compare_lot as compared
from hilum.web.parts import WebParts
from hilum.web.render import Renderer
from hilum.web.views.charts import PATH_HEIGHT, PATH_WIDTH, area_path, line_path
from hilum.web.views.format import NBSP, count, number
from hilum.web.views.lots import kind_name, lot_url
from hilum.web.views.pieces import Link
from hilum.web.views.seasoncontexts import CompareBoxPage, ComparePage, CompareRow, Multiple

NAMES = {
    "recent": "As it is",
    "as-is": "As at this moment",
    "shelf": "On a shelf",
    "fridge": "In a fridge",
    "freezer": "In a freezer",
    "gel": "With fresh gel",
    "given": "Your own way",
}
ABOVE_WORDS = (
    "How many of the {lots} are still above their minimum after so many years, by the middle of "
    "what is plausible."
)


def compare_lot(parts: WebParts, render: Renderer) -> Callable[..., Response]:
    """One lot kept in several ways."""

    def page(request: Request, code: str) -> Response:
        code = out_of_address(code)

        def make(now_ms: int) -> ComparePage:
            today = parts.style.local(now_ms).date()
            return lot_page(compared(parts.store, code, now_ms), today)

        return render(request, "compare.html", parts.kept(("compare lot", code), make))

    return page


def lot_page(found: LotComparison, today: date) -> ComparePage:
    """Give the comparison of a lot."""
    lot = found.lot
    name = f"{kind_name(lot.kind)} {lot.variety}".strip()
    return ComparePage(
        title=f"{name}, kept otherwise",
        about=Link(f"Lot {lot.code}", lot_url(lot.code)),
        freezing=found.freezing.words,
        choices=tuple(_multiple(choice, found, today) for choice in found.choices),
        notes=found.notes,
    )


def _multiple(choice: Choice, found: LotComparison, today: date) -> Multiple:
    lasts = lasts_words(choice)
    title = NAMES.get(choice.storage.key, choice.storage.key)
    ends = (str(today.year), str(today.year + round(found.years[-1])))
    area = line = label = ""
    if choice.band is not None:
        median, low, high = (
            np.asarray(value, float)
            for value in (choice.band.median_pct, choice.band.low_pct, choice.band.high_pct)
        )
        x = np.array(found.years) / found.years[-1] * PATH_WIDTH
        area = area_path(x, _down(low), _down(high))
        line = line_path(x, _down(median))
        label = (
            f"{title}: viability from about {number(float(median[0]))} to "
            f"{number(float(median[-1]))} % in {ends[1]}"
        )
    return Multiple(
        title=title,
        words=choice.storage.words,
        lasts=lasts,
        label=label,
        area=area,
        line=line,
        minimum=100.0 - found.minimum_pct,
        ends=ends,
        notes=choice.notes,
    )


def _down(pct: Floats) -> Floats:
    return (100.0 - pct) / 100.0 * PATH_HEIGHT


def lasts_words(choice: Choice) -> str:
    """Say how long seed kept so stays above its minimum."""
    if choice.ruled_out:
        return choice.ruled_out
    if choice.band is None:
        return "Not known."
    if choice.years_left == 0:
        return "Under its minimum already."
    if choice.years_left is None:
        words = f"Above its minimum for more than {FAR_YEARS:.0f}{NBSP}years"
    else:
        words = f"Above its minimum for about {_years(choice.years_left)}"
    if choice.years_earliest is None:
        return f"{words}."
    least = "perhaps none at all" if choice.years_earliest < 1 / 24 else (
        f"perhaps only {_years(choice.years_earliest)}"
    )  # fmt: skip
    return f"{words}, {least}."


def _years(years: float) -> str:
    if years < 1.75:
        return count(max(1, round(years * 12)), "month")
    return count(round(years), "year")


def compare_all(parts: WebParts, render: Renderer) -> Callable[..., Response]:
    """All lots of a box kept in several ways."""

    def page(request: Request, slug: str) -> Response:
        def make(now_ms: int) -> CompareBoxPage:
            return box_page(compare_box(parts.store, slug, now_ms))

        return render(request, "compare_box.html", parts.kept(("compare box", slug), make))

    return page


def box_page(found: BoxComparison) -> CompareBoxPage:
    """Give the comparison of a box."""
    lots = tuple(
        Link(
            f"{kind_name(each.lot.kind)} {each.lot.variety}".strip(),
            lot_url(each.lot.code, "compare"),
        )
        for each in found.lots
    )
    words = ABOVE_WORDS.format(lots=count(len(lots), "lot"))
    return CompareBoxPage(
        title=f"{found.box.name}, kept otherwise",
        about=Link(found.box.name, f"/boxes/{found.box.slug}"),
        intro=words if lots else "No lot lies here of which anything can be said.",
        years=tuple(count(round(years), "year") for years in found.years),
        rows=tuple(
            CompareRow(
                NAMES.get(storage.key, storage.key),
                storage.words,
                tuple(str(many) for many in above),
            )
            for storage, above in zip(found.storages, found.above, strict=True)
        ),
        lots=lots,
    )
