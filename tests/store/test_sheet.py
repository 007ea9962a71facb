import csv
import io
import re
import zipfile
from datetime import datetime
from decimal import Decimal
from pathlib import Path

import duckdb
import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from doe.model.errors import DataError, ImportProblems
from doe.store.cells import text_of
from doe.store.sheet import Sheet, read_sheet
from tests.refusing import refused

WORDS = frozenset(["variant", "wool", "bass", "note"])


def score(cells) -> int:
    return sum(text_of(cell) in WORDS for cell in cells)


def sheet(tmp_path: Path, content: str | bytes, name: str = "log.csv") -> Sheet:
    path = tmp_path / name
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return read_sheet(path, score)


def cells(found: Sheet) -> list[tuple]:
    return [line.cells for line in found.lines]


@pytest.mark.parametrize("sign", [",", ";", "\t", "|"])
def test_the_sign_between_cells_is_found(tmp_path: Path, sign: str):
    text = "\n".join(sign.join(row) for row in (["variant", "wool", "bass"], ["1", "20", "2.5"], ["2", "25", "3"]))
    assert cells(sheet(tmp_path, text)) == [("variant", "wool", "bass"), ("1", "20", "2.5"), ("2", "25", "3")]


def test_decimal_commas_do_not_split_cells(tmp_path: Path):
    """Every line has more commas than semicolons, and still the semicolon separates."""
    found = sheet(tmp_path, "variant;wool;bass\n1,0;20,5;2,5\n2,0;25,5;3,5\n")
    assert cells(found)[1] == ("1,0", "20,5", "2,5")


def test_a_title_with_commas_does_not_mislead(tmp_path: Path):
    found = sheet(tmp_path, "Radio, second try, spring, 2026\n\nvariant;wool;bass\n1;20;2\n")
    assert cells(found)[1:] == [("variant", "wool", "bass"), ("1", "20", "2")]


def test_lines_are_numbered_as_an_editor_counts(tmp_path: Path):
    """Blank lines count, and so do line breaks inside quotes."""
    found = sheet(tmp_path, 'variant,note\r\n\r\n1,"two\r\nlines"\r\n\r\n2,one\r\n')
    assert [line.number for line in found.lines] == [1, 3, 6]
    assert found.lines[1].cells == ("1", "two\r\nlines")


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_encodings_with_all_letters(tmp_path: Path, encoding: str):
    found = sheet(tmp_path, "variant,note\n1,größer µ\n".encode(encoding))
    assert cells(found) == [("variant", "note"), ("1", "größer µ")]
    assert found.notes == ()


def test_windows_text_is_read_with_a_note(tmp_path: Path):
    found = sheet(tmp_path, "variant;note\n1;größer\n".encode("cp1252"))
    assert cells(found)[1] == ("1", "größer")
    assert found.notes == ("log.csv is not in UTF-8; it was read as Windows text (cp1252).",)


def test_the_line_that_names_the_sign_is_followed(tmp_path: Path):
    """Some programs write 'sep=;' at the top."""
    found = sheet(tmp_path, "sep=;\nvariant;wool\n1;20\n")
    assert [line.number for line in found.lines] == [2, 3]


def test_a_quote_that_does_not_end_is_named_not_swallowed(tmp_path: Path):
    with pytest.raises(ImportProblems) as caught:
        sheet(tmp_path, 'variant,note\n1,"open\n2,next\n')
    (problem,) = caught.value.problems
    assert problem.line == 2
    assert problem.allowed == (
        "quotes do not match here: one is never closed, or text follows where it is; a quote inside a quoted cell is written "
        "twice"
    )


@pytest.mark.parametrize(
    ("content", "name", "sentence"),
    [
        ("", "log.csv", "log.csv is empty: it has no line with anything in it."),
        (" \n;;\n", "log.csv", "log.csv is empty: it has no line with anything in it."),
        (b"\x00\x01\x02\x00", "log.csv", "log.csv is no text that can be read; save it as CSV in UTF-8, Parquet or XLSX."),
        ("a,b", "log.xlsx", "log.xlsx is not what its name says, or an old format; save it as CSV, Parquet or XLSX."),
        (b"\xd0\xcf\x11\xe0rest", "log.xls", "log.xls is not what its name says, or an old format; save it as CSV, Parquet or"
                                            " XLSX."),
        (b"PK\x03\x04broken", "log.xlsx", "log.xlsx cannot be read as a workbook; save it anew as XLSX or CSV."),
    ],
)  # fmt: skip
def test_a_file_that_holds_no_table_is_one_sentence(tmp_path: Path, content, name: str, sentence: str):
    with pytest.raises(DataError, match=f"^{re.escape(sentence)}$"):
        sheet(tmp_path, content, name)


