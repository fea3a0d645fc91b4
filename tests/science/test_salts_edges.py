"""Where a correction from two salts is refused, at the edges."""

import pytest

from hilum.science.errors import OutOfRangeError
from hilum.science.salts import salt_point, two_point

BROMIDE, KITCHEN = salt_point("NaBr", 20.0), salt_point("NaCl", 20.0)
APART_PCT = 75.47 - 59.14  # Greenspan 1977 at 20 °C


def test_salts_a_little_more_than_fifteen_per_cent_apart_will_do() -> None:
    """Sodium bromide and chloride, 16.3 % apart at 20 °C; at 5 °C, 12.1 %, they will not do."""
    line = two_point(BROMIDE, 60.0, KITCHEN, 60.0 + APART_PCT)
    assert line.gain == pytest.approx(1.0)
    assert line.offset_pct == pytest.approx(59.14 - 60.0)
    with pytest.raises(OutOfRangeError, match="distance"):
        two_point(salt_point("NaBr", 5.0), 60.0, salt_point("NaCl", 5.0), 75.0)


@pytest.mark.parametrize(
    ("gain", "good"), [(0.69, False), (0.71, True), (1.39, True), (1.41, False)]
)
def test_a_gain_that_no_sound_sensor_has_is_refused(gain: float, *, good: bool) -> None:
    """Gains of 0.7 to 1.4 are corrected; what lies beyond is a broken sensor or swapped salts."""
    risen = APART_PCT / gain
    if good:
        assert two_point(BROMIDE, 50.0, KITCHEN, 50.0 + risen).gain == pytest.approx(gain)
        return
    with pytest.raises(OutOfRangeError, match="gain"):
        two_point(BROMIDE, 50.0, KITCHEN, 50.0 + risen)


@pytest.mark.parametrize("risen", [0.0, -3.0])
def test_a_sensor_that_does_not_rise_is_refused(risen: float) -> None:
    """The same reading, or a lower one, over the damper salt: no line goes through that."""
    with pytest.raises(OutOfRangeError, match="gain"):
        two_point(BROMIDE, 50.0, KITCHEN, 50.0 + risen)
