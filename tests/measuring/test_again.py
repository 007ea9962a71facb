"""Readings computed anew from the files that are kept of them."""

from dataclasses import replace

import pytest

from doe.measuring import measure, measure_again
from doe.model.errors import DataError
from doe.model.outcome import Outcome
from doe.model.records import Variant
from doe.model.setup import Setup
from doe.store import ProjectFile
from tests.refusing import refused

BASS = Outcome("bass", unit="dB", recipe={"from": "band_level", "band": [40, 150]})
FLAT = "20 {0}\n200 {0}\n20000 {0}\n"


def test_kept_files_are_computed_anew_with_all_that_is_found_on_the_way(tmp_path):
    """As at the first time; a file that is gone or altered is named, and what has no recipe any more stays as it is."""
    file = ProjectFile.create(tmp_path / "p.duckdb", Setup(outcomes=[BASS]))
    for name, level in (("1", -4), ("2", -2)):
        file.add_variant(Variant(name))
        (tmp_path / f"{name}.txt").write_text(FLAT.format(level), encoding="utf-8")
        measure(file, name, tmp_path / f"{name}.txt")
    (tmp_path / "mic.txt").write_text("60 1\n20000 1\n", encoding="utf-8")
    file.change_setup("outcome", replace(BASS, recipe={**BASS.recipe, "microphone": "mic.txt"}), name="bass")
    done = measure_again(file)
    assert [change.variant for change in done.changes if change.after < change.before] == ["1", "2"]
    assert done.entry.summary == "recomputed 2 readings of bass from the kept files"
    assert done.warnings == ("mic.txt corrects from 60 to 20000 Hz only; beyond that nothing was taken off.",)
    assert (
        done.notes[0] == "Levels are taken as the curves state them, and compare only while these are measured alike."
    )
    file.take_back(done.entry.id)
    path = file.computations()[1]["path"]
    path.write_text(FLAT.format(0), encoding="utf-8")
    with refused(DataError, f"2.txt of variant 2 was altered: {path} is no longer what was measured."):
        measure_again(file)
    path.unlink()
    with refused(DataError, f"2.txt of variant 2 is missing: {path} does not exist."):
        measure_again(file)
    assert [row["value"] for row in file.computations()] == pytest.approx([-4, -2])
    file.change_setup("outcome", replace(BASS, recipe={}), name="bass")
    file.change_setup("outcome", Outcome("slope", recipe={"from": "tilt", "band": [40, 150]}))
    assert measure_again(file).notes == ("bass has no recipe any more; its 2 computed readings stay as they are.",)
