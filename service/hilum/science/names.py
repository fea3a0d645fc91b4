"""Forgiving look-up of names: case, plurals, word order, hyphens and small typing errors.

A name that fits more than one entry is never guessed, and one that fits none is answered with the
nearest. What was understood is always said.
"""

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from difflib import get_close_matches

from hilum.science.errors import AmbiguousNameError, UnknownNameError

_IGNORED = {"x", "spp", "sp", "subsp", "ssp", "var", "group", "the", "hybrid", "hybrids"}
_SEED = {"seed"}
_NEAREST = 5  # names offered for an unknown one
_ONE_SLIP = 5  # letters from which one typing error is forgiven
_TWO_SLIPS = 8  # and two


@dataclass(frozen=True, slots=True)
class NameHit:
    """Entry a name was taken for; ``written`` is the table's spelling when a slip was forgiven."""

    key: str
    written: str | None = None


class NameIndex:
    """Names of the entries of a table, in tiers: a later one counts only where no earlier one does.

    Parameters
    ----------
    what : str
        The table in words ("kind of seed"), for errors.
    titles : dict of str
        What to call each entry in errors, by key.
    tiers : iterable of iterable of (str, str)
        For each tier its names and the keys they stand for; a name may stand for several keys.
    """

    def __init__(
        self, what: str, titles: dict[str, str], tiers: Iterable[Iterable[tuple[str, str]]]
    ) -> None:
        self._what = what
        self._titles = titles
        self._tiers: list[dict[str, set[str]]] = []
        self._spelling: dict[str, str] = {}
        for names in tiers:
            tier: dict[str, set[str]] = {}
            for name, key in names:
                words = _words(name)
                self._spelling.setdefault("".join(words), name)
                for form in {" ".join(sorted(words)), "".join(words)}:
                    tier.setdefault(form, set()).add(key)
            self._tiers.append(tier)

    def find(self, name: str) -> NameHit:
        """Find the one entry a name stands for.

        Parameters
        ----------
        name : str
            As typed.

        Returns
        -------
        NameHit
            Its key, and the spelling it was read as when a typing error was forgiven.

        Raises
        ------
        AmbiguousNameError
            The name stands for several entries.
        UnknownNameError
            The name stands for none; the nearest are offered.

        Examples
        --------
        >>> titles = {"pea": "Pea", "sweet-pea": "Sweet pea"}
        >>> names = [("pea", "pea"), ("sweet pea", "sweet-pea")]
        >>> index = NameIndex("kind of seed", titles, [names])
        >>> index.find("Sweet-Peas").key
        'sweet-pea'

        References
        ----------
        Own rule.
        """
        words = _words(name)
        spellings = [words, [word for word in words if word not in _SEED]]
        for form in (form for each in spellings if each for form in _forms(each)):
            for tier in self._tiers:
                if form in tier:
                    return NameHit(self._only(name, tier[form]))
        return self._forgiven(name, "".join(words))

    def _forgiven(self, name: str, typed: str) -> NameHit:
        """Find the entry whose name is one or two typing errors away."""
        allowed = (len(typed) >= _ONE_SLIP) + (len(typed) >= _TWO_SLIPS)
        slips = {form: slip_count(typed, form, allowed) for form in self._spelling}
        fewest = min(slips.values())
        if fewest > allowed:
            raise UnknownNameError(self._what, name, self._nearest(name))
        close = [form for form, count in slips.items() if count == fewest]
        keys = {key for form in close for key in self._keys(form)}
        return NameHit(self._only(name, keys), self._spelling[close[0]])

    def _keys(self, form: str) -> set[str]:
        """Keys of a known form, from the first tier that has it."""
        return next(tier[form] for tier in self._tiers if form in tier)

    def _only(self, name: str, keys: set[str]) -> str:
        if len(keys) > 1:
            candidates = tuple(title for key, title in self._titles.items() if key in keys)
            raise AmbiguousNameError(self._what, name, candidates)
        return next(iter(keys))

    def _nearest(self, name: str) -> tuple[str, ...]:
        """Entries named inside what was typed, then those spelled most like it."""
        words = set(_words(name))
        forms = [form for tier in self._tiers[:2] for form in tier if set(form.split()) <= words]
        typed = "".join(_words(name))
        forms += get_close_matches(typed, self._spelling, n=_NEAREST, cutoff=0.6)
        found = dict.fromkeys(key for form in forms for key in sorted(self._keys(form)))
        return tuple(self._titles[key] for key in found)[:_NEAREST]


def _forms(words: list[str]) -> tuple[str, str]:
    """Two forms under which a name is kept: words in any order, and run together."""
    return " ".join(sorted(words)), "".join(words)


def _words(name: str) -> list[str]:
    """Words of a name without case, accents, punctuation and plural, in the order written."""
    plain = unicodedata.normalize("NFKD", name.replace("×", " x ").replace("&", " and "))
    plain = "".join(sign for sign in plain.casefold() if not unicodedata.combining(sign))
    words = re.findall(r"[a-z0-9]+", re.sub(r"['’‘`]", "", plain))
    kept = [_singular(word) for word in words if word not in _IGNORED]
    return kept or words


def _singular(word: str) -> str:
    """Strip an English plural; both sides are stripped, so it need not be right, only the same."""
    if len(word) <= 3 or word.endswith(("ss", "us", "is")):  # "pea", "oat"
        return word
    for ending, singular in (("ies", "y"), ("oes", "o"), ("ches", "ch"), ("shes", "sh")):
        if word.endswith(ending):
            return word.removesuffix(ending) + singular
    for ending in ("sses", "xes"):
        if word.endswith(ending):
            return word.removesuffix("es")
    return word.removesuffix("s")


def slip_count(one: str, other: str, limit: int) -> int:
    """Count the typing errors between two words: letters wrong, missing, extra or swapped.

    Parameters
    ----------
    one, other : str
        The words.
    limit : int
        Most errors of interest [errors], 0 or more.

    Returns
    -------
    int
        Optimal string alignment distance [errors], or ``limit + 1`` when it is larger.

    Examples
    --------
    >>> slip_count("letuce", "lettuce", limit=1)
    1

    References
    ----------
    Damerau 1964, Commun. ACM 7:171-176 (the four errors counted).
    """
    if abs(len(one) - len(other)) > limit:
        return limit + 1
    before: list[int] = []
    row = list(range(len(other) + 1))
    for i, letter in enumerate(one, start=1):
        last, before, row = before, row, [i]
        for j, beside in enumerate(other, start=1):
            cost = min(before[j] + 1, row[j - 1] + 1, before[j - 1] + (letter != beside))
            if i > 1 and j > 1 and letter == other[j - 2] and one[i - 2] == beside:
                cost = min(cost, last[j - 2] + 1)
            row.append(cost)
        if min(row) > limit:
            return limit + 1
    return min(row[-1], limit + 1)
