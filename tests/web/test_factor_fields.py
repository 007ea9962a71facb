import pytest

from doe.model.factor import Factor
from doe.model.outcome import Outcome
from doe.model.setup import Setup
from doe.web.factor_fields import change_steps, factor_field, outcome_field

RANGE = "a number from 0 to 9"
STAYS = "stays as it is on this unit: another setting needs a new unit"


@pytest.mark.parametrize(
    ("scale", "grades"),
    [
        ((1, 4), ["1", "2", "3", "4"]),
        ((-1, 1), ["-1", "0", "1"]),
        ((0, 10), [str(grade) for grade in range(11)]),
        ((0, 11), []),
        ((0, 1.5), []),
    ],
)
def test_grades_of_a_short_scale_are_chosen_and_others_typed(scale, grades):
    field = outcome_field(Outcome("echo", kind="rated", scale=scale), "1")
    assert [choice.value for choice in field.choices] == grades
    assert field.kind == ("choice" if grades else "number")
    assert [choice.value for choice in field.choices if choice.is_chosen] == ["1"] * bool(grades)


def test_bench_steps_tell_each_change_with_its_time_and_how_it_is_made():
    """From 10 to 40 g are three steps of 2 min, beside 5 min for any change."""
    wool = Factor("wool_mass", low=0, high=40, step=10, unit="g", minutes=5, minutes_per_step=2, note="Weigh it.")
    setup = Setup(factors=[wool, Factor("vents", kind="count", low=0, high=6), Factor("gap", low=0, high=1)])
    steps = change_steps(setup, {"wool_mass": 10.0, "gap": 1.0}, {"wool_mass": 40.0, "vents": 2, "gap": 1.0})
    assert steps == ("Change wool mass from 10 g to 40 g, 11 min. Weigh it.", "Set vents to 2.")


@pytest.mark.parametrize(
    ("way", "ends", "hint"),
    [
        ("either", ("0", "9"), RANGE),
        ("up", ("4", "9"), f"{RANGE}; on this unit it only goes up"),
        ("down", ("0", "4"), f"{RANGE}; on this unit it only goes down"),
        ("rebuild", ("4", "4"), STAYS),
    ],
)
def test_a_field_ends_where_its_unit_can_go(way, ends, hint):
    """From 4, on a unit that exists; a new one can be made with any setting."""
    factor = Factor("gap", low=0, high=9, way=way)
    on_unit, new = (factor_field(factor, "4", before=4.0, is_new=is_new) for is_new in (False, True))
    assert ((on_unit.low, on_unit.high), on_unit.hint) == (ends, hint)
    assert ((new.low, new.high), new.hint) == (("0", "9"), RANGE)
