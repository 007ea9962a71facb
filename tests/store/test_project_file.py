import fcntl
import os
import re
import subprocess
import sys
import time
from pathlib import Path

import duckdb
import pytest

from doe.model.errors import StoreError
from doe.model.setup import Setup
from doe.store import ProjectFile, connect, migrate
from tests.bound import bound
from tests.store.radio import RADIO


def refused(path: Path, sentence: str) -> None:
    with pytest.raises(StoreError, match=f"^{re.escape(sentence)}$"):
        ProjectFile.open(path)


def test_a_new_project_gives_its_setup_back(empty: ProjectFile):
    """Definitions survive the way through the file unchanged, recipe, prices and limits included."""
    assert ProjectFile.open(empty.path).setup() == RADIO


def test_a_project_can_begin_with_nothing(tmp_path: Path):
    """A setup is not needed to begin."""
    assert ProjectFile.create(tmp_path / "a.duckdb").setup() == Setup()


def test_importing_the_store_loads_no_frames():
    """The write path must stay fast: neither pandas nor numpy nor openpyxl is imported by the store."""
    code = "import sys, doe.store; print([m for m in ('numpy', 'pandas', 'pyarrow', 'openpyxl') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "[]\n"


def test_logging_and_reading_load_no_frames_either(empty: ProjectFile):
    """Not even a whole write, beyond what the database itself loads to bind a value (older ones load numpy)."""
    tell = "import sys; print(sorted({'numpy', 'pandas', 'pyarrow', 'openpyxl', 'pytz'} & set(sys.modules)))"
    bound = "import duckdb; duckdb.connect().execute('SELECT $1', [1])"
    write = f"""
from doe.model.records import Reading, Variant
from doe.store import ProjectFile
f = ProjectFile.open({str(empty.path)!r})
f.add_variant(Variant("1", {{"vents": 1, "rings": 9, "wool": 0, "driver": "poly"}}))
f.add_readings([Reading("1", "bass", 1.0)])
"""
    loaded = [
        subprocess.run([sys.executable, "-c", f"{code}\n{tell}"], capture_output=True, text=True, check=True).stdout
        for code in (bound, write)
    ]
    assert loaded[1] == loaded[0]


def test_waiting_ends_after_one_patience_in_all(empty: ProjectFile, monkeypatch):
    """A program that keeps its turn (stopped in the middle, say) is not waited for twice."""
    monkeypatch.setattr(connect, "PATIENCE_SECONDS", 0.3)
    folder = os.open(empty.path.parent, os.O_RDONLY)
    try:
        fcntl.flock(folder, fcntl.LOCK_EX)
        start = time.monotonic()
        assert empty.setup() == RADIO  # nobody holds the file itself
        assert 0.25 < time.monotonic() - start < 3
    finally:
        os.close(folder)


def test_a_second_project_does_not_replace_the_first(empty: ProjectFile):
    """Creating over a file is refused, and the file keeps its bytes."""
    before = empty.path.read_bytes()
    with pytest.raises(StoreError, match="exists already; choose another name, or open it"):
        ProjectFile.create(empty.path, Setup("Other"))
    assert empty.path.read_bytes() == before
    assert sorted(path.name for path in empty.path.parent.iterdir()) == ["radio.duckdb"]


def test_a_missing_file_is_named(tmp_path: Path):
    path = tmp_path / "none.duckdb"
    refused(path, f"{path} does not exist.")
    assert not path.exists()


def test_a_folder_is_no_project(tmp_path: Path):
    refused(tmp_path, f"{tmp_path} is not a Fettle project: it is a folder.")


@pytest.mark.parametrize("content", [b"", b"vents,bass\n1,2\n" * 500, b"SQLite format 3\0" + bytes(4096)])
def test_another_kind_of_file_is_refused_untouched(tmp_path: Path, content: bytes):
    """Neither text nor another database nor an empty file is taken for a project, or changed."""
    path = tmp_path / "other.duckdb"
    path.write_bytes(content)
    refused(path, f"{path} is not a Fettle project: it is no DuckDB file.")
    assert path.read_bytes() == content
    assert len(list(tmp_path.iterdir())) == 1


@pytest.mark.parametrize("harm", ["cut off", "written over"])
def test_a_damaged_project_is_told_in_words_with_what_to_do(empty: ProjectFile, harm: str):
    """Not in those of the engine, which speak of blocks and checksums."""
    data = empty.path.read_bytes()
    empty.path.write_bytes(
        data[: len(data) // 2] if harm == "cut off" else data[:12400] + b"\xff" * 4000 + data[16400:]
    )
    refused(
        empty.path,
        f"{empty.path} cannot be opened: it is damaged: part of it is missing or altered. "
        "Use the last backup, or another copy that is whole.",
    )


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ('IO Error: Cannot open file "/a/b.duckdb": Too many open files', "too many files are open."),  # DuckDB 1.x
        ('IO Error: Could not write file "b.duckdb": Input/output error', "the disk does not answer as it should."),
        ('IO Error: Cannot open file "/corrupt horn/b.duckdb": Permission denied', "its folder takes no such file."),
    ],
)
def test_the_cause_is_told_and_not_the_step_or_the_name_of_the_file(empty: ProjectFile, said: str, told: str):
    with pytest.raises(StoreError, match=f"nothing was changed: {told}"), connect.writing(empty.path):
        raise duckdb.IOException(said)


