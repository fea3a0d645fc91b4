"""Kinds and varieties out of what a grower wrote, also where both stand in one cell."""

import csv
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache, lru_cache
from importlib.resources import files

from hilum.domain.errors import AmbiguousNameError, UnknownNameError
from hilum.science.kinds import Behaviour, find_kind, kinds
from hilum.sheets.headings import plain

_QUOTED = re.compile(
    r"^(?P<kind>[^\"“”„‘’'«»]*?)[\s,:(\-–—]*"
    r"(?:\"(?P<a>[^\"]+)\"|“(?P<b>[^”]+)”|„(?P<c>[^“”]+)[“”]|‘(?P<d>[^’]+)’|«\s*(?P<e>[^»]+?)\s*»"
    r"|(?<![\w])'(?P<f>.+)')\s*\)?(?P<rest>[^\"“”‘«]*)$"
)
_PARTED = re.compile(r"\s+[-–—|/]\s+|\s*[:;|]\s*|,\s*|\s*\(\s*|\s+[-–—](?=\w)|(?<=\w)[-–—]\s+")
_RANKS = re.compile(r"\b(var|subsp|ssp|convar|cv|f)\.\s*(?=\S)", re.IGNORECASE)
LONGEST_NAME = 5  # words
LONG_ENOUGH = 5  # letters from which a typing error is forgiven


@dataclass(frozen=True, slots=True)
class Named:
    """A kind, the rest of what was written, and what was assumed."""

    key: str
    rest: str = ""
    note: str = ""


class UnclearName(ValueError):  # noqa: N818 - the text is the reason
    """A name of no kind, or of several; the text says it."""


@lru_cache(maxsize=20_000)
def kind_of(text: str, language: str = "en") -> Named:
    """Find the kind a cell names, if it names a kind and nothing more; slips are forgiven."""
    if (key := exact(text, language)) is not None:
        return Named(key)
    try:
        match = find_kind(text)
    except (AmbiguousNameError, UnknownNameError) as error:
        raise UnclearName(str(error).rstrip(".")) from error
    slip = " read as " in match.took
    return Named(match.kind.key, note=match.took.split(": ")[0] if slip else "")


@lru_cache(maxsize=20_000)
def kind_and_rest(text: str, language: str = "en") -> Named:
    """Find kind and variety in one cell: ``Tomato "Boatshed Red"``, ``Lettuce - Winter Lamp``.

    Raises
    ------
    UnclearName
        No kind is named, or several can be meant.
    """
    return _spelt(text, language) or _misspelt(text, language)


def names_a_kind(text: str, language: str = "en") -> bool:
    """Tell whether a cell names a kind, or several, spelt right; cheap."""
    try:
        return _spelt(text, language) is not None
    except UnclearName:
        return True


def _spelt(text: str, language: str) -> Named | None:
    """Find kind and variety in a cell that spells the kind right."""
    if (whole := _longest([(text.split(), [])], language)) is not None:
        return whole
    for kind, rest in _splits(text):
        if (key := _prefix_exact(kind, language)) is not None:
            return Named(key, rest)
    return _within(text, language)


def exact(text: str, language: str = "en") -> str | None:
    """Key of the kind with exactly this name (case, accents, plural aside); ``None``: not one."""
    keys = _names(language).get(_form(text), frozenset())
    return next(iter(keys)) if len(keys) == 1 else None


def section_key(text: str, language: str = "en") -> str | None:
    """Key of the kind that a heading between rows names: “PEAS (Pisum sativum)”, “Crop: Pea”."""
    bare = text.strip().rstrip(":").strip()
    bracket = re.fullmatch(r"(.+?)\s*\(([^()]*)\)", bare)
    label, colon, rest = bare.partition(":")
    if (key := exact(bare, language)) is not None:
        return key
    if bracket and (key := exact(bracket[1], language)) is not None:
        inner = bracket[2].strip()
        return key if inner.isdigit() or exact(inner, language) in {key, None} else None
    if colon and plain(label) in {"crop", "kind", "vegetable", "art", "kultur", "gewas", "cultivo"}:
        return exact(rest, language)
    return None


def _prefix_exact(text: str, language: str) -> str | None:
    """As :func:`exact`, also with words in another order, as in “Bean, Runner”."""
    key = exact(text, language)
    if key is None and "," in text:
        key = exact(" ".join(reversed(text.split(","))), language)
    return key


