"""Numbers, amounts, dates, years and names as growers write them."""

from datetime import date, datetime

import pytest

from hilum.domain.model import BoxType, Wrap
from hilum.sheets.amounts import Amount, to_amount
from hilum.sheets.dates import TwoReadings, to_date, to_year
from hilum.sheets.grid import Cell
from hilum.sheets.headings import Field, meanings, unit_of
from hilum.sheets.kindwords import UnclearName, kind_and_rest
from hilum.sheets.numbers import Numbers, to_percent
from hilum.sheets.wraps import box_type_of, wrap_of

TODAY = date(2026, 9, 21)
POINT, COMMA, UNKNOWN = Numbers("."), Numbers(","), Numbers("")
OZ = 28.349523125  # g: a sixteenth of the international pound of 0.45359237 kg (1959)


@pytest.mark.parametrize(
    ("text", "amount"),
    [
        ("5 g", Amount(grams=5)),
        ("2.5kg", Amount(grams=2500)),
        ("100mg", Amount(grams=0.1)),
        ("1/2 oz", Amount(grams=OZ / 2)),
        ("1½ oz", Amount(grams=1.5 * OZ)),
        ("1 1/4 lb", Amount(grams=1.25 * 16 * OZ)),
        ("1 lb 4 oz", Amount(grams=20 * OZ)),
        ("50", Amount(bare=50)),
        ("1,000 seeds", Amount(seeds=1000)),
        ("1 250 seeds", Amount(seeds=1250)),
        ("1'250 seeds", Amount(seeds=1250)),
        ("250 ct", Amount(seeds=250)),
        ("25 seeds left", Amount(seeds=25)),
        ("3 pkts", Amount(packets=3)),
        ("1 pkt (25 seeds)", Amount(packets=1, seeds=25)),
        ("2 packets of 50 seeds", Amount(packets=2, seeds=100)),
        ("2 x 50 seeds", Amount(seeds=100)),
        ("2 pkts, 40 seeds each", Amount(packets=2, seeds=80)),
        ("~50", Amount(bare=50, note="“~50” taken as 50")),
        ("approx 50", Amount(bare=50, note="“approx 50” taken as 50")),
        ("40-50 seeds", Amount(seeds=40, note="“40-50 seeds” taken as 40")),
        ("50+", Amount(bare=50, note="“50+” taken as 50")),
    ],
)
def test_amounts(text: str, amount: Amount) -> None:
    """Counts, weights and packets, with what was assumed."""
    found = to_amount(text, POINT)
    assert (found.seeds, found.packets, found.bare, found.note) == (
        amount.seeds,
        amount.packets,
        amount.bare,
        amount.note,
    )
    assert found.grams == (None if amount.grams is None else pytest.approx(amount.grams, rel=1e-6))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("a few", "no amount"),
        ("1/4 tsp", "no amount"),
        ("=1+1", "no amount"),
        ("46/50", "no amount"),
        ("-5", "below nothing"),
        ("-5 g", "below nothing"),
        ("1e308", "more than any lot holds"),
        ("2 t", "no amount"),
        ("5000 kg", "more than any lot weighs"),
        ("2 pkts (100 seeds)", "in all or in each"),
        ("5 g + 3 g", "two amounts"),
        ("2024-01-05", "no amount"),
        ("1.2 seeds", "no decimals"),
        (float("inf"), "counted or weighed"),
        (float("nan"), "counted or weighed"),
        (-5, "below nothing"),
        (1e308, "more than any lot holds"),
    ],
)
def test_amounts_that_cannot_be(text: Cell, said: str) -> None:
    """What is no amount, or absurd, is refused in words."""
    with pytest.raises(ValueError, match=said):
        to_amount(text, POINT)


@pytest.mark.parametrize(
    ("text", "numbers", "value"),
    [
        ("1,5", COMMA, 1.5),
        ("1.500", COMMA, 1500.0),
        ("1.500", POINT, 1.5),
        ("1,500", POINT, 1500.0),
        ("1.234.567", UNKNOWN, 1234567.0),
        ("1.234,5", UNKNOWN, 1234.5),
        ("1,234.5", UNKNOWN, 1234.5),
        ("0,250", UNKNOWN, 0.25),
        ("12,5", UNKNOWN, 12.5),
    ],
)
def test_decimals_and_thousands(text: str, numbers: Numbers, value: float) -> None:
    """A point or comma parts decimals or thousands, as the table shows."""
    assert numbers.read(text) == value


def test_a_number_that_can_be_two_is_neither() -> None:
    """Without other evidence 1,500 may be a thousand and a half, or one and a half."""
    for text in ("1,500", "1.500"):
        with pytest.raises(ValueError, match="thousand or as a decimal"):
            UNKNOWN.read(text)


