"""Files into readings through the command: what is stored, recomputed, drawn, and refused with nothing stored."""

import json
import re
import subprocess
import sys

import numpy as np
import pytest
import soundfile

import doe
from doe.signals import safety
from doe.signals.sweep import Sweep
from doe.store import ProjectFile
from tests.cli.running import ROOT, command, environment
from tests.signals import sounds

HELP = "'fettle measure --help' shows what it takes.\n"
GRID = np.geomspace(20, 20_000, 120)
SHORT = Sweep(50, 3500, 1.0)
RATE = 8000


def curve_text(bass=-4.0, seed=0):
    """A response curve that is flat at 0 dB, with a shelf below 200 Hz, and a little noise that tells takes apart."""
    level = np.where(GRID < 200, bass, 0.0) + 1e-4 * np.random.default_rng(seed).standard_normal(len(GRID))
    return "\n".join(f"{f:.6g};{v:.6g}" for f, v in zip(GRID, level, strict=True))


def curve(folder, name, bass=-4.0, seed=0):
    """Write such a curve to a file, and return its name."""
    (folder / name).write_text(curve_text(bass, seed), encoding="utf-8")
    return name


@pytest.fixture
def bench(rig, fettle):
    """The rig with recipes for bass, two takes of variant 1 and one of variant 2."""
    done = fettle("outcome", "change", "bass", "--from", "band_level", "--with", "band=40,150", "relative_to=300,1000")
    assert done.code == 0, done.err
    for name, bass, seed in (("a1.txt", -4.0, 1), ("a2.txt", -3.5, 2), ("b1.txt", -2.0, 3)):
        curve(rig.parent, name, bass, seed)
    return ProjectFile.open(rig)


def computed(file):
    return [(row["variant"], row["outcome"], row["filename"], round(row["value"], 2)) for row in file.computations()]


def test_a_path_by_itself_is_one_take(bench):
    """In Python it was read letter by letter, and 'a is not there' was said."""
    done = doe.open(bench.path).measure("1", str(bench.path.parent / "a1.txt"))
    assert [len(item.measured.values) for item in done.measured] == [1]


def test_a_notebook_shows_what_stands_against_a_value(bench, fettle):
    """It showed the values alone, and what was warned of or assumed stood in fields that nobody looks at."""
    assert fettle("outcome", "add", "loud", "--unit", "dB", "--from", "level").code == 0
    sounds.write_noise(bench.path.parent / "pair.wav", 1.0)
    done = doe.open(bench.path).measure("1", bench.path.parent / "pair.wav", ["loud"], dry_run=True)
    assert done.notes
    for note in done.notes:
        assert f"Note: {note}" in done._repr_html_()
        assert f"Note: {note}" in str(done)
    assert repr(done).startswith("<Measurements: variant 1, 1 take:")


def test_files_that_do_not_fit_every_recipe_are_told_how_to_be_measured(bench, fettle):
    """All or nothing is stored; a temperature's recipe beside a curve's stopped both, and nothing said how to go on."""
    assert fettle("outcome", "add", "warm_up", "--unit", "s", "--from", "settling_time").code == 0
    done = fettle("measure", "1", "a1.txt")
    assert done.code != 0
    assert done.err.splitlines()[0].startswith("warm_up: a1.txt, line 2: the step of time is ")
    assert "; if the files are not for it, name the outcomes they are for with --outcome." in done.err
    named = fettle("measure", "1", "a1.txt", "--outcome", "warm_up")
    assert "--outcome." not in named.err
    assert fettle("measure", "1", "a1.txt", "--outcome", "bass").code == 0


def test_each_take_becomes_a_reading_of_its_own(bench, fettle):
    """The mean is of powers; the scatter is the standard deviation of the two."""
    done = fettle(
        "measure", "1", "a1.txt", "a2.txt", "--session", "Tuesday", "--rater", "mic", "--note", "on the stand"
    )
    assert done.code == 0, done.err
    lines = done.out.splitlines()
    assert lines[0] == "Stored: variant 1, 2 takes:"
    assert lines[1] == "  bass  -4, -3.5 dB (mean -3.74, averaged as power; scatter 0.35)"
    assert lines[2] == f"Take it back with 'fettle undo {bench.history()[-1].id}'."
    stored = bench.readings()[-2:]
    assert [round(row["value"], 2) for row in stored] == [-4.0, -3.5]
    facts = {"variant": "1", "session": "Tuesday", "rater": "mic", "unit": "body A", "note": "on the stand"}
    assert all(row[key] == value for row in stored for key, value in facts.items())
    assert [row["path"].read_bytes() for row in bench.attachments()] == [
        (bench.path.parent / name).read_bytes() for name in ("a1.txt", "a2.txt")
    ]


