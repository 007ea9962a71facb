from dataclasses import replace

import pytest

from doe.guides.starters import KEYS, starter
from doe.guides.symptoms import symptom, symptoms, tries
from doe.model.effort import Effort
from doe.model.errors import UsageError
from doe.model.factor import Factor
from doe.model.setup import Setup
from tests.refusing import refused

RADIO = Setup(
    factors=[
        Factor("vents", kind="count", low=0, high=6, way="up", minutes=12),
        Factor("rings", kind="count", low=7, high=12, way="rebuild"),
        Factor("wool", low=0, high=60, step=5, minutes=8),
        Factor("driver", kind="categorical", levels=["paper", "poly"], minutes=25),
    ],
    effort=Effort(new_unit_minutes=150),
)
COMPLAINTS = {
    "loudspeaker": ["boomy", "echoey", "thin", "rattles"],
    "ear-cup": ["boomy", "harsh", "thin"],
    "plucked": ["short sustain", "thin"],
    "fan": ["whines", "moves too little air", "rattles"],
    "enclosure": ["runs hot", "glares"],
}


def test_cheapest_comes_first_and_the_new_unit_is_counted():
    """Minutes of one change, with a new unit where only that can carry it: 8, 25, 150."""
    found = tries(symptom("boomy"), RADIO)
    assert [(item.factor, item.minutes) for item in found.here] == [("wool", 8), ("driver", 25), ("rings", 150)]


def test_vents_are_known_to_help_seldom_against_boom_and_echo():
    """Common practice, no source: vent holes at random seldom mend a boomy bass, nor the echo of a cavity."""
    for word in ("boomy", "echoey"):
        found = tries(symptom(word), RADIO)
        assert [item.factor for item in found.seldom] == ["vents"]
        assert found.seldom[0].is_one_way
        assert "vents" not in [item.factor for item in found.here]


def test_an_echo_is_tried_by_filling_and_by_a_smaller_cavity():
    """Common practice, no source: filling or shrinking a cavity by a third to a half clearly lowers its echo."""
    assert [item.factor for item in tries(symptom("echo"), RADIO).here] == ["wool", "rings"]


def test_what_can_be_taken_back_comes_first_at_the_same_effort():
    factors = [
        Factor("vent_a", low=0, high=3, way="up", minutes=10),
        Factor("power", low=3, high=8, minutes=10),
        Factor("gap", low=2, high=9, minutes=1, minutes_per_step=3),
    ]
    found = tries(symptom("runs hot"), Setup(factors=factors))
    assert [(item.factor, item.minutes) for item in found.here] == [("gap", 4), ("power", 10), ("vent_a", 10)]
    assert [item.way_told for item in found.here] == ["", "", "cannot be taken back"]
    tried = {item.idea.what for item in found.here}
    assert [idea.what for idea in found.elsewhere] == [
        idea.what for idea in symptom("runs hot").ideas if idea.what not in tried
    ]


def test_a_way_that_a_factor_cannot_go_takes_a_new_unit():
    """A gap that can only be sanded wider is made smaller on another unit, and costs what that costs."""
    gap = Factor("tip_gap", low=0.5, high=4, step=0.5, way="up", minutes=15)
    (tried,) = tries(symptom("moves too little air"), Setup(factors=[gap], effort=Effort(new_unit_minutes=240))).here
    assert (tried.idea.what, tried.minutes, tried.way_told) == ("a smaller gap at the tips", 255, "takes a new unit")
    (allowed,) = tries(symptom("moves too little air"), Setup(factors=[replace(gap, way="down")])).here
    assert (allowed.minutes, allowed.way_told) == (15, "cannot be taken back")


def test_each_factor_of_a_fan_is_told_what_is_done_with_it():
    """No blade is told of pitch, and the gap at the tips is none to the struts."""
    fan = starter("fan").setup
    found = {item.factor: item.idea.what for item in tries(symptom("moves too little air"), fan).here}
    assert found["pitch"] == "a steeper pitch"
    assert found["blades"] == "more or wider blades"
    assert not {"tip_gap", "pitch"} & {item.factor for item in tries(symptom("whines"), fan).here}


def test_without_a_project_every_idea_is_elsewhere():
    for item in symptoms():
        found = tries(item, Setup())
        assert (found.here, found.seldom, found.elsewhere) == ((), (), item.ideas)


@pytest.mark.parametrize("key", KEYS)
def test_the_complaints_of_each_starter_set_find_its_factors(key):
    for word in COMPLAINTS[key]:
        assert tries(symptom(word), starter(key).setup).here, word


def test_every_reason_names_its_source():
    """A published one is author and title, or says openly that there is none."""
    for item in symptoms():
        for idea in (*item.ideas, *item.seldom):
            assert idea.why.endswith(".")
            assert idea.words
            assert idea.source == "common practice, no source" or len(idea.source.split(",")) >= 2, idea.what


def test_every_word_means_one_symptom():
    said = [word for item in symptoms() for word in (item.name, *item.words)]
    assert sorted(said) == sorted(set(said))
    for item in symptoms():
        assert all(symptom(word) is item for word in (item.name, *item.words))
    assert symptom("Short_Sustain") is symptom("short  sustain")


def test_an_unknown_symptom_is_refused_with_the_nearest():
    names = "boomy, echoey, harsh, rattles, whines, thin, short sustain, runs hot, moves too little air and glares"
    with refused(UsageError, f"There is no symptom 'ratles' on file; there are {names}. Did you mean 'rattles'?"):
        symptom("ratles")