@pytest.mark.parametrize(
    ("cell", "fraction", "found"),
    [
        ("92 %", False, (92.0, None, "")),
        (92, False, (92.0, None, "")),
        ("92,5%", False, (92.5, None, "")),
        (0.92, True, (92.0, None, "")),
        ("92%", True, (92.0, None, "")),
        ("46/50", False, (92.0, 50, "")),
        ("46 of 50", False, (92.0, 50, "")),
        ("85-90%", False, (85.0, None, "“85-90%” taken as 85")),
        (">85", False, (85.0, None, "“>85” taken as 85")),
    ],
)
def test_percentages(cell: Cell, fraction: bool, found: tuple[float, int | None, str]) -> None:
    """Per cent, shares of 1, counts of so many, and the lower end of a range."""
    assert to_percent(cell, COMMA, fraction=fraction) == found


@pytest.mark.parametrize("cell", ["120%", "-3", "good", "51/50", "5/0", "nan", 1e308, "92% 2023"])
def test_percentages_that_cannot_be(cell: Cell) -> None:
    """Nothing outside 0 to 100 % is a germination."""
    with pytest.raises(ValueError, match=r"\w"):
        to_percent(cell, POINT, fraction=False)


@pytest.mark.parametrize(
    ("cell", "day"),
    [
        ("2023-03-01", date(2023, 3, 1)),
        ("2023/03/01", date(2023, 3, 1)),
        ("20230301", date(2023, 3, 1)),
        ("2023-03-01T18:30:00", date(2023, 3, 1)),
        ("1.3.2023", date(2023, 3, 1)),
        ("01.03.23", date(2023, 3, 1)),
        ("13/3/2023", date(2023, 3, 13)),
        ("3/13/2023", date(2023, 3, 13)),
        ("3/3/2023", date(2023, 3, 3)),
        ("1 Mar 2023", date(2023, 3, 1)),
        ("March 1st, 2023", date(2023, 3, 1)),
        ("1er mars 2023", date(2023, 3, 1)),
        ("1. März 2023", date(2023, 3, 1)),
        ("1 maart 2023", date(2023, 3, 1)),
        ("Sunday, 5 March 2023", date(2023, 3, 5)),
        ("Mar 2023", date(2023, 3, 1)),
        ("03/2023", date(2023, 3, 1)),
        ("3/23", date(2023, 3, 1)),
        ("2023", date(2023, 1, 1)),
        (2023, date(2023, 1, 1)),
        (45000, date(2023, 3, 15)),  # Excel: =DATE(2023;3;15) shown as a number
        ("45000", date(2023, 3, 15)),
        (date(2023, 3, 1), date(2023, 3, 1)),
        (datetime(2023, 3, 1, 12, 0), date(2023, 3, 1)),  # noqa: DTZ001 - as in a workbook
    ],
)
def test_dates(cell: Cell, day: date) -> None:
    """Dates in many forms; what stands for more than a day gives the first."""
    when = to_date(cell, TODAY, day_first=None)
    assert when.day == day
    assert bool(when.note) == (str(cell) in {"Mar 2023", "03/2023", "3/23", "2023", "45000"})


def test_a_date_with_two_readings_is_asked() -> None:
    """1/3/2023 is 1 March or 3 January, as the grower says."""
    for text in ("1/3/2023", "1-3-2023", "23-03-01"):
        with pytest.raises(TwoReadings):
            to_date(text, TODAY, day_first=None)
    assert to_date("1/3/2023", TODAY, day_first=True).day == date(2023, 3, 1)
    assert to_date("1/3/2023", TODAY, day_first=False).day == date(2023, 1, 3)


@pytest.mark.parametrize(
    ("cell", "said"),
    [
        ("2031-01-01", "future"),
        ("1823-01-01", "too long ago"),
        ("31.2.2023", "no date"),
        ("tomorrow", "no date"),
        ("-5", "no date"),
        (-5, "no date"),
        (1e308, "no date"),
        ("3/11", "no date"),
        ("23/03", "no date"),
        (date(1905, 7, 15), "the year 2023"),
        ("1/1/45", "1945 or 2045|1945 or 2045"),
    ],
)
def test_dates_that_cannot_be(cell: Cell, said: str) -> None:
    """A day that has not come, never was, or is none, is refused in words."""
    with pytest.raises(ValueError, match=said):
        to_date(cell, TODAY, day_first=True)


@pytest.mark.parametrize(
    ("cell", "year", "note"),
    [
        (2023, 2023, False),
        ("2023", 2023, False),
        (26, 2026, True),
        ("'23", 2023, True),
        ("98", 1998, True),
        ("2023/24", 2023, True),
        ("harvest 2023", 2023, True),
        (date(2023, 8, 1), 2023, True),
        (date(1905, 7, 15), 2023, True),
        ("Aug 2023", 2023, True),
    ],
)
def test_years(cell: Cell, year: int, note: bool) -> None:
    """Years of harvest or packing; what was assumed is said."""
    found, said = to_year(cell, TODAY)
    assert (found, bool(said)) == (year, note)


@pytest.mark.parametrize("cell", ["45", "1823", "2031", 1e308, -2020, 2023.5, "old", "5"])
def test_years_that_cannot_be(cell: Cell) -> None:
    """Two digits that can be two centuries, and years no living seed is of, are refused."""
    with pytest.raises(ValueError, match=r"\w"):
        to_year(cell, TODAY)


