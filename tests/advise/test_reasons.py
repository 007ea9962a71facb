import pytest

from doe.advise.reasons import Facts, reason, runner_up

BASE = {
    "kind": "improve", "unit": "A", "changes": {"wool": (0.0, 20.0), "vents": (2, 4)},
    "settings": {"vents": 4, "rings": 9, "wool": 20.0, "driver": "poly"}, "minutes": 47.0, "rounds": 2, "best": "7",
    "is_best": False, "variant": None, "expected": 0.712, "low": 0.55, "high": 0.83, "chance": 0.64, "settles": ["wool"],
    "would_change": "echo read above 3.4, beyond the 95 % expected, would speak against it", "is_exploration": False,
}  # fmt: skip


def said(factors, **changes):
    return reason(Facts(**{**BASE, **changes}), factors)


def test_a_change_names_unit_settings_time_worth_chance_and_doubts(factors):
    assert said(factors) == (
        "On unit A change wool from 0 to 20 % and vents from 2 to 4: 47 min with 2 rounds of readings. "
        "Expect a worth of 0.71 (0.55 to 0.83), a chance of 64 % to beat variant 7; it would help to tell whether wool "
        "matters; echo read above 3.4, beyond the 95 % expected, would speak against it."
    )


def test_the_unit_of_a_log_that_names_none_is_called_by_no_name(factors):
    assert said(factors, unit="the unit at hand").startswith("On the unit at hand change wool")


def test_what_cannot_be_undone_and_the_loss_of_the_best_are_said(factors):
    text = said(factors, one_way=["vents"], loses_best=True)
    assert "(vents cannot go back on this unit; it carries variant 7 now, the best so far): 47 min" in text


def test_a_change_that_starts_where_another_of_the_session_ends_says_so(factors):
    assert said(factors, follows=True).startswith(
        "Then, on unit A change wool from 0 to 20 % and vents from 2 to 4: 47 min"
    )


def test_a_new_unit_names_all_its_settings(factors):
    text = said(factors, unit="new", changes={})
    assert text.startswith("Build a new unit with vents 4, rings 9, wool 20 %, driver poly: 47 min")


def test_a_reading_says_that_nothing_is_built(factors):
    text = said(factors, kind="repeat", changes={}, variant="7", is_best=True, settles=[])
    assert text == (
        "Read variant 7 again, the best so far, on unit A: 47 min with 2 rounds of readings, nothing to build. "
        "Its worth is believed to be 0.71 (0.55 to 0.83); "
        "echo read above 3.4, beyond the 95 % expected, would speak against it."
    )


def test_a_confirmation_speaks_of_luck(factors):
    text = said(factors, kind="confirm", unit="new", changes={}, variant="7")
    assert text.startswith("Build variant 7 once more as a new unit: 47 min")
    assert "If the settings and not luck made it good, its worth will be 0.71 (0.55 to 0.83)" in text


def test_two_terms_to_settle_are_plural_and_none_is_silence(factors):
    assert "whether wool and vents matter;" in said(factors, settles=["wool", "vents"])
    assert "would help" not in said(factors, settles=[])
    assert "it would help to tell whether the effect of wool bends;" in said(factors, settles=["wool^2"])
    assert "whether wool matters and whether what vents does depends on driver;" in (
        said(factors, settles=["vents:driver", "wool"])
    )


def test_a_change_back_names_the_old_variant(factors):
    assert "vents from 2 to 4, which is variant 3 again: 47 min" in said(factors, variant="3")


@pytest.mark.parametrize("kind", ["improve", "learn", "repeat", "confirm"])
def test_every_reason_is_two_sentences(factors, kind):
    text = said(factors, kind=kind, variant="7")
    assert text.endswith(".")
    assert text.count(". ") == 1


def test_the_runner_up_says_what_it_gives_up():
    assert runner_up("wool from 0 to 20 %", 29, "A", 0.4) == (
        "Cheaper: wool from 0 to 20 % on unit A, 29 min; it gives up 60 % of what the first choice is expected to bring."
    )
    for share in (1.0, 1.2):
        assert runner_up("rings 9", 29, "new", share).endswith(
            "as a new unit, 29 min; it is expected to bring as much."
        )


def test_without_a_reading_that_could_speak_against_it_none_is_named(factors):
    text = said(factors, would_change="")
    assert text.endswith("; it would help to tell whether wool matters.")


def test_a_unit_that_carries_something_unread_is_read_as_it_stands(factors):
    assert said(factors, changes={}).startswith(
        "Read unit A as it stands (vents 4, rings 9, wool 20 %, driver poly): 47 min with 2 rounds of readings. Expect"
    )


def test_what_is_not_the_best_is_not_called_so(factors):
    text = said(factors, kind="repeat", changes={}, variant="5")
    assert text.startswith("Read variant 5 again, on the bench still, on unit A:")


def test_before_anything_was_read_there_is_nothing_to_expect_or_to_beat(factors):
    assert ", nothing to beat yet; it would help" in said(factors, best=None)
    assert "so this is exploration" in (text := said(factors, best=None, is_exploration=True))
    assert "0.71" not in text
