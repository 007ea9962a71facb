import re

import pytest

from doe.model.errors import DataError
from doe.model.records import Unit, Variant
from doe.store import ProjectFile
from tests.refusing import refused
from tests.store.radio import SETTINGS


def state(f: ProjectFile, name: str = "A") -> tuple[str | None, dict]:
    unit = next(unit for unit in f.units() if unit.name == name)
    return unit.variant, dict(unit.settings)


def test_a_unit_carries_the_last_variant_built_on_it(radio: ProjectFile):
    assert state(radio) == ("2", {**SETTINGS, "vents": 4})


def test_a_planned_variant_does_not_change_the_unit(radio: ProjectFile):
    radio.add_variant(Variant("3", {**SETTINGS, "vents": 6}, unit="A", status="planned"))
    assert state(radio)[0] == "2"


def test_a_planned_variant_counts_from_when_it_was_built(radio: ProjectFile):
    """Planned first and built last, it is what the unit is now."""
    radio.add_variant(Variant("3", {**SETTINGS, "vents": 6}, unit="A", status="planned"))
    radio.add_variant(Variant("4", {**SETTINGS, "vents": 5}, unit="A"))
    assert state(radio)[0] == "4"
    radio.correct_variant("3", status="built")
    assert state(radio)[0] == "3"


def test_withdrawing_the_last_variant_gives_the_one_before(radio: ProjectFile):
    radio.withdraw_variant("2")
    assert state(radio) == ("1", SETTINGS)


def test_a_unit_may_come_with_settings_of_its_own(radio: ProjectFile):
    radio.add_unit(Unit("B", {**SETTINGS, "vents": 3}, note="bought"))
    assert state(radio, "B") == (None, {**SETTINGS, "vents": 3})
    with pytest.raises(DataError, match="vents cannot go from 3 to 2 on unit B"):
        radio.add_variant(Variant("3", SETTINGS, unit="B"))


def test_a_retired_unit_takes_no_variant(radio: ProjectFile):
    radio.retire_unit("A")
    assert radio.units()[0].retired
    with pytest.raises(DataError, match=re.escape("Unit 'A' is retired; choose another unit or a new one.")):
        radio.add_variant(Variant("3", {**SETTINGS, "vents": 5}, unit="A"))
    with pytest.raises(DataError, match="retired already"):
        radio.retire_unit("A")


def test_two_units_of_one_name_are_refused(radio: ProjectFile):
    """And one that is called as advice and pages call a unit yet to be made: what was logged on it went to a new unit."""
    with pytest.raises(DataError, match=re.escape("Unit 'A' is in the project already; give it a name of its own.")):
        radio.add_unit(Unit("A"))
    with refused(DataError, "Unit 'a' differs from 'A' in capitals only; give it a name of its own."):
        radio.add_unit(Unit("a"))
    with refused(DataError, "Unit 'New' is what a unit yet to be made is called; give it a name of its own."):
        radio.add_unit(Unit("New"))


def test_an_unknown_unit_suggests_the_nearest(radio: ProjectFile):
    radio.add_unit(Unit("body B"))
    with pytest.raises(DataError, match=re.escape("Unit 'bodyB' is not in this project. Did you mean 'body B'?")):
        radio.retire_unit("bodyB")
