"""Wrong input: a whole sentence on standard error, nothing on standard output, an exit code, and nothing lost.

What can hurt a log goes through the real command in a process of its own; the rest of the sentences in this process.
"""

import ctypes
import os
import re
import shutil
import sys

import duckdb
import pytest

from doe.store import ProjectFile, migrate
from tests.cli.running import command

HELP = "'fettle {} --help' shows what it takes.\n"


def refused(done, code, sentence, help_for=""):
    """Check that a command was refused with exactly this text."""
    expected = sentence + "\n" + (HELP.format(help_for) if help_for else "")
    assert (done.err, done.code, done.out) == (expected, code, "")


@pytest.mark.usefixtures("unharmed")
@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (
            "log vent=3 --unit,body A",
            "'vent' is no factor of this project; there are vents, rings, wool and driver. Did you mean 'vents'?",
        ),
        ("log vents=7 --unit,body A", "vents is 7; it must be a whole number from 0 to 6."),
        ("log wool=22 --unit,body A", "wool is 22; it must be a number from 0 to 60 % in steps of 5."),
        ("log driver=polly --unit,body A", "driver is 'polly'; it must be paper, poly or bamboo. Did you mean 'poly'?"),
        ("log --name 2 vents=3 --unit,body A", "Variant '2' is logged already; give it a name of its own."),
        ("read 1 bass=nan", "bass is 'nan'; it must be a number in dB."),
        ("read 1 bass=2 bass=inf", "bass is 'inf'; it must be a number in dB."),
        ("init rig", "rig.duckdb exists already; choose another name, or open it."),
        ("read 7 bass=2", "There is no variant '7'; there are 1, 2 and 3."),
        ("undo 40", "There is no entry 40 to take back; the history lists those there are; 'fettle history' shows it."),
    ],
)
def test_the_real_command_refuses_what_cannot_be(rig, words, sentence):
    refused(command(*split(words), cwd=rig.parent), 1, sentence)


def split(words):
    """Words between blanks; a comma joins an option to a value with a blank in it."""
    return [part for word in re.split(r" (?=[a-z0-9-]+(?:[=, ]|$))", words) for part in word.split(",")]


@pytest.mark.usefixtures("unharmed")
@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (
            ["log", "vents=3", "bass=2"],
            "bass is an outcome, which is read of a variant and not set; log the variant without it; record what was "
            "read with 'fettle read'.",
        ),
        (["log", "inner_air=2"], "inner_air is worked out from rings and wool; set these instead."),
        (["log", "vents=2.5"], "vents is 2.5; it must be a whole number from 0 to 6."),
        (["log", "vents=1"], "vents cannot go from 2 to 1 on unit body A: it only goes up."),
        (["log", "rings=8"], "rings cannot go from 9 to 8 on unit body A: it needs a new unit."),
        (
            ["log", "wool=30"],
            "Unit body A carries these very settings already, as variant 2; log readings of that, or log it 'again' "
            "if it was taken apart and put together once more; --again says so.",
        ),
        (["log", "vents=5", "--photo", "none.jpg"], "Photo 'none.jpg' cannot be read: no such file or directory."),
        (
            ["log", "vents=5", "--photo", "rig.duckdb"],
            "Photo 'rig.duckdb' is no JPEG or PNG picture; save it as one of these.",
        ),
    ],
)
def test_a_variant_that_cannot_be_built_on_its_unit_is_not_logged(rig, fettle, words, sentence):
    refused(fettle(*words, "--unit", "body A"), 1, sentence)