def test_taking_it_back_takes_readings_and_files_back(bench, fettle):
    before = bench.fingerprint()
    fettle("measure", "1", "a1.txt")
    assert bench.fingerprint() != before
    assert fettle("undo", bench.history()[-1].id).code == 0
    assert bench.fingerprint() == before


def test_everything_is_told_as_json(bench, fettle):
    told = json.loads(fettle("measure", "1", "a1.txt", "a2.txt", "--json").out)
    (row,) = told["measured"]
    assert (told["entry"], told["variant"]) == (bench.history()[-1].id, "1")
    assert (row["outcome"], row["recipe"], row["version"], row["unit"]) == ("bass", "band_level", 2, "dB")
    assert row["readings"] == [item["id"] for item in bench.readings()[-2:]]
    assert row["values"] == [item["value"] for item in bench.readings()[-2:]]
    assert (row["files"], row["average"]) == (["a1.txt", "a2.txt"], "power")
    assert row["settings"] == bench.computations()[0]["computation"].settings


@pytest.mark.usefixtures("bench")
def test_a_dry_run_stores_nothing(rig, fettle):
    before = ProjectFile.open(rig).fingerprint()
    done = fettle("measure", "1", "a1.txt", "--dry-run", "--json")
    told = json.loads(done.out)
    assert (told["entry"], told["measured"][0]["readings"]) == (None, None)
    assert fettle("measure", "1", "a1.txt", "--dry-run").out == "Not stored: variant 1, 1 take:\n  bass  -4 dB\n"
    assert ProjectFile.open(rig).fingerprint() == before
    assert not rig.with_suffix(".files").exists()


def test_a_take_counts_once(bench, fettle):
    """The same bytes again are refused; beside another outcome they are left out, with a note."""
    assert fettle("measure", "1", "a1.txt").code == 0
    number = bench.readings()[-1]["id"]
    already = f"a1.txt was measured for bass of variant 1 already (reading {number})"
    done = fettle("measure", "1", "a1.txt")
    assert (done.code, done.err) == (1, f"{already}; each take counts once; 'fettle measure --again' recomputes it.\n")
    fettle("outcome", "add", "slope", "--from", "tilt", "--with", "band=300,3000", "--unit", "dB/octave")
    done = fettle("measure", "1", "a1.txt")
    assert (done.code, done.err) == (0, f"Note: {already}; it was not measured twice.\n")
    assert [row[1] for row in computed(bench)] == ["bass", "slope"]
    assert len(bench.attachments()) == 1


def test_a_changed_recipe_recomputes_and_supersedes(bench, fettle):
    fettle("measure", "1", "a1.txt")
    number = bench.readings()[-1]["id"]
    assert fettle("measure", "--again").out == "Nothing to recompute.\n"
    done = fettle("outcome", "change", "bass", "--with", "band=300,1000", "relative_to=40,150")
    assert "'fettle measure --again' recomputes its 1 reading from the kept files." in done.err
    (bench.path.parent / "a1.txt").unlink()  # the kept bytes count
    line = "bass of 1, a1.txt: -4.0 -> 4.0 dB (band [40, 150] -> [300, 1000], relative_to [300, 1000] -> [40, 150])"
    line = line.replace("-4.0 -> 4.0", "-4.00 -> 4.00")
    assert fettle("measure", "--again", "--dry-run").out == f"Not stored:\n{line}\n"
    done = fettle("measure", "--again")
    entry = bench.history()[-1].id
    assert done.out == f"{line}\nTake it back with 'fettle undo {entry}'.\n"
    assert [(row["id"], round(row["value"], 2)) for row in bench.readings()][-1] == (number, 4.0)
    assert fettle("measure", "--again").out == "Nothing to recompute.\n"
    assert fettle("undo", entry).code == 0
    assert computed(bench) == [("1", "bass", "a1.txt", -4.0)]


