import json

import pytest

from doe.model.expectation import Expectation
from doe.store import ProjectFile


def expected(rig):
    return ProjectFile.open(rig).setup().expectations


def test_an_expectation_is_said_shown_changed_and_taken_out(rig, fettle):
    """Each step tells what it stored and how to take it back; what is not named stays."""
    done = fettle("expect", "add", "wool", "echo", "lowers", "--size", "1", "--note", "as in the last box")
    assert done.out == (
        "Stored: it is expected that more wool lowers echo by about 1; readings overrule it.\n"
        "Take it back with 'fettle undo 7'.\n"
    )
    assert fettle("expect").out == (
        "factor  outcome  effect  size  why\nwool    echo     lowers  1     as in the last box\n"
    )
    assert "mild prior" in fettle("expect").err
    assert fettle("expect", "change", "wool", "echo", "--size", "none", "--effect", "raises").code == 0
    assert expected(rig) == (Expectation("wool", "echo", "raises", None, "as in the last box"),)
    assert fettle("expect", "change", "wool", "echo", "--size", "2").code == 0
    assert fettle("expect", "change", "wool", "echo", "--effect", "nothing").code == 0  # so it has no size any more
    assert expected(rig) == (Expectation("wool", "echo", "nothing", None, "as in the last box"),)
    assert fettle("expect", "change", "wool", "echo", "--effect", "raises").code == 0
    done = fettle("expect", "remove", "wool", "echo")
    assert done.out.startswith("Removed: it is no longer expected that more wool raises echo.\n")
    assert expected(rig) == ()


def test_a_size_is_told_in_the_unit_of_its_outcome(rig, fettle):
    done = fettle("expect", "add", "wool", "bass", "raises", "--size", "1.5")
    assert "more wool raises bass by about 1.5 dB; readings overrule it." in done.out
    assert fettle("expect").out == "factor  outcome  effect  size    why\nwool    bass     raises  1.5 dB\n"
    fettle("read", "3", "bass=0.5", "bass=0.8", "--session", "Tuesday")
    assert "as a mild prior: more wool raises bass by about 1.5 dB; with the readings" in fettle("next").out
    assert (
        "already that more wool raises bass by about 1.5 dB;" in fettle("expect", "add", "wool", "bass", "lowers").err
    )
    assert "expected that more wool raises bass by about 1.5 dB." in fettle("expect", "remove", "wool", "bass").out
    assert (
        "more wool lowers clarity by about 2;"
        in fettle("expect", "add", "wool", "clarity", "lowers", "--size", "2").out
    )


def test_undo_takes_it_back(rig, fettle):
    before = ProjectFile.open(rig).fingerprint()
    fettle("expect", "add", "wool", "echo", "lowers")
    assert ProjectFile.open(rig).fingerprint() != before
    assert fettle("undo").out.startswith("Took back entry 7: added expectation wool on echo.\n")
    assert ProjectFile.open(rig).fingerprint() == before


@pytest.mark.parametrize("kind", ["csv", "xlsx", "parquet"])
def test_an_export_carries_it(rig, fettle, kind, tmp_path):
    fettle("expect", "add", "wool", "echo", "lowers", "--size", "0.5")
    assert (
        fettle("export", "out" if kind != "xlsx" else "out.xlsx", *(["--kind", kind] if kind == "parquet" else [])).code
        == 0
    )
    assert fettle("init", "again", "--from-export", "out" if kind != "xlsx" else "out.xlsx").code == 0
    assert expected(tmp_path / "again.duckdb") == (Expectation("wool", "echo", "lowers", 0.5),)
    assert ProjectFile.open(tmp_path / "again.duckdb").fingerprint() == ProjectFile.open(rig).fingerprint()


def test_the_list_is_read_by_programs_too(rig, fettle):
    fettle("expect", "add", "driver", "bass", "nothing")
    assert json.loads(fettle("expect", "--json").out) == [{"factor": "driver", "outcome": "bass", "effect": "nothing"}]