@pytest.mark.usefixtures("unharmed")
@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (
            ["log", "--new-unit", "--from", "1", "rings=7", "wool=60"],
            "These settings break the limit 'inner_air >= 180' (the magnet needs the room): inner_air = 168.",
        ),
        (
            ["log", "--unit", "body C", "vents=4"],
            "There is no unit 'body C'; there are body A and body B. Did you mean 'body B'?",
        ),
        (["log", "--from", "9", "vents=4"], "There is no variant '9'; there are 1, 2 and 3."),
        (
            ["log", "--new-unit", "vents=4"],
            "rings, wool and driver have no value. What is built anew takes a setting of every factor, or a variant to start "
            "from, whose settings it keeps; write each as FACTOR=SETTING, or name the variant with --from.",
        ),
        (
            ["log", "--new-unit", "Body A", "--from", "1"],
            "Unit 'Body A' exists already; give the new one another name.",
        ),
        (["read", "1", "bass=-1e999"], "bass is '-1e999'; it must be a number in dB."),
        (
            ["read", "1", "bass=1,234"],
            "bass is '1,234'; write it with a decimal point, since the comma could mean thousands.",
        ),
        (["read", "1", "bass="], "bass is ''; it must be a number in dB."),
        (["read", "1", "echo=8", "--rater", "Ann"], "echo is 8; it must be a grade from 1 to 7."),
        (
            ["read", "1", "bas=2"],
            "'bas' is no outcome of this project; there are bass, echo and clarity. Did you mean 'bass'?",
        ),
        (["read", "1", "clarity=first"], "clarity compares two variants; say which the second one was."),
        (
            ["read", "1", "clarity=better", "--versus", "2"],
            "clarity is 'better'; it must be first, second or tie (or 1, 0, 0.5).",
        ),
        (
            ["read", "1", "bass=2", "--versus", "2"],
            "bass is measured, so it has no second variant; only compared outcomes have.",
        ),
        (
            ["unit", "retire", "body D"],
            "There is no unit 'body D'; there are body A and body B. Did you mean 'body B'?",
        ),
        (
            ["outcome", "change", "bas", "--unit", "dB"],
            "There is no outcome 'bas'; there are bass, echo and clarity. Did you mean 'bass'?",
        ),
        (
            ["correct", "1", "--set", "wol=20"],
            "'wol' is no factor of this project; there are vents, rings, wool and driver. Did you mean 'wool'?",
        ),
        (
            ["correct", "1", "--unit", "body"],
            "There is no unit 'body'; there are body A and body B. Did you mean 'body B'?",
        ),
        (
            ["correct", "--reading", "90", "--value", "2"],
            "There is no reading 90 in this project; the readings are listed with their numbers.",
        ),
    ],
)
def test_a_record_that_does_not_fit_is_not_stored(rig, fettle, words, sentence):
    refused(fettle(*words), 1, sentence)


