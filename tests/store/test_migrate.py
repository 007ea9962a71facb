from datetime import datetime
from pathlib import Path

import duckdb

from doe.store import ProjectFile, migrate


def test_migrations_are_numbered_from_one_without_gaps():
    assert list(migrate.known()) == list(range(1, migrate.newest() + 1))


def test_a_new_project_is_up_to_date(empty: ProjectFile):
    with duckdb.connect(str(empty.path), read_only=True) as con:
        assert migrate.check_version(con, empty.path) == migrate.newest()
        assert migrate.applied(con) == migrate.newest()


def test_what_is_applied_is_not_applied_again(empty: ProjectFile):
    with duckdb.connect(str(empty.path)) as con:
        assert migrate.migrate(con, datetime(2026, 1, 1)) == []


def test_an_older_file_is_brought_up_to_date_on_opening(empty: ProjectFile, tmp_path: Path, monkeypatch):
    """With one more migration than the file has, opening applies it together with its record, once."""
    later = tmp_path / "0099_later.sql"
    later.write_text("CREATE TABLE later (id BIGINT); INSERT INTO later VALUES (1);")
    present = migrate.known()
    monkeypatch.setattr(migrate, "known", lambda: {**present, max(present) + 1: later})
    for _ in range(2):
        ProjectFile.open(empty.path)
    with duckdb.connect(str(empty.path), read_only=True) as con:
        assert con.execute("SELECT count(*) FROM later").fetchone() == (1,)
        assert con.execute("SELECT max(number) FROM fettle_migration").fetchone() == (max(present) + 1,)


def test_a_migration_that_fails_changes_nothing(empty: ProjectFile, tmp_path: Path, monkeypatch):
    """It is applied whole, with its record, or not at all."""
    broken = tmp_path / "0099_broken.sql"
    broken.write_text("CREATE TABLE later (id BIGINT); SELECT * FROM nowhere;")
    present = migrate.known()
    with monkeypatch.context() as patched:
        patched.setattr(migrate, "known", lambda: {**present, max(present) + 1: broken})
        try:
            ProjectFile.open(empty.path)
        except OSError as err:
            assert "nothing was changed" in str(err)
        else:
            raise AssertionError("the broken migration was not refused")
    assert ProjectFile.open(empty.path).check() == []
    with duckdb.connect(str(empty.path), read_only=True) as con:
        assert con.execute("SELECT count(*) FROM duckdb_tables() WHERE table_name = 'later'").fetchone() == (0,)
