"""Whether a recipe fits its outcome, told before anything is measured."""

import pytest

from doe.measuring.check import check_outcome, unit_doubt
from doe.model.errors import UsageError
from doe.model.outcome import Outcome
from tests.refusing import refused

LEVEL = {"from": "band_level", "band": [40, 150]}


@pytest.mark.parametrize(
    ("unit", "recipe", "doubted"),
    [("dB", LEVEL, ""), ("dB(A)", LEVEL, ""), ("dB SPL", LEVEL, ""), ("", {}, ""),
     ("dB/octave", LEVEL, "is in dB/octave, but its recipe gives dB"), ("", LEVEL, "has no unit, but its recipe gives dB"),
     ("s", {"from": "decay_time", "time_unit": "ms"}, "is in s, but its recipe gives ms"),
     ("mm", {"from": "rms"}, ""), ("dB", {"from": "rms", "no": 1}, "")],
)  # fmt: skip
def test_another_unit_than_the_recipes_is_doubted(unit, recipe, doubted):
    """A recipe without a unit gives the file's own; one that cannot be used is told where it is to be."""
    told = f"sound {doubted}; put one of them right." if doubted else ""
    assert unit_doubt(Outcome("sound", unit=unit, recipe=recipe)) == told


def test_a_recipe_that_cannot_be_used_is_named_with_its_outcome():
    with refused(UsageError, "Outcome sound: Recipe 'band_level' has no band: the band in Hz, such as [40, 150]."):
        check_outcome(Outcome("sound", recipe={"from": "band_level"}))
    assert check_outcome(Outcome("sound")) is None
