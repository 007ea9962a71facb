import json

import pytest

from doe.store import ProjectFile

LOG = """\
variant,vents,rings,wool,driver,session,rater,bass,echo,note
10,3,9,30,paper,Friday,Ann,1.5,3,
10,3,9,30,paper,Friday,Bo,,4,
11,4,9,20,Poly,Friday,Ann,"0,5",2,fuller
"""


@pytest.fixture
def log(rig):
    path = rig.parent / "log.csv"
    path.write_text(LOG, encoding="utf-8")
    return path


def test_an_imported_log_is_told_in_numbers_and_can_be_taken_back(rig, log, fettle):
    before = ProjectFile.open(rig).fingerprint()
    done = fettle("import", "log.csv")
    assert (done.code, done.out) == (
        0,
        "Stored from log.csv: 2 variants, 5 readings, 1 session, 0 units.\nTake it back with 'fettle undo 7'.\n",
    )
    assert ProjectFile.open(rig).fingerprint() != before
    assert fettle("undo").code == 0
    assert ProjectFile.open(rig).fingerprint() == before


def test_a_cell_far_from_all_others_is_noted(rig, log, fettle):
    log.write_text(LOG.replace("1.5,3", "150,3"), encoding="utf-8")
    done = fettle("import", "log.csv", "--dry-run")
    assert "bass is 150 dB, far from all that is known of it (-6 to 6).\n" in done.err


def test_a_dry_run_reads_everything_and_stores_nothing(rig, log, fettle):
    before = ProjectFile.open(rig).fingerprint()
    done = fettle("import", "log.csv", "--dry-run")
    assert done.out == (
        "log.csv can be read as it is: 2 variants, 5 readings, 1 session, 0 units. Nothing was stored.\n"
    )
    assert ProjectFile.open(rig).fingerprint() == before
    assert json.loads(fettle("import", "log.csv", "--dry-run", "--json").out)["entry"] is None


def test_the_same_file_is_not_taken_in_twice(rig, log, fettle):
    assert fettle("import", "log.csv").code == 0
    for words in ([], ["--dry-run"], ["--json"]):
        done = fettle("import", "log.csv", *words)
        assert (done.code, done.out) == (1, "")
        told = "log.csv was imported already, as entry 7; take that back to import it again"
        assert done.err == f"{told}; 'fettle undo 7' does that.\n"  # and no word of each of its cells
    assert len(ProjectFile.open(rig).readings()) == 8


def test_columns_that_stand_for_nothing_are_told_with_how_to_name_them(rig, log, fettle):
    log.write_text(LOG.replace("variant", "Box").replace("rater", "Who"), encoding="utf-8")
    said = "say so: 'fettle import log.csv --map THEIRS=variant'.\n"
    trial = fettle("import", "log.csv", "--dry-run").err
    assert "that name: Box, Who." in trial
    assert trial.endswith(f"If one of these is the variant, unit, session or rater, {said}")
    assert fettle("import", "log.csv").err.endswith(f"take this back and {said}")
    again = fettle("import", "log.csv").err
    assert again.endswith("take that back to import it again; 'fettle undo 7' does that.\n")
    fettle("undo")
    assert "THEIRS" not in fettle("import", "log.csv", "--map", "Box=variant", "Who=rater").err


def test_other_headings_are_mapped(rig, log, fettle):
    log.write_text(LOG.replace("bass", "Bass (dB)").replace("rater", "Who"), encoding="utf-8")
    words = ["--map", "Bass (dB)=bass", "Who=rater"]
    assert "5 readings" in fettle("import", "log.csv", *words).out
    assert ProjectFile.open(rig).readings()[-1]["rater"] == "Ann"


def test_every_bad_cell_is_listed_and_nothing_is_stored(rig, log, fettle):
    """Line, column, value and what is allowed, for all of them at once."""
    before = ProjectFile.open(rig).fingerprint()
    text = LOG.replace("poly", "poly").replace("11,4,9,20,Poly", "11,9,9,22,polly").replace(",Ann,1.5,3", ",Ann,loud,3")
    log.write_text(text, encoding="utf-8")
    done = fettle("import", "log.csv")
    assert (done.code, done.out) == (1, "")
    assert done.err == (
        "log.csv was not imported, nothing was stored: 4 cells to put right.\n"
        "  line 2, column 'bass': 'loud' - must be a number in dB\n"
        "  line 4, column 'vents': '9' - must be a whole number from 0 to 6\n"
        "  line 4, column 'wool': '22' - must be a number from 0 to 60 % in steps of 5\n"
        "  line 4, column 'driver': 'polly' - must be paper, poly or bamboo. Did you mean 'poly'?\n"
    )
    assert ProjectFile.open(rig).fingerprint() == before


