"""Response curves in text files."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from doe.model.errors import DataError
from doe.signals.curve import read_curve
from doe.signals.response import Response
from tests.refusing import refused
from tests.strategies import examples


def curve(tmp_path, text):
    path = tmp_path / "body.txt"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_curve(path)


def test_frequency_and_level_are_read(tmp_path):
    found = curve(tmp_path, "* Freq(Hz)\tSPL(dB)\tPhase(deg)\n20\t80\t-12\n31.5\t81\t14\n")
    assert found.name == "body"
    assert found.frequency.tolist() == [20, 31.5]
    assert found.level.tolist() == [80, 81]


def test_kilohertz_are_told_by_the_heading(tmp_path):
    assert curve(tmp_path, "kHz;dB\n0.02;80\n1;81\n").frequency.tolist() == [20, 1000]


def test_a_first_row_at_0_hz_is_left_out(tmp_path):
    assert curve(tmp_path, "0 -200\n10 3\n20 4\n").frequency.tolist() == [10, 20]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("1000 3\n900 2\n", "body.txt, line 2: frequency 900 Hz comes after 1000 Hz; frequencies must rise from line to line."),
        ("100 3\n100 2\n", "body.txt, line 2: frequency 100 Hz stands twice; frequencies must rise from line to line."),
        ("-20 3\n30 4\n", "body.txt, line 1: frequency is -20 Hz; it must be above 0 and at most 1000000 Hz."),
        ("80 20\n81 25\n79 31\n75 63\n", "body.txt: the frequencies seem to stand in column 2; they must stand in column 1, in "
         "Hz, and the levels in column 2."),
        ("Freq;Phase (deg);SPL (dB)\n20;1;80\n30;2;81\n", "body.txt: column 2 is headed 'Phase (deg)' and column 3 'SPL (dB)'; "
         "frequency must stand in column 1 and level in column 2."),
        ("20 1250\n30 1300\n", "body.txt, line 1: level is 1250; the second column must be a level in dB, from -300 to 300."),
        ("20 3\n", "body.txt holds one row of numbers; a response curve needs two or more."),
        ("0 3\n20 4\n", None),
        ("20\n30\n", "body.txt holds no rows of numbers; it must have at least 2 numbers a line, separated by ; , tab or "
         "blanks, without thousands separators."),
    ],
)  # fmt: skip
def test_what_is_no_response_curve_is_refused(tmp_path, text, message):
    with refused(DataError, message or "body.txt holds one row of numbers; a response curve needs two or more."):
        curve(tmp_path, text)


def test_a_microphone_is_taken_off_within_its_range():
    found = Response("body", np.array([10.0, 100.0, 1000.0]), np.array([1.0, 2.0, 3.0]))
    microphone = Response("mic", np.array([50.0, 5000.0]), np.array([0.5, 0.5]))
    assert found.corrected(microphone).level.tolist() == [1.0, 1.5, 2.5]


@st.composite
def curves(draw):
    """A rising frequency axis, levels to three places, and a way of writing them."""
    count = draw(st.integers(2, 40))
    steps = draw(st.lists(st.integers(1, 5000), min_size=count, max_size=count))
    frequency = (10 + np.cumsum(steps)) / 10
    level = np.array(draw(st.lists(st.integers(-200_000, 200_000), min_size=count, max_size=count))) / 1000
    separator, decimal = draw(
        st.sampled_from([(";", "."), (";", ","), ("\t", ","), (" ", "."), ("  ", ","), (", ", "."), (",", ".")])
    )
    comment = draw(st.sampled_from(["", "* made by hand\n", "# Hz and dB\n\n", "Freq dB\n"]))
    rows = [f"{f:.1f}{separator}{a:.3f}" for f, a in zip(frequency, level, strict=True)]
    if decimal == ",":
        rows = [row.replace(".", ",") for row in rows]
    return frequency, level, comment + "\n".join(rows) + draw(st.sampled_from(["", "\n", "\n# end\n"]))


@given(curves())
@settings(examples(50), suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_a_curve_comes_back_however_it_is_written(tmp_path, written):
    frequency, level, text = written
    found = curve(tmp_path, text)
    assert np.array_equal(found.frequency, frequency.round(1))
    assert np.array_equal(found.level, level.round(3))


LIKELY = st.text(alphabet='0123456789.,;+-eE \t\n#*nainfHzdB\u2212\xa0_\r"', max_size=200)


@given(
    st.one_of(st.binary(max_size=200), LIKELY.map(str.encode), st.text(max_size=100).map(lambda t: t.encode("utf-16")))
)
@settings(examples(100), suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_no_file_crashes_the_reader(tmp_path, content):
    """A curve that can be used, or one sentence that begins with the file."""
    try:
        found = curve(tmp_path, content)
    except DataError as err:
        assert str(err).startswith("body.txt") and str(err).endswith(".")
    else:
        assert len(found.frequency) == len(found.level) >= 2
        assert np.all(np.diff(found.frequency) > 0) and found.frequency[0] > 0
        assert np.isfinite(found.smoothed(3).level).all()
        assert np.isfinite(found.at(np.array([100.0, 1000.0]))).all()
