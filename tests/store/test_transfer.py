import hashlib
import re
import shutil
import tomllib
from pathlib import Path
from tempfile import TemporaryDirectory

import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from doe.model.errors import DataError, StoreError, UsageError
from doe.model.planned import Run
from doe.model.records import Computation, KeptFile, Reading, Unit, Variant
from doe.model.setup import Setup
from doe.store import ProjectFile, read_log, tables, transfer
from doe.store.attachments import TAKE, hash_of
from doe.store.setup_text import setup_text
from tests.refusing import refused
from tests.store import strategies
from tests.store.radio import SETTINGS
from tests.strategies import examples

KINDS = ("csv", "parquet", "xlsx")
ONE_QUICK = [KINDS[0], *(pytest.param(kind, marks=pytest.mark.slow) for kind in KINDS[1:])]
"""For what a table carries, whatever it is written as; how each kind is written is tested here."""
QUIETLY = {
    "suppress_health_check": [HealthCheck.too_slow, HealthCheck.data_too_large],
    "database": None,
}


def round_trip(f: ProjectFile, folder: Path, kind: str) -> ProjectFile:
    target = f.export(folder / f"out.{kind}", kind)
    return ProjectFile.restore(folder / f"back_{kind}.duckdb", target)


@given(strategies.setups())
@settings(examples(30), **QUIETLY)
def test_a_setup_written_as_toml_is_read_back_equal(setup: Setup):
    """Any text in any field, numbers to the last bit, recipes apart from the outcome's own keys."""
    assert Setup.from_tables(tomllib.loads(setup_text(setup))) == setup


@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS)
def test_a_round_trip_loses_nothing(radio: ProjectFile, tmp_path: Path, kind: str):
    """Everything that counts, the numbers of readings and advice, the files, and what the history told."""
    radio.attach("2", "photo.jpg", b"light", note="back")
    radio.add_suggestion({"kind": "learn", "settings": {"vents": 5}, "mean": 1 / 3})
    radio.add_unit(Unit("B", {**SETTINGS, "vents": 1}, note="=1+1"))
    radio.add_variant(Variant("3", {**SETTINGS, "vents": 3}, unit="B", status="planned"))
    radio.add_variant(Variant("4", {**SETTINGS, "vents": 2}, unit="B", note=' "quoted", and\r\ntwo lines '))
    radio.correct_variant("3", status="built")
    radio.retire_unit("A")
    radio.withdraw_reading(2)
    radio.take_back(radio.correct_reading(1, value=9).id)
    back = round_trip(radio, tmp_path, kind)
    assert back.fingerprint() == radio.fingerprint()
    assert back.readings() == radio.readings()
    assert back.units() == radio.units()
    assert back.suggestions() == radio.suggestions()
    assert back.history()[:-1] == radio.history()
    assert back.attachments()[0]["path"].read_bytes() == b"light"
    assert back.check() == []


@pytest.mark.slow
@given(strategies.projects(), st.data())
@settings(examples(8), **QUIETLY)
def test_any_project_survives_each_kind_of_file(project, data):
    """The fingerprint after export and restore is the one before, whatever the texts, times and numbers are."""
    setup, units, sessions, variants, readings = project
    with TemporaryDirectory() as folder:
        f = ProjectFile.create(Path(folder) / "a.duckdb", setup)
        f.import_rows(variants, sessions, units, readings, source="made")
        measure_some(f, Path(folder), data)
        assert f.check() == []
        for kind in KINDS:
            back = round_trip(f, Path(folder), kind)
            assert back.fingerprint() == f.fingerprint()
            assert back.setup() == setup
            assert [row["computation"] for row in back.computations()] == [
                row["computation"] for row in f.computations()
            ]


def measure_some(f: ProjectFile, folder: Path, data: st.DataObject):
    """Add readings that were computed from a file, with any settings, to the built variants."""
    for place, variant in enumerate(item.name for item in f.variants() if item.status == "built"):
        take = folder / f"take{place}.txt"
        take.write_bytes(data.draw(st.binary(max_size=4)) + bytes([place]))
        digest = hash_of(take)
        values = data.draw(st.lists(strategies.readable, max_size=2))
        made = [(Reading(variant, "bass", value), data.draw(strategies.computations(digest))) for value in values]
        f.add_measured(made, [KeptFile(take, digest, variant, TAKE)], variant)


@pytest.mark.parametrize("kind", KINDS)
def test_an_empty_project_survives_too(empty: ProjectFile, tmp_path: Path, kind: str):
    assert round_trip(empty, tmp_path, kind).fingerprint() == empty.fingerprint()


