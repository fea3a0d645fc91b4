"""Water that comes into a box, against a worked example and published walls."""

import pytest

from hilum.science.errors import OutOfRangeError, UnknownNameError
from hilum.science.ingress import (
    enclosure,
    leak_g_per_day,
    opening_g,
    permeability,
    wall,
    wall_g_per_day,
)
from hilum.science.psychrometrics import vapour_pressure_pa

# 30 x 20 x 15 cm polypropylene box, wall 1.5 mm; room 20 °C and 60 %, inside 15 %: by hand.
AIR = {"temp_c": 20.0, "rh_out_pct": 60.0, "rh_in_pct": 15.0}
MEASURED_KPA = 5.968  # driving pressure at 38 °C and 90 % RH


def test_walls_of_the_worked_example() -> None:
    """0.27 m² of polypropylene, 0.0429 at 38 °C and 0.0257 at 20 °C, let in 0.0049 g a day."""
    at_20 = permeability(0.0429, 20.0)
    assert at_20 == pytest.approx(0.0257, abs=6e-5)
    per_day = wall_g_per_day(permeability_g_mm=at_20, area_m2=0.27, wall_mm=1.5, **AIR)
    assert per_day == pytest.approx(0.0049, abs=5e-5)
    assert permeability(0.0429, 38.0) == pytest.approx(0.0429)


@pytest.mark.parametrize(
    ("changes", "expected"), [(0.1, 0.0070), (0.3, 0.0210), (1.0, 0.0700), (10.0, 0.700)]
)
def test_leaks_of_the_worked_example(changes: float, expected: float) -> None:
    """9 L at 0.1 to 10 air changes a day."""
    found = leak_g_per_day(volume_l=9.0, changes_per_day=changes, **AIR)
    assert found == pytest.approx(expected, rel=0.005)


def test_opening_of_the_worked_example() -> None:
    """One full opening of 9 L brings 0.070 g."""
    assert opening_g(volume_l=9.0, **AIR) == pytest.approx(0.070, abs=5e-4)


def test_a_plastic_bag_is_no_barrier() -> None:
    """20 x 30 cm bag, 0.2 mm, lets in 0.025 g a day: as much as the whole box (computed).

    DIN 55474 prints 0.4 g/(m² d) at 20 °C and 85 % for such a film.
    """
    per_kpa_mm = 0.4 * 0.2 / (vapour_pressure_pa(20.0, 85.0) / 1000)
    assert permeability(0.066, 20.0) == pytest.approx(per_kpa_mm, rel=0.03)
    per_day = wall_g_per_day(permeability_g_mm=per_kpa_mm, area_m2=2 * 0.06, wall_mm=0.2, **AIR)
    assert per_day == pytest.approx(0.0255, abs=5e-4)
    assert per_day == pytest.approx(0.0049 + 0.0210, rel=0.05)


def test_polyethylene_agrees_with_the_packaging_standard() -> None:
    """0.2 mm at 38 °C and 90 %: 2.0 to 3.9 g/(m² d); DIN 55474 prints 2.0 at 38 °C."""
    film = wall("ldpe")
    low, high = (each * MEASURED_KPA / 0.2 for each in (film.low, film.high))
    assert low == pytest.approx(2.0, abs=0.05)
    assert high == pytest.approx(3.9, abs=0.05)


def test_driving_pressure_of_the_printed_permeabilities() -> None:
    """38 °C and 90 % over dry: 5.968 kPa, by which the handbook's figures were divided."""
    assert vapour_pressure_pa(38.0, 90.0) / 1000 == pytest.approx(MEASURED_KPA, rel=0.001)


def test_dry_outside_air_takes_water_away() -> None:
    """Where it is drier outside the figure is negative."""
    assert opening_g(volume_l=9.0, temp_c=20.0, rh_out_pct=20.0, rh_in_pct=40.0) < 0


def test_enclosures() -> None:
    """A gasketed box changes its air 0.1 to 1 times a day, its geometric mean in the middle."""
    tub = enclosure("tub")
    assert (tub.low, tub.high) == (0.1, 1.0)
    assert tub.middle**2 == pytest.approx(0.1)
    with pytest.raises(UnknownNameError, match="casket"):
        enclosure("casket")
    with pytest.raises(UnknownNameError, match="cheese"):
        wall("cheese")
    with pytest.raises(OutOfRangeError, match="air changes"):
        leak_g_per_day(volume_l=9.0, changes_per_day=-1.0, **AIR)
