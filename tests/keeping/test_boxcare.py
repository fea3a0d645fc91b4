"""Care of boxes and entry of lots: every refusal names its field, and nothing is written then."""

from dataclasses import replace

import pytest

from hilum.domain.errors import ConflictError, HilumError, InvalidInputError
from hilum.domain.model import Box, BoxType, EventType, Lot, Reading, Role, Wrap
from hilum.domain.ports import Store
from hilum.keeping.care import boxcare
from hilum.keeping.care.lotentry import enter_lot
from hilum.stores.memory import MemoryStore

NOW_MS = 1_764_061_920_000
HOUR_MS = 3_600_000


@pytest.fixture
def store() -> Store:
    """A store with one box and one sensor that was heard."""
    made = MemoryStore()
    made.save_box(Box("tub", "Blue tub", BoxType.TUB))
    made.add([Reading("lane/a1", NOW_MS - HOUR_MS, 18.0, 30.0)], NOW_MS)
    return made


@pytest.mark.parametrize(
    ("name", "known", "slug"),
    [
        ("Blue tub", (), "blue-tub"),
        ("Blue tub", ("blue-tub",), "blue-tub-2"),
        ("Blue tub", ("blue-tub", "blue-tub-2"), "blue-tub-3"),
        ("Größe  Ä", (), "groe-a"),
        ("種子", (), "box"),
        ("New", (), "box-new"),
        ("x" * 99, (), "x" * 60),
    ],
)
def test_short_names_fit_an_address_and_are_their_own(
    name: str, known: tuple[str, ...], slug: str
) -> None:
    """Letters of other scripts are left out; what is taken gets a number."""
    assert boxcare.slug_for(name, known) == slug


def test_adding_and_correcting_a_box_is_journaled(store: Store) -> None:
    """What was and what is stand in the line."""
    added = boxcare.add_box(store, " Cellar ", BoxType.SHELF, now_ms=NOW_MS)
    assert store.box("cellar").name == "Cellar"
    assert added.event.type is EventType.SETTING
    done = boxcare.correct_box(store, "cellar", {"gap_limit_s": 7200}, now_ms=NOW_MS)
    assert done is not None
    assert dict(done.event.data)["was gap_limit_s"] == 6 * 3600
    assert store.box("cellar").gap_limit_s == 7200
    assert boxcare.correct_box(store, "cellar", {}, now_ms=NOW_MS) is None


@pytest.mark.parametrize(
    ("values", "field"),
    [
        ({"slug": "x"}, "slug"),
        ({"name": " "}, "name"),
        ({"volume_l": 0.0}, "volume_l"),
        ({"volume_l": float("nan")}, "volume_l"),
        ({"target_low_pct": 50.0}, "target_low_pct"),
    ],
)
def test_a_box_that_cannot_be_is_refused(
    store: Store, values: dict[str, object], field: str
) -> None:
    """The error names the field, and the box is as it was."""
    before = store.box("tub")
    with pytest.raises(InvalidInputError) as refused:
        boxcare.correct_box(store, "tub", values, now_ms=NOW_MS)
    assert refused.value.field == field
    assert store.box("tub") == before


def test_a_claim_and_its_end_are_journaled(store: Store) -> None:
    """A sensor stands in a box from then to then; an end before the start is refused."""
    start = NOW_MS - HOUR_MS
    done = boxcare.claim_sensor(store, "lane/a1", "tub", Role.INSIDE, from_ms=start, now_ms=NOW_MS)
    (placed,) = store.placements(box="tub")
    assert dict(done.event.data)["placement"] == placed.id
    with pytest.raises(InvalidInputError, match="before it came"):
        boxcare.end_claim(store, placed.id, at_ms=start - 1, now_ms=NOW_MS)
    boxcare.end_claim(store, placed.id, at_ms=NOW_MS, now_ms=NOW_MS)
    assert store.placements(box="tub")[0].to_ms == NOW_MS
    with pytest.raises(ConflictError, match="no longer"):
        boxcare.end_claim(store, placed.id, at_ms=NOW_MS, now_ms=NOW_MS)


def test_nothing_is_noted_ahead_of_time_or_about_what_is_not_there(store: Store) -> None:
    """A future opening, an unknown box, lot or sensor, and empty words are refused."""
    later = NOW_MS + HOUR_MS
    with pytest.raises(InvalidInputError):
        boxcare.note_opened(store, "tub", "", at_ms=later, now_ms=NOW_MS)
    for box, lot, text in (("none", None, "x"), (None, "none", "x"), ("tub", None, " ")):
        with pytest.raises(HilumError):
            boxcare.note(store, text, box=box, lot=lot, at_ms=NOW_MS, now_ms=NOW_MS)
    with pytest.raises(HilumError):
        boxcare.claim_sensor(store, "x", "tub", Role.INSIDE, from_ms=NOW_MS, now_ms=NOW_MS)
    assert not store.events()


def test_a_lot_is_entered_in_one_step(store: Store) -> None:
    """With a code of its own, its stay and its line; or not at all."""
    lot = Lot("", "onion", "Long Keeper", label_pct=91.0)
    done = enter_lot(store, lot, box="tub", wrap=Wrap.FOIL, from_ms=NOW_MS, now_ms=NOW_MS)
    assert done.lots[0].code == "L-0001"
    assert store.stays(lot="L-0001")[0].wrap is Wrap.FOIL
    assert [event.text for event in store.events(lot="L-0001")] == ["Added: Onion."]
    wrong: tuple[tuple[Lot, str], ...] = (
        (replace(lot, code="L-0001"), "already"),
        (replace(lot, code="a\nb"), "A code has"),
        (replace(lot, kind="qwertz"), "No kind"),
        (replace(lot, year=1700), "cannot be the year"),
        (replace(lot, label_pct=140.0), "between 0 and 100"),
    )
    for each, words in wrong:
        with pytest.raises((HilumError, LookupError), match=words):
            enter_lot(store, each, box="tub", from_ms=NOW_MS, now_ms=NOW_MS)
    store.save_box(Box("tub", "Blue tub", BoxType.TUB, archived=True))
    with pytest.raises(ConflictError, match="archived"):
        enter_lot(store, lot, box="tub", from_ms=NOW_MS, now_ms=NOW_MS)
    assert len(store.lots()) == 1
    assert len(store.events()) == 1