@pytest.mark.usefixtures("unharmed")
@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (
            ["log", "vents=4"],
            "Say which unit was changed: body A or body B, or a new one; name it with --unit or --new-unit.",
        ),
        (["log", "--helpp"], "fettle log has no option --helpp. Did you mean '--help'?"),
        (["log", "--uint", "A"], "fettle log has no option --uint. Did you mean '--unit'?"),
        (["log", "--set", "vents"], "--set is 'vents'; write it as NAME=VALUE, without blanks around the sign."),
        (["log", "vents=3", "vents=4"], "vents is given twice, as 3 and 4; give it once."),
        (
            ["log", "--minutes", "soon"],
            "--minutes is 'soon'; it must be a number from 0, or a time such as 1 h 35 min.",
        ),
        (["log", "--minutes", "-5"], "--minutes is '-5'; it must be a number from 0, or a time such as 1 h 35 min."),
        (["log", "--when", "today"], "--when is 'today'; write it as 2026-03-03 or '2026-03-03 19:30'."),
        (
            ["log", "--when", "2026-03-03 19.30"],
            "--when is '2026-03-03 19.30'; write it as 2026-03-03 or '2026-03-03 19:30'.",
        ),
        (
            ["log", "--unit", "body A", "--new-unit", "body C", "vents=3"],
            "A variant is made on a unit that exists or on a new one; name only one of them.",
        ),
        (
            ["log", "--reference", "shop", "vents=3"],
            "--reference logs an object without settings, so nothing but --note and --photo goes with it.",
        ),
        (["read", "1"], "fettle read needs OUTCOME=VALUE."),
        (["read"], "fettle read needs VARIANT and OUTCOME=VALUE."),
        (["read", "1", "bass=2", "--order", "0"], "--order is '0'; it must be a whole number from 1."),
        (["read", "1", "bass=2", "--session"], "--session needs a value after it."),
        (["analyse", "bas"], "There is no outcome 'bas'; there are bass, echo and clarity. Did you mean 'bass'?"),
        (
            ["analyse", "bass", "--terms", "hum"],
            "Term 'hum' uses 'hum', which is no factor; there are vents, rings, wool and driver.",
        ),
        (["analyse", "--plot", "x.html"], "--plot draws one outcome; name it: 'fettle analyse OUTCOME --plot x.html'."),
        (["next", "--only", "improv"], "--only is 'improv'; it must be improve or learn. Did you mean 'improve'?"),
        (["next", "--json=yes"], "--json takes no value, not even 'yes'."),
        (
            ["factor", "ad", "x"],
            "fettle factor has no action 'ad'; it has add, change, remove and list. Did you mean 'add'?",
        ),
        (["factor", "change", "vents"], "Nothing about factor vents was changed; give the options that should change."),
        (
            ["factor", "add", "tip gap", "--low", "0", "--high", "5"],
            "Factor name 'tip gap' must be 1 to 60 letters, digits or underscores, starting with a letter: 'tip_gap'.",
        ),
        (["factor", "change", "driver", "--prices", "poly=-3"], "--prices poly is '-3'; it must be a number from 0."),
        (["limit", "add", "wool * 2"], "Limit 'wool * 2' compares nothing; write it with <, <=, >, >=, == or !=."),
        (["undo", "²"], "ENTRY is '²'; it must be a whole number from 1."),
        (["undo", "soon"], "ENTRY is 'soon'; it must be a whole number from 1."),
        (["show"], "fettle show needs VARIANT."),
        (["show", "1", "2"], "fettle show does not know what to do with '2'."),
        (["correct", "1", "--reading", "1"], "Name what to put right: a variant, or one reading with --reading."),
        (["correct", "1", "--value", "1"], "--value belongs to a reading; name it with --reading."),
        (["withdraw"], "Name what to take out: a variant, or one reading with --reading."),
        (
            ["export", "x.xlsx", "--kind", "csv"],
            "'x.xlsx' does not fit --kind csv; xlsx is one file ending in .xlsx, the others a folder.",
        ),
        (
            ["demo", "--project", "rig.duckdb"],
            "--project does not go with demo, which makes a project of its own; give it a folder.",
        ),
    ],
)
def test_wrong_usage_is_told_in_a_sentence_and_where_help_is(rig, fettle, words, sentence):
    is_action = words[0] in ("factor", "limit") and words[1] in ("add", "change")
    refused(fettle(*words), 2, sentence, help_for=" ".join(words[:2] if is_action else words[:1]))


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["anlyse"], "fettle has no command 'anlyse'. Did you mean 'analyse'?"),
        (["redo"], "fettle has no command 'redo'. 'fettle undo' with the number of the undoing does that."),
        (["tolerance", "3"], "fettle has no command 'tolerance'. 'fettle settle tolerance' does that."),
        (["--projct", "x"], "fettle has no option '--projct'."),
        (["--project"], "--project needs a value after it."),
    ],
)
def test_a_command_that_is_none_is_told_so(fettle, words, sentence):
    done = fettle(*words)
    assert (done.code, done.out, done.err) == (2, "", f"{sentence}\n'fettle --help' lists the commands.\n")


def test_files_that_are_no_project_are_left_alone(tmp_path, rig):
    """Text, a folder, and a database of something else: refused in a sentence, not a byte changed."""
    (tmp_path / "text.duckdb").write_text("not a database\n", encoding="utf-8")
    (tmp_path / "folder.duckdb").mkdir()
    with duckdb.connect(str(tmp_path / "other.duckdb")) as con:
        con.execute("CREATE TABLE songs (name VARCHAR)")
    before = {path: path.read_bytes() for path in tmp_path.glob("*.duckdb") if path.is_file()}
    cases = {
        "text.duckdb": "text.duckdb is not a Fettle project: it is no DuckDB file.",
        "other.duckdb": "other.duckdb is not a Fettle project: it is a DuckDB file made by something else.",
        "folder.duckdb": "There is no project in 'folder.duckdb'; start one with 'fettle init', or name one with "
        "--project FILE.",
        "none.duckdb": "none.duckdb does not exist; 'fettle init' makes a new project.",
    }
    for name, sentence in cases.items():
        refused(command("log", "vents=3", "--project", name, cwd=tmp_path), 1, sentence)
    assert {path: path.read_bytes() for path in before} == before


def test_a_project_of_a_newer_version_is_refused_and_untouched(rig):
    with duckdb.connect(str(rig)) as con:
        con.execute("INSERT INTO fettle_migration SELECT 99, 'later', done_at FROM fettle_migration LIMIT 1")
    before = rig.read_bytes()
    sentence = (
        f"rig.duckdb was written by a newer Fettle (layout 99, this one knows {migrate.newest()}); it was left untouched: "
        "update Fettle to open it."
    )
    refused(command("log", "vents=3", "--unit", "body A", cwd=rig.parent), 1, sentence)
    assert rig.read_bytes() == before


