import pandas as pd
import pytest

from doe.model import stated
from doe.model.stated import distinct, stated_settings

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
