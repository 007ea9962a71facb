"""When a lasting setting counts as an equivalent."""

from types import SimpleNamespace

import pandas as pd
import pytest

from doe.advise.equivalents import _fits, _off, _where
from doe.advise.reach import NEW
from doe.advise.routes import PARTS
from doe.model.outcome import Outcome


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
    assert _where("A", 0.0) == "unit A is so already"
    assert (_where("A", 20.0), _where(NEW, 0.0)) == ("unit A, 20 min", "a new unit, 0 min")
