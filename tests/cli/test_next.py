import json

import pytest

import doe
from doe.store import ProjectFile


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
