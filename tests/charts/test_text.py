import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from doe.charts import text
from doe.fit.words import spoken


@pytest.mark.parametrize("term", ["vents", "vents:driver", "wool^2", "tip_gap", "tip_gap:hub_size"])
def test_terms_are_written_as_the_headlines_say_them(term):
    """Chart, table and headline use one spelling."""
    assert text.term(term) == spoken(term)


def test_markup_and_templates_of_plotly_are_made_harmless():
    assert text.safe("<b>&amp;</b>") == "&lt;b&gt;&amp;amp;&lt;/b&gt;"
    assert "%{" not in text.safe("%{x}")


@given(st.text(max_size=80), st.integers(4, 30), st.integers(1, 4))
def test_lines_keep_within_width_and_number(content, width, most):
    """Whatever the text, no line is longer and there are no more lines than asked for."""
    lines = text.lines(content, width, most)
    assert 1 <= len(lines) <= most
    assert max(map(len, lines)) <= width


def test_what_lines_leave_out_ends_in_an_ellipsis():
    assert text.lines("one two three four", 9, 1) == ["one two…"]
    assert text.cut("abcdef", 4) == "abc…"
    assert text.cut("abcd", 4) == "abcd"


@pytest.mark.parametrize("cell", [None, np.nan, pd.NA, ""])
def test_empty_cells_are_written_as_nothing(cell):
    assert text.plain(cell) == ""


def test_numbers_of_any_type_are_written_as_people_write_them():
    assert [text.plain(value) for value in (np.int64(6), 9.5, np.float64(60.0), "felt")] == ["6", "9.5", "60", "felt"]


def test_verdict_names_what_it_is_tangled_with():
    row = {"verdict": "tangled with", "tangled_with": "rings, vents:wool"}
    assert text.verdict(row) == "tangled with rings, vents with wool"


def test_a_swing_without_estimate_says_so():
    assert text.change({"swing": np.nan, "low": np.nan, "high": np.nan}, "dB") == "no estimate"