def test_broken_parquet_is_one_sentence(tmp_path: Path):
    """In our own words, whatever the library says of it: here of no end, there of bytes that are gone."""
    sentence = (
        "log.parquet cannot be read as Parquet: it is damaged, cut short, or written in a way that is not known here; write "
        "it anew, or save it as CSV."
    )
    with refused(DataError, sentence):
        sheet(tmp_path, b"PAR1 and nothing else", "log.parquet")
    whole = tmp_path / "whole.parquet"
    with duckdb.connect() as con:
        con.execute(f"COPY (SELECT range AS bass FROM range(5000)) TO '{whole}' (FORMAT parquet)")
    data = whole.read_bytes()
    with refused(DataError, sentence):
        sheet(tmp_path, data[:40] + data[-400:], "log.parquet")


def test_a_missing_file_and_a_folder_are_named(tmp_path: Path):
    with pytest.raises(DataError, match=re.escape(f"{tmp_path / 'no.csv'} cannot be read: no such file or directory.")):
        read_sheet(tmp_path / "no.csv", score)
    with pytest.raises(DataError, match="is a folder; name the file in it"):
        read_sheet(tmp_path, score)


def test_parquet_keeps_types_and_counts_its_heading_as_line_one(tmp_path: Path):
    path = tmp_path / "log.parquet"
    with duckdb.connect() as con:
        con.execute(
            "COPY (SELECT '1' AS variant, 2.50::DECIMAL(4,2) AS wool, 'NaN'::DOUBLE AS bass,"
            " TIMESTAMPTZ '2026-03-01 12:00:00+00' AS \"at\", NULL::VARCHAR AS note)"
            f" TO '{path}' (FORMAT parquet)"
        )
    found = read_sheet(path, score)
    assert found.lines[0].cells == ("variant", "wool", "bass", "at", "note")
    values = found.lines[1].cells
    assert found.lines[1].number == 2
    assert values[:2] == ("1", Decimal("2.50"))
    assert values[3] == datetime(2026, 3, 1, 12, 0)
    assert values[4] is None


@pytest.mark.parametrize("name", ["g[1].parquet", "g?.parquet", "*.parquet"])
def test_the_name_of_a_parquet_file_is_no_pattern(tmp_path: Path, name: str):
    """Another file beside it, which its name would match, is not read in its place."""
    with duckdb.connect() as con:
        for value, where in ((1, tmp_path / "g1.parquet"), (2, tmp_path / "other")):
            con.execute(f"COPY (SELECT {value} AS bass) TO '{where}' (FORMAT parquet)")
    (tmp_path / "other").rename(tmp_path / name)
    assert cells(read_sheet(tmp_path / name, score)) == [("bass",), (2,)]


def workbook(tmp_path: Path, fill) -> Sheet:
    book = openpyxl.Workbook()
    fill(book)
    book.save(tmp_path / "log.xlsx")
    return read_sheet(tmp_path / "log.xlsx", score)


def test_a_workbook_gives_its_most_likely_sheet(tmp_path: Path):
    def fill(book):
        book.active.append(["Ideas"])
        log = book.create_sheet("Log 2026")
        log.append(["variant", "wool", "bass"])
        log.append([1, 20, 2.5])

    found = workbook(tmp_path, fill)
    assert cells(found) == [("variant", "wool", "bass"), (1, 20, 2.5)]
    assert found.notes == ("Sheet 'Log 2026' was read; not read: Sheet.",)


def test_cells_merged_downward_are_filled_and_titles_are_not(tmp_path: Path):
    def fill(book):
        for row in (
            ["Tabletop radio", None, None],
            ["variant", "wool", "bass"],
            [1, 20, 2.5],
            [None, 20, 2.75],
            [2, 25, 3],
        ):
            book.active.append(row)
        book.active.merge_cells("A1:C1")
        book.active.merge_cells("A3:A4")

    assert cells(workbook(tmp_path, fill)) == [
        ("Tabletop radio", None, None),
        ("variant", "wool", "bass"),
        (1, 20, 2.5),
        (1, 20, 2.75),
        (2, 25, 3),
    ]


def test_percent_is_read_as_shown(tmp_path: Path):
    """A cell that shows 20% holds 0.2; it must not become 0.2 % of wool, nor a sign that is only written beside it count."""

    def fill(book):
        book.active.append(["variant", "wool", "beside", "escaped", "a blank as wide"])
        book.active.append([1, 0.2, 20, 20, 20])
        for place, style in zip("BCDE", ("0%", '0"%"', "0\\%", "0_%"), strict=True):
            book.active[f"{place}2"].number_format = style

    assert cells(workbook(tmp_path, fill))[1] == (1, "20%", 20, 20, 20)


def test_a_formula_without_its_value_is_named(tmp_path: Path):
    """A program wrote it that did not compute; an empty cell would be a lie."""
    with pytest.raises(
        ImportProblems, match=re.escape("line 2, column 'B': '=1+1' - is a formula without a saved value")
    ):
        workbook(tmp_path, lambda book: [book.active.append(["variant", "wool"]), book.active.append([1, "=1+1"])])