def without_override():
    """Give up, before the command starts, the right of a superuser to write where the file system says no (Linux)."""
    pr_capbset_drop, cap_dac_override = 24, 1  # <linux/prctl.h>, <linux/capability.h>
    if os.geteuid() == 0:
        ctypes.CDLL(None).prctl(pr_capbset_drop, cap_dac_override, 0, 0, 0)


@pytest.mark.skipif(sys.platform != "linux", reason="file permissions differ")
def test_an_unwritable_folder_is_named(rig):
    """A new project in it, and a file that must not be written: told, and nothing left behind."""
    folder = rig.parent / "locked"
    folder.mkdir()
    (folder / "kept.duckdb").write_bytes(rig.read_bytes())
    (folder / "kept.duckdb").chmod(0o444)
    folder.chmod(0o555)
    done = command("init", "locked/new", cwd=rig.parent, preexec_fn=without_override)
    refused(done, 1, "locked/new.duckdb cannot be written: permission denied for the file or its folder.")
    done = command("read", "1", "bass=2", "--project", "locked/kept", cwd=rig.parent, preexec_fn=without_override)
    refused(done, 1, "locked/kept.duckdb cannot be written: permission denied for the file or its folder.")
    assert [path.name for path in folder.iterdir()] == ["kept.duckdb"]
    assert (folder / "kept.duckdb").read_bytes() == rig.read_bytes()


def test_a_folder_that_holds_a_project_gets_no_second_one_by_accident(rig, fettle):
    refused(
        fettle("init", "--title", "Another"),
        1,
        "This folder holds a project already, rig.duckdb; to keep a second one beside it, name its file: 'fettle init FILE'.",
    )
    assert [path.name for path in rig.parent.iterdir()] == ["rig.duckdb"]


def test_an_empty_log_is_told_so_by_every_reader(tmp_path, made_once, fettle):
    """No readings, no variants, an empty spreadsheet and one with headings only: told, and nothing stored."""
    shutil.copy(made_once / "setup.toml", tmp_path / "setup.toml")
    assert fettle("init", "empty", "--setup", "setup.toml").code == 0
    before = ProjectFile.open(tmp_path / "empty.duckdb").fingerprint()
    (tmp_path / "nothing.csv").write_text("", encoding="utf-8")
    (tmp_path / "headings.csv").write_text("variant,vents,rings,wool,driver,bass\n", encoding="utf-8")
    refused(command("analyse", cwd=tmp_path), 1, "There is no reading of bass yet; take one with 'fettle read'.")
    refused(fettle("import", "nothing.csv"), 1, "nothing.csv is empty: it has no line with anything in it.")
    sentence = "headings.csv is empty: below the headings in line 1 there is nothing to read."
    refused(command("import", "headings.csv", cwd=tmp_path), 1, sentence)
    assert ProjectFile.open(tmp_path / "empty.duckdb").fingerprint() == before


@pytest.mark.usefixtures("unharmed")
def test_one_variant_only_cannot_be_analysed(rig):
    sentence = "Only one variant has a reading of bass; effects need at least two that differ."
    refused(command("analyse", "bass", cwd=rig.parent), 1, sentence)


def test_a_constant_outcome_cannot_be_analysed(rig, fettle):
    for variant in ("2", "3"):
        assert fettle("read", variant, "echo=3", "--rater", "Ann").code == 0
    assert fettle("read", "1", "echo=3", "--rater", "Ann").code == 0
    sentence = "All 4 readings of echo are equal, so they cannot tell factors apart."
    refused(command("analyse", "echo", cwd=rig.parent), 1, sentence)