def test_the_fingerprint_does_not_depend_on_order_or_numbers(empty: ProjectFile, tmp_path: Path):
    """The same records in another order are the same content; one value changed is not."""
    other = ProjectFile.open(shutil.copyfile(empty.path, tmp_path / "other.duckdb"))
    rows = [Variant("a", SETTINGS), Variant("b", {**SETTINGS, "vents": 3})]
    readings = [Reading("a", "bass", 1.0), Reading("b", "bass", 2.0), Reading("b", "bass", 2.0)]
    empty.import_rows(rows, [], [], readings, source="one")
    other.import_rows(rows[::-1], [], [], readings[::-1], source="two")
    assert empty.fingerprint() == other.fingerprint()
    other.correct_reading(1, value=2.5)
    assert empty.fingerprint() != other.fingerprint()


def test_one_reading_less_is_another_fingerprint(radio: ProjectFile):
    """Equal rows are counted, not merged."""
    before = radio.fingerprint()
    radio.add_readings([Reading("1", "bass", -3.25, session="Tuesday", rater="mic", order=1)])
    assert radio.fingerprint() != before


def test_exported_readings_are_a_log_that_can_be_imported(radio: ProjectFile, tmp_path: Path):
    """The readings table is the long form, with the settings beside each value."""
    folder = radio.export(tmp_path / "out")
    log = read_log(folder / "readings.csv", radio.setup())
    assert {variant.name: dict(variant.settings) for variant in log.variants} == {
        variant.name: dict(variant.settings) for variant in radio.variants()
    }
    assert [(row.variant, row.value, row.versus) for row in log.readings] == [
        (row["variant"], row["value"], row["versus"]) for row in radio.readings()
    ]


@pytest.mark.parametrize("kind", KINDS)
def test_nothing_is_written_over(radio: ProjectFile, tmp_path: Path, kind: str):
    target = tmp_path / "there"
    target.write_text("mine")
    with pytest.raises(StoreError, match="exists already"):
        radio.export(target, kind)
    assert target.read_text() == "mine"


def test_an_unknown_kind_of_file_is_refused(radio: ProjectFile, tmp_path: Path):
    with pytest.raises(UsageError, match=re.escape("kind is 'ods'; it must be csv, parquet or xlsx.")):
        radio.export(tmp_path / "out", "ods")


def test_a_text_too_long_for_a_workbook_is_refused_and_not_cut(radio: ProjectFile, tmp_path: Path):
    radio.correct_variant("1", note="x" * 40_000)
    with pytest.raises(DataError, match="more than a cell of a workbook can hold"):
        radio.export(tmp_path / "out.xlsx", "xlsx")
    assert not (tmp_path / "out.xlsx").exists()


@pytest.mark.parametrize(
    ("file", "old", "new", "sentence"),
    [
        ("readings.csv", "-3.25", "low", "readings, row 1, value of the export is 'low', which is no number."),
        ("readings.csv", "versus", "other", "Table readings of the export has no column 'versus'."),
        (
            "variants.csv",
            "fuller",
            "fuller, warmer",
            "variants, row 2 of the export has more cells than there are columns; "
            "put text that holds commas in quotation marks.",
        ),
        ("variants.csv", "built,20.0", "built,-20.0", "Variant 2: minutes is -20; it must be 0 or more."),
        ("variants.csv", "poly", "polly", "driver is 'polly'; it must be paper, poly or bamboo. Did you mean 'poly'?"),
        (
            "units.csv",
            "False",
            "WAHR",
            "units, row 1, retired of the export is 'WAHR', which is neither true nor false.",
        ),
        ("setup.toml", 'kind = "count"', "kind = count", "The setup of the export is no TOML that can be read: line "),
    ],
)
def test_an_export_that_was_spoilt_is_named(radio: ProjectFile, tmp_path: Path, file, old, new, sentence):
    """And no half project is left behind."""
    folder = radio.export(tmp_path / "out")
    path = folder / file
    path.write_text(path.read_text(encoding="utf-8").replace(old, new), encoding="utf-8")
    with pytest.raises((DataError, UsageError), match=re.escape(sentence)):
        ProjectFile.restore(tmp_path / "back.duckdb", folder)
    assert not list(tmp_path.glob("*back*"))


@pytest.mark.parametrize("cell", [3.7, "3.0", float("nan")])
def test_a_whole_number_of_an_export_is_not_cut_to_one(cell):
    """A workbook and Parquet hold numbers of any kind."""
    assert tables.typed([{"order": 3.0}], {"order": "whole"}, "readings") == [{"order": 3}]
    with refused(DataError, f"readings, row 1, order of the export is '{cell}', which is no whole number."):
        tables.typed([{"order": cell}], {"order": "whole"}, "readings")


