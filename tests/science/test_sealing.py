"""Whether seed may be sealed, by the limits of the seed rules of the United States."""

import pytest

from hilum.science.errors import OutOfRangeError
from hilum.science.kinds import kind, kinds
from hilum.science.sealing import sealing_advice

# 7 CFR 201.36c (read): most moisture in a hermetic pack, % wet basis.
LIMITS = {
    "pepper": 4.5, "cabbage": 5.0, "radish": 5.0, "lettuce": 5.5, "tomato": 5.5, "cucumber": 6.0,
    "eggplant": 6.0, "parsnip": 6.0, "onion": 6.5, "leek": 6.5, "parsley": 6.5, "watermelon": 6.5,
    "garden-bean": 7.0, "pea": 7.0, "carrot": 7.0, "celery": 7.0, "beet": 7.5, "spinach": 8.0,
    "sweet-corn": 8.0,
}  # fmt: skip


@pytest.mark.parametrize("key", LIMITS)
def test_limits_of_vegetables(key: str) -> None:
    """At the limit a kind may be sealed, above it not, and why it may not is said."""
    most = LIMITS[key]
    good, damp = sealing_advice(kind(key), most), sealing_advice(kind(key), most + 0.01)
    assert good.may_seal
    assert good.limit_pct == most
    assert not damp.may_seal
    assert "worse than in the open" in damp.words
    assert "7 CFR 201.36c" in damp.source


def test_what_must_not_be_dried_is_never_sealed() -> None:
    """Acorns, coffee, bulbs and what is not known: no moisture makes them fit for a sealed pack."""
    never = [each for each in kinds().values() if each.behaviour != "orthodox"]
    assert len(never) > 20
    for each in never:
        for moisture in (0.0, 3.0, 30.0):
            advice = sealing_advice(each, moisture)
            assert not advice.may_seal, each.key
            assert advice.words.startswith("Do not seal it."), each.key


def test_impossible_moisture_is_refused() -> None:
    """Less than none, and more than half, is no moisture of seed."""
    for moisture in (-0.1, 50.1, float("nan")):
        with pytest.raises(OutOfRangeError, match="moisture"):
            sealing_advice(kind("onion"), moisture)