def test_a_database_of_something_else_is_refused_untouched(tmp_path: Path):
    path = tmp_path / "sales.duckdb"
    with duckdb.connect(str(path)) as con:
        con.execute("CREATE TABLE entry (id INTEGER)")
    before = path.read_bytes()
    refused(path, f"{path} is not a Fettle project: it is a DuckDB file made by something else.")
    assert path.read_bytes() == before


def test_a_project_from_a_newer_version_is_refused_untouched(empty: ProjectFile):
    """A later layout is neither read nor written by this version."""
    newer = migrate.newest() + 1
    with duckdb.connect(str(empty.path)) as con:
        con.execute("INSERT INTO fettle_migration VALUES ($1, 'later', now()::TIMESTAMP)", [newer])
    before = empty.path.read_bytes()
    sentence = (
        f"{empty.path} was written by a newer Fettle (layout {newer}, this one knows {newer - 1}); it was left"
        " untouched: update Fettle to open it."
    )
    refused(empty.path, sentence)
    with pytest.raises(StoreError, match="newer Fettle"):
        empty.change_setup("title", "Changed")
    assert empty.path.read_bytes() == before


def test_a_folder_that_is_missing_is_named(tmp_path: Path):
    path = tmp_path / "nowhere" / "radio.duckdb"
    with pytest.raises(StoreError, match=re.escape(f"{path} cannot be made: the folder {path.parent} does not exist.")):
        ProjectFile.create(path)


@pytest.mark.skipif(not Path("/proc/self").exists(), reason="needs a folder that nobody can write to")
def test_a_folder_that_cannot_be_written_is_one_sentence():
    """The sentence names the file asked for, not the draft that was tried."""
    with pytest.raises(StoreError, match=r"^/proc/radio\.duckdb cannot be .*[^.]\.$"):
        ProjectFile.create("/proc/radio.duckdb")


def test_a_file_without_leave_to_write_can_still_be_read(radio: ProjectFile):
    radio.path.chmod(0o400)
    code = f"""
from doe.model.errors import StoreError
from doe.store import ProjectFile
radio = ProjectFile.open({str(radio.path)!r})
print(len(radio.variants()))
try:
    radio.change_setup("title", "Changed")
except StoreError as err:
    print(err)
"""
    done = subprocess.run(bound([sys.executable, "-c", code]), capture_output=True, text=True, check=True)
    refusal = f"{radio.path} cannot be written: permission denied for the file or its folder."
    assert done.stdout.splitlines() == ["3", refusal]
    assert radio.setup() == RADIO


def test_a_name_that_no_file_can_have_is_one_sentence(tmp_path: Path):
    with pytest.raises(StoreError, match="can be no file"):
        ProjectFile.create(tmp_path / ("x" * 300))


@pytest.mark.parametrize("name", [":memory:", "md:radio"])
def test_names_that_mean_something_to_the_database_are_plain_files(tmp_path: Path, monkeypatch, name: str):
    monkeypatch.chdir(tmp_path)
    ProjectFile.create(name, Setup("Plain"))
    assert ProjectFile.open(name).setup().title == "Plain"
    assert [path.name for path in tmp_path.iterdir()] == [name]


def test_a_log_left_by_another_project_stops_a_new_one(tmp_path: Path):
    """DuckDB would take the old log for the new file's own."""
    (tmp_path / "radio.duckdb.wal").write_bytes(b"old")
    with pytest.raises(StoreError, match="left over from another project"):
        ProjectFile.create(tmp_path / "radio.duckdb")


def test_a_file_held_too_long_says_by_whom(empty: ProjectFile, monkeypatch):
    """The retry ends with a sentence that names the process."""
    monkeypatch.setattr(connect, "PATIENCE_SECONDS", 0.2)
    code = f"import duckdb, sys; con = duckdb.connect({str(empty.path)!r}); print('held', flush=True); sys.stdin.read()"
    command = [sys.executable, "-c", code]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as holder:
        assert holder.stdout is not None
        holder.stdout.readline()
        with pytest.raises(
            StoreError, match=rf"is held by another program \(process {holder.pid}\) for more than 0.2 s"
        ):
            empty.setup()
        holder.communicate("")
    assert empty.setup() == RADIO


def test_a_connection_in_the_same_program_is_one_sentence(empty: ProjectFile):
    with duckdb.connect(str(empty.path)), pytest.raises(StoreError, match="is open in this program in another way"):
        empty.setup()


def test_a_torn_log_never_stops_the_file_from_opening(empty: ProjectFile):
    """Cut off anywhere, the write-ahead log of a crash gives all whole changes and nothing of the broken one."""
    log = empty.path.with_name("radio.duckdb.wal")
    code = f"""
import os, duckdb
con = duckdb.connect({str(empty.path)!r})
for number, name in enumerate(("first", "second"), 1):
    con.execute("INSERT INTO session VALUES ($1, 1, NULL, FALSE, $2, NULL, '')", [number, name])
    print(os.path.getsize({str(log)!r}), flush=True)
os.kill(os.getpid(), 9)
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    first, second = map(int, done.stdout.split())
    whole = log.read_bytes()
    for length in (0, 1, first - 1, first, first + 1, (first + second) // 2, second - 1, second):
        log.write_bytes(whole[:length])
        found = [session.name for session in ProjectFile.open(empty.path).sessions()]
        assert found == ["first"] * (length >= first) + ["second"] * (length >= second)
