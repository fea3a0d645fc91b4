"""Dates and years as growers write them.

What cannot be read raises ``ValueError`` with the reason in words; what can be read two ways raises
``TwoReadings`` (a ``ValueError`` too), so that the grower can be asked.
"""

import re
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from hilum.sheets.grid import Cell, text_of

OLDEST_YEAR = 1900
LONG_AGO = 60
"""Years after which a year of harvest is worth a second look."""
OLD_CENTURY_FROM = 70  # two digits from here on are of the 1900s
_EPOCH = date(1899, 12, 30)  # day 0 of a spreadsheet's dates, right from March 1900 on
_SERIALS = (32_874, 60_000)  # 1990 to 2064
_MONTHS = (
    "jan januar january januari janvier janv jänner enero ene",
    "feb februar february februari février fév fevrier fev févr febrero",
    "mar march märz maerz mär mrz maart mrt mars marzo",
    "apr april avril avr abril abr",
    "may mai mei mayo",
    "jun june juni juin junio",
    "jul july juli juillet juil julio",
    "aug august augustus août aout agosto ago",
    "sep sept september septembre septiembre setiembre",
    "oct october okt oktober octobre octubre",
    "nov november novembre noviembre",
    "dec december dez dezember décembre decembre déc diciembre dic",
)
MONTHS = {name: number for number, names in enumerate(_MONTHS, start=1) for name in names.split()}
_OF = {"", "of", "de", "del", "du", "van", "am", "im", "le", "en", "el", "in", "on"}
_SEASONS = (
    "spring|summer|autumn|fall|winter|early|mid|late|end|of|in|the|frühjahr|frühling|sommer|herbst|"
    "anfang|mitte|ende|im|printemps|été|automne|hiver|début|fin|de|en|voorjaar|lente|zomer|najaar|"
    "herfst|begin|eind|van|het|primavera|verano|otoño|invierno|principios|finales|del|approx\\.?|"
    "about|around|ca\\.?|c\\.|circa|roughly|est\\.?|env\\.?|environ|etwa|ungefähr|ongeveer|hacia|"
    "aprox\\.?"
)
_HARVESTED = (
    "harvest(ed)?|packed|packing|pkd|saved|grown|season|crop|year|for|ernte|geerntet|saison|jahr|"
    "récolte|récolté|année|oogst|geoogst|seizoen|jaar|cosecha|cosechado|temporada|año"
)
_BESIDE_DATE = re.compile(rf"(?<!\w)({_SEASONS})(?!\w)\s*[:.-]?|^[~≈±]", re.IGNORECASE)
_BESIDE_YEAR = re.compile(rf"(?<!\w)({_SEASONS}|{_HARVESTED})(?!\w)\s*[:.-]?|^[~≈±]", re.IGNORECASE)
"""Words beside a year that leave it the same year."""


class TwoReadings(ValueError):  # noqa: N818 - it is a question, not an error
    """A date that can be read day first and month first."""


@dataclass(frozen=True, slots=True)
class When:
    """A date, and what was assumed in reading it."""

    day: date
    note: str = ""


def to_date(cell: Cell, today: date, *, day_first: bool | None) -> When:
    """Read a day that has come; a month or year alone gives its first day, which is said."""
    when = _read(cell, today, day_first)
    if when.day > today + timedelta(days=1):
        raise ValueError(f"{when.day} lies in the future")
    if when.day.year < OLDEST_YEAR:
        raise ValueError(f"{when.day} is too long ago for any seed that lives")
    if when.day.year == 1905 and not isinstance(cell, str):
        raise ValueError(
            f"{when.day} looks like the year {(when.day - _EPOCH).days} in a cell made for dates"
        )
    return when


