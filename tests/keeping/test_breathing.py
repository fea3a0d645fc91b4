"""How fast simulated boxes breathe, recovered from ten days of readings."""

import numpy as np
import pytest

from hilum.domain.errors import NotFoundError
from hilum.domain.ports import Store
from hilum.keeping.desiccant.breathing import BreathingState, breathing_outlook
from hilum.simulate.box import BoxModel, BoxSpec, SeedMass
from hilum.simulate.weather import RoomSpec, surroundings
from hilum.stores.memory import MemoryStore
from keeping.watched import NIGHT_MS, day_ms, note_charge, put_lots, watched_box

# A drawer and cardboard with little in them; a gasketed tub with gel; a jar with a rubber ring.
DRAWER = BoxSpec(volume_l=14.0, air_changes_per_day=24.0, thermal_tau_h=1.5)
CARDBOARD = BoxSpec(volume_l=10.0, air_changes_per_day=10.0, thermal_tau_h=2.0)
JAR = BoxSpec(volume_l=1.6, air_changes_per_day=0.04, start_rh_pct=30.0, thermal_tau_h=1.5)
TUB = BoxSpec(volume_l=20.0, air_changes_per_day=1.0, gel_g=200.0, gel_start=0.08)
FULL_TUB = BoxSpec(
    volume_l=20.0,
    air_changes_per_day=1.5,
    gel_g=150.0,
    gel_start=0.08,
    seeds=(SeedMass(300.0, 0.235, 4.0),),
)


def lived(spec: BoxSpec, *, seed: int, days: float = 10.0, sensor_outside: bool = True) -> Store:
    """A box in a room, with both watched for some days."""
    air = surroundings(RoomSpec(), NIGHT_MS, seed).advance(round(days * 144))
    truth = BoxModel(spec, NIGHT_MS, float(air.temp_c[0]), float(air.rh_pct[0])).advance(air)
    store = watched_box(truth, air if sensor_outside else None, volume_l=spec.volume_l)
    if spec.gel_g:
        note_charge(store, NIGHT_MS - 40 * 86_400_000, spec.gel_g)
    if spec.seeds:
        put_lots(store, [spec.seeds[0].dry_g / 0.92])
    return store


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize(
    "spec", [DRAWER, CARDBOARD, TUB, FULL_TUB], ids=["drawer", "cardboard", "tub", "full tub"]
)
def test_exchange_time_is_recovered(spec: BoxSpec, seed: int) -> None:
    """Ten days tell the simulated exchange time to 25 %, and the interval is not far from it."""
    found = breathing_outlook(lived(spec, seed=seed), "tub", day_ms(10))
    truth = 1.0 / spec.air_changes_per_day
    assert found.state is BreathingState.FITTED
    assert found.exchange is not None
    assert found.exchange.days == pytest.approx(truth, rel=0.25)
    slack = 1.05  # hourly means blur the fastest box
    assert found.exchange.low_days < truth * slack
    assert found.exchange.high_days > truth / slack


@pytest.mark.parametrize("seed", range(4))
def test_jar_is_told_apart_in_six_weeks(seed: int) -> None:
    """A jar of 25 days is recovered to 25 % in six weeks, and in ten days told to be slow."""
    long = breathing_outlook(lived(JAR, seed=seed, days=42.0), "tub", day_ms(42))
    assert long.exchange is not None
    assert long.exchange.days == pytest.approx(25.0, rel=0.25)
    short = breathing_outlook(lived(JAR, seed=seed), "tub", day_ms(10))
    assert short.exchange is None or short.exchange.days > 10.0


def test_words_say_whether_desiccant_pays() -> None:
    """In a drawer it cannot, in a tub it does; by how long 100 g of gel would last."""
    drawer = breathing_outlook(lived(DRAWER, seed=1), "tub", day_ms(10))
    tub = breathing_outlook(lived(TUB, seed=1), "tub", day_ms(10))
    assert "cannot pay" in drawer.words
    assert drawer.pays is False
    assert "pays" in tub.words
    assert tub.pays
    assert drawer.gel_days is not None
    assert tub.gel_days is not None
    # 14 L x 24 a day x about 5 g/m3 of difference fill 14.5 g of room in 8 to 10 days
    assert drawer.gel_days == pytest.approx(9.0, abs=3.0)
    assert 60.0 < tub.gel_days < 400.0


def test_gain_is_the_water_that_entered() -> None:
    """Grams a month are what the simulator let in during the last week, to a quarter."""
    air = surroundings(RoomSpec(), NIGHT_MS, 2).advance(20 * 144)
    truth = BoxModel(TUB, NIGHT_MS, 18.0, 55.0).advance(air)
    store = watched_box(truth, air, volume_l=20.0)
    note_charge(store, NIGHT_MS - 40 * 86_400_000, 200.0)
    found = breathing_outlook(store, "tub", day_ms(20))
    entered = (truth.entered_g[-1] - truth.entered_g[-7 * 144 - 1]) / 7 * 30.44
    assert found.gain_g_per_month is not None
    assert found.gain_g_per_month[1] == pytest.approx(entered, rel=0.25)


def test_without_a_sensor_outside_the_gain_is_told_or_what_to_do() -> None:
    """A tub whose gel fills tells its gain; an empty drawer asks for a second sensor."""
    store = lived(TUB, seed=3, days=45.0, sensor_outside=False)
    tub = breathing_outlook(store, "tub", day_ms(45))
    assert tub.exchange is None
    assert tub.gain_g_per_month is not None
    assert 0.5 < tub.gain_g_per_month[1] < 10.0
    drawer = breathing_outlook(lived(DRAWER, seed=1, sensor_outside=False), "tub", day_ms(10))
    assert drawer.state is BreathingState.NO_OUTSIDE
    assert "second sensor" in drawer.words


def test_too_short_a_record_says_so() -> None:
    """Three days are not enough, and an unknown box is an error."""
    store = lived(DRAWER, seed=1, days=3.0)
    assert breathing_outlook(store, "tub", day_ms(3)).state is BreathingState.NO_RECORD
    with pytest.raises(NotFoundError):
        breathing_outlook(MemoryStore(), "tub", day_ms(3))


def test_a_room_that_never_changes_tells_nothing() -> None:
    """An empty box in balance with steady air fits any exchange time: unclear, not a number."""
    air = surroundings(RoomSpec(), NIGHT_MS, 1).advance(10 * 144)
    steady = np.full(len(air.time_ms), 50.0)
    calm = type(air)(air.time_ms, np.full(len(air.time_ms), 20.0), steady)
    truth = BoxModel(BoxSpec(5.0, 2.0), NIGHT_MS, 20.0, 50.0).advance(calm)
    found = breathing_outlook(watched_box(truth, calm), "tub", day_ms(10))
    assert found.state is BreathingState.UNCLEAR
    assert "wait" in found.words
