"""The build that would test an equivalence, where the two ways of predicting are written down."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from doe.advise.lasting import solve
from doe.advise.routes import PARTS, THROUGH
from doe.advise.standin import choose_stand_in
from doe.advise.twin import twin_build
from doe.model.effort import Effort
from doe.model.factor import Factor
from doe.model.limit import Derived, Limit
from doe.model.records import Unit

FACTORS = (
    Factor("rings", kind="count", low=7, high=12, way="rebuild"),
    Factor("wool", low=0, high=60, step=5, unit="%", minutes=8),
)
AIR = Derived("air", "rings * 42 - wool * 2.1", unit="cm3")
START = {"rings": 11, "wool": 45.0}
"""367.5 cm3. Without wool 9 rings leave 378; as near are 9 with 5 or 10 %, 10 with 20 to 30, 11 with 40 or 50, 12 with 60."""


def parting(name, by_rings):
    """Tell of an outcome whose two ways part by so much: 0.3 off through the air, and by its parts 0.4 with a build."""

    def predictions(mixes):
        mean = 7.0 - mixes["rings"].map(lambda rings: by_rings.get(rings, 0.0)).to_numpy(dtype=float)
        through = pd.DataFrame({"mean": np.full(len(mixes), 7.0), "sd": 0.3})
        parts = pd.DataFrame({"mean": mean, "build_low": mean - 1.96 * 0.4, "build_high": mean + 1.96 * 0.4})
        return {THROUGH: through, PARTS: parts} if by_rings else {PARTS: parts}

    return SimpleNamespace(outcome=SimpleNamespace(name=name), predictions=predictions)


def twin(by_rings, *, units=(), limits=()):
    stand_in = choose_stand_in(FACTORS, [AIR])
    nearest = solve(stand_in, FACTORS, START).nearest[0]
    routes = [parting("echo", by_rings), parting("bass", {10: 0.1}), parting("hum", {})]
    found = twin_build(
        stand_in, FACTORS, START, nearest, routes,
        limits=limits, derived=(), units=units, effort=Effort(new_unit_minutes=150),
    )  # fmt: skip
    return (found["settings"]["rings"], found["settings"]["wool"]), found


@pytest.mark.parametrize(
    ("eleven", "at_hand", "chosen"),
    [
        (0.93, [], (10, 20.0)),  # hardly further apart than 0.9, and no cheaper
        (1.00, [], (11, 40.0)),
        (0.93, [{"rings": 11, "wool": 40.0}], (11, 40.0)),  # as good, and there already
        (0.87, [{"rings": 11, "wool": 40.0}], (11, 40.0)),
        (0.84, [{"rings": 11, "wool": 40.0}], (10, 20.0)),  # cheaper, but no longer as good
        (0.93, [{"rings": 10, "wool": 20.0}], (10, 20.0)),
    ],
)
def test_it_is_where_the_two_ways_part_most_and_of_what_parts_alike_the_cheapest(eleven, at_hand, chosen):
    """At 10 rings they part by 0.9, that is 1.8 of the standard deviations (0.3^2 + 0.4^2)^0.5."""
    units = [Unit("A", settings) for settings in at_hand]
    settings, found = twin({7: 5.0, 9: 0.2, 10: 0.9, 11: eleven, 12: 0.6}, units=units)  # 7 rings give far too little
    assert settings == chosen
    assert (found["outcome"], found["is_equivalent"]) == ("echo", False)
    assert found["apart"] == pytest.approx({10: 1.8, 11: 2 * eleven}[settings[0]])
    assert (found["unit"], found["minutes"]) == (
        ("A", 0) if at_hand and at_hand[0]["rings"] == settings[0] else ("new", 158)
    )


def test_where_nothing_parts_clearly_it_is_the_equivalent_itself():
    settings, found = twin({9: 0.2, 10: 0.4, 11: 0.45, 12: 0.49})
    assert (settings, found["outcome"], found["is_equivalent"]) == ((9, 0.0), "", True)


def test_it_parts_further_than_the_equivalent_or_is_that():
    assert twin({9: 0.95, 10: 0.9, 11: 0.7})[1]["is_equivalent"]
    assert twin({9: 0.8, 10: 0.9, 11: 0.7})[0] == (10, 20.0)


def test_it_keeps_the_limits_and_is_not_what_was_built():
    assert twin({11: 1.0, 10: 0.9}, limits=[Limit("rings <= 10")])[0] == (10, 20.0)
    assert twin({11: 1.0}, limits=[Limit("rings <= 10 or wool >= 45")])[0] == (11, 50.0)
