"""Numbers in text: separators, decimal signs, comments - and what cannot be told."""

from __future__ import annotations

import numpy as np
import pytest

from doe.model.errors import DataError
from doe.signals.text_table import read_table
from tests.refusing import refused

ROWS = [[20.5, 80.25, -12.0], [31.5, 81.0, 14.5], [63.0, -3.125, 0.0]]


def table(tmp_path, text, encoding="utf-8", **options):
    path = tmp_path / "curve.txt"
    path.write_bytes(text if isinstance(text, bytes) else text.encode(encoding))
    return read_table(path, **options)


def written(separator, decimal, end="\n"):
    return end.join(separator.join(f"{cell:.4f}".replace(".", decimal) for cell in row) for row in ROWS) + end


@pytest.mark.parametrize(
    ("separator", "decimal"),
    [(",", "."), (", ", "."), (";", "."), (";", ","), ("; ", ","), ("\t", "."), ("\t", ","), (" ", "."), ("   ", ","),
     (" \t ", ".")],
)  # fmt: skip
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_every_usual_way_of_writing_gives_the_same_numbers(tmp_path, separator, decimal, end):
    assert table(tmp_path, written(separator, decimal, end)).values.tolist() == ROWS


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "latin-1"])
def test_every_usual_encoding_is_read(tmp_path, encoding):
    assert (
        table(tmp_path, "# Frequenz, Schalldruckpegel für Körper\n" + written(";", ","), encoding).values.tolist()
        == ROWS
    )


def test_comments_of_any_kind_may_stand_anywhere(tmp_path):
    text = '* a\n# b\n; c\n// d\n" e\n! f\nREM g\n2024-05-01 measured\n48000 Hz\n\n'
    middle = written(" ", ".").replace("\n", "\n* between\n", 1)
    found = table(tmp_path, text + middle + "end of data\n", least_columns=2)
    assert found.values.tolist() == ROWS
    assert found.lines.tolist() == [11, 13, 14]
    assert found.where(1) == "curve.txt, line 13"


def test_signs_exponents_and_typographic_minus_are_read(tmp_path):
    assert table(tmp_path, "+1e1 −3.5\n2E+01 -.5\n").values.tolist() == [[10, -3.5], [20, -0.5]]


def test_trailing_separators_add_no_column(tmp_path):
    assert table(tmp_path, "20;80;\n30;81;\n").values.tolist() == [[20, 80], [30, 81]]


def test_headings_are_found_above_the_numbers(tmp_path):
    found = table(tmp_path, "made by hand\n* Freq (Hz)\tSPL (dB)\tPhase (deg)\n" + written("\t", "."))
    assert found.headings == ("Freq (Hz)", "SPL (dB)", "Phase (deg)")
    assert table(tmp_path, '"time","force left"\n1,2\n', least_columns=2).headings == ("time", "force left")
    assert table(tmp_path, "nothing that fits\n20 80\n").headings == ()


def test_a_long_table_is_read_as_a_short_one(tmp_path):
    """The quick way for plain blocks gives what the careful one gives, and tells the same line of each row."""
    rng = np.random.default_rng(0)
    values = rng.standard_normal((500, 3)).round(6)
    plain = "\n".join(";".join(f"{cell:.6f}" for cell in row) for row in values)
    quick = table(tmp_path, f"head\n{plain}\n\n")
    assert np.array_equal(quick.values, values)
    assert quick.lines.tolist() == table(tmp_path, f"head\n{plain}\n# c\n").lines.tolist() == list(range(2, 502))
    assert np.array_equal(table(tmp_path, plain.replace(".", ",")).values, values)
    assert np.array_equal(table(tmp_path, plain.replace("\n", "\n# c\n", 1)).values, values)


@pytest.mark.parametrize("separator", [", ", ",\t", " , ", " ,"])
@pytest.mark.parametrize("least_columns", [1, 2])
def test_commas_beside_blanks_separate_whole_numbers_too(tmp_path, separator, least_columns):
    """A comma after 20 is no decimal sign without digits, whatever the other numbers look like."""
    text = f"20{separator}80.5{separator}7\n30{separator}-81.25{separator}8\n"
    assert table(tmp_path, text, least_columns=least_columns).values.tolist() == [[20, 80.5, 7], [30, -81.25, 8]]
    whole = text.replace(".5", "").replace(".25", "")
    assert table(tmp_path, whole, least_columns=least_columns).values.tolist() == [[20, 80, 7], [30, -81, 8]]


