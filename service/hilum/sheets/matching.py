"""Drafts against what is kept: which lot a row speaks of, and what it would change."""

import re
from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, time, tzinfo

from hilum.domain.model import Box, BoxType, Lot, Stay, Wrap
from hilum.domain.ports import KeepingStore
from hilum.keeping.care.boxcare import slug_for
from hilum.keeping.care.register import next_lot_code
from hilum.science.kinds import kinds
from hilum.sheets.drafts import Draft, Problem, Remark
from hilum.sheets.headings import Field, plain
from hilum.sheets.verdicts import Difference, LotChange, Verdict, words_of
from hilum.sheets.wraps import box_type_of

Key = tuple[object, ...]


@dataclass(slots=True)
class Matched:
    """What became of the drafts."""

    changes: list[LotChange] = field(default_factory=list)
    boxes: list[Box] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    remarks: list[Remark] = field(default_factory=list)


class _Unclear(ValueError):  # noqa: N818 - the text is the reason
    """A row that fits no lot for certain."""


class Matcher:
    """Compares drafts with the lots that are kept.

    Parameters
    ----------
    store : KeepingStore
        What is kept.
    has : collection of Field
        Columns of the table the drafts come from: what it does not have says nothing of a lot.
    now_ms : int
        The present.
    since_ms : int or None
        Since when lots lie in their box whose row does not say it; ``None``: now.
    zone : tzinfo
        Where the days of the table begin.
    """

    def __init__(
        self,
        store: KeepingStore,
        has: Collection[Field | None],
        now_ms: int,
        since_ms: int | None,
        zone: tzinfo,
    ) -> None:
        self._lots = {lot.code: lot for lot in store.lots()}
        self._stays: dict[str, list[Stay]] = defaultdict(list)
        for stay in store.stays():
            self._stays[stay.lot].append(stay)
        self._boxes = list(store.boxes())
        self._known_boxes = len(self._boxes)
        self._has = has
        self._now_ms = now_ms
        self._since_ms = now_ms if since_ms is None else since_ms
        self._zone = zone
        self._found = Matched()
        self._next = int(next_lot_code([*self._lots])[2:])
        self._file_codes: set[str] = set()

    def match(self, drafts: Sequence[Draft]) -> Matched:
        """Find the lot of each draft and what would change; in the order of rows."""
        self._file_codes = {draft.code.casefold() for draft in drafts if draft.code}
        pairs = self._by_code([draft for draft in drafts if draft.code])
        pairs |= self._by_identity([draft for draft in drafts if not draft.code])
        for draft in drafts:
            if draft.row in pairs:
                self._compare(draft, pairs[draft.row])
        used = {change.begins.box for change in self._found.changes if change.begins is not None}
        new = self._boxes[self._known_boxes :]
        self._found.boxes = [box for box in new if box.slug in used]
        return self._found

    def _report(self, draft: Draft, reason: str) -> None:
        self._found.problems.append(Problem(draft.row, reason))

    def _remark(self, draft: Draft, text: str) -> None:
        self._found.remarks.append(Remark(draft.row, text))

    # Which lot

    def _by_code(self, drafts: Sequence[Draft]) -> dict[int, Lot | None]:
        pairs: dict[int, Lot | None] = {}
        rows: dict[str, list[Draft]] = defaultdict(list)
        for draft in drafts:
            rows[(draft.code or "").casefold()].append(draft)
        folded: dict[str, list[Lot]] = defaultdict(list)
        for lot in self._lots.values():
            folded[lot.code.casefold()].append(lot)
        for code, same in rows.items():
            if len(same) > 1:
                numbers = ", ".join(str(draft.row) for draft in same)
                for draft in same:
                    self._report(draft, f"Rows {numbers} have the same code {draft.code}.")
                continue
            (draft,) = same
            near = folded[code]
            found = self._lots.get(draft.code or "") or (near[0] if len(near) == 1 else None)
            if found is not None and found.kind != draft.kind:
                was, now = kinds()[found.kind].common, kinds()[draft.kind].common
                self._report(
                    draft, f"Lot {found.code} is {was} here and {now} in this row: another code?"
                )
                continue
            pairs[draft.row] = found
        return pairs

    def _by_identity(self, drafts: Sequence[Draft]) -> dict[int, Lot | None]:
        groups: dict[Key, list[Draft]] = defaultdict(list)
        for draft in drafts:
            groups[self._key(draft.kind, draft.values)].append(draft)
        lots: dict[Key, list[Lot]] = defaultdict(list)
        for lot in self._lots.values():
            if lot.code.casefold() not in self._file_codes:
                values = {name: getattr(lot, name) for name in ("variety", "source", "year")}
                lots[self._key(lot.kind, values)].append(lot)
        pairs: dict[int, Lot | None] = {}
        for key, group in groups.items():
            pairs |= self._pair(self._without_repeats(group), lots[key])
        return pairs

    def _key(self, kind: str, values: dict[str, object]) -> Key:
        """Kind, variety, source and year, as far as the table has them."""
        key: list[object] = [kind, str(values.get("variety", "")).casefold()]
        if Field.SOURCE in self._has:
            key.append(str(values.get("source", "")).casefold())
        if Field.YEAR in self._has:
            key.append(values.get("year"))
        return tuple(key)

    def _without_repeats(self, group: Sequence[Draft]) -> list[Draft]:
        kept: list[Draft] = []
        for draft in group:
            same = next((k for k in kept if _content(k) == _content(draft)), None)
            if same is None:
                kept.append(draft)
            else:
                self._report(
                    draft,
                    f"This row repeats row {same.row}; it is taken once. If they are two lots, "
                    "give each a code.",
                )
        return kept

    def _pair(self, drafts: list[Draft], lots: list[Lot]) -> dict[int, Lot | None]:
        """Pair rows and lots that say the same of kind, variety, source and year."""
        pairs: dict[int, Lot | None] = {}
        free = list(lots)
        for draft in sorted(drafts, key=lambda each: (-len(each.values), each.row)):
            same = next((lot for lot in free if self._agrees(draft, lot)), None)
            if same is not None:
                pairs[draft.row] = same
                free.remove(same)
        left = [draft for draft in drafts if draft.row not in pairs]
        if free and left and (len(left) > 1 or len(free) > 1):
            codes = ", ".join(lot.code for lot in free)
            for draft in left:
                self._report(
                    draft,
                    f"This row can be lot {codes} or a new one: kind, variety, source and year do "
                    "not tell. Add a column with the codes.",
                )
            return pairs
        for draft in left:
            pairs[draft.row] = free[0] if free else None
            if not free and (len(drafts) > 1 or lots):
                self._remark(
                    draft,
                    "There is another lot of this kind, variety, source and year; "
                    "this one is kept beside it.",
                )
        return pairs

    def _agrees(self, draft: Draft, lot: Lot) -> bool:
        if _merged(lot, draft) != lot:
            return False
        stay = next((stay for stay in self._stays[lot.code] if stay.to_ms is None), None)
        if not draft.box or lot.archived:
            return True
        if stay is None:
            return False
        name = self._box(stay.box).name
        return _same_name(draft.box, name) or draft.box == stay.box

    # What would change

    def _compare(self, draft: Draft, lot: Lot | None) -> None:
        if lot is not None and lot.archived:
            self._remark(draft, f"Lot {lot.code} is archived here and stays as it is.")
            self._found.changes.append(LotChange(draft.row, Verdict.SAME, lot, lot))
            return
        after = self._new(draft) if lot is None else _merged(lot, draft)
        try:
            ends, begins = self._stay(draft, after.code)
        except _Unclear as error:
            self._report(draft, str(error))
            return
        if lot is None:
            self._next += not draft.code
            change = LotChange(draft.row, Verdict.NEW, after, begins=begins)
            self._found.changes.append(change)
            return
        differences = [
            Difference(name, words_of(getattr(lot, name)), words_of(getattr(after, name)))
            for name in draft.values
            if getattr(lot, name) != getattr(after, name)
        ]
        if begins is not None:
            was = self._box(ends.box).name if ends else ""
            name = self._box(begins.box).name
            if ends and ends.box == begins.box:
                was, name = f"{was}, {ends.wrap}", f"{name}, {begins.wrap}"
            differences.append(Difference("box", words_of(was), name))
        verdict = Verdict.CHANGED if differences else Verdict.SAME
        self._found.changes.append(
            LotChange(draft.row, verdict, after, lot, tuple(differences), ends, begins)
        )

    def _new(self, draft: Draft) -> Lot:
        while not draft.code and f"l-{self._next:04d}" in self._file_codes:
            self._next += 1
        code = draft.code or f"L-{self._next:04d}"
        return replace(Lot(code, draft.kind), **draft.values)  # type: ignore[arg-type]

    def _stay(self, draft: Draft, code: str) -> tuple[Stay | None, Stay | None]:
        """Give the stay that ends and the one that begins, if the row says so."""
        if not draft.box:
            return None, None
        stays = self._stays[code]
        last = stays[-1] if stays else None
        box = self._box_named(draft)
        wrap = draft.wrap or (last.wrap if last else Wrap.PAPER)
        if last and last.to_ms is None and (last.box, last.wrap) == (box.slug, wrap):
            return None, None
        if box.archived:
            raise _Unclear(f"Box “{box.name}” is archived here; nothing can be put into it.")
        begins = Stay(0, code, box.slug, wrap, self._from_ms(draft, last))
        if last is None or last.to_ms is not None:
            return None, begins
        return replace(last, to_ms=begins.from_ms), begins

    def _from_ms(self, draft: Draft, last: Stay | None) -> int:
        from_ms = self._since_ms
        if draft.since is not None:
            day = datetime.combine(draft.since, time(), self._zone)
            from_ms = round(day.timestamp() * 1000)
        elif last is not None:
            from_ms = self._now_ms
        from_ms = min(self._now_ms, from_ms if draft.since_ms is None else draft.since_ms)
        if from_ms < 0:
            raise _Unclear(f"{draft.since} is too long ago to have been put into a box here.")
        if last is not None and from_ms < (last.from_ms if last.to_ms is None else last.to_ms):
            since = datetime.fromtimestamp(last.from_ms / 1000, self._zone).date()
            raise _Unclear(
                f"It is in box “{self._box(last.box).name}” since {since} here; it cannot have "
                f"been in another since {draft.since}."
            )
        return from_ms

    # Boxes

    def _box(self, slug: str) -> Box:
        return next(box for box in self._boxes if box.slug == slug)

    def _box_named(self, draft: Draft) -> Box:
        name = plain(draft.box)
        found = [box for box in self._boxes if _same_name(draft.box, box.name)]
        found = found or [box for box in self._boxes if box.slug == name.replace(" ", "-")]
        if len(found) > 1:
            raise _Unclear(f"There are several boxes called “{draft.box}” here.")
        return found[0] if found else self._new_box(draft)

    def _new_box(self, draft: Draft) -> Box:
        if not re.search(r"[^\W_]", draft.box):
            raise _Unclear(f"“{draft.box}” cannot be the name of a box: it has no letters.")
        if len(draft.box) > 200:
            raise _Unclear("The name of the box is too long.")
        slug = slug_for(draft.box, {box.slug for box in self._boxes})
        box = Box(slug, draft.box, box_type_of(draft.box) or BoxType.TUB)
        self._boxes.append(box)
        return box


def _same_name(one: str, other: str) -> bool:
    """Compare names of boxes; in scripts that leave no plain words, as they are."""
    if plain(one) and plain(other):
        return plain(one) == plain(other)
    return one.casefold().strip() == other.casefold().strip()


def _content(draft: Draft) -> Key:
    return draft.kind, draft.values, draft.box, draft.wrap, draft.since


def _merged(lot: Lot, draft: Draft) -> Lot:
    """Give a lot with what a row says of it; a note is added to, not replaced."""
    values = dict(draft.values)
    if "note" in values and lot.note:
        said = str(values["note"])
        values["note"] = lot.note if said in lot.note else f"{lot.note}; {said}"
    return replace(lot, **values)  # type: ignore[arg-type]
