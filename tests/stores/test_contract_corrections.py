"""Corrections of sensors: what every store must do with them."""

from dataclasses import replace

import pytest

from hilum.domain.corrections import Correction
from hilum.domain.errors import ConflictError, InvalidInputError, NotFoundError
from hilum.domain.ports import Store

LATER = Correction(0, "home/one", 5000, -0.3, 1.05, -2.5, "over salts")


def test_corrections_come_back_by_sensor_and_time(furnished: Store) -> None:
    """They are kept whole, listed by sensor and then by time, and numbered."""
    later = furnished.add_correction(LATER)
    other = furnished.add_correction(Correction(0, "home/two", 1000, temp_offset_c=0.5))
    first = furnished.add_correction(replace(LATER, from_ms=1000))
    assert later == replace(LATER, id=later.id)
    assert len({later.id, other.id, first.id}) == 3
    assert furnished.corrections() == [first, later, other]
    assert furnished.corrections("home/two") == [other]
    assert furnished.corrections("home/ghost") == []


def test_adding_and_removing_mark_the_sensor_from_then_on(furnished: Store) -> None:
    """What was computed from the corrected readings is asked for again, and nothing else."""
    kept = furnished.add_correction(LATER)
    (mark,) = furnished.dirty()
    assert (mark.sensor, mark.from_ms) == ("home/one", 5000)
    furnished.clear_dirty([mark])
    assert furnished.remove_correction(kept.id) == kept
    (mark,) = furnished.dirty()
    assert (mark.sensor, mark.from_ms) == ("home/one", 5000)
    assert furnished.corrections() == []


def test_number_is_not_given_again(furnished: Store) -> None:
    """A removed correction is unknown, and its number stays its own."""
    kept = furnished.add_correction(LATER)
    furnished.remove_correction(kept.id)
    with pytest.raises(NotFoundError, match="no correction"):
        furnished.remove_correction(kept.id)
    assert furnished.add_correction(LATER).id != kept.id


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"rh_gain": 0.0}, "humidity gain .* between 0.7 and 1.4, not 0"),
        ({"rh_gain": -1.0}, "humidity gain"),
        ({"rh_gain": float("nan")}, "humidity gain"),
        ({"rh_offset_pct": 20.5}, "humidity offset .* between -20 and 20 % RH, not 20.5"),
        ({"temp_offset_c": -21.0}, "temperature offset .* °C, not -21"),
        ({"temp_offset_c": float("inf")}, "temperature offset"),
        ({"from_ms": -1}, "1970"),
    ],
)
def test_absurd_correction_is_refused(furnished: Store, wrong: dict[str, float], said: str) -> None:
    """A correction no working sensor needs is refused in words, and nothing is marked."""
    with pytest.raises(InvalidInputError, match=said):
        furnished.add_correction(replace(LATER, **wrong))  # type: ignore[arg-type]
    assert furnished.corrections() == []
    assert furnished.dirty() == []


def test_two_corrections_of_one_moment_contradict(furnished: Store) -> None:
    """A second one for the same sensor and time is refused; another sensor may have one."""
    kept = furnished.add_correction(LATER)
    with pytest.raises(ConflictError, match=f"number {kept.id}"):
        furnished.add_correction(replace(LATER, rh_gain=1.0))
    furnished.add_correction(replace(LATER, sensor="home/two"))
    with pytest.raises(NotFoundError, match="no sensor"):
        furnished.add_correction(replace(LATER, sensor="home/ghost"))