def _read(cell: Cell, today: date, day_first: bool | None) -> When:
    if isinstance(cell, datetime):
        return When(cell.date())
    if isinstance(cell, date):
        return When(cell)
    text = text_of(cell)
    if not isinstance(cell, str) or re.fullmatch(r"\d{5}(\.\d+)?", text):
        return _number(text)
    try:
        return _text(text, today, day_first)
    except TwoReadings:
        raise
    except ValueError:
        bare = _BESIDE_DATE.sub(" ", text).strip(" ,;:()")
        if bare == text or not bare:
            raise
        found = _text(bare, today, day_first)
        return When(found.day, f"“{text}” taken as {found.day}")


def _number(text: str) -> When:
    if re.fullmatch(r"(19|20)\d\d", text):
        return _first_of(date(int(text), 1, 1), text)
    try:
        value = float(text)
    except ValueError:
        raise _no_date(text) from None
    if not _SERIALS[0] <= value <= _SERIALS[1]:
        raise _no_date(text)
    day = _EPOCH + timedelta(days=int(value))
    return When(day, f"“{text}” read as {day}, the date a spreadsheet keeps as this number")


def _text(text: str, today: date, day_first: bool | None) -> When:
    bare = re.sub(
        r"[T ]\d{1,2}[:.]\d\d([:.]\d\d)?(\.\d+)?( ?[AP]M| Uhr)?(Z|[+-]\d\d:?\d\d)?$",
        "",
        text,
        flags=re.IGNORECASE,
    )
    bare = re.sub(
        r"^(mon|tues?|wed(nes)?|thu(rs)?|fri|sat(ur)?|sun)(day)?\.?,?\s+",
        "",
        bare,
        flags=re.IGNORECASE,
    )
    if found := re.fullmatch(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})", bare):
        return When(_day(int(found[1]), int(found[2]), int(found[3]), text))
    if re.fullmatch(r"\d{8}", bare):
        return When(_day(int(bare[:4]), int(bare[4:6]), int(bare[6:]), text))
    if (day := _month_or_year(bare, text, today)) is not None:
        return _first_of(day, text)
    if found := re.fullmatch(r"(\d{1,2})\s?([-/.])\s?(\d{1,2})\s?\2\s?(\d{4}|\d\d)", bare):
        order = True if found[2] == "." else day_first
        if found[2] == "-" and len(found[4]) == 2 and not order:
            raise TwoReadings(f"“{text}” can be read day first or year first")
        return _three(int(found[1]), int(found[3]), _year(found[4], today), text, order)
    return _named_month(bare, text, today)


def _month_or_year(bare: str, text: str, today: date) -> date | None:
    """First day of a year, or of a month written as 03/2023, 2023-03, or 3/23."""
    if re.fullmatch(r"(19|20)\d\d", bare):
        return date(int(bare), 1, 1)
    if found := re.fullmatch(r"(\d{1,2})[-/.\s](\d{4})|(\d{4})[-/.](\d{1,2})", bare):
        return _day(int(found[2] or found[3]), int(found[1] or found[4]), 1, text)
    found = re.fullmatch(r"(\d{1,2})[-/.](\d\d)", bare)
    if found and int(found[2]) > 12:  # no day and month: it has a year in it
        return _day(_year(found[2], today), int(found[1]), 1, text)
    return None


def _three(one: int, two: int, year: int, text: str, day_first: bool | None) -> When:
    can_day_first, can_month_first = two <= 12, one <= 12
    if can_day_first and can_month_first and one != two:
        if day_first is None:
            raise TwoReadings(f"“{text}” can be read day first or month first")
        return When(_day(year, two if day_first else one, one if day_first else two, text))
    if can_day_first:
        return When(_day(year, two, one, text))
    return When(_day(year, one, two, text))


def _named_month(bare: str, text: str, today: date) -> When:
    words = [word for word in re.split(r"[\s,./'’-]+", bare.casefold()) if word not in _OF]
    words = [re.sub(r"^(\d{1,2})(st|nd|rd|th|er|e)$", r"\1", word) for word in words]
    months = [word for word in words if word in MONTHS]
    digits = [word for word in words if word.isdigit()]
    if len(months) != 1 or len(months) + len(digits) != len(words) or not digits:
        raise _no_date(text)
    month = MONTHS[months[0]]
    if len(digits) == 1:
        return _first_of(_day(_year(digits[0], today), month, 1, text), text)
    if len(digits) > 2:
        raise _no_date(text)
    first, last = digits
    if len(first) == 4:
        first, last = last, first
    return When(_day(_year(last, today), month, int(first), text))


