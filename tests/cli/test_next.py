import json

import pytest

import doe
from doe.store import ProjectFile
from tests.cli.running import command


@pytest.fixture
def bench(rig, fettle):
    """The rig with readings of every variant."""
    assert fettle("read", "3", "bass=0.5", "bass=0.8", "--session", "Tuesday").code == 0
    assert fettle("read", "2", "bass=4.4", "--session", "Tuesday").code == 0
    return rig


def test_the_next_change_is_told_with_its_reason_and_kept(bench, fettle):
    """The answer goes to standard output, how to take the kept prediction back to standard error."""
    done = fettle("next")
    assert done.code == 0
    assert done.out.startswith("Next: ")
    assert "\n1. " in done.out
    assert done.err == "Kept with its prediction; take it back with 'fettle undo 9'.\n"
    kept = ProjectFile.open(bench).suggestions()
    assert len(kept) == 1
    assert kept[0]["reason"] in done.out
    assert {line["outcome"] for line in kept[0]["predictions"]} == {"bass", "echo"}
    assert set(kept[0]["settings"]) == {"vents", "rings", "wool", "driver"}


def test_the_same_advice_is_kept_once(bench, fettle):
    first = fettle("next", "--count", "2")
    second = fettle("next", "--count", "2")
    assert second.out == first.out
    assert second.err == ""
    assert first.err == "Kept with their predictions; take them back with 'fettle undo 9' and 'fettle undo 10'.\n"
    assert len(ProjectFile.open(bench).suggestions()) == 2


def test_who_may_only_read_a_project_is_advised_all_the_same(bench, fettle):
    """A copy on a stick, or a friend's folder: the advice is whole, and that it is not on record is said."""
    advice = fettle("next", "--json").out
    assert fettle("undo", "9").code == 0
    before = bench.read_bytes()
    bench.chmod(0o400)
    bench.parent.chmod(0o500)
    told = command("next", "--json", cwd=bench.parent, may_write_anywhere=False)
    bench.parent.chmod(0o700)
    assert (told.code, told.out) == (0, advice)
    assert told.err == (
        f"Not kept for 'fettle next --track': {bench.name} cannot be written: permission denied for the file or its folder.\n"
    )
    assert bench.read_bytes() == before


def test_each_prediction_belongs_to_its_suggestion(bench, fettle):
    """With two suggestions, each is kept with the intervals that the advice gives for its own place."""
    advice = doe.open(bench).recommend(2)
    fettle("next", "--count", "2")
    kept = ProjectFile.open(bench).suggestions()
    places = sorted(advice.predictions["place"].unique())
    for place, suggestion in zip(places, kept, strict=True):
        own = advice.predictions[advice.predictions["place"] == place]
        assert [line["mean"] for line in suggestion["predictions"]] == own["mean"].tolist()


def test_options_reach_the_engine(bench, fettle):
    told = json.loads(fettle("next", "--unit", "body B", "--hours", "3", "--json").out)
    assert {row["unit"] for row in told["table"]} <= {"body B"}
    assert all(row["minutes"] <= 180 for row in told["table"])
    told = json.loads(fettle("next", "--unit", "new", "--json").out)
    assert {row["unit"] for row in told["table"]} <= {"new"}


def test_json_holds_what_the_python_interface_gives(bench, fettle):
    told = json.loads(fettle("next", "--count", "2", "--json").out)
    advice = doe.open(bench).recommend(2)
    assert [row["worth_expected"] for row in told["table"]] == advice.to_frame()["worth_expected"].tolist()
    assert told["best"]["worth"] == advice.best["worth"]


def test_taking_a_prediction_back_is_possible(bench, fettle):
    before = ProjectFile.open(bench).fingerprint()
    fettle("next")
    assert fettle("undo", "9").code == 0
    assert ProjectFile.open(bench).fingerprint() == before


def test_an_unknown_unit_is_told_so(bench, fettle):
    done = fettle("next", "--unit", "body Z")
    assert (done.code in (1, 2), done.out) == (True, "")
    assert "body Z" in done.err


