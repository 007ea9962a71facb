"""When a lasting setting counts as an equivalent."""

from types import SimpleNamespace

import pandas as pd
import pytest

from doe.advise.equivalents import _fits, _off, _where
from doe.advise.nearest import all_starts
from doe.advise.reach import NEW
from doe.advise.routes import PARTS
from doe.model.effort import Effort
from doe.model.factor import Factor
from doe.model.outcome import Outcome
from doe.model.records import Unit

WOOL = Factor("wool", low=0, high=60)


@pytest.mark.parametrize(
    ("bass", "echo", "fits"),
    [(0.0, 0.0, True), (0.89, -0.44, True), (0.95, 0.0, False), (0.0, -0.48, False), (1.01, 0.51, False)],
)
def test_every_outcome_has_to_move_by_nine_tenths_of_what_matters_at_most(bass, echo, fits):
    """1 dB and half a grade matter; a move by nearly all of that is no equivalent, either way."""
    outcomes = (
        Outcome("bass", goal="hit", target=0, worst=6, matters=1.0),
        Outcome("echo", goal="lower", best=1, worst=6, matters=0.5),
    )
    moved = {"bass": bass, "echo": echo}
    predictions = pd.DataFrame(
        [
            {"place": place, "outcome": name, "route": PARTS, "mean": 3.0 + place * move}
            for name, move in moved.items()
            for place in (0, 1)
        ]
    )
    known = {"through": None, "preferred": None, "is_apart": False, "is_bounded": True}
    routes = [SimpleNamespace(outcome=outcome, **known) for outcome in outcomes]
    assert _fits(1, predictions, routes) is fits


def test_by_how_much_it_is_off_is_said_with_its_side():
    assert [_off(off, " cm3") for off in (-3.0, 0.0, 10.5)] == [
        "3 cm3 too little",
        "the very same",
        "10.5 cm3 too much",
    ]


def test_where_to_begin_is_said_with_its_minutes():
    """What takes no time need not be so yet: nobody may have said what a change takes."""
    assert _where("A", 0.0, True) == "unit A is so already"
    told = _where("A", 20.0, False), _where("A", 0.0, False), _where(NEW, 0.0, False)
    assert told == ("unit A, 20 min", "unit A, 0 min", "a new unit, 0 min")


@pytest.mark.parametrize(("wool", "unit"), [(0.0, "A"), (20.0, "B"), (40.0, "A")])
def test_a_unit_to_begin_at_is_there_only_where_nothing_has_to_be_changed(wool, unit):
    """Wool is changed in no time, so that A and B take the same."""
    units = [Unit("A", {"wool": 0.0}), Unit("B", {"wool": 20.0})]
    found = all_starts([WOOL], units, {"wool": wool}, Effort(new_unit_minutes=5))[0]
    assert (found.unit, found.cost.minutes, found.is_there) == (unit, 0.0, wool < 40)
