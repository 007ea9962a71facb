import pandas as pd
import pytest

from doe.model import stated
from doe.model.errors import DataError
from doe.model.factor import Factor
from doe.model.records import Unit
from doe.model.stated import distinct, stated_settings, stated_units
from tests.refusing import refused

ROWS = pd.DataFrame(
    {
        "variant": ["2", "1", "2", "1", "3"] * 4,
        "versus": ["1", "4", "1", "4", "1"] * 4,
        "wool": [20.0, 0.0, 20.0, 0.0, 5.0] * 4,
        "driver": ["poly", "paper", "poly", "paper", "poly"] * 4,
        "versus wool": [0.0, 30.0] * 10,
        "versus driver": ["paper", "poly"] * 10,
    }
)


@pytest.mark.parametrize("many", [5, 10_000])
def test_different_rows_come_once_in_the_order_they_were_first_seen(many, monkeypatch):
    """Whichever way finds them, the frame's or that of a dict."""
    monkeypatch.setattr(stated, "MANY", many)
    assert list(distinct(ROWS, ["variant", "wool"])) == [("2", 20.0), ("1", 0.0), ("3", 5.0)]


def test_settings_are_stated_of_the_first_and_then_of_the_second():
    first = [("2", 20.0, "poly"), ("1", 0.0, "paper"), ("3", 5.0, "poly")]
    second = [("1", 0.0, "paper"), ("4", 30.0, "poly"), ("1", 30.0, "poly"), ("4", 0.0, "paper")]
    assert stated_settings(ROWS, ["wool", "driver"]) == [*first, *second]
    assert stated_settings(ROWS.drop(columns="versus wool"), ["wool", "driver"]) == first


def test_a_numbered_unit_and_what_it_carries_keep_their_numbers():
    """A unit that carries nothing leaves a blank, which makes floats of the numbers beside it."""
    table = pd.DataFrame({"unit": [1, 2], "variant": [3, None], "retired": [None, True], "wool": [20, None]})
    wool = Factor("wool", low=0, high=60, step=5)
    assert stated_units(table.astype({"unit": float}), [wool]) == [
        Unit("1", {"wool": 20.0}, "3"),
        Unit("2", {}, None, retired=True),
    ]


@pytest.mark.parametrize(
    ("row", "message"),
    [
        ({"unit": "A", "retired": "no"}, "retired of unit A is 'no'; it must be True or False."),
        ({"unit": None}, "A unit has no name; give it as 'unit'."),
        ({"units": "A"}, "The units have no column 'unit'. Did you mean 'units'?"),
    ],
)
def test_a_table_of_units_that_cannot_be_read_is_refused(row, message):
    with refused(DataError, message):
        stated_units(pd.DataFrame([row]), [])
