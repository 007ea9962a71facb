import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from doe.charts import goal, text
from doe.model.outcome import Outcome


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


LONG = "echo_of_the_long_named_thing_that_nobody_can_read_in_one_go_x"[:60]


@pytest.mark.parametrize("tall", [170.0, 190.0, 280.0])
def test_a_long_name_fits_along_its_axis_and_keeps_what_it_is_measured_in(tall: float) -> None:
    for outcome in (Outcome(LONG, "rated", scale=(1, 7)), Outcome(LONG, unit="dB"), Outcome(LONG)):
        lines = goal.axis_lines(outcome, tall)
        assert max(len(line) for line in lines) * text.ALONG_AXIS_PX <= tall
        assert lines[0].endswith("…")
        assert len(goal.axis_title(outcome, tall)) * text.ALONG_AXIS_PX <= tall
        measure = "graded 1 to 7" if outcome.scale else outcome.unit
        assert lines[-1].endswith(measure or "…")
        assert goal.axis_title(outcome, tall).endswith(measure or "…")
        assert goal.named(outcome).startswith(LONG.replace("_", " "))
    assert goal.axis_lines(Outcome("bass", unit="dB"), tall) == ["bass, dB"]


def test_names_that_begin_alike_are_cut_inside() -> None:
    assert text.cut_inside("a rather long name X", 12) == "a rat…name X"
    assert text.cut_inside("short", 12) == "short"


def test_the_room_of_lines_is_that_of_the_longest():
    assert text.room(["a", "aaaa"]) == text.room(["aaaa"]) == pytest.approx(2 * text.room(["aa"]), abs=1)
    assert text.room(["aaaa"], 28) == pytest.approx(2 * text.room(["aaaa"]), abs=1)
    assert text.room([]) == 0
