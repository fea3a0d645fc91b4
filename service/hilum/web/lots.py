"""What the pages say about lots."""

from collections.abc import Mapping, Sequence
from urllib.parse import quote, urlencode

from hilum.domain.model import GerminationTest, Lot, Stay, Wrap
from hilum.domain.ports import Store
from hilum.keeping.lots.outlook import LotOutlook, lot_outlook, viabilities
from hilum.keeping.lots.usefirst import UseFirst, use_first
from hilum.science.errors import UnknownNameError
from hilum.science.kinds import Kind, kind
from hilum.science.posterior import Band
from hilum.web import outlook as view
from hilum.web.contexts import Choice, LotPage, LotRow, LotsPage, StayRow, TestRow
from hilum.web.format import NBSP, UNKNOWN, Style, count, iso_day, number, pct
from hilum.web.life import life_chart
from hilum.web.pieces import Fact, Link, Said
from hilum.web.records import journal_days

LOT_EVENTS = 8
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


def lot_rows(
    store: Store, now_ms: int, box: str | None = None, order: str = NAME
) -> tuple[LotRow, ...]:
    """Give the lots that are not archived, those in one box or all, by name or viability."""
    names = {b.slug: b.name for b in store.boxes()}
    stays = {
        stay.lot: stay
        for stay in store.stays(box=box)
        if stay.from_ms <= now_ms and (stay.to_ms is None or now_ms < stay.to_ms)
    }
    lots = [lot for lot in store.lots() if not lot.archived]
    if box is not None:
        lots = [lot for lot in lots if lot.code in stays]
    lots.sort(key=lambda lot: (kind_name(lot.kind), lot.variety, lot.code))
    alive = viabilities(store, lots, now_ms)
    if order == WEAKEST:
        unknown = float("inf")  # last: nothing can be said of them
        lots.sort(
            key=lambda lot: float(alive[lot.code].median_pct) if lot.code in alive else unknown
        )
    advised = {use.lot.code: use for use in use_first(store, now_ms)} if order == USE_FIRST else {}
    if advised:
        places = {code: place for place, code in enumerate(advised)}
        lots.sort(key=lambda lot: places.get(lot.code, len(places)))
    return tuple(
        _row(lot, stays.get(lot.code), alive.get(lot.code), names, advised.get(lot.code))
        for lot in lots
    )


def _row(
    lot: Lot,
    stay: Stay | None,
    alive: Band | None,
    box_names: Mapping[str, str],
    advised: UseFirst | None,
) -> LotRow:
    place = Link(box_names.get(stay.box, stay.box), f"/boxes/{stay.box}") if stay else None
    return LotRow(
        code=lot.code,
        url=lot_url(lot.code),
        kind=kind_name(lot.kind),
        variety=lot.variety,
        year="" if lot.year is None else str(lot.year),
        box=place,
        wrap=WRAP_WORDS[stay.wrap] if stay else UNKNOWN,
        advice=advised.group.capitalize() if advised else "",
        viability=_alive_words(alive, advised),
    )


def _alive_words(alive: Band | None, advised: UseFirst | None) -> str:
    if advised and advised.now is not None:
        return advised.words
    return f"about {view.band_words(alive)}" if alive else NO_FIGURE


def lots_page(
    store: Store, query: str, order: str, now_ms: int, *, import_url: str = ""
) -> LotsPage:
    """Give all lots, or those in which every word that was looked for stands, in some order."""
    chosen = order if order in ORDERS else NAME
    rows = lot_rows(store, now_ms, order=chosen)
    words = query.casefold().split()
    found = tuple(row for row in rows if all(word in _text(row) for word in words))
    return LotsPage(
        title="Lots",
        query=query,
        found=f"{count(len(found), 'lot')} of {len(rows)}" if words else count(len(rows), "lot"),
        orders=tuple(
            Choice(name, f"/lots?{urlencode({'q': query, 'order': key})}", key == chosen)
            for key, name in ORDERS.items()
        ),
        rows=found,
        import_url=import_url,
        any_lots=bool(rows),
    )


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
        budget=view.budget(outlook),
        life=life_chart(store, outlook, style),
        cautions=view.cautions(outlook),
        made=view.made(outlook, WRAP_WORDS[stays[-1].wrap] if stays else UNKNOWN),
        notes=outlook.notes if outlook.now else (),
        facts=label_facts(lot),
        tests=test_rows(outlook, store.tests(code)),
        testing=view.how_tested(outlook),
        stays=stay_rows(stays, names, style),
        days=journal_days(store.events(lot=code, limit=LOT_EVENTS), names, style),
        journal_url=f"/journal?{urlencode({'lot': code})}",
    )


def lot_url(code: str, deed: str = "") -> str:
    """Address of a lot, or of what can be done to it."""
    return f"/lots/{quote(code, safe='')}" + (f"/{deed}" if deed else "")


def lot_doing(code: str) -> tuple[Link, ...]:
    """Give what can be done to a lot."""
    return (
        Link("Germination test", lot_url(code, "test")),
        Link("Use seed", lot_url(code, "use")),
        Link("Move", f"/lots/move?{urlencode({'lot': code})}"),
        Link("Split", lot_url(code, "split")),
        Link("Keep it otherwise?", lot_url(code, "compare")),
        Link("Note", lot_url(code, "note")),
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
        facts.append(Fact("Weight", f"{number(lot.grams, 1)}{NBSP}g"))
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
