import json

import numpy as np
import pytest

from hilum.domain.model import MS_PER_HOUR
from hilum.ingest.senml import decode_senml
from hilum.simulate.sensor import SensorSpec, WrongClock, measure, minutes, senml
from hilum.simulate.weather import Climate

TRUTH = Climate(np.array([0, 24 * MS_PER_HOUR]), np.array([10.0, 20.0]), np.array([30.0, 30.0]))


def rng() -> np.random.Generator:
    """The same noise every time."""
    return np.random.default_rng(5)


def test_a_sensor_adds_its_offset_and_noise() -> None:
    """The mean error is the offset, its spread the noise, both within four standard errors."""
    spec = SensorSpec("a/b", offset_rh_pct=1.5, noise_rh_pct=0.5, lost_share=0.0)
    times = minutes(spec, 0, 24 * MS_PER_HOUR)
    good, _ = measure(spec, TRUTH, times, rng())
    error = good.rh_pct - 30.0
    assert len(good) == 1440
    assert error.mean() == pytest.approx(1.5, abs=4 * 0.5 / 38)
    assert error.std() == pytest.approx(0.5, rel=0.1)


def test_values_come_in_the_sensors_steps() -> None:
    """A sensor with steps of 0.5 shows nothing in between."""
    spec = SensorSpec("a/b", step_temp_c=0.5, step_rh_pct=0.5)
    good, _ = measure(spec, TRUTH, minutes(spec, 0, MS_PER_HOUR), rng())
    assert np.all(good.temp_c * 2 == np.round(good.temp_c * 2))
    assert np.all(good.rh_pct * 2 == np.round(good.rh_pct * 2))


def test_silence_and_a_wrong_clock_take_readings_out() -> None:
    """Nothing is sent in silence; what was sent with a wrong time is told apart."""
    hour = MS_PER_HOUR
    spec = SensorSpec(
        "a/b",
        lost_share=0.0,
        silent=((1 * hour, 2 * hour),),
        wrong_clock=(WrongClock(3 * hour, 4 * hour, -5 * hour),),
    )
    good, mistimed = measure(spec, TRUTH, minutes(spec, 0, 5 * hour), rng())
    assert len(good) == 180
    assert not np.any((good.time_ms >= 1 * hour) & (good.time_ms < 2 * hour))
    assert mistimed.time_ms[0] == 3 * hour
    assert len(mistimed) == 60


def test_some_messages_are_lost() -> None:
    """One in ten lost: within four standard deviations of nine tenths arrive."""
    spec = SensorSpec("a/b", lost_share=0.1)
    good, _ = measure(spec, TRUTH, minutes(spec, 0, 24 * MS_PER_HOUR), rng())
    assert abs(len(good) - 1296) < 4 * np.sqrt(1440 * 0.1 * 0.9)


def test_minutes_keep_the_sensors_second_and_the_span() -> None:
    """Every minute at the same second, start included, end not."""
    spec = SensorSpec("a/b", second=11)
    assert minutes(spec, 0, 131_000).tolist() == [11_000, 71_000]
    assert minutes(spec, 30_000, 131_001).tolist() == [71_000, 131_000]


def test_the_message_is_what_ingest_understands() -> None:
    """The SenML of the demo's sensors is read back value by value."""
    now_ms = 1_795_000_000_250
    payload = senml(now_ms, 18.25, 41.5, 87.0)
    decoded = decode_senml(payload, "a/b", now_ms)
    assert not decoded.rejects
    (reading,) = decoded.readings
    assert (reading.sensor, reading.time_ms) == ("a/b", now_ms)
    assert (reading.temp_c, reading.rh_pct, reading.battery_pct) == (18.25, 41.5, 87.0)
    assert {record["u"] for record in json.loads(payload)} == {"Cel", "%RH", "%EL"}
