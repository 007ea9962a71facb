"""Keys of a recipe: what is shown in a form is read back as it was."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from doe.model.errors import UsageError
from doe.model.typed_recipe import read_keys, read_value, write_keys, write_value

WORDS = st.text(st.characters(exclude_categories=["C", "Z"]), min_size=1, max_size=20)
NUMBERS = st.integers(-(10**9), 10**9) | st.floats(allow_nan=False, allow_infinity=False, width=32)
VALUES = WORDS | NUMBERS | st.lists(NUMBERS, min_size=1, max_size=4) | st.lists(WORDS, min_size=1, max_size=3)


@given(VALUES)
def test_a_value_is_read_back_as_it_was_written(value):
    assert read_value(write_value(value)) == value


def test_keys_are_read_back_as_they_were_written():
    recipe = {
        "from": "deviation",
        "band": [40.0, 150.0],
        "reference": "my curve, new.txt",
        "smoothing": 12,
        "channel": "1",
    }
    assert {"from": "deviation", **read_keys(write_keys(recipe))} == recipe


@pytest.mark.parametrize("line", ["band", "= 3", "band ="])
def test_a_line_without_key_or_value_is_refused(line):
    with pytest.raises(UsageError, match="is no key with its value"):
        read_keys(f"channel = 2\n{line}")
