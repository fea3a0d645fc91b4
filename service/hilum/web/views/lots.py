"""What the pages say about lots."""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from urllib.parse import urlencode

from hilum.domain.model import GerminationTest, Lot, Stay, Wrap
from hilum.domain.ports import Store
from hilum.keeping.care.register import in_address
from hilum.keeping.lots.losses import lot_loss_parts
from hilum.keeping.lots.outlook import LotOutlook, lot_outlook, viabilities
from hilum.keeping.lots.usefirst import UseFirst, use_first
from hilum.science.errors import UnknownNameError
from hilum.science.kinds import Kind, kind
from hilum.science.posterior import Band
from hilum.web.parts import WebParts
from hilum.web.views import outlook as view
from hilum.web.views.contexts import LotPage, LotRow, LotsPage, StayRow, TestRow
from hilum.web.views.format import NBSP, UNKNOWN, Style, count, iso_day, number, pct, plain
from hilum.web.views.life import life_chart
from hilum.web.views.pieces import Choice, Fact, Link, Said
from hilum.web.views.records import journal_days

LOT_EVENTS = 8
LOTS_SHOWN = 50
"""Lots on one page of them."""

NAME, WEAKEST, USE_FIRST = "name", "weakest", "use-first"
ORDERS = {NAME: "By name", USE_FIRST: "Use first", WEAKEST: "Weakest first"}
NO_FIGURE = "not worked out"

WRAP_WORDS = {
    Wrap.OPEN: "open",
    Wrap.PAPER: "paper",
    Wrap.POLY: "poly bag",
    Wrap.FOIL: "foil",
    Wrap.JAR: "own jar",
}


def known_kind(key: str) -> Kind | None:
    """Kind of seed with this key, if it stands in the table."""
    try:
        return kind(key)
    except UnknownNameError:
        return None


def kind_name(key: str) -> str:
    """Common name of a kind; the key itself for one that stands in no table."""
    found = known_kind(key)
    return found.common if found else key


def rows_in_box(parts: WebParts, slug: str) -> tuple[LotRow, ...]:
    """Give the lots that are in a box, by name."""
    store = parts.store

    def make(now_ms: int) -> tuple[LotRow, ...]:
        stays = _stays_now(store, now_ms, slug)
        lots = by_name(lot for lot in store.lots() if lot.code in stays and not lot.archived)
        return with_viability(store, _rows(store, lots, stays), now_ms)

    return parts.kept(("lots in box", slug), make)


def all_rows(parts: WebParts, order: str) -> tuple[LotRow, ...]:
    """Give all lots that are not archived in some order; by name, without their viability."""
    store = parts.store

    def make(now_ms: int) -> tuple[LotRow, ...]:
        lots = by_name(lot for lot in store.lots() if not lot.archived)
        stays = _stays_now(store, now_ms)
        if order == USE_FIRST:
            return _use_first_rows(store, lots, stays, now_ms)
        if order == WEAKEST:
            alive = viabilities(store, lots, now_ms)
            unknown = float("inf")  # last: nothing can be said of them
            lots.sort(
                key=lambda lot: float(alive[lot.code].median_pct) if lot.code in alive else unknown
            )
            return _alive(_rows(store, lots, stays), alive)
        return _rows(store, lots, stays)

    return parts.kept(("lots", order), make)


def by_name(lots: Iterable[Lot]) -> list[Lot]:
    """Put lots in the order of kind, variety and code."""
    return sorted(lots, key=lambda lot: (kind_name(lot.kind), lot.variety, lot.code))


def with_viability(store: Store, rows: Sequence[LotRow], now_ms: int) -> tuple[LotRow, ...]:
    """Say of each lot how alive it is now."""
    return _alive(rows, viabilities(store, [store.lot(row.code) for row in rows], now_ms))


def _alive(rows: Sequence[LotRow], alive: Mapping[str, Band]) -> tuple[LotRow, ...]:
    def words(row: LotRow) -> str:
        return f"about {view.band_words(alive[row.code])}" if row.code in alive else NO_FIGURE

    return tuple(replace(row, viability=words(row)) for row in rows)