def test_a_factor_of_which_something_is_expected_stays(rig, fettle):
    fettle("limit", "remove", "inner_air >= 180")
    fettle("expect", "add", "vents", "echo", "lowers")
    done = fettle("factor", "remove", "vents")
    assert (done.code, done.out) == (1, "")
    assert done.err == (
        "Factor vents cannot be removed, since expectation vents on echo uses it; remove or change that first.\n"
    )
    assert fettle("outcome", "remove", "echo").err == (
        "Outcome echo cannot be removed, since expectation vents on echo uses it; remove or change that first.\n"
    )
    fettle("limit", "add", "wool <= 50")
    assert fettle("factor", "remove", "wool").err == (
        "Factor wool cannot be removed, since derived quantity inner_air and limit wool <= 50 use it; remove or change those "
        "first.\n"
    )


def test_what_is_expected_already_is_changed_not_added(rig, fettle):
    fettle("expect", "add", "wool", "echo", "lowers")
    done = fettle("expect", "add", "wool", "echo", "raises")
    assert (done.code, done.out) == (2, "")
    assert done.err.startswith(
        "It is expected already that more wool lowers echo; 'fettle expect change' puts it otherwise.\n"
    )
    assert expected(rig) == (Expectation("wool", "echo", "lowers"),)


@pytest.mark.usefixtures("unharmed")
@pytest.mark.parametrize(
    ("words", "message"),
    [
        (
            ("add", "wol", "echo", "lowers"),
            "Something is expected of 'wol', which is no factor. Did you mean 'wool'?\n",
        ),
        (
            ("add", "wool", "ecko", "lowers"),
            "wool is expected to act on 'ecko', which is no outcome. Did you mean 'echo'?\n",
        ),
        (
            ("add", "wool", "echo", "up"),
            "EFFECT is 'up'; it must be raises, lowers or nothing. Did you mean 'raises'?\n",
        ),
        (("add", "wool", "echo", "so"), "EFFECT is 'so'; it must be raises, lowers or nothing.\n"),
        (("add", "wool", "echo", "lowers", "--size", "0"), "The size expected of wool is 0; it must be above 0.\n"),
        (
            ("add", "driver", "echo", "lowers"),
            "driver has no order, so there is no more of it; only 'nothing' can be expected of it.\n",
        ),
        (("change", "wool", "echo", "--size", "2"), "There is no expectation 'wool on echo'; none is defined yet.\n"),
        (("remove", "wool", "echo"), "There is no expectation 'wool on echo'; none is defined yet.\n"),
    ],
)
def test_a_slip_is_told_and_stores_nothing(fettle, words, message):
    done = fettle("expect", *words)
    assert (done.code in (1, 2), done.out) == (True, "")
    assert message in done.err + "\n"


def test_the_next_change_says_it_and_its_belief(rig, fettle):
    """Also where the outcome has not been read."""
    fettle("read", "3", "bass=0.5", "bass=0.8", "--session", "Tuesday")
    fettle("withdraw", "reading", "3")
    fettle("expect", "add", "wool", "bass", "raises")
    fettle("expect", "add", "vents", "clarity", "raises")
    out = fettle("next").out
    assert (
        "Expected by the maker, as a mild prior: more wool raises bass; with the readings the chance of it is " in out
    )
    assert (
        "Expected by the maker, as a mild prior: more vents raises clarity; clarity plays no part in this advice yet."
        in out
    )


@pytest.mark.parametrize(
    ("word", "ours"), [("decreases", "lowers"), ("reduces", "lowers"), ("increases", "raises"), ("more", "raises")]
)
def test_a_direction_in_other_words_gets_the_word_that_was_meant(rig, fettle, word, ours):
    done = fettle("expect", "add", "wool", "bass", word)
    assert (done.code, done.out) == (2, "")
    assert done.err.startswith(f"EFFECT is '{word}'; it must be raises, lowers or nothing. Did you mean '{ours}'?\n")


def test_more_than_the_outcome_can_do_is_stored_and_questioned(rig, fettle):
    done = fettle("expect", "add", "wool", "bass", "lowers", "--size", "1e9")
    assert done.out.startswith("Stored: it is expected that more wool lowers bass by about 1 billion dB; ")
    assert done.err == (
        "Note: wool is expected to change bass by 1000000000 dB, far more than all that is known of it (6 dB). "
        "If that is a slip, take it back.\n"
    )
    assert fettle("expect", "change", "wool", "bass", "--size", "12").err == ""