@pytest.mark.parametrize(("text", "numbers"), [("20,5,80,1", 4), ("20, 80,5", 3), ("20,5 ,80", 3)])
def test_commas_that_may_be_either_are_refused(tmp_path, text, numbers):
    with refused(
        DataError,
        f"curve.txt: '{text}' may hold {numbers} numbers or 2 with decimal commas; separate the numbers with semicolons, or "
        "write decimal points.",
    ):
        table(tmp_path, f"{text}\n{text.replace('20', '31')}\n")


def test_a_line_of_blanks_is_counted(tmp_path):
    """Also in a long column, which is read the quick way: the refusal has to name the right line."""
    found = table(tmp_path, "1.5\n" * 250 + " \n" + "2.5\n" * 50)
    assert found.lines[[0, 249, 250, -1]].tolist() == [1, 250, 252, 301]


def test_a_lone_number_with_a_comma_may_be_two(tmp_path):
    with refused(
        DataError,
        "curve.txt: '1,2' may hold 2 numbers or 1 with decimal commas; separate the numbers with semicolons, or write "
        "decimal points.",
    ):
        table(tmp_path, "1,2\n3,4\n")
    assert table(tmp_path, "1,2\n3\n").values.tolist() == [[1.2], [3.0]]


def test_points_and_commas_together_are_refused(tmp_path):
    with refused(
        DataError,
        "curve.txt writes decimal commas (line 1) and decimal points (line 2); it must keep to one, without thousands "
        "separators.",
    ):
        table(tmp_path, "20,5;3\n30;4.5\n")


@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_numbers_in_quotation_marks_are_numbers(tmp_path, separator):
    rows = [f'"{place}.5"{separator}"-{place}e1"' for place in range(1, 40)]
    found = table(tmp_path, "\n".join([f'"Hz"{separator}"dB"', *rows]), least_columns=2)
    assert found.headings == ("Hz", "dB")
    np.testing.assert_array_equal(found.values, [[place + 0.5, -10.0 * place] for place in range(1, 40)])


def test_a_comma_in_quotation_marks_is_not_guessed_at(tmp_path):
    """Of "1,234" nobody knows whether it is a thousand or a little more than one."""
    with pytest.raises(DataError, match=r"curve\.txt holds no rows of numbers"):
        table(tmp_path, '"0.1","1,234","2"\n' * 30, least_columns=2)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "curve.txt is empty; it must hold rows of numbers."),
        (" \n\n", "curve.txt is empty; it must hold rows of numbers."),
        (bytes(range(256)), "curve.txt is no text; it must hold rows of numbers."),
        ("hello\nworld\n", "curve.txt holds no rows of numbers; it must have at least 2 numbers a line, separated by ; , tab "
         "or blanks, without thousands separators."),
        ("20 80\n30 81 dB\n31 x\n", "curve.txt, line 3: '31 x' must begin with 2 numbers, as line 1 does."),
        ("20 80 1\n30 81\n", "curve.txt, line 2: '30 81' must begin with 3 numbers, as line 1 does."),
        ("20 80\n30\n", "curve.txt, line 2: '30' must begin with 2 numbers, as line 1 does."),
        ("20 80\n30 nan\n", "curve.txt, line 2: column 2 must be a finite number."),
        ("20 80\n30 1e999\n", "curve.txt, line 2: column 2 must be a finite number."),
    ],
)  # fmt: skip
def test_what_cannot_be_read_is_refused_with_its_line(tmp_path, text, message):
    with refused(DataError, message):
        table(tmp_path, text, least_columns=2)


def test_a_missing_file_is_refused(tmp_path):
    with refused(DataError, "curve.txt cannot be read: no such file or directory."):
        read_table(tmp_path / "curve.txt")


def test_too_large_a_file_is_refused_without_being_read(tmp_path):
    path = tmp_path / "curve.txt"
    with path.open("wb") as file:
        file.truncate(200_000_000)
    with refused(DataError, "curve.txt holds 200 MB; a text file may hold at most 100 MB: thin it out."):
        read_table(path)