def test_another_version_of_a_recipe_is_due(bench, fettle, monkeypatch):
    from dataclasses import replace

    from doe.signals import recipes

    fettle("measure", "1", "a1.txt")
    newer = replace(recipes.RECIPES["band_level"], version=3, measure=lambda *_: -3.71)
    monkeypatch.setattr(recipes, "RECIPES", {**recipes.RECIPES, "band_level": newer})
    assert "bass of 1, a1.txt: -4.00 -> -3.71 dB (band_level 2 -> 3)\n" in fettle("measure", "--again").out
    assert bench.computations()[0]["computation"].version == 3


def test_again_keeps_to_the_variants_and_outcomes_named(bench, fettle):
    fettle("measure", "1", "a1.txt")
    fettle("measure", "2", "b1.txt")
    fettle("outcome", "change", "bass", "--with", "band=40,120")
    changes = json.loads(fettle("measure", "--again", "2", "--outcome", "bass", "--json").out)["changes"]
    assert [(row["variant"], row["file"]) for row in changes] == [("2", "b1.txt")]
    assert bench.computations()[0]["computation"].settings["band"] == [40, 150]


def test_a_value_put_in_by_hand_is_left_alone(bench, fettle):
    fettle("measure", "1", "a1.txt")
    number = bench.readings()[-1]["id"]
    fettle("correct", "--reading", number, "--value", "9")
    fettle("outcome", "change", "bass", "--with", "band=40,120")
    assert fettle("measure", "--again").out == "Nothing to recompute.\n"
    assert "each take counts once" in fettle("measure", "1", "a1.txt").err


def test_a_reference_object_is_kept_to_compare_with(bench, fettle):
    """A further take of it is a reason to recompute; measuring it gives no deviation from itself."""
    fettle("log", "--reference", "shop")
    fettle("outcome", "add", "like_shop", "--unit", "dB", "--from", "deviation", "--with", "band=40,10000",
           "reference_variant=shop")  # fmt: skip
    done = fettle("measure", "1", "a1.txt", "--outcome", "like_shop")
    assert (done.code, done.err) == (1, "like_shop: reference_variant 'shop' has no files; measure it first.\n")
    curve(bench.path.parent, "s1.txt", 0.0, 5)
    done = fettle("measure", "shop", "s1.txt", "--outcome", "like_shop")
    assert done.out.startswith("Stored: variant shop, 1 take\n")
    assert done.err == "Note: like_shop compares with shop itself; its takes are kept for that, and not read.\n"
    assert fettle("measure", "1", "a1.txt", "--outcome", "like_shop").code == 0
    curve(bench.path.parent, "s2.txt", -2.0, 6)
    fettle("measure", "shop", "s2.txt", "--outcome", "like_shop")
    assert "(shop, take 2: s2.txt is new)" in fettle("measure", "--again").out


def test_a_changed_microphone_file_is_a_reason_to_recompute(bench, fettle):
    """It is kept with the project, too."""
    mic = bench.path.parent / "mic.txt"
    mic.write_text("20 0\n150 0\n300 1\n20000 1\n", encoding="utf-8")
    fettle("outcome", "change", "bass", "--with", "microphone=mic.txt")
    assert fettle("measure", "1", "a1.txt").code == 0
    assert {row["filename"]: row["variant"] for row in bench.attachments()} == {"a1.txt": "1", "mic.txt": None}
    assert computed(bench)[0][3] == -3.0
    mic.write_text("20 0\n150 0\n300 2\n20000 2\n", encoding="utf-8")
    assert "-3.0 -> -2.0 dB (mic.txt was changed)" in re.sub(r"(\.\d)\d", r"\1", fettle("measure", "--again").out)


def test_another_unit_than_the_recipes_is_said(bench, fettle):
    fettle("outcome", "change", "bass", "--unit", "mm")
    done = fettle("measure", "1", "a1.txt", "--dry-run")
    assert done.err == "Warning: bass is in mm, but its recipe gives dB; put one of them right.\n"


