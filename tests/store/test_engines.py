"""What an engine may touch, and that one which waits holds nothing."""

import os
import shutil
import signal
import subprocess
import sys
import threading
from pathlib import Path

import duckdb
import pytest

from doe.model.errors import StoreError
from doe.store import ProjectFile, connect, engines
from tests.store.radio import RADIO

NAMES = ["maker's.duckdb", 'say "aah".duckdb', "r\u00e4dio \u53f0.duckdb", "%s {0} $1;--.duckdb", "a.b"]


def waits_for(path: Path) -> bool:
    return str(path.resolve()) in engines._waiting


def tables(path: Path) -> int:
    with connect.reading(path) as con:
        row = con.execute("SELECT count(*) FROM duckdb_tables()").fetchone()
        assert row is not None
        return int(row[0])


@pytest.mark.parametrize("name", NAMES)
def test_any_name_a_file_can_have_is_opened_again_and_again(tmp_path: Path, name: str):
    f = ProjectFile.create(tmp_path / name, RADIO)
    for title in ("first", "second"):
        f.change_setup("title", title)
        assert ProjectFile.open(tmp_path / name).setup().title == title
    assert [path.name for path in tmp_path.iterdir()] == [name]


def test_a_link_and_a_way_round_lead_to_the_same_file(empty: ProjectFile):
    (link := empty.path.with_name("link.duckdb")).symlink_to(empty.path)
    (folder := empty.path.parent / "inner").mkdir()
    ProjectFile.open(link).change_setup("title", "By the link")
    assert ProjectFile.open(folder / ".." / empty.path.name).setup().title == "By the link"
    ProjectFile.open(folder / ".." / empty.path.name).change_setup("title", "Way round")
    assert empty.setup().title == "Way round"


def test_a_link_that_leads_elsewhere_by_now_is_followed(empty: ProjectFile):
    (other := empty.path.with_name("other.duckdb")).write_bytes(empty.path.read_bytes())
    (link := empty.path.with_name("link.duckdb")).symlink_to(empty.path)
    ProjectFile.open(link).change_setup("title", "First")
    link.unlink()
    link.symlink_to(other)
    assert ProjectFile.open(link).setup().title == RADIO.title


def test_a_file_put_in_the_place_of_another_is_the_one_that_counts(empty: ProjectFile):
    shutil.copyfile(empty.path, kept := empty.path.with_name("kept.duckdb"))
    empty.change_setup("title", "Changed")
    kept.replace(empty.path)
    assert empty.setup().title == RADIO.title


@pytest.mark.parametrize("read_only", [True, False])
def test_a_view_in_a_strange_project_reads_no_other_file(empty: ProjectFile, tmp_path: Path, read_only: bool):
    (secret := tmp_path / "secret.csv").write_text("word\nmelon\n", encoding="utf-8")
    with duckdb.connect(str(empty.path)) as con:
        con.execute(f"CREATE VIEW spy AS SELECT * FROM read_csv('{secret}')")
    way = connect.reading if read_only else connect.writing
    with pytest.raises(StoreError, match="Cannot access file"), way(empty.path) as con:
        con.execute("SELECT * FROM spy")


@pytest.mark.parametrize(
    "statement",
    [
        "ATTACH '{other}' AS other",
        "COPY (SELECT 1) TO '{other}'",
        "SET enable_external_access = true",
        "SET allowed_paths = ['{other}']",
        "SET allowed_directories = ['/']",
        "LOAD sqlite",
    ],
)
def test_an_engine_gets_no_more_leave(empty: ProjectFile, tmp_path: Path, statement: str):
    with pytest.raises(StoreError), connect.writing(empty.path) as con:
        con.execute(statement.format(other=tmp_path / "other.duckdb"))
    assert not (tmp_path / "other.duckdb").exists()
    assert empty.setup() == RADIO


def test_an_engine_that_waits_has_no_file_open_and_holds_no_lock(empty: ProjectFile):
    empty.change_setup("title", "Changed")
    assert waits_for(empty.path)
    code = f"import duckdb; print(duckdb.connect({str(empty.path)!r}).execute('SELECT 1').fetchone())"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "(1,)\n"
    assert not empty.path.with_name("radio.duckdb.wal").exists()
    if Path("/proc/self/fd").exists():
        open_files = {os.path.realpath(number) for number in Path("/proc/self/fd").iterdir()}
        assert str(empty.path.resolve()) not in open_files


def test_only_a_few_engines_wait(tmp_path: Path, templates: Path):
    paths = [Path(shutil.copyfile(templates / "empty.duckdb", tmp_path / f"{place}.duckdb")) for place in range(7)]
    for path in paths:
        tables(path)
    assert [waits_for(path) for path in paths] == [False] * 3 + [True] * 4
    tables(paths[3])
    tables(paths[0])
    assert [waits_for(path) for path in paths] == [True, False, False, True, False, True, True]


def test_an_engine_whose_file_could_not_be_closed_well_is_not_used_again(empty: ProjectFile, monkeypatch):
    n_tables = tables(empty.path)
    monkeypatch.setattr(engines, "NAME", "elsewhere")
    with pytest.raises(ZeroDivisionError), connect.reading(empty.path) as con:
        monkeypatch.undo()  # so that what is detached is not there
        raise ZeroDivisionError
    assert not waits_for(empty.path)
    with pytest.raises(duckdb.ConnectionException):
        con.execute("SELECT 1")
    assert tables(empty.path) == n_tables


def test_what_was_begun_in_vain_is_not_seen_next_time(empty: ProjectFile):
    with pytest.raises(ZeroDivisionError), connect.writing(empty.path) as con:
        con.execute("CREATE TABLE half (done INTEGER)")
        raise ZeroDivisionError
    before = tables(empty.path)
    with pytest.raises(StoreError, match="half"), connect.reading(empty.path) as con:
        con.execute("SELECT * FROM half")
    assert tables(empty.path) == before


@pytest.mark.parametrize("how", [connect.reading, connect.writing])
def test_ctrl_c_in_a_query_is_no_fault(empty: ProjectFile, how):
    """DuckDB tells of it by an error of its own; the query would take a minute."""
    before = empty.path.read_bytes()
    behind_a_shell = signal.signal(signal.SIGINT, signal.default_int_handler)  # with ``&`` it would not be heard
    soon = threading.Timer(0.3, signal.raise_signal, [signal.SIGINT])
    soon.start()
    try:
        with pytest.raises(KeyboardInterrupt), how(empty.path) as con:
            con.execute("SELECT sum(sqrt(range)) FROM range(10000000000)").fetchall()
    finally:
        soon.join()
        signal.signal(signal.SIGINT, behind_a_shell)
    assert len(empty.history()) == 1
    assert empty.path.read_bytes() == before