@pytest.mark.parametrize(
    ("file", "old", "new", "sentence"),
    [
        ("attachments.csv", "a.txt", "../../evil.txt",
         "attachment 1: filename is '../../evil.txt'; it must be a bare file name."),
        ("attachments.csv", hashlib.sha256(b"first").hexdigest(), "../../secret",
         "attachment 1: sha256 is '../../secret'; it must be 64 digits, 0 to 9 or a to f."),
        ("measurements.csv", hashlib.sha256(b"take").hexdigest(), "../../secret",
         "Reading 5: sha256 of its file is '../../secret'; it must be 64 digits, 0 to 9 or a to f."),
        ("suggestions.csv", "learn", 'learn"',
         'suggestions, row 1, body of the export is \'{"kind": "learn"", "settings": {"vents": 5}}\', which is no json.'),
        ("plans.csv", "runs", "walks", "Table plans of the export does not hold what it should: an entry 'runs' is missing. "
         "Take back what was edited in it, or export the project anew."),
        ("readings.csv", "1,1,bass", "1,,bass", "readings, row 1, variant of the export is empty; it must be filled in."),
        ("history.csv", "create", "", "history, row 1, kind of the export is empty; it must be filled in."),
        ("variants.csv", "built", "", "variants, row 1, status of the export is empty; it must be filled in."),
        ("variants.csv", "built", "idea", "Variant 1: status is 'idea'; it must be built or planned."),
        ("readings.csv", "4,2,nicer", "99999999999999999999,2,nicer",
         "Table readings of the export does not hold what it should: something in it was altered. Take back what was edited in "
         "it, or export the project anew."),
    ],
)  # fmt: skip
def test_an_export_that_was_made_up_is_refused(everything: Path, tmp_path: Path, file, old, new, sentence):
    """In a sentence that names the table, and nothing is left behind: neither a project nor a folder of files."""
    path = everything / file
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(
        text.replace(old, new.replace('"', '""') if file == "suggestions.csv" else new, 1), encoding="utf-8"
    )
    with pytest.raises(DataError, match=rf"\A{re.escape(sentence)}{'' if sentence.endswith('.') else '.*'}\Z"):
        ProjectFile.restore(tmp_path / "back.duckdb", everything)
    assert not list(tmp_path.glob("*back*"))


@pytest.fixture
def everything(radio: ProjectFile, tmp_path: Path) -> Path:
    """An export with something in every table that a person may spoil."""
    radio.attach("1", "a.txt", b"first")
    radio.add_suggestion({"kind": "learn", "settings": {"vents": 5}})
    radio.adopt_plan({"headline": "two"}, [Run({**SETTINGS, "vents": 5}), Run({**SETTINGS, "vents": 6})])
    take = tmp_path / "take.txt"
    take.write_bytes(b"take")
    how = Computation("band_level", 1, {}, hash_of(take), {})
    radio.add_measured([(Reading("1", "bass", 1.0), how)], [KeptFile(take, hash_of(take), "1", TAKE)], "1")
    return radio.export(tmp_path / "out")


def test_a_spreadsheet_may_put_its_mark_in_front(everything: Path, tmp_path: Path):
    """Files saved as UTF-8 with a byte order mark hold the same."""
    before = ProjectFile.restore(tmp_path / "one.duckdb", everything).fingerprint()
    for path in [*everything.glob("*.csv"), everything / "setup.toml"]:
        path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes())
    assert ProjectFile.restore(tmp_path / "two.duckdb", everything).fingerprint() == before


@pytest.mark.parametrize(
    ("file", "sentence"),
    [
        ("setup.toml", "The setup of the export is no text in UTF-8; save setup.toml in UTF-8."),
        ("variants.csv", "Table variants of the export is no CSV in UTF-8; save variants.csv in UTF-8."),
    ],
)
def test_another_encoding_is_named(everything: Path, tmp_path: Path, file: str, sentence: str):
    (everything / file).write_bytes("größer".encode("latin-1"))
    with refused(DataError, sentence):
        ProjectFile.restore(tmp_path / "back.duckdb", everything)


def test_a_damaged_parquet_table_is_named(radio: ProjectFile, tmp_path: Path):
    folder = radio.export(tmp_path / "out", "parquet")
    whole = (folder / "readings.parquet").read_bytes()
    for spoilt in (whole[:-20], b"PAR1" + bytes(len(whole) - 8) + b"PAR1", b""):
        (folder / "readings.parquet").write_bytes(spoilt)
        with refused(DataError, "Table readings of the export is damaged: readings.parquet cannot be read."):
            ProjectFile.restore(tmp_path / "back.duckdb", folder)


