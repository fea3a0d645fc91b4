"""Correcting sensors, with a line in the journal."""

import pytest

from hilum.domain.errors import ConflictError, InvalidInputError, NotFoundError
from hilum.domain.model import EventType, Reading
from hilum.domain.ports import Store
from hilum.keeping.care.calibration import CorrectionDone, correct_sensor, uncorrect_sensor
from hilum.keeping.reckoning import corrected
from hilum.science.salts import Calibration, one_point, salt_point, two_point
from hilum.stores.memory import MemoryStore
from keeping.worlds import DAY_MS, SENSOR, T0, add_box

NOW = T0 + 100 * DAY_MS


@pytest.fixture
def store() -> Store:
    """A box with a sensor that has spoken once."""
    made = MemoryStore()
    add_box(made)
    made.add([Reading(SENSOR, T0 + 50 * DAY_MS, 20.0, 40.0)], NOW)
    return made


def correct(
    store: Store, day: int, temp_offset_c: float | None = None, humidity: Calibration | None = None
) -> CorrectionDone:
    """Correct the sensor from a day on."""
    return correct_sensor(
        store, SENSOR, T0 + day * DAY_MS, temp_offset_c=temp_offset_c, humidity=humidity,
        how="by hand", now_ms=NOW, local=str,
    )  # fmt: skip


def test_two_salts_worked_by_hand(store: Store) -> None:
    """MgCl2 33.07 % and NaCl 75.47 % at 20 °C (Greenspan 1977, J. Res. NBS 81A:89).

    Read as 35.0 and 88.0: gain = (75.47 - 33.07) / (88.0 - 35.0) = 42.40 / 53.0 = 0.8; offset =
    33.07 - 0.8 · 35.0 = 5.07; so the reading of 40.0 is 0.8 · 40.0 + 5.07 = 37.07 %.
    """
    line = two_point(salt_point("MgCl2", 20.0), 35.0, salt_point("NaCl", 20.0), 88.0)
    done = correct(store, 10, humidity=line)
    assert done.correction.rh_gain == pytest.approx(0.8)
    assert done.correction.rh_offset_pct == pytest.approx(5.07)
    newest = corrected.newest(store, SENSOR)
    assert newest is not None
    assert newest.rh_pct == pytest.approx(37.07)
    assert newest.temp_c == 20.0
    assert "humidity 0.800 × reading + 5.1 %" in done.event.text


def test_one_salt_shifts(store: Store) -> None:
    """77.0 over NaCl at 25 °C, where it is 75.29 % (Greenspan 1977), takes 1.71 off."""
    done = correct(store, 10, humidity=one_point(salt_point("NaCl", 25.0), 77.0))
    found = corrected.before(store, SENSOR, NOW)
    assert found is not None
    assert found.rh_pct == pytest.approx(40.0 - 1.71)
    assert "humidity −1.7 %" in done.event.text


def test_journal_says_both_ways(store: Store) -> None:
    """Adding and taking back are written as settings, with box, sensor and figures."""
    done = correct(store, 10, temp_offset_c=-0.3)
    back = uncorrect_sensor(store, done.correction.id, now_ms=NOW, local=str)
    assert store.corrections() == []
    events = store.events(box="tub")
    assert events == [back.event, done.event]
    assert {(e.type, e.sensor, e.time_ms) for e in events} == {(EventType.SETTING, SENSOR, NOW)}
    assert "temperature −0.3 °C" in done.event.text
    assert "taken back" in back.event.text
    assert dict(done.event.data) == {
        "action": "correct", "correction": done.correction.id, "from_ms": T0 + 10 * DAY_MS,
        "temp_offset_c": -0.3, "rh_gain": 1.0, "rh_offset_pct": 0.0, "how": "by hand",
    }  # fmt: skip


def test_quantity_not_given_stays_corrected(store: Store) -> None:
    """A correction of humidity keeps the offset of temperature that holds then, and says so."""
    first = correct(store, 10, temp_offset_c=-0.3)
    then = correct(store, 20, humidity=Calibration(1.0, -2.0))
    assert (then.correction.temp_offset_c, then.correction.rh_offset_pct) == (-0.3, -2.0)
    assert any(f"stays as correction {first.correction.id} has it" in each for each in then.notes)
    assert any("does not add to it" in each for each in then.notes)
    between = correct(store, 15, humidity=Calibration(1.0, 1.0))
    assert any(f"when correction {then.correction.id} begins" in each for each in between.notes)
    back = uncorrect_sensor(store, between.correction.id, now_ms=NOW, local=str)
    assert back.notes == (f"Correction {first.correction.id} goes on in its place.",)


def test_what_cannot_be_is_refused(store: Store) -> None:
    """Nothing to correct, a time to come, an unknown sensor or number, or twice: none is kept."""
    with pytest.raises(InvalidInputError, match="temperature, humidity or both"):
        correct(store, 10)
    with pytest.raises(InvalidInputError, match="future"):
        correct(store, 101, temp_offset_c=1.0)
    with pytest.raises(InvalidInputError, match="between -20 and 20"):
        correct(store, 10, humidity=Calibration(1.0, 21.0))
    with pytest.raises(NotFoundError, match="no sensor"):
        correct_sensor(store, "lane/ghost", T0, temp_offset_c=1.0, now_ms=NOW, local=str)
    with pytest.raises(NotFoundError, match="no correction"):
        uncorrect_sensor(store, 7, now_ms=NOW, local=str)
    assert store.corrections() == []
    assert store.events() == []
    correct(store, 10, temp_offset_c=1.0)
    with pytest.raises(ConflictError, match="already"):
        correct(store, 10, temp_offset_c=2.0)