def _use_first_rows(
    store: Store, lots: Sequence[Lot], stays: Mapping[str, Stay], now_ms: int
) -> tuple[LotRow, ...]:
    """Give lots in the order of use, with what to do; those that are used up come last."""
    advised = {use.lot.code: use for use in use_first(store, now_ms)}
    places = {code: place for place, code in enumerate(advised)}
    lots = sorted(lots, key=lambda lot: places.get(lot.code, len(places)))
    plain = [lot for lot in lots if lot.code not in advised or advised[lot.code].now is None]
    rows = _alive(_rows(store, lots, stays), viabilities(store, plain, now_ms))
    return tuple(_advised(row, advised[row.code]) if row.code in advised else row for row in rows)


def _advised(row: LotRow, use: UseFirst) -> LotRow:
    words = use.words if use.now is not None else row.viability
    return replace(row, advice=use.group.capitalize(), viability=words)


def _stays_now(store: Store, now_ms: int, box: str | None = None) -> dict[str, Stay]:
    return {
        stay.lot: stay
        for stay in store.stays(box=box)
        if stay.from_ms <= now_ms and (stay.to_ms is None or now_ms < stay.to_ms)
    }


def _rows(store: Store, lots: Sequence[Lot], stays: Mapping[str, Stay]) -> tuple[LotRow, ...]:
    names = {b.slug: b.name for b in store.boxes()}
    return tuple(_row(lot, stays.get(lot.code), names) for lot in lots)


def _row(lot: Lot, stay: Stay | None, box_names: Mapping[str, str]) -> LotRow:
    return LotRow(
        code=lot.code,
        url=lot_url(lot.code),
        kind=kind_name(lot.kind),
        variety=lot.variety,
        year="" if lot.year is None else str(lot.year),
        box=Link(box_names.get(stay.box, stay.box), f"/boxes/{stay.box}") if stay else None,
        wrap=WRAP_WORDS[stay.wrap] if stay else UNKNOWN,
        advice="",
        viability=NO_FIGURE,
    )


def lots_page(parts: WebParts, query: str, order: str, part: int) -> LotsPage:
    """Give one part of all lots, or of those in which every word that was looked for stands."""
    chosen = order if order in ORDERS else NAME
    rows = all_rows(parts, chosen)
    words = query.casefold().split()
    found = [row for row in rows if all(word in _text(row) for word in words)]
    last = max(1, math.ceil(len(found) / LOTS_SHOWN))
    part = min(max(part, 1), last)
    first = (part - 1) * LOTS_SHOWN
    shown: Sequence[LotRow] = found[first : first + LOTS_SHOWN]
    if chosen == NAME:
        shown = _shown_alive(parts, tuple(shown))
    many = f"{count(len(found), 'lot')} of {len(rows)}" if words else count(len(rows), "lot")
    return LotsPage(
        title="Lots",
        query=query,
        found=many if last == 1 else f"{many}: {first + 1} to {first + len(shown)}",
        order=chosen,
        orders=tuple(
            Choice(name, _lots_url(query, key), key == chosen) for key, name in ORDERS.items()
        ),
        rows=tuple(shown),
        back=_lots_url(query, chosen, part - 1) if part > 1 else "",
        on=_lots_url(query, chosen, part + 1) if part < last else "",
        import_url="/lots/import" if parts.sheets else "",
        any_lots=bool(rows),
    )


def _shown_alive(parts: WebParts, shown: tuple[LotRow, ...]) -> tuple[LotRow, ...]:
    """Say of the lots that are shown how alive they are, of the others nothing is worked out."""

    def make(now_ms: int) -> tuple[LotRow, ...]:
        return with_viability(parts.store, shown, now_ms)

    return parts.kept(("alive", tuple(row.code for row in shown)), make, about=shown)


def _lots_url(query: str, order: str, part: int = 1) -> str:
    pairs = {"q": query, "order": order, **({"part": str(part)} if part > 1 else {})}
    return f"/lots?{urlencode(pairs)}"


def _text(row: LotRow) -> str:
    place = row.box.name if row.box else ""
    return f"{row.code} {row.kind} {row.variety} {row.year} {place}".casefold()


