import re
from dataclasses import replace
from pathlib import Path

import pytest

from doe.model.effort import Effort
from doe.model.errors import DataError, FettleError, UsageError
from doe.model.expectation import Expectation
from doe.model.factor import Factor
from doe.model.limit import Derived, Limit
from doe.model.outcome import Outcome
from doe.model.records import Reading, Variant
from doe.store import ProjectFile
from tests.refusing import refused
from tests.store.radio import FACTORS, OUTCOMES, RADIO, SETTINGS

FEET = Factor("feet", kind="categorical", levels=["felt", "cork"])


def test_a_factor_that_comes_late_says_what_it_was(radio: ProjectFile):
    """The variants before it take its earlier setting; reference objects stay without any."""
    entry = radio.change_setup("factor", FEET, was="CORK")
    assert entry.summary == "added factor feet"
    assert [variant.settings.get("feet") for variant in radio.variants()] == ["cork", "cork", None]
    assert radio.units()[0].settings["feet"] == "cork"
    assert radio.setup().factors == (*FACTORS, FEET)
    radio.change_setup(
        "factor", replace(FEET, minutes=5), name="feet"
    )  # its earlier setting stays, unless it is said anew
    assert radio.variants()[0].settings["feet"] == "cork"
    radio.change_setup("factor", FEET, name="feet", was="felt")
    assert radio.variants()[0].settings["feet"] == "felt"


def test_a_factor_that_comes_late_without_that_is_refused(radio: ProjectFile):
    sentence = "Variant 1: feet has no value; say what it was before feet became a factor (1 more like it)."
    with pytest.raises(DataError, match=f"^{re.escape(sentence)}$"):
        radio.change_setup("factor", FEET)
    assert radio.setup() == RADIO


def test_the_first_factor_says_what_it_was_in_what_was_built_without_any(tmp_path: Path):
    bare = ProjectFile.create(tmp_path / "radio.duckdb")
    bare.add_variant(Variant("1"))
    with refused(DataError, "Variant 1: feet has no value; say what it was before feet became a factor."):
        bare.change_setup("factor", FEET)
    bare.change_setup("factor", FEET, was="felt")
    assert bare.variants()[0].settings == {"feet": "felt"}


def test_a_renamed_factor_takes_its_settings_along(radio: ProjectFile):
    radio.change_setup("factor", replace(FACTORS[3], name="cone"), name="driver")
    assert [factor.name for factor in radio.setup().factors] == ["vents", "rings", "wool", "cone"]
    assert radio.variants()[0].settings["cone"] == "poly"


def test_a_factor_used_in_a_rule_cannot_be_removed(radio: ProjectFile):
    with refused(
        DataError, "Factor rings cannot be removed, since derived quantity air uses it; remove or change that first."
    ):
        radio.change_setup("factor", None, name="rings")
    assert radio.setup() == RADIO


def test_a_new_name_goes_into_rules_quantities_and_expectations(radio: ProjectFile):
    """In one entry, which takes all of it back; what only begins with the same letters stays."""
    radio.change_setup("limit", Limit("rings - 1 <= 20 or min(rings, wool)<99", note="room"))
    radio.change_setup("expectation", Expectation("rings", "bass", "raises"))
    before, rule = radio.setup(), "hoops - 1 <= 20 or min(hoops, wool)<99"
    entry = radio.change_setup("factor", replace(FACTORS[1], name="hoops"), name="rings")
    after = radio.setup()
    assert [after.limits[-1].rule, after.limits[-1].note] == [rule, "room"]
    assert after.derived[0].expression == RADIO.derived[0].expression.replace("rings", "hoops") != ""
    assert after.expectations[-1].factor == "hoops"
    assert entry.summary.startswith("changed factor rings to hoops; with it ")
    assert "limit rings - 1 <= 20 or min(rings, wool)<99 and expectation rings on bass" in entry.summary
    renamed = radio.change_setup("outcome", replace(after.outcomes[0], name="boom"), name="bass")
    assert radio.setup().expectations[-1].outcome == "boom"
    radio.take_back(renamed.id)
    radio.take_back(entry.id)
    assert radio.setup() == before


def test_advice_on_record_follows_the_names_that_it_speaks_of(radio: ProjectFile):
    """What was predicted can be held against readings still; when it was made does not change."""
    told = {"settings": {**SETTINGS, "vents": 5}, "predictions": [{"outcome": "bass", "mean": 1.5}], "kind": "learn"}
    radio.add_suggestion(told)
    (before,) = radio.suggestions()
    entries = [radio.change_setup("factor", replace(FACTORS[0], name="holes"), name="vents")]
    entries.append(radio.change_setup("outcome", replace(OUTCOMES[0], name="boom"), name="bass"))
    (after,) = radio.suggestions()
    settings = {**SETTINGS, "holes": 5}
    del settings["vents"]
    assert after == {**before, "settings": settings, "predictions": [{"outcome": "boom", "mean": 1.5}]}
    for entry in reversed(entries):
        radio.take_back(entry.id)
    assert radio.suggestions() == [before]


