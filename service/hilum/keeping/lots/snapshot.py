"""A store whose lots, stays, tests and boxes are read once: for a run over many lots."""

from collections import defaultdict
from collections.abc import Sequence
from functools import cached_property
from typing import TYPE_CHECKING, cast

from hilum.domain.errors import NotFoundError
from hilum.domain.model import Box, GerminationTest, Lot, Stay
from hilum.domain.ports import Store


class Snapshot:
    """Reads what people entered in one go; everything else is asked of the store below.

    Parameters
    ----------
    below : Store
        The store. What changes in it later is not seen.
    """

    def __init__(self, below: Store) -> None:
        self._below = below

    if not TYPE_CHECKING:

        def __getattr__(self, name: str) -> object:
            return getattr(self._below, name)

    @property
    def store(self) -> Store:
        """The same as a store."""
        return cast("Store", self)

    @cached_property
    def _lots(self) -> dict[str, Lot]:
        return {lot.code: lot for lot in self._below.lots()}

    @cached_property
    def _boxes(self) -> dict[str, Box]:
        return {box.slug: box for box in self._below.boxes()}

    @cached_property
    def _stays(self) -> dict[str, list[Stay]]:
        found: dict[str, list[Stay]] = defaultdict(list)
        for stay in self._below.stays():
            found[stay.lot].append(stay)
        return found

    @cached_property
    def _tests(self) -> dict[str, list[GerminationTest]]:
        found: dict[str, list[GerminationTest]] = defaultdict(list)
        for test in self._below.tests():
            found[test.lot].append(test)
        return found

    def lots(self) -> Sequence[Lot]:
        """Every lot, by code."""
        return list(self._lots.values())

    def lot(self, code: str) -> Lot:
        """Give one lot."""
        if code not in self._lots:
            raise NotFoundError(f"There is no lot “{code}” here.")
        return self._lots[code]

    def boxes(self) -> Sequence[Box]:
        """Every box, by name."""
        return list(self._boxes.values())

    def box(self, slug: str) -> Box:
        """Give one box."""
        if slug not in self._boxes:
            raise NotFoundError(f"There is no box “{slug}” here.")
        return self._boxes[slug]

    def stays(self, *, lot: str | None = None, box: str | None = None) -> Sequence[Stay]:
        """In order of start."""
        if lot is None:
            return self._below.stays(box=box)
        return [stay for stay in self._stays.get(lot, ()) if box in (None, stay.box)]

    def tests(self, lot: str | None = None) -> Sequence[GerminationTest]:
        """Germination tests in order of date."""
        return self._below.tests() if lot is None else list(self._tests.get(lot, ()))

    def open_stay(self, lot: str, at_ms: int) -> Stay | None:
        """Give the stay a lot is in at a time."""
        for stay in self._stays.get(lot, ()):
            if stay.from_ms <= at_ms and (stay.to_ms is None or at_ms < stay.to_ms):
                return stay
        return None