def test_a_recorded_sweep_is_measured(bench, fettle):
    """Variant 2 in a recording of the sweep through a known high-pass: within 0.1 dB of the filter's own band level."""
    from scipy import signal

    folder = bench.path.parent
    sos = signal.butter(2, 200, "high", fs=RATE, output="sos")
    sounds.write_recording(folder / "take.wav", rate=RATE, sweep=SHORT, delay=3000, tail_s=1.0,
                           through=lambda x: np.asarray(signal.sosfilt(sos, x)))  # fmt: skip
    fettle("outcome", "change", "bass", "--with", "band=100,200", "relative_to=none", "sweep=50,3500,1")
    done = fettle("measure", "2", "take.wav", "--json")
    assert done.code == 0, done.err
    grid = np.geomspace(100, 200, 400)
    power = np.abs(signal.sosfreqz(sos, worN=grid, fs=RATE)[1]) ** 2
    truth = 10 * np.log10(0.25**2 * power.mean())
    assert json.loads(done.out)["measured"][0]["values"][0] == pytest.approx(truth, abs=0.1)
    assert "Note: Read as the sweep from 50 to 3500 Hz in 1 s." in done.err


BAD = {
    "empty.wav": ("", "bass: empty.wav is empty; it must hold rows of numbers."),
    "words.wav": (
        "no sound\n",
        "bass: words.wav holds no rows of numbers; it must have at least 2 numbers a line, separated by ; , tab or blanks, "
        "without thousands separators.",
    ),
    "falls.txt": (
        "100;1\n90;1\n80;1\n",
        "bass: falls.txt, line 2: frequency 90 Hz comes after 100 Hz; frequencies must rise from line to line.",
    ),
    "twice.txt": (
        "100;1\n100;1\n200;1\n",
        "bass: twice.txt, line 2: frequency 100 Hz stands twice; frequencies must rise from line to line.",
    ),
    "swapped.txt": (
        "level;frequency\n1;100\n2;1000\n",
        "bass: swapped.txt: column 1 is headed 'level' and column 2 'frequency'; frequency must stand in column 1 and "
        "level in column 2.",
    ),
    "narrow.txt": ("100;1\n200;1\n", "bass: band 40 to 1000 Hz is not covered: narrow.txt runs from 100 to 200 Hz."),
    "nan.txt": ("20;1\n200;nan\n20000;1\n", None),
}


@pytest.mark.usefixtures("bench")
@pytest.mark.parametrize("name", BAD)
def test_a_curve_that_cannot_be_read_stores_nothing(rig, fettle, name):
    text, sentence = BAD[name]
    (rig.parent / name).write_text(text, encoding="utf-8")
    refuses(rig, fettle, ["measure", "2", "b1.txt", name], 1, sentence)


def silence(path):
    soundfile.write(path, np.zeros(RATE), RATE)


def one_sample(path):
    soundfile.write(path, np.ones(1) / 2, RATE)


def not_finite(path):
    soundfile.write(path, np.where(np.arange(RATE) == 800, np.nan, 0.1), RATE, subtype="FLOAT")


def clipped(path):
    soundfile.write(path, np.clip(9 * np.sin(np.arange(RATE)), -1, 1), RATE)


def cut_short(path):
    path.write_bytes(sounds.wav_header(1_000_000) + bytes(1000))


def header_only(path):
    path.write_bytes(sounds.wav_header(1000)[:20])


def no_sweep(path):
    sounds.write_noise(path, 14.0, 48_000)


def huge(path):
    with path.open("wb") as file:
        file.truncate(2_000_000_000)  # a hole: takes no room


SOUNDS = {
    silence: "bass: x.wav is silent; check the microphone and the input, and record it again.",
    one_sample: "bass: x.wav holds 1 sample; at least 5 ms are needed to measure anything.",
    not_finite: "bass: x.wav holds a sample that is no finite number, at 0.1 s; record it again.",
    clipped: None,
    cut_short: None,
    header_only: "bass: x.wav breaks off in its header; record it again or copy it again.",
    no_sweep: "bass: x.wav does not hold the sweep from 20 Hz to 20000 Hz in 10 s; set sweep to what was played, or input "
    "to 'impulse' or 'recording' if no sweep was.",
    huge: "x.wav holds 2 GB; a file to be measured may hold at most 1.5 GB: cut it to the part that matters.",
}


@pytest.mark.usefixtures("bench")
@pytest.mark.parametrize("make", SOUNDS, ids=lambda make: make.__name__)
def test_a_recording_that_cannot_be_measured_stores_nothing(rig, fettle, make):
    make(rig.parent / "x.wav")
    refuses(rig, fettle, ["measure", "2", "b1.txt", "x.wav"], 1, SOUNDS[make])