@pytest.mark.parametrize("kind", KINDS)
def test_an_export_that_fails_halfway_leaves_nothing(radio: ProjectFile, tmp_path: Path, monkeypatch, kind: str):
    """No half table passes for a whole one, and no files lie about."""
    radio.attach("1", "a.txt", b"first")
    name = {"csv": "write_csv", "parquet": "write_parquet", "xlsx": "put_in_place"}[kind]
    before = set(tmp_path.rglob("*"))

    def full(*_) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(transfer, name, full)
    target = tmp_path / "half"
    with refused(StoreError, f"{target} cannot be written: No space left on device."):
        radio.export(target, kind)
    assert set(tmp_path.rglob("*")) == before


def test_a_failed_restore_keeps_files_that_were_there(everything: Path, tmp_path: Path):
    """A folder of that name may belong to something else."""
    there = tmp_path / "back.files"
    there.mkdir()
    (there / hashlib.sha256(b"first").hexdigest()).write_bytes(b"first")
    path = everything / "plans.csv"
    path.write_text(path.read_text(encoding="utf-8").replace("runs", "walks", 1), encoding="utf-8")
    with pytest.raises(DataError, match="Table plans"):
        ProjectFile.restore(tmp_path / "back.duckdb", everything)
    assert [path.read_bytes() for path in there.iterdir()] == [b"first"]


def test_a_workbook_that_is_no_export_of_a_project_but_a_trap_is_refused(radio: ProjectFile, tmp_path, monkeypatch):
    """What it says to hold is looked at before it is read."""
    source = radio.export(tmp_path / "out.xlsx", "xlsx")
    monkeypatch.setattr(tables, "_MOST_CELLS", 100)
    advice = "export the project as csv or parquet"
    with refused(DataError, f"out.xlsx spreads over more than 100 cells; {advice}."):
        ProjectFile.restore(tmp_path / "back.duckdb", source)
    monkeypatch.setattr(tables, "_MOST_UNPACKED_BYTES", 1000)
    with refused(DataError, f"out.xlsx is too large to be read as a workbook; {advice}."):
        ProjectFile.restore(tmp_path / "back.duckdb", source)


def test_an_attachment_missing_from_an_export_is_named(radio: ProjectFile, tmp_path: Path):
    radio.attach("1", "a.txt", b"first")
    folder = radio.export(tmp_path / "out")
    shutil.rmtree(folder / "files")
    with pytest.raises(DataError, match="The export is not whole: attachment 1"):
        ProjectFile.restore(tmp_path / "back.duckdb", folder)


def test_an_export_without_its_readings_is_not_taken_for_a_project_without_any(radio: ProjectFile, tmp_path: Path):
    folder = radio.export(tmp_path / "out")
    (folder / "readings.csv").unlink()
    with refused(StoreError, f"{folder} cannot be read: No such file or directory."):
        ProjectFile.restore(tmp_path / "back.duckdb", folder)
    path = radio.export(tmp_path / "out.xlsx", "xlsx")
    book = openpyxl.load_workbook(path)
    book["readings"].title = "our readings"
    book.save(path)
    with refused(StoreError, f"{path} is no whole export: it has no sheet 'readings'."):
        ProjectFile.restore(tmp_path / "back.duckdb", path)
    assert not list(tmp_path.glob("*back*"))


def test_names_that_differ_in_capitals_only_come_back(radio: ProjectFile, tmp_path: Path):
    """They cannot be given any more, but an older project may have them."""
    folder = radio.export(tmp_path / "out")
    for file, line in (("units", "a,,False,"), ("sessions", "tuesday,,"), ("variants", "SHOP,,,built,,,,,,,,")):
        with (folder / f"{file}.csv").open("a", encoding="utf-8") as table:
            table.write(f"{line}\n")
    back = ProjectFile.restore(tmp_path / "back.duckdb", folder)
    assert [unit.name for unit in back.units()] == ["A", "a"]
    assert [session.name for session in back.sessions()] == ["Tuesday", "tuesday"]
    assert [variant.name for variant in back.variants()] == ["1", "2", "shop", "SHOP"]


def test_what_is_no_export_is_refused(tmp_path: Path):
    (tmp_path / "text.xlsx").write_text("no workbook")
    for source in (tmp_path, tmp_path / "none", tmp_path / "text.xlsx"):
        with pytest.raises((StoreError, DataError)):
            ProjectFile.restore(tmp_path / "back.duckdb", source)
