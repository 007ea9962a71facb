import csv
import tomllib
from pathlib import Path

import pytest

from doe.model.setup import Setup
from doe.store import read_log

FOLDER = Path(__file__).parents[1] / "published"
CASES = tomllib.loads((FOLDER / "cases.toml").read_text(encoding="utf-8"))


@pytest.mark.published
@pytest.mark.parametrize("case", CASES)
def test_a_published_log_is_read_whole(case: str):
    """Each line gives one reading of each outcome with the printed value; settings are those of its line."""
    folder = FOLDER / case
    setup = Setup.from_tables(tomllib.loads((folder / "setup.toml").read_text(encoding="utf-8")))
    mapping = CASES[case]["map"]
    log = read_log(folder / "data.csv", setup, mapping)
    with (folder / "data.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    theirs = {ours: their for their, ours in mapping.items() if ours}
    outcomes = [outcome.name for outcome in setup.outcomes]
    assert [(reading.outcome, reading.value) for reading in log.readings] == [
        (name, float(row[theirs.get(name, name)])) for row in rows for name in outcomes
    ]
    settings = {variant.name: variant.settings for variant in log.variants}
    for row, reading in zip(rows, log.readings[:: len(outcomes)], strict=True):
        for factor in setup.factors:
            value = settings[reading.variant][factor.name]
            printed = row[theirs.get(factor.name, factor.name)]
            assert value == (float(printed) if factor.is_numeric else printed)
    assert not any(note.startswith("Not read") for note in log.notes)