def _first_of(day: date, text: str) -> When:
    return When(day, f"“{text}” taken as {day}")


def _day(year: int, month: int, day: int, text: str) -> date:
    try:
        return date(year, month, day)
    except ValueError:
        raise _no_date(text) from None


def _no_date(text: str) -> ValueError:
    return ValueError(f"“{text}” is no date that could be read")


def _year(text: str, today: date) -> int:
    """Read the year in a date; two digits only where one century alone makes sense."""
    number = int(text)
    if len(text) == 4:
        return number
    if 2000 + number <= today.year + 1:
        return 2000 + number
    if number >= OLD_CENTURY_FROM:
        return 1900 + number
    raise ValueError(f"“{text}” as a year can be 19{text} or 20{text}; write all four digits")


def to_year(cell: Cell, today: date) -> tuple[int, str]:
    """Read a year of harvest or packing, and what was assumed."""
    if isinstance(cell, date):
        return _year_of_date(cell, today)
    text = text_of(cell)
    if isinstance(cell, float) and not cell.is_integer():
        raise ValueError(f"“{text}” is no year that could be read")
    bare = _bare_year(text)
    short = re.fullmatch(r"['’]?(\d\d)", bare)
    if short:
        year = _year(short[1], today)
        return _checked(year, today), f"year “{text}” read as {year}"
    if re.fullmatch(r"\d{4}", bare):
        year = _checked(int(bare), today)
        odd = bare != text or year < today.year - LONG_AGO
        return year, f"year “{text}” read as {year}" if odd else ""
    if span := re.fullmatch(r"['’]?(\d{4}|\d\d)\s?[-/–]\s?['’]?(\d{4}|\d\d)", bare):
        year = _year(span[1], today) if len(span[1]) == 2 else int(span[1])
        end = year // 100 * 100 + int(span[2]) if len(span[2]) == 2 else int(span[2])
        if end - year == 1 and bare[:2] + bare[-2:] in {"1011", "1112", "1213"}:
            raise ValueError(f"“{text}” can be a season or a month")
        if end - year == 1:
            return _checked(year, today), f"year “{text}” read as {year}"
    if re.fullmatch(r"\d{5}", bare):
        return _year_of_date(_number(bare).day, today)
    try:
        when = _text(bare, today, day_first=True)
    except ValueError:
        raise ValueError(f"“{text}” is no year that could be read") from None
    return _checked(when.day.year, today), f"year “{text}” read as {when.day.year}"


def _bare_year(text: str) -> str:
    """Take off what leaves a year the same: a season, “packed for”, a remark in brackets."""
    bare = re.sub(r"(?<=\d)\s*\([^\d()]*\)$|(?<=\d{4})\.0+$", "", text)
    bare = _BESIDE_YEAR.sub(" ", bare).strip(" ,;:?*()")
    return re.sub(r"^['’](?=\d{4}$)", "", bare)


def _year_of_date(day: date, today: date) -> tuple[int, str]:
    if day.year == 1905:  # a year typed into a cell made for dates: 2023 becomes 1905-07-15
        year = ((day.date() if isinstance(day, datetime) else day) - _EPOCH).days
        return _checked(year, today), f"{day:%Y-%m-%d} read as the year {year}"
    return _checked(day.year, today), f"year of {day:%Y-%m-%d}"


def _checked(year: int, today: date) -> int:
    if year > today.year + 1:
        raise ValueError(f"the year {year} lies in the future")
    if year < OLDEST_YEAR:
        raise ValueError(f"the year {year} is too long ago for any seed that lives")
    return year