def test_a_formula_that_gave_an_empty_text_is_an_empty_cell(tmp_path: Path):
    """Spreadsheet programs save its value as an empty one (ECMA-376: t="str"), which is a saved value."""
    rows = '<row r="1"><c r="A1" t="str"><v>variant</v></c><c r="B1" t="str"><v>wool</v></c></row>'
    rows += '<row r="2"><c r="A2"><v>1</v></c><c r="B2" t="str"><f>IF(1,"","")</f><v></v></c></row>'
    assert cells(read_sheet(packed(tmp_path, rows), score))[1][0] == 1


def packed(tmp_path: Path, rows: str, after: str = "", sheets: int = 1, part: str = "A1:XFD1048576") -> Path:
    """Write a workbook with these rows as XML, whose sheets all name one part; the size that it tells is the largest."""
    main = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
    book = openpyxl.Workbook()
    for place in range(1, sheets):
        book.create_sheet(f"Sheet{place}")
    book.save(tmp_path / "plain.xlsx")
    path = tmp_path / "log.xlsx"
    with zipfile.ZipFile(tmp_path / "plain.xlsx") as old, zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            text = old.read(name)
            if name == "xl/worksheets/sheet1.xml":
                head = f'<worksheet xmlns="{main}"><dimension ref="{part}"/><sheetData>'
                text = f"{head}{rows}</sheetData>{after}</worksheet>".encode()
            new.writestr(name, text)
    return path


LOG = '<row r="1"><c r="A1" t="str"><v>variant</v></c></row><row r="2"><c r="A2"><v>1</v></c></row>'


@pytest.mark.parametrize(
    ("rows", "after"),
    [
        (LOG, ""),
        (LOG + '<row r="1048576"><c r="XFD1048576" s="0"/></row>', ""),
        (LOG, '<mergeCells count="1"><mergeCell ref="A2:A1048576"/></mergeCells>'),
    ],
    ids=["size told", "a blank cell far off", "a merge to the end"],
)
def test_a_sheet_ends_with_the_last_cell_that_holds_something(tmp_path: Path, rows: str, after: str):
    """A file of 5 kB that is a log of two lines, but says that it reaches to the last cell there is (2^34 of them)."""
    assert cells(read_sheet(packed(tmp_path, rows, after), score)) == [("variant",), (1,)]


def filled(column: str, count: int) -> str:
    return LOG + "".join(f'<row r="{r}"><c r="{column}{r}"><v>1</v></c></row>' for r in range(3, count))


MERGES = "".join(f'<mergeCell ref="A{place}:A1048576"/>' for place in range(2, 2000))


@pytest.mark.parametrize(
    ("rows", "after"),
    [
        (filled("XFD", 12), ""),
        (filled("A", 3) + '<row r="99999999999"/>', ""),
        (filled("A", 3) + '<row r="3"/>' * 1100, ""),
        (filled("A", 400) + '<row r="401"><c r="XFD401"><v>1</v></c></row>', ""),
        (filled("A", 600), f"<mergeCells>{MERGES}</mergeCells>"),
    ],
    ids=["far apart", "a row that cannot be", "more rows than there are", "one cell far right", "merges over merges"],
)
def test_a_sheet_that_is_spread_too_far_is_refused(tmp_path: Path, monkeypatch, rows: str, after: str):
    """Before the work is done that its cells would take; with smaller limits, so that the test is quick."""
    monkeypatch.setattr("doe.store.workbook._MOST_CELLS", 100_000)
    monkeypatch.setattr("doe.store.workbook.MOST_ROWS", 1000)
    sentence = "log.xlsx spreads over more than 100,000 cells; delete what stands far off, or save the sheet as CSV."
    with refused(DataError, sentence):
        read_sheet(packed(tmp_path, rows, after), score)


@pytest.mark.slow
def test_a_sheet_with_a_cell_at_each_end_is_refused(tmp_path: Path):
    """Eighty rows, each with one cell at the far right, are more than a million cells; two hundred are too many."""
    assert len(read_sheet(packed(tmp_path, filled("XFD", 80)), score).lines) == 79
    with pytest.raises(DataError, match="more than 3,000,000 cells"):
        read_sheet(packed(tmp_path, filled("XFD", 200)), score)


def test_a_workbook_that_unpacks_to_too_much_is_refused(tmp_path: Path, monkeypatch):
    """Said as such: it is a workbook, and saving it anew would not help."""
    monkeypatch.setattr("doe.store.workbook._MOST_UNPACKED_BYTES", 1000)
    with refused(DataError, "log.xlsx is too large for a log; save the sheet as CSV."):
        read_sheet(packed(tmp_path, LOG), score)


@given(
    st.lists(
        st.lists(st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x00")), min_size=3, max_size=3)
    )
)
def test_whatever_a_csv_writer_writes_is_read_back(tmp_path_factory, rows):
    """Below recognised headings, cells come back as written, blank lines apart."""
    text = io.StringIO(newline="")
    csv.writer(text).writerows([["variant", "wool", "bass"], *rows])
    found = sheet(tmp_path_factory.mktemp("csv"), text.getvalue())
    filled = [tuple(row) for row in rows if any(cell.strip() for cell in row)]
    assert cells(found)[1:] == filled