def _splits(text: str) -> Iterator[tuple[str, str]]:
    """Ways to part a cell by its signs into kind and variety, the longest kind first."""
    if found := _QUOTED.match(text):
        named = next(found[name] for name in "abcdef" if found[name])
        rest = f"{named.strip()} {found['rest'].strip()}".strip()
        yield _RANKS.split(found["kind"])[0].strip(" ,-–—:("), rest
        yield found["kind"].strip(" ,-–—:("), rest
    cuts = list(_PARTED.finditer(text))
    for cut in reversed(cuts):
        rest = text[cut.end() :].strip()
        if rest.count(")") > rest.count("("):
            rest = rest.replace(")", "", 1).strip()
        yield text[: cut.start()].strip(" ,"), rest
    if found := re.match(r"(\w{3,})-(?=\w)", text):
        yield found[1], text[found.end() :].strip()
    if len(cuts) == 1:  # “Winter Lamp, Lettuce”, “Boatshed Red (tomato)”
        cut = cuts[0]
        yield text[cut.end() :].strip(" )"), text[: cut.start()].strip()


def _within(text: str, language: str) -> Named | None:
    """Find a kind in the first or last words of a cell, as they are written."""
    words = text.split()
    lengths = range(min(LONGEST_NAME, len(words) - 1), 0, -1)
    start = _longest([(words[:n], words[n:]) for n in lengths], language)
    end = _longest([(words[-n:], words[:-n]) for n in lengths], language)
    if start and end and start.key != end.key:
        names = " or ".join(kinds()[each.key].common for each in (start, end))
        raise UnclearName(f"“{text}” can be {names}; give the kind a column of its own")
    return start or end


def _misspelt(text: str, language: str) -> Named:
    """Find a kind with a typing error in it, alone or before a sign; else say why there is none."""
    for kind, rest in _splits(text):
        if len(plain(kind)) >= LONG_ENOUGH and kind != text:
            try:
                return replace(kind_of(kind, language), rest=rest)
            except UnclearName:
                continue
    if len(text.split()) > LONGEST_NAME:
        raise UnclearName(f"no kind of seed is named in “{text}”")
    return kind_of(text, language)


def _longest(pairs: list[tuple[list[str], list[str]]], language: str) -> Named | None:
    """Find the longest of several beginnings (or ends) that is the name of a kind."""
    for name, rest in pairs:
        written = " ".join(name)
        keys = _names(language).get(_form(written), frozenset())
        if len(keys) == 1:
            return Named(next(iter(keys)), " ".join(rest).strip(" ,-–—:"))
        if keys:
            names = ", ".join(kinds()[key].common for key in sorted(keys))
            raise UnclearName(f"“{written.strip(' -–—')}” fits more than one kind of seed: {names}")
    return None


def _form(text: str) -> str:
    """A name as its words in the order written, plurals aside."""
    return " ".join(_singular(word) for word in plain(text).split())


def _singular(word: str) -> str:
    for ending, singular in (("ies", "y"), ("oes", "o"), ("ches", "ch"), ("shes", "sh")):
        if word.endswith(ending):
            return word.removesuffix(ending) + singular
    if len(word) > 3 and not word.endswith(("ss", "us", "is")):
        return word.removesuffix("s")
    return word


@cache
def _names(language: str) -> dict[str, frozenset[str]]:
    """Keys by name; the language's own names count before the English and botanical ones."""
    every = kinds().values()
    seed = [
        each for each in every if each.behaviour != Behaviour.STORAGE_ORGAN and each.key != "other"
    ]
    own = [(name, key) for lang, name, key in _foreign() if lang == language]
    tiers: list[list[tuple[str, str]]] = [
        own,
        [(each.key, each.key) for each in every],
        [(each.common, each.key) for each in every],
        [(name, each.key) for each in every for name in each.synonyms],
        [(each.botanical, each.key) for each in every if each.botanical != each.species],
        [(each.species, each.key) for each in seed],
        [(each.genus, each.key) for each in seed],
    ]
    names: dict[str, frozenset[str]] = {}
    for tier in tiers:
        here: dict[str, set[str]] = {}
        for name, key in tier:
            here.setdefault(_form(name), set()).add(key)
        names |= {form: frozenset(keys) for form, keys in here.items() if form not in names}
    others: dict[str, set[str]] = {}  # other languages last, where nothing else has the name
    for lang, name, key in _foreign():
        if lang != language:
            others.setdefault(_form(name), set()).add(key)
    return {form: frozenset(keys) for form, keys in others.items()} | names


@cache
def _foreign() -> tuple[tuple[str, str, str], ...]:
    text = files("hilum.sheets").joinpath("kind_names.csv").read_text(encoding="utf-8")
    rows = csv.DictReader(line for line in text.splitlines() if not line.startswith("#"))
    return tuple(
        (row["language"], name, row["key"])
        for row in rows
        for name in (row["name"], *_plural(row["name"], row["language"]))
    )


def _plural(name: str, language: str) -> tuple[str, ...]:
    """Plural of a name where it is regular and more than an s."""
    if language == "de" and name.endswith(("e", "el")):
        return (f"{name}n",)
    bare = plain(name)
    return (f"{bare}es",) if language == "es" and bare[-1:] in "lnrdsz" else ()