def lot_page(store: Store, code: str, now_ms: int, style: Style, said: Said | None) -> LotPage:
    """Give one lot."""
    outlook = lot_outlook(store, code, now_ms)
    lot, stays = outlook.lot, store.stays(lot=code)
    names = {b.slug: b.name for b in store.boxes()}
    name = kind_name(lot.kind)
    return LotPage(
        title=f"{name} {lot.variety}".strip(),
        said=said,
        archived=lot.archived,
        doing=() if lot.archived else lot_doing(code),
        kind=name,
        variety=lot.variety,
        botanical=outlook.kind.botanical if outlook.kind else "",
        code=lot.code,
        headline=view.headline(outlook),
        outlook=view.prospect(outlook, style),
        viability=view.viability(outlook),
        budget=view.budget(outlook, lot_loss_parts(store, lot, now_ms)),
        life=life_chart(store, outlook, style),
        cautions=view.cautions(outlook),
        made=view.made(outlook, WRAP_WORDS[stays[-1].wrap] if stays else UNKNOWN),
        notes=outlook.notes if outlook.now else (),
        sources=view.sources(outlook),
        facts=label_facts(lot),
        tests=test_rows(outlook, store.tests(code)),
        testing=view.how_tested(outlook),
        stays=stay_rows(stays, names, style),
        days=journal_days(store.events(lot=code, limit=LOT_EVENTS), names, style),
        journal_url=f"/journal?{urlencode({'lot': code})}",
    )


def lot_url(code: str, deed: str = "") -> str:
    """Address of a lot, or of what can be done to it."""
    return f"/lots/{in_address(code)}" + (f"/{deed}" if deed else "")


def lot_doing(code: str) -> tuple[Link, ...]:
    """Give what can be done to a lot."""
    return (
        Link("Germination test", lot_url(code, "test")),
        Link("Use seed", lot_url(code, "use")),
        Link("Move", f"/lots/move?{urlencode({'lot': code})}"),
        Link("Split", lot_url(code, "split")),
        Link("Keep it otherwise?", lot_url(code, "compare")),
        Link("Note", lot_url(code, "note")),
        Link("Label", f"/lots/labels?{urlencode({'lot': code})}"),
        Link("Correct", lot_url(code, "edit")),
        Link("Archive", lot_url(code, "archive")),
    )


def label_facts(lot: Lot) -> tuple[Fact, ...]:
    """Say what stands on a lot's label."""
    facts = []
    if lot.label_pct is not None:
        sample = "" if lot.label_n is None else f"{lot.label_n} seeds"
        facts.append(
            Fact("Germination", f"{pct(lot.label_pct)} on {iso_day(lot.label_date)}", sample)
        )
    if lot.minimum_pct is not None:
        facts.append(Fact("Minimum", pct(lot.minimum_pct), "set for this lot"))
    if lot.year is not None:
        facts.append(Fact("Year", str(lot.year)))
    if lot.source:
        facts.append(Fact("Source", lot.source))
    if lot.seeds is not None:
        facts.append(Fact("Seeds", number(lot.seeds)))
    if lot.grams is not None:
        facts.append(Fact("Weight", f"{plain(lot.grams)}{NBSP}g"))
    if lot.prepared:
        facts.append(Fact("Prepared", ", ".join(lot.prepared)))
    if lot.note:
        facts.append(Fact("Note", lot.note))
    return tuple(facts)


def test_rows(outlook: LotOutlook, tests: Sequence[GerminationTest]) -> tuple[TestRow, ...]:
    """Give the tests, the newest first, beside what was expected where that can be said."""
    expected = {seen.test.id: view.band_words(seen.expected) for seen in outlook.tests}
    return tuple(
        TestRow(
            on=test.on.isoformat(),
            result=f"{test.germinated} of {test.sown} came up "
            f"({pct(100 * test.germinated / test.sown)})",
            expected=f"expected {expected[test.id]}" if test.id in expected else "",
            method=". ".join(part for part in (test.method, test.note) if part),
        )
        for test in reversed(tests)
    )


def stay_rows(
    stays: Sequence[Stay], box_names: Mapping[str, str], style: Style
) -> tuple[StayRow, ...]:
    """Say where a lot has been, the newest first."""
    return tuple(
        StayRow(
            place=Link(box_names.get(stay.box, stay.box), f"/boxes/{stay.box}"),
            wrap=WRAP_WORDS[stay.wrap],
            span=f"{style.day(stay.from_ms)} to "
            + ("now" if stay.to_ms is None else style.day(stay.to_ms)),
        )
        for stay in reversed(stays)
    )