def test_the_whole_answer_through_the_real_command(bench):
    """Every option at once, in a process of its own: the table, its reasons, the trade-offs, a figure and what was kept."""
    words = [
        "--count",
        "2",
        "--hours",
        "6",
        "--only",
        "improve",
        "--front",
        "--plot",
        "front.html",
        "--figure",
        "front",
    ]
    done = command("next", *words, "--unit", "body A", cwd=bench.parent)
    assert done.code == 0
    assert done.out.startswith("Next: ")
    assert "\nNothing has to be traded; one is best in every outcome:\n\nvariant " in done.out
    assert "is the one to keep" in done.out or "stays the one to keep" in done.out
    assert "What promises most to build" in done.out
    assert done.err.startswith("Drawn: front.html.\nKept with ")
    assert "Nothing has to be traded: " in (bench.parent / "front.html").read_text(encoding="utf-8")


def test_json_tells_everything_the_advice_holds(bench):
    done = command("next", "--json", "--count", "2", cwd=bench.parent)
    told = json.loads(done.out)
    assert done.err == ""
    assert {"table", "best", "stop", "runner_up", "predictions", "candidates", "front", "weights", "notes"} <= set(told)
    assert [row["chosen"] for row in told["candidates"]].count(True) == 1
    assert {row["outcome"] for row in told["weights"]} == {"bass", "echo"}


@pytest.mark.parametrize("which", ["candidates", "worth", "front"])
def test_each_figure_can_be_drawn(bench, fettle, which, tmp_path):
    assert fettle("next", "--plot", "next.html", "--figure", which).code == 0
    assert f'"kind":"{which}"' in (tmp_path / "next.html").read_text(encoding="utf-8").replace('": "', '":"')
    done = fettle("next", "--plot", "next.html")
    assert (done.code, done.out) == (1, "")
    assert "next.html' exists already" in done.err


def test_predictions_are_held_against_what_came(bench, fettle):
    """What was predicted, what was read and whether it held; before any reading it says so."""
    assert fettle("next", "--track").out == (
        "No suggestion is on record yet; 'fettle next' makes one, and keeps it with its prediction.\n"
    )
    fettle("next")
    assert fettle("next", "--track").out.startswith(
        "No prediction has been met by a reading yet.\n2 predictions not met"
    )
    (suggestion,) = ProjectFile.open(bench).suggestions()
    settings = [f"{name}={value}" for name, value in suggestion["settings"].items()]
    log = ["--new-unit", "body Z"] if suggestion["unit"] == "new" else ["--unit", suggestion["unit"]]
    assert fettle("log", *settings, *log).code == 0
    bass = next(line for line in suggestion["predictions"] if line["outcome"] == "bass")
    assert fettle("read", "4", f"bass={bass['high'] + 3 * (bass['high'] - bass['low']):.3f}").code == 0
    done = command("next", "--track", "--plot", "track.html", cwd=bench.parent)
    head, _, columns, row, _, sentence, waiting = done.out.rstrip("\n").split("\n")
    assert head == "0 of 1 prediction held (0 %; 95 % were promised)."
    assert columns.split() == ["suggestion", "variant", "outcome", "predicted", "(95", "%)", "read", "and", "it"]
    assert (row.split()[1], row.split()[-1]) == ("4", "missed")
    assert sentence.startswith(
        "bass: 0 of 1 held; readings scatter more than predicted, so future intervals are widened "
    )
    assert waiting == "1 prediction not met by a reading yet."
    assert done.err == "Drawn: track.html.\n"
    told = json.loads(fettle("next", "--track", "--json").out)
    assert (told["table"][0]["held"], told["waiting"]) == (False, 1)
    assert told["widen"]["bass"] > 1.5
    assert "Note: Predictions of bass are drawn " in fettle("next").out


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--track", "--hours", "3"], "--track looks back and suggests nothing, so --hours does not go with it.\n"),
        (["--figure", "worth"], "--figure says what --plot draws; give --plot FILE too.\n"),
        (["--plot", "x.gif"], "'x.gif' must end in .html, .png or .svg.\n"),
        (["--count", "40"], "count is 40; it must be a whole number from 1 to 20.\n"),
    ],
)
def test_what_does_not_go_together_is_refused(bench, fettle, words, sentence):
    done = fettle("next", *words)
    assert (done.code, done.out) == (2, "")
    assert done.err.startswith(sentence)
