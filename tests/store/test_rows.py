import duckdb
import pytest

from doe.store.rows import fetch, insert, quote


@pytest.mark.parametrize("name", ['say "aah"', "]", "tip gap", "select", "a;b", "größe", "'", "a\nb"])
def test_any_name_can_be_quoted(name: str):
    """A table and a column of that name are made, filled and read back."""
    with duckdb.connect() as con:
        con.execute(f"CREATE TABLE {quote(name)} ({quote(name)} VARCHAR)")
        insert(con, name, [{name: "x"}, {name: None}])
        assert fetch(con, f"SELECT * FROM {quote(name)}") == [{name: "x"}, {name: None}]


def test_nothing_to_insert_is_no_statement():
    with duckdb.connect() as con:
        insert(con, "no such table", [])