@pytest.mark.parametrize(
    ("text", "key", "rest"),
    [
        ('Tomato "Boatshed Red"', "tomato", "Boatshed Red"),
        ("Tomato 'O’Mara’s Red'", "tomato", "O’Mara’s Red"),
        ("Lettuce - Winter Lamp", "lettuce", "Winter Lamp"),
        ("Lettuce – Winter Lamp", "lettuce", "Winter Lamp"),
        ("Lettuce, Winter Lamp", "lettuce", "Winter Lamp"),
        ("Tomato: Boatshed Red F1", "tomato", "Boatshed Red F1"),
        ("Tomato (Boatshed Red)", "tomato", "Boatshed Red"),
        ("Tomato Boatshed Red", "tomato", "Boatshed Red"),
        ("Boatshed Red Tomato", "tomato", "Boatshed Red"),
        ("Tomato-Boatshed", "tomato", "Boatshed"),
        ("Beans, Runner - Tall Ship", "runner-bean", "Tall Ship"),
        ("Pea Sweet Harbour", "pea", "Sweet Harbour"),
        ("Sweet Peas Harbour", "sweet-pea", "Harbour"),
        ("Solanum lycopersicum 'Boatshed Red'", "tomato", "Boatshed Red"),
        ("Lactuca sativa var. capitata 'Lamp'", "lettuce", "Lamp"),
        ("Letuce - Winter Lamp", "lettuce", "Winter Lamp"),
        ("TOMATOES", "tomato", ""),
    ],
)
def test_kind_and_variety_in_one_cell(text: str, key: str, rest: str) -> None:
    """The kind is the longest name written; the rest is the variety."""
    found = kind_and_rest(text)
    assert (found.key, found.rest) == (key, rest)


@pytest.mark.parametrize("text", ["Bean Harbour", "Orange Tomato", "Boatshed Red", "Corn - Sugar"])
def test_kinds_that_are_not_guessed(text: str) -> None:
    """A name of several kinds, of two, or of none is left to the grower."""
    with pytest.raises(UnclearName):
        kind_and_rest(text)


@pytest.mark.parametrize(
    ("text", "language"), [("Kürbis", "de"), ("Kürbis", "en"), ("courge", "fr"), ("Bohnen", "de")]
)
def test_foreign_names_of_several_kinds_are_asked_about(text: str, language: str) -> None:
    """Kürbis is three kinds of squash: the sentence names them."""
    with pytest.raises(UnclearName, match="fits more than one kind of seed"):
        kind_and_rest(text, language)


def test_the_language_of_the_list_decides() -> None:
    """Mangold is chard to a German and a fodder beet to an English grower."""
    assert kind_and_rest("Mangold", "de").key == "swiss-chard"
    assert kind_and_rest("Mangold", "en").key == "sugar-beet"


@pytest.mark.parametrize(
    ("heading", "field", "unit"),
    [
        ("Germ. %", Field.GERMINATION, "%"),
        ("Germination (%)", Field.GERMINATION, "%"),
        ("Germ test date", Field.TESTED, ""),
        ("Varity", Field.VARIETY, ""),
        ("Variety/Cultivar", Field.VARIETY, ""),
        ("No. of seeds", Field.SEEDS, "seeds"),
        ("Weight [g]", Field.GRAMS, "g"),
        ("PACKED FOR YEAR", Field.YEAR, ""),
        ("Seed_Company", Field.SOURCE, ""),
        ("Lot #", Field.CODE, ""),
        ("Keimfähigkeit in %", Field.GERMINATION, "%"),
        ("Date d'achat", Field.UNUSED, ""),
        ("Year purchased", Field.UNUSED, ""),
        ("Days to maturity", Field.UNUSED, ""),
        ("Sow by", Field.UNUSED, ""),
        ("Packed", Field.YEAR, ""),
    ],
)
def test_headings(heading: str, field: Field, unit: str) -> None:
    """Headings in many wordings; what Hilum does not keep is known as such."""
    assert meanings(heading)[0].field is field
    assert unit_of(heading) == unit


@pytest.mark.parametrize(
    ("words", "wrap"),
    [
        ("Paper envelope", Wrap.PAPER),
        ("foil packet", Wrap.FOIL),
        ("zip bag", Wrap.POLY),
        ("plastic packet", Wrap.POLY),
        ("glass jar", Wrap.JAR),
        ("cloth bag", Wrap.OPEN),
        ("Papiertüte", Wrap.PAPER),
        ("sack", None),
        ("paper in a jar", None),
    ],
)
def test_wraps(words: str, wrap: Wrap | None) -> None:
    """Words for packing; what can be two things, or none, is not guessed."""
    assert wrap_of(words) is wrap


def test_types_of_boxes() -> None:
    """A name says what a box is, or nothing."""
    assert box_type_of("Fridge jar") is BoxType.FRIDGE
    assert box_type_of("Shoe box 3") is BoxType.CARDBOARD
    assert box_type_of("Schublade A") is BoxType.DRAWER
    assert box_type_of("Number 7") is None
