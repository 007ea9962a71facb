"""Readings computed anew from the files that are kept of them."""

from dataclasses import replace

import pytest

from doe.measuring import measure, measure_again
from doe.measuring.results import Change
from doe.model.errors import DataError
from doe.model.outcome import Outcome
from doe.model.records import Variant
from doe.model.setup import Setup
from doe.store import ProjectFile
from tests.refusing import refused

BASS = Outcome("bass", unit="dB", recipe={"from": "band_level", "band": [40, 150]})
FLAT = "20 {0}\n200 {0}\n20000 {0}\n"


@pytest.mark.slow
def test_kept_files_are_computed_anew_with_all_that_is_found_on_the_way(desk):
    """As at the first time; a file that is gone or altered is named, and what has no recipe any more stays as it is."""
    file = ProjectFile.create(desk / "p.duckdb", Setup(outcomes=[BASS]))
    for name, level in (("1", -4), ("2", -2)):
        file.add_variant(Variant(name))
        (desk / f"{name}.txt").write_text(FLAT.format(level), encoding="utf-8")
        done = measure(file, name, desk / f"{name}.txt", session="Monday")
        assert done.is_new_session == (name == "1")
    (whose,) = measure(file, "2", desk / "1.txt", dry_run=True).warnings
    assert whose == "1.txt is a take of variant 1 too; make sure whose it is."
    (desk / "mic.txt").write_text("60 1\n20000 1\n", encoding="utf-8")
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


def test_both_outcomes_of_one_file_are_computed_anew(desk):
    """A curve of -4 dB, and a microphone of 1, then of 2 dB. Where a key differs too, that is told, as it was typed."""
    (desk / "mic.txt").write_text(FLAT.format(1), encoding="utf-8")
    bass, treble = (
        Outcome(name, unit="dB", recipe={"from": "band_level", "band": band, "microphone": "mic.txt"})
        for name, band in (("bass", [40, 150]), ("treble", [1000, 5000]))
    )
    file = ProjectFile.create(desk / "p.duckdb", Setup(outcomes=[bass, treble]))
    file.add_variant(Variant("1"))
    (desk / "a.txt").write_text(FLAT.format(-4), encoding="utf-8")
    measure(file, "1", desk / "a.txt")
    (desk / "mic.txt").write_text(FLAT.format(2), encoding="utf-8")
    file.change_setup("outcome", replace(treble, recipe={**treble.recipe, "band": [1000, 12345.67]}), name="treble")
    assert [change.line() for change in measure_again(file).changes] == [
        "bass of 1, a.txt: -5.00 -> -6.00 dB (mic.txt was changed)",
        "treble of 1, a.txt: -5.00 -> -6.00 dB (band [1000, 5000] -> [1000, 12345.67])",
    ]


@pytest.mark.parametrize(
    ("before", "after", "told"),
    [(1.0, 1.5, "1.00 -> 1.50"), (0.0012, 0.00135, "0.00120 -> 0.00135"), (0.0012, 0.0012, "0.0012 -> 0.0012"),
     (-3.0, -3.0 - 1e-15, "-3 -> -3")],
)  # fmt: skip
def test_what_differs_by_rounding_alone_is_told_as_the_same(before, after, told):
    change = Change(1, "4", "fall", "s", "a.wav", before, after, "why")
    assert change.line() == f"fall of 4, a.wav: {told} s (why)"