@pytest.mark.parametrize("target", ["tables", "tables.xlsx"])
def test_an_export_makes_the_same_project_again(rig, fettle, target):
    assert fettle("export", target).out == f"Written: {target}.\n"
    done = fettle("init", "again", "--from-export", target)
    assert done.out == (
        f"Stored: project 'Test rig' in again.duckdb, with everything that {target} holds.\n"
        "Nothing else was touched; to take it back, delete again.duckdb.\n"
    )
    again = ProjectFile.open(rig.parent / "again.duckdb")
    assert again.fingerprint() == ProjectFile.open(rig).fingerprint()


def test_an_export_never_overwrites(rig, fettle):
    assert fettle("export", "tables").code == 0
    done = fettle("export", "tables")
    assert (done.code, done.out) == (1, "")


def test_a_backup_is_the_same_project_out_of_the_way(rig, fettle):
    """By default in a folder of its own, so that the project stays the only one in its folder."""
    done = fettle("backup")
    path = rig.parent / done.out.removeprefix("Written: ").removesuffix(".\n")
    assert path.parent.name == "backups"
    assert ProjectFile.open(path).fingerprint() == ProjectFile.open(rig).fingerprint()
    assert fettle("variants").code == 0


def test_check_says_that_all_is_sound(rig, fettle):
    assert fettle("check").out == "rig.duckdb is sound.\n"
    told = json.loads(fettle("check", "--json").out)
    assert told == {"problems": [], "fingerprint": ProjectFile.open(rig).fingerprint()}


def test_a_step_against_a_factors_way_is_remarked_on(rig, fettle):
    """Vents only go up, and body A had two: a correction is believed, but said to be odd, then and by every check."""
    told = "vents cannot go from 5 to 2 on unit body A: it only goes up.\n"
    first = fettle("correct", "1", "--set", "vents=5")
    assert first.code == 0
    assert first.err == f"Note: now against the way that a factor can go, variant 2: {told}"
    assert fettle("correct", "1", "--note", "again").err == ""
    done = fettle("check")
    assert (done.code, done.out) == (0, "rig.duckdb is sound.\n")
    assert done.err == f"Note: against the way that a factor can go, variant 2: {told}"


def test_check_names_what_was_altered(rig, fettle):
    """An attachment changed behind the project's back is found; exit code 1."""
    ProjectFile.open(rig).attach("1", "curve.txt", b"20 60\n")
    next((rig.parent / "rig.files").iterdir()).write_bytes(b"20 61\n")
    done = fettle("check")
    assert (done.code, done.out) == (1, "")
    lines = done.err.splitlines()
    assert lines[0] == "rig.duckdb has 1 problem:"
    assert "'curve.txt'" in lines[1]
    assert json.loads(fettle("check", "--json").out)["problems"] == lines[1:]


def test_a_file_of_another_kind_is_refused(rig, fettle):
    (rig.parent / "songs.xlsx").write_bytes(b"SQLite format 3\0")
    assert fettle("import", "songs.xlsx").code == 1
    assert fettle("import", "none.csv").err == "none.csv cannot be read: no such file or directory.\n"


def test_an_export_whose_limits_nothing_keeps_comes_back_and_is_told_so(rig, fettle, tmp_path):
    """It was stored by a version that did not ask; what is restored is what was exported."""
    assert fettle("export", "out").code == 0
    setup = (tmp_path / "out" / "setup.toml").read_text(encoding="utf-8")
    (tmp_path / "out" / "setup.toml").write_text(setup + '\n[[limit]]\nrule = "wool > 60"\n', encoding="utf-8")
    done = fettle("init", "again", "--from-export", "out")
    assert done.code == 0
    assert done.err.startswith("Note: No settings keep the limit 'wool > 60' within the factors' ranges;")
    assert "'fettle limit' and 'fettle derived' put it right." in done.err
