import re
import shutil
import tomllib
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from doe.model.errors import DataError, StoreError, UsageError
from doe.model.records import KeptFile, Reading, Unit, Variant
from doe.model.setup import Setup
from doe.store import ProjectFile, read_log
from doe.store.attachments import TAKE, hash_of
from doe.store.setup_text import setup_text
from tests.store import strategies
from tests.store.radio import SETTINGS

KINDS = ("csv", "parquet", "xlsx")
quietly = settings(
    deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large], database=None
)


def round_trip(f: ProjectFile, folder: Path, kind: str) -> ProjectFile:
    target = f.export(folder / f"out.{kind}", kind)
    return ProjectFile.restore(folder / f"back_{kind}.duckdb", target)


@given(strategies.setups())
@settings(quietly, max_examples=40)
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
@settings(quietly, max_examples=15)
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
        values = data.draw(st.lists(strategies.finite, max_size=2))
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
        ("variants.csv", "poly", "polly", "driver is 'polly'; it must be paper, poly or bamboo. Did you mean 'poly'?"),
        ("setup.toml", 'kind = "count"', "kind = count", "The setup of the export cannot be read: "),
    ],
)
def test_an_export_that_was_spoilt_is_named(radio: ProjectFile, tmp_path: Path, file, old, new, sentence):
    """And no half project is left behind."""
    folder = radio.export(tmp_path / "out")
    path = folder / file
    path.write_text(path.read_text(encoding="utf-8").replace(old, new), encoding="utf-8")
    with pytest.raises(DataError, match=re.escape(sentence)):
        ProjectFile.restore(tmp_path / "back.duckdb", folder)
    assert not list(tmp_path.glob("*back*"))


def test_an_attachment_missing_from_an_export_is_named(radio: ProjectFile, tmp_path: Path):
    radio.attach("1", "a.txt", b"first")
    folder = radio.export(tmp_path / "out")
    shutil.rmtree(folder / "files")
    with pytest.raises(DataError, match="The export is not whole: attachment 1"):
        ProjectFile.restore(tmp_path / "back.duckdb", folder)


def test_what_is_no_export_is_refused(tmp_path: Path):
    (tmp_path / "text.xlsx").write_text("no workbook")
    for source in (tmp_path, tmp_path / "none", tmp_path / "text.xlsx"):
        with pytest.raises((StoreError, DataError)):
            ProjectFile.restore(tmp_path / "back.duckdb", source)