def test_more_terms_than_variants_cannot_be_told_apart(rig, fettle):
    """Listing terms asks for exactly these; three variants carry two."""
    for variant, value in (("2", "4.4"), ("3", "0.5")):
        assert fettle("read", variant, f"bass={value}").code == 0
    before = ProjectFile.open(rig).fingerprint()
    sentence = (
        "3 terms were listed, but bass was read of 3 variants, which can tell at most 2 terms apart; list fewer, or none "
        "and let the engine search."
    )
    refused(command("analyse", "bass", "--terms", "wool,rings,driver", cwd=rig.parent), 1, sentence)
    assert ProjectFile.open(rig).fingerprint() == before


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["log", "a=1"], "a variant has no settings; define the factors first; 'fettle factor add' does that."),
        (["plan", "--runs", "8"], "define what can be changed first; 'fettle factor add' does that."),
        (["next"], "define what can be changed first; 'fettle factor add' does that."),
        (["analyse", "x"], "define one before asking about it; 'fettle outcome add' does that."),
        (["show", "1"], "no variant is logged yet; 'fettle log' logs the first."),
        (["route"], "or give a table of settings; 'fettle plan --runs COUNT --adopt' adopts one."),
        (["plan", "--abandon"], "or the last one is built; 'fettle plan --runs COUNT --adopt' adopts one."),
        (
            ["unit", "retire", "A"],
            "so make it as a new unit; 'fettle log --new-unit NAME' makes one with its first variant.",
        ),
        (["undo", "99"], "the history lists those there are; 'fettle history' shows it."),
        (["rehearse"], "set a goal on one; 'fettle outcome change NAME --goal GOAL' does that."),
        (["settle", "tolerance"], "name the one that is meant; write its number behind the command."),
    ],
)
def test_in_an_empty_project_every_refusal_leads_on(fettle, words, said):
    assert fettle("init", "bare").code == 0
    assert fettle(*words).err.split("\n")[0].endswith(said)


def test_refusals_of_a_plan_and_of_a_build_name_what_to_type(rig, fettle):
    assert "write each as FACTOR=SETTING, or name the variant with --from." in fettle("log", "--new-unit").err
    assert "name it with --unit or --new-unit." in fettle("log", "vents=3").err
    assert "'fettle outcome change' does the first." in fettle("outcome", "add", "bass").err
    assert "log readings of that, or log it 'again'" in (done := fettle("log", "--unit", "body A")).err
    assert "--again says so." in done.err
    assert fettle("log", "wings=3", "--unit", "body A").err.startswith(
        "'wings' is no factor of this project; there are vents, "
    )
    quick = ("--runs", "8", "--kind", "d-optimal", "--starts", "1", "--scatter", "0.5")
    assert fettle("plan", *quick, "--adopt").code == 0
    assert "'fettle plan --abandon' gives the plan up" in fettle("plan", "--scatter", "0.5").err
    assert "a plan is being built: 'fettle plan --abandon' gives it up" in fettle("plan", *quick).err
    assert fettle("plan", *quick, "--adopt").err.endswith("abandon it first; 'fettle plan --abandon' does that.\n")
    assert fettle("log", "--from", "5", "vents=3").err.endswith(
        "log it as built first; 'fettle log --planned 5' does that.\n"
    )
    assert fettle("read", "5", "bass=3").err.endswith(
        "before taking readings of it; 'fettle log --planned 5' does that.\n"
    )


def test_a_rater_has_a_name_that_fits_a_line(rig, fettle):
    """As a session or a variant has; a longer one broke every table that it stood in."""
    for name in ("A" * 81, "An\nn"):
        done = fettle("read", "1", "bass=2", "--rater", name)
        assert done.code == 2
        assert done.err.startswith("Rater 'A")
        assert "' must be text on one line, 1 to 80 characters.\n" in done.err
    assert fettle("read", "1", "bass=2", "--rater", "A" * 80).code == 0


def test_many_names_are_told_as_far_as_a_sentence_goes(rig, fettle):
    for place in range(4, 17):
        assert fettle("log", f"wool={5 * (place % 2)}", "--unit", "body A").code == 0
    told = "there are 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11 and others up to 16."
    assert fettle("show", "99").err == f"There is no variant '99'; {told[:-1]}. Did you mean '9'?\n"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("unit add B --set vents=3 --set vents=4", "vents is given twice, as 3 and 4; give it once."),
        ("factor change driver --prices poly=3 --prices poly=4", "poly is given twice, as 3 and 4; give it once."),
        (
            "outcome change bass --from band_level --with band=40 band=50",
            "band is given twice, as 40 and 50; give it once.",
        ),
        ("import log.csv --map Bass=bass Bass=echo", "Bass is given twice, as bass and echo; give it once."),
    ],
)
def test_a_name_given_twice_is_refused(rig, fettle, words, said):
    done = fettle(*words.split())
    assert (done.err.splitlines()[0], done.code) == (said, 2)