@pytest.mark.usefixtures("bench")
@pytest.mark.parametrize(
    ("words", "code", "sentence"),
    [
        (["9", "a1.txt"], 1, "There is no variant '9'; there are 1, 2 and 3."),
        (["2", "none.wav"], 1, "none.wav is not there; give the path of a recording or a curve file."),
        (["2", "."], 1, ". is no file; give the path of a recording or a curve file."),
        (["2", "a1.txt", "a1.txt"], 1, "a1.txt is given twice; a take is put up and measured anew."),
        (["2", "a1.txt", "--outcome", "bas"], 1,
         "'bas' is no outcome of this project; there are bass, echo and clarity. Did you mean 'bass'?"),
        (["2", "a1.txt", "--outcome", "echo"], 1, "echo is rated; only measured outcomes are computed from files."),
        (["2"], 2, "fettle measure 2 needs FILE too: one for each take."),
        ([], 2, "fettle measure needs VARIANT and FILE, or one of --sweep, --again and --recipes."),
        (["--again", "9"], 1, "There is no variant '9'; there are 1, 2 and 3."),
        (["--again", "--sweep", "s.wav"], 2, "--again does not go with --sweep; give one of them."),
        (["--again", "--session", "x"], 2, "--session does not go with --again."),
        (["2", "a1.txt", "--rate", "8000"], 2, "--rate does not go with files of variant 2; it belongs to --sweep."),
        (["2", "a1.txt", "--from-hz", "0"], 2, "--from-hz does not go with files of variant 2; it belongs to --sweep."),
        (["2", "a1.txt", "--plot", "x.pdf"], 2, "'x.pdf' must end in .html, .png or .svg."),
        (["2", "a1.txt", "--plot-what", "decay"], 2, "--plot-what needs --plot FILE."),
        (["2", "a1.txt", "--replace"], 2, "--replace needs --plot FILE."),
        (["--kept", "1"], 2, "--kept needs --plot FILE."),
        (["--kept", "1", "--plot", "x.html"], 1, "Variant 1 has no kept takes; measure it first."),
        (["--sweep", "s.mp3"], 2, "sweep file is 's.mp3'; its name must end in .wav."),
        (["--sweep", "s.wav", "--rate", "8000"], 2,
         "rate is 8000 Hz; a sweep up to 20000 Hz needs at least 40817 Hz."),
        (["--sweep", "s.wav", "1"], 2, "fettle measure --sweep does not know what to do with '1'."),
    ],
)  # fmt: skip
def test_wrong_use_is_named_and_stores_nothing(rig, fettle, words, code, sentence):
    refuses(rig, fettle, ["measure", *words], code, sentence)


def refuses(rig, fettle, words, code, sentence):
    """Check the sentence (any, where None), and that nothing at all was stored, no file either."""
    before = ProjectFile.open(rig).fingerprint(), ProjectFile.open(rig).history()
    done = fettle(*words)
    assert (done.code, done.out) == (code, "")
    told = done.err.removesuffix(HELP)
    assert told == f"{sentence}\n" if sentence else re.fullmatch(r"[^\n]+\.\n", told)
    assert "Fettle met a fault" not in told
    assert (ProjectFile.open(rig).fingerprint(), ProjectFile.open(rig).history()) == before
    assert not rig.with_suffix(".files").exists()


def test_the_real_command_refuses_a_bad_file(bench):
    """In a process of its own: no traceback, nothing on standard output, nothing stored."""
    silence(bench.path.parent / "x.wav")
    before = bench.fingerprint()
    done = command("measure", "1", "x.wav", cwd=bench.path.parent)
    sentence = "bass: x.wav is silent; check the microphone and the input, and record it again.\n"
    assert (done.code, done.out, done.err) == (1, "", sentence)
    assert bench.fingerprint() == before


def test_without_a_recipe_the_way_to_one_is_told(rig, fettle):
    curve(rig.parent, "a1.txt")
    sentence = (
        "No outcome has a recipe; set from in one of them: 'fettle outcome change NAME --from RECIPE', and 'fettle measure "
        "--recipes' lists the recipes.\n"
    )
    done = fettle("measure", "1", "a1.txt")
    assert (done.code, done.err) == (1, sentence)