def test_a_renamed_reference_stays_the_reference(radio: ProjectFile):
    recipe = {"from": "deviation", "reference_variant": "2"}
    for outcome in (replace(OUTCOMES[0], relative_to="shop", recipe=recipe), replace(OUTCOMES[1], relative_to="shop")):
        radio.change_setup("outcome", outcome, name=outcome.name)
    entry = radio.correct_variant("shop", name="kitchen radio")
    assert entry.summary == "corrected variant shop: name shop -> kitchen radio; with it outcome bass and outcome echo"
    later = radio.correct_variant("2", name="second")
    bass, echo, _ = radio.setup().outcomes
    assert (bass.relative_to, bass.recipe["reference_variant"]) == ("kitchen radio", "second")
    assert echo == replace(OUTCOMES[1], relative_to="kitchen radio")
    radio.take_back(later.id)
    assert radio.setup().outcomes[0].recipe == recipe


def test_a_quantity_that_another_one_uses_is_renamed_in_it_and_not_removed(radio: ProjectFile):
    radio.change_setup("derived", Derived("twice", "air * 2"))
    with refused(
        DataError,
        "Derived quantity air cannot be removed, since limit air >= 180 and derived quantity twice use it; remove or change "
        "those first.",
    ):
        radio.change_setup("derived", None, name="air")
    entry = radio.change_setup("derived", replace(RADIO.derived[0], name="volume"), name="air")
    assert radio.setup().derived[1] == Derived("twice", "volume * 2")
    assert radio.setup().limits[0].rule == "volume >= 180"
    assert entry.summary == "changed derived air to volume; with it limit air >= 180 and derived quantity twice"


def test_a_range_that_variants_do_not_fit_is_refused(radio: ProjectFile):
    sentence = "Variant 2: vents is 4; it must be a whole number from 0 to 3."
    with pytest.raises(DataError, match=f"^{re.escape(sentence)}$"):
        radio.change_setup("factor", replace(FACTORS[0], high=3), name="vents")


def test_a_change_tells_what_changed(radio: ProjectFile):
    """Also to and from what goes without saying."""
    entry = radio.change_setup("factor", replace(FACTORS[0], high=8, minutes=10), name="vents")
    assert entry.summary == "changed factor vents: high 6 -> 8, minutes 12 -> 10"
    free = replace(FACTORS[0], kind="continuous", high=8, way="either", minutes=0)
    summary = radio.change_setup("factor", free, name="vents").summary
    assert summary == "changed factor vents: kind count -> continuous, way up -> either, minutes 10 -> 0"


def test_a_removed_factor_comes_back_with_its_settings(radio: ProjectFile):
    before = radio.fingerprint()
    entry = radio.change_setup("factor", None, name="driver")
    assert "driver" not in radio.variants()[0].settings
    radio.take_back(entry.id)
    assert radio.fingerprint() == before


def test_a_removed_outcome_hides_its_readings_until_it_is_back(radio: ProjectFile):
    entry = radio.change_setup("outcome", None, name="bass")
    assert [row["outcome"] for row in radio.readings()] == ["echo", "nicer"]
    assert radio.check() == []
    radio.take_back(entry.id)
    assert len(radio.readings()) == 4


def test_a_scale_that_readings_do_not_fit_is_refused(radio: ProjectFile):
    with pytest.raises(DataError, match=re.escape("Reading 3: echo is 2; it must be a grade from 3 to 7.")):
        radio.change_setup("outcome", Outcome("echo", kind="rated", scale=(3, 7)), name="echo")


def test_a_renamed_outcome_takes_its_readings_along(radio: ProjectFile):
    radio.change_setup("outcome", replace(OUTCOMES[0], name="low_end"), name="bass")
    assert radio.readings()[0]["outcome"] == "low_end"


def test_single_definitions_are_set(radio: ProjectFile):
    radio.change_setup("title", "Kitchen radio")
    radio.change_setup("question", "")
    radio.change_setup("effort", Effort(session_minutes=5))
    setup = radio.setup()
    assert (setup.title, setup.question, setup.effort) == ("Kitchen radio", "", Effort(session_minutes=5))


def test_limits_and_quantities_go_by_their_own_names(radio: ProjectFile):
    radio.change_setup("derived", Derived("air", "rings * 40"), name="air")
    radio.change_setup("limit", Limit("air >= 200"), name="air >= 180")
    radio.change_setup("limit", Limit("vents <= rings"))
    assert [limit.rule for limit in radio.setup().limits] == ["air >= 200", "vents <= rings"]
    radio.change_setup("limit", None, name="air >= 200")
    assert [limit.rule for limit in radio.setup().limits] == ["vents <= rings"]


