import pytest

from doe.model.errors import DataError, ImportProblems
from doe.store.run_table import read_run_table
from tests.refusing import refused
from tests.store.radio import FACTORS


def written(folder, text):
    path = folder / "runs.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_runs_are_read_with_what_stands_beside_them(tmp_path):
    """Headings in any order and case, decimal commas, a title above; columns of other names are left alone."""
    path = written(
        tmp_path, "My plan;;;;;\nDriver;wool;Vents;rings;variant;weather\npoly;12,5e1;3;9;4;dull\nPaper;5;0;7;;fine\n"
    )
    path.write_text(path.read_text().replace("12,5e1", "10,0"))
    assert read_run_table(path, FACTORS) == [
        {"variant": "4", "vents": 3, "rings": 9, "wool": 10.0, "driver": "poly"},
        {"variant": None, "vents": 0, "rings": 7, "wool": 5.0, "driver": "paper"},
    ]


def test_every_setting_that_is_not_allowed_is_listed(tmp_path):
    path = written(tmp_path, "vents,rings,wool,driver\n9,9,20,poly\n3,9,21,polly\n3,9,20,a; b\n3,9\n")
    said = (
        "runs.csv was not imported, nothing was stored: 6 cells to put right.\n"
        "  line 2, column 'vents': '9' - must be a whole number from 0 to 6\n"
        "  line 3, column 'wool': '21' - must be a number from 0 to 60 % in steps of 5\n"
        "  line 3, column 'driver': 'polly' - must be paper, poly or bamboo. Did you mean 'poly'?\n"
        "  line 4, column 'driver': 'a; b' - must be paper, poly or bamboo\n"
        "  line 5, column 'wool': empty - must be a number from 0 to 60 % in steps of 5\n"
        "  line 5, column 'driver': empty - must be paper, poly or bamboo"
    )
    with refused(ImportProblems, said):
        read_run_table(path, FACTORS)


def test_a_column_that_stands_twice_is_refused(tmp_path):
    """The last one counted without a word."""
    with refused(DataError, "runs.csv has two columns for wool; keep one of them."):
        read_run_table(written(tmp_path, "vents,rings,wool,driver,Wool\n3,9,20,poly,25\n"), FACTORS)


def test_a_factor_without_a_column_is_named(tmp_path):
    path = written(tmp_path, "vents,ring,wool,driver\n3,9,20,poly\n")
    with refused(DataError, "runs.csv has no column for rings; a run needs every factor. Did you mean 'ring'?"):
        read_run_table(path, FACTORS)


def test_a_table_without_runs_is_refused(tmp_path):
    with refused(DataError, "runs.csv has no runs below its headings."):
        read_run_table(written(tmp_path, "vents,rings,wool,driver\n"), FACTORS)


def test_a_missing_file_is_named(tmp_path):
    with pytest.raises(DataError, match="cannot be read: no such file or directory"):
        read_run_table(tmp_path / "none.csv", FACTORS)