@pytest.mark.usefixtures("unharmed")
@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (
            ["change", "bass", "--from", "tilt", "--with", "bnd=3,4"],
            "Outcome bass: Recipe 'tilt' has an unknown key 'bnd'; ",
        ),
        (["change", "bass", "--from", "bandlevel"], "Outcome bass: from is 'bandlevel'; a recipe is one of "),
        (["change", "echo", "--from", "rms"], "Outcome echo is rated; only measured outcomes are computed from files."),
        (["add", "t", "--with", "band=3,4"], "--with has keys, but t has no recipe; name it with --from."),
        (
            ["change", "bass", "--from", "none", "--with", "a=1"],
            "--with does not go with --from none; give one of them.",
        ),
    ],
)
def test_a_recipe_that_cannot_be_used_is_not_defined(fettle, words, sentence):
    done = fettle("outcome", *words)
    assert (done.code, done.err.startswith(sentence)) == (2, True), done.err


def test_a_misspelt_recipe_key_in_a_setup_file_makes_no_project(tmp_path, fettle):
    (tmp_path / "s.toml").write_text(
        '[[outcome]]\nname = "bass"\nfrom = "band_level"\nbandd = [40, 150]\n', encoding="utf-8"
    )
    done = fettle("init", "new", "--setup", "s.toml")
    assert done.code == 2
    assert "Did you mean 'band'?" in done.err
    assert not (tmp_path / "new.duckdb").exists()


def test_a_recipe_can_be_taken_away(bench, fettle):
    fettle("measure", "1", "a1.txt")
    assert fettle("outcome", "change", "bass", "--from", "none").code == 0
    assert bench.setup().outcomes[0].recipe == {}
    assert fettle("measure", "--again").err.startswith("No outcome has a recipe; ")


def test_a_sweep_comes_with_its_cautions(tmp_path, fettle):
    done = fettle(
        "measure", "--sweep", "s.wav", "--from-hz", "31.25", "--to-hz", "3456.789", "--seconds", "1", "--rate", "8000"
    )
    assert done.code == 0, done.err
    assert done.out.startswith(
        "Written: s.wav, a sweep from 31.25 to 3456.79 Hz in 1 s at 8000 Hz, between silences.\n"
    )
    assert all(text in done.out for text in safety.CAUTIONS)
    assert "sweep = [31.25, 3456.789, 1]" in done.out  # in full: the recipe takes what was typed
    sound, rate = soundfile.read(tmp_path / "s.wav")
    assert rate == RATE and np.abs(sound).max() == pytest.approx(10 ** (-12 / 20), rel=1e-3)
    done = fettle("measure", "--sweep", "s.wav")
    assert (done.code, done.err) == (2, f"s.wav exists already; give another name, or say --replace.\n{HELP}")


def test_recipes_are_listed_with_their_keys(fettle):
    listed = json.loads(fettle("measure", "--recipes", "--json").out)
    assert {"band_level", "decay_time", "settling_time"} <= {row["recipe"] for row in listed}
    one = json.loads(fettle("measure", "--recipes", "band_level", "--json").out)
    assert [row["key"] for row in one["keys"] if row["is_needed"]] == ["band"]
    assert (
        "fettle outcome change NAME --from band_level --with band=40,150"
        in fettle("measure", "--recipes", "band_level").out
    )
    told = fettle("measure", "--recipes", "level").out
    assert re.match(r"level \(version \d+, in dB\): Equivalent continuous level", told)
    assert re.search(r"^weighting +A +frequency.*\nband +- +band in Hz", told, re.MULTILINE)
    assert fettle("measure", "--recipes", "tild").err.endswith(f"Did you mean 'tilt'?\n{HELP}")


def test_files_and_kept_takes_are_drawn_together(bench, fettle):
    fettle("measure", "1", "a1.txt", "a2.txt")
    done = fettle("measure", "2", "b1.txt", "--dry-run", "--kept", "1", "--plot", "r.html")
    assert (done.code, done.err) == (0, "Drawn: r.html.\n")
    page = (bench.path.parent / "r.html").read_text(encoding="utf-8")
    assert "Frequency response of b1 and variant 1" in page
    done = fettle("measure", "--kept", "1", "--plot", "r.html")
    said = "'r.html' exists already; give another name, or say that it may be replaced; --replace says so.\n"
    assert (done.code, done.err) == (1, said)


def test_a_measurement_loads_no_engine():
    code = "import doe.measuring, sys; print([n for n in ('pandas', 'plotly', 'statsmodels', 'doe.fit') if n in sys.modules])"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, env=environment(), check=True
    )
    assert done.stdout == "[]\n"