def test_a_new_limit_does_not_judge_what_was_built_before(radio: ProjectFile):
    """It is how one learns of a limit; the log is not made wrong by it."""
    radio.change_setup("limit", Limit("vents <= 3"))
    assert radio.check() == []


@pytest.mark.parametrize(
    ("kind", "value", "name", "was", "sentence"),
    [
        ("facter", FEET, None, None, "kind is 'facter'; it must be factor, outcome, limit, derived, expectation, effort,"
                                     " title or question. Did you mean 'factor'?"),
        ("factor", FACTORS[0], None, None, "Factor 'vents' is defined already; change that one, or take another name."),
        ("factor", None, "vent", None, "There is no factor 'vent' in this project. Did you mean 'vents'?"),
        ("factor", None, None, None, "Name the factor to remove."),
        ("factor", replace(FACTORS[0], name="rings"), "vents", None,
         "Factor 'rings' is defined already; change that one, or take another name."),
        ("outcome", FEET, None, None, "The outcome must be given as Outcome, not as Factor."),
        ("title", None, None, None, "The title cannot be removed; set it to something else."),
        ("title", " ", None, None, "title is empty; say what is being tuned."),
        ("outcome", Outcome("hum"), None, 3, "was is the earlier setting of a factor; it does not fit anything else."),
        ("outcome", Outcome("vents"), None, None, "Outcome 'vents' has the name of something defined before it."),
        ("factor", FEET, None, "rubber", "feet is 'rubber'; it must be felt or cork."),
    ],
)  # fmt: skip
def test_a_wrong_change_is_one_sentence_and_changes_nothing(radio: ProjectFile, kind, value, name, was, sentence):
    before = radio.path.read_bytes()
    with pytest.raises(FettleError, match=f"^{re.escape(sentence)}$"):
        radio.change_setup(kind, value, name=name, was=was)
    assert radio.path.read_bytes() == before


def test_readings_of_an_added_outcome_are_taken(radio: ProjectFile):
    radio.change_setup("outcome", Outcome("hum", unit="dB"))
    radio.add_readings([Reading("1", "hum", 31)])
    assert radio.readings()[-1]["outcome"] == "hum"


def test_the_history_tells_the_effort_in_words(radio):
    entry = radio.change_setup("effort", Effort(new_unit_minutes=90, reading_minutes=5))
    assert entry.summary == "set the effort: a new unit 1 h 30 min, a round of readings 5 min"


def test_what_nothing_could_keep_is_refused_when_it_is_stored(radio: ProjectFile):
    """A limit by itself, beside another one, and by a factor's narrower range."""
    with refused(
        UsageError, "No settings keep the limit 'vents > 6' within the factors' ranges; loosen it or widen a range."
    ):
        radio.change_setup("limit", Limit("vents > 6"))
    radio.change_setup("limit", Limit("vents + wool <= 30"))
    with refused(
        UsageError,
        "No settings keep both limits 'vents + wool <= 30' and 'wool - vents > 31'; loosen or remove one of them.",
    ):
        radio.change_setup("limit", Limit("wool - vents > 31"))
    assert radio.setup() == replace(RADIO, limits=(*RADIO.limits, Limit("vents + wool <= 30")))


def test_an_older_project_that_contradicts_itself_is_put_right_step_by_step(empty: ProjectFile, monkeypatch):
    with monkeypatch.context() as patch:  # as it was stored once, unasked
        patch.setattr("doe.model.possible._is_empty", lambda *asked: False)
        empty.change_setup("limit", Limit("wool > 100"))
    empty.change_setup("derived", Derived("twice", "wool * 2"))
    empty.change_setup("limit", Limit("twice < 60"))
    with refused(
        UsageError, "No settings keep the limit 'vents > 6' within the factors' ranges; loosen it or widen a range."
    ):
        empty.change_setup("limit", Limit("vents > 6"))
    empty.change_setup("limit", None, name="wool > 100")
    assert [limit.rule for limit in empty.setup().limits] == ["air >= 180", "twice < 60"]


@pytest.mark.slow
def test_taking_back_leaves_no_limit_that_nothing_keeps(radio: ProjectFile):
    wider = radio.change_setup("factor", replace(FACTORS[0], high=9), name="vents")
    limit = radio.change_setup("limit", Limit("vents > 6"))
    sentence = "No settings keep the limit 'vents > 6' within the factors' ranges; loosen it or widen a range."
    with refused(
        DataError,
        f"Entry {wider.id} cannot be taken back, since other records stand on it; take back {limit.id} first: {sentence}",
    ):
        radio.take_back(wider.id)
    gone = radio.change_setup("limit", None, name="vents > 6")
    narrower = radio.change_setup("factor", FACTORS[0], name="vents")
    with refused(
        DataError,
        f"Entry {gone.id} cannot be taken back, since other records stand on it; take back {narrower.id} first: {sentence}",
    ):
        radio.take_back(gone.id)
    radio.take_back(narrower.id)
    radio.take_back(gone.id)
