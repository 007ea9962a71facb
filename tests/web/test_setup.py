"""The set-up's forms: numbers with their unit, all that is wrong at once, and nothing stored where nothing changed."""

import html
import re
from dataclasses import replace

import pytest

from doe.model.expectation import Expectation
from doe.model.factor import Factor
from doe.model.limit import Limit
from doe.model.setup import Setup
from doe.project import Project
from doe.web import Settings, create_app
from tests.web.client import Visitor


def told(page):
    """Sentences by field."""
    return dict(re.findall(r'id="in-([\w-]+)-error">([^<]*)<', page.html.replace("&#39;", "'")))


def test_a_number_may_stand_with_the_unit_of_its_definition(visitor, project):
    page = visitor.get("/setup/factor")
    page = visitor.send(page, "/factor", name="gap", low="0,5 mm", high="4 mm", step="0.5mm", unit="mm", was="1 mm")
    assert page.status == 200
    gap = next(item for item in project.setup.factors if item.name == "gap")
    assert (gap.low, gap.high, gap.step) == (0.5, 4.0, 0.5)
    page = visitor.send(visitor.get("/setup/outcome"), "/outcome", name="hum", unit="dB", goal="hit", target="40 dB",
                        worst="35 dB 50 dB", matters="1 dB")  # fmt: skip
    assert page.status == 200
    hum = project.setup.outcomes[-1]
    assert (hum.target, tuple(hum.worst), hum.matters) == (40.0, (35.0, 50.0), 1.0)
    typed = {"factor": "wool", "outcome": "bass", "effect": "lowers", "size": "2 dB"}
    assert visitor.send(visitor.get("/setup/expectation"), "/expectation", **typed).status == 200
    assert project.setup.expectations[-1].size == 2.0


def test_a_level_that_is_renamed_keeps_its_price_or_asks_for_it(visitor, project):
    wood = Factor("wood", kind="categorical", levels=["ash", "oak"], price=2, prices={"ash": 3, "oak": 5})
    project.file.change_setup("factor", wood, was="ash")
    told_of = "one change takes 0 min and 2 in money; once, ash 3 and oak 5 in money"
    assert told_of in visitor.get("/setup").text
    form = visitor.get("/setup/factor?name=wood")
    page = visitor.send(form, "/factor", levels="ash\nelm")
    assert told(page) == {
        "prices": "Factor 'wood': the prices of levels name 'oak', which is not one of its levels; there are ash and elm."
    }
    page = visitor.send(form, "/factor", levels="ash\nelm", prices="ash = 3\r\n\r\nelm=5.5")
    assert page.status == 200, page.text
    assert project.setup.factors[-1] == replace(wood, levels=["ash", "elm"], prices={"ash": 3, "elm": 5.5})


def test_a_factor_that_becomes_a_number_loses_the_prices_of_its_levels(visitor, project):
    """The page does not show them then; what it refused could not be put right there."""
    wood = Factor("wood", kind="categorical", levels=["ash", "oak"], prices={"ash": 3, "oak": 5})
    project.file.change_setup("factor", wood, was="ash")
    page = visitor.send(visitor.get("/setup/factor?name=wood"), "/factor", kind="count", low="1", high="3", was="1")
    assert page.status == 200, page.text
    assert dict(project.setup.factors[-1].prices) == {}


@pytest.mark.parametrize(
    ("typed", "expected"),
    [
        ("ash 3", "The prices of levels have a line 'ash 3'; write each level once, such as cork = 12."),
        ("= 3", "The prices of levels have a line '= 3'; write each level once, such as cork = 12."),
        ("ash = 3\nash = 4", "The prices of levels name ash twice; write each level once, such as cork = 12."),
        ("ash = free", "Price of ash is 'free'; it must be a number."),
        ("ash = -1", "Factor 'wood': price of ash is -1; it must be 0 or more."),
    ],
)
def test_prices_that_cannot_be_read_are_told_at_their_field(visitor, typed, expected):
    sent = {"name": "wood", "kind": "categorical", "levels": "ash\noak", "was": "ash", "prices": typed}
    assert told(visitor.send(visitor.get("/setup/factor"), "/factor", **sent)) == {"prices": expected}


@pytest.mark.parametrize(
    ("typed", "levels"),
    [("ash, 5 mm\r\n carbon \r\n\r\n", ("ash, 5 mm", "carbon")), ("ash, carbon", ("ash", "carbon"))],
)
def test_a_line_is_a_level_though_it_has_a_comma(visitor, project, typed, levels):
    """As the form says. Only what stands on one line is parted at its commas: one level alone would be none."""
    sent = {"name": "spar", "kind": "categorical", "levels": typed, "was": levels[0]}
    assert visitor.send(visitor.get("/setup/factor"), "/factor", **sent).status == 200
    spar = project.setup.factors[-1]
    assert spar.levels == levels
    page = visitor.get("/setup/factor?name=spar")
    assert visitor.send(page, "/factor", note="springy").status == 200
    assert project.setup.factors[-1].levels == levels


def test_the_page_tells_what_a_change_takes_as_the_command_does(visitor, project):
    """Minutes for each step, and those of a new unit, count in the advice, so they are seen where they are defined."""
    project.file.change_setup("factor", Factor("gap", low=0, high=9, unit="mm", minutes_per_step=2), was=0)
    shown = visitor.get("/setup").text
    assert "continuous, a number from 0 to 9 mm; one change takes 2 min for each 1 mm" in shown
    assert "count, a whole number from 7 to 12; one change needs a new unit, 1 h 40 min" in shown


def test_the_page_doubts_factors_limits_and_effort_as_the_commands_do(visitor, project):
    project.file.change_setup("effort", replace(project.setup.effort, session_minutes=100_000))
    project.file.change_setup("factor", Factor("gap", low=0, high=10, step=3, minutes=100_000), was=0)
    project.file.change_setup("limit", Limit("rings > 10"))
    shown = visitor.get("/setup").text
    assert "One change of gap is 1666 h 40 min; if that is a slip, put it right." in shown
    assert "A session is 1666 h 40 min; if that is a slip, put it right." in shown
    assert "Steps of 3 from 0 do not reach 10." in shown
    kept = "what is built from now on must keep it."
    assert f"Variants 1 and 2 on record break it, and stay as logged; {kept}" in shown
    assert shown.count(kept) == 1


def test_another_unit_than_its_own_is_refused(visitor, project):
    page = visitor.send(visitor.get("/setup/factor"), "/factor", name="gap", low="5 cm", high="4 mm", unit="mm")
    assert told(page) == {"low": "Low is '5 cm'; it must be a number."}


def test_all_that_cannot_be_read_is_told_at_once_by_its_label(visitor, project):
    before = project.file.fingerprint()
    wrong = {"low": "wide", "high": "1,234", "step": "some", "minutes": "-5", "price": "free"}
    page = visitor.send(visitor.get("/setup/factor"), "/factor", name="gap", **wrong)
    assert page.status == 422
    assert told(page) == {
        "low": "Low is 'wide'; it must be a number.",
        "high": "High is '1,234'; write it with a decimal point, since the comma could mean thousands.",
        "step": "Step is 'some'; it must be a number.",
        "minutes": "The time of one change is '-5'; it must be a number from 0, or a time such as 1 h 35 min.",
        "price": "The money for one change is 'free'; it must be a number.",
    }
    assert "Nothing is stored yet: see the fields marked below." in page.text
    kept = dict(page.form("/factor")["fields"])
    assert {name: kept[name] for name in wrong} == wrong
    assert project.file.fingerprint() == before


@pytest.mark.parametrize(
    ("kind", "typed", "expected"),
    [
        (
            "effort",
            {"new_unit_minutes": "soon", "new_unit_price": "x"},
            {
                "new_unit_minutes": "The time for a new unit is 'soon'; it must be a number from 0, or a time such as "
                "1 h 35 min.",
                "new_unit_price": "The money for a new unit is 'x'; it must be a number.",
            },
        ),
        (
            "effort",
            {"new_unit_price": "-2"},
            {"new_unit_price": "Effort: the money for a new unit is -2; it must be 0 or more."},
        ),
        (
            "about",
            {"title": "x" * 300, "question": "y" * 3000},
            {
                "title": "What is tuned has 300 characters; it may have at most 200.",
                "question": "What is wrong with it has 3000 characters; it may have at most 2000.",
            },
        ),
        ("about", {"title": " "}, {"title": "What is tuned is empty; say what is being tuned."}),
        (
            "outcome",
            {"name": "hum", "goal": "hit", "worst": "1 2 3"},
            {"worst": "Worst is '1 2 3'; it must be one number, or two with a blank between."},
        ),
        (
            "factor",
            {"name": "wool", "low": "0", "high": "1"},
            {"name": "Factor 'wool' is defined already; change that one, or take another name."},
        ),
        (
            "factor",
            {"name": "gap", "low": "0", "high": "1", "was": "7"},
            {"was": "What it was until now is 7; it must be a number from 0 to 1."},
        ),
    ],
)  # fmt: skip
def test_a_sentence_calls_a_field_what_the_page_calls_it(visitor, project, kind, typed, expected):
    before = project.file.fingerprint()
    page = visitor.send(visitor.get(f"/setup/{kind}"), f"/{kind}", **typed)
    assert page.status == 422
    assert told(page) == expected
    assert project.file.fingerprint() == before


@pytest.mark.parametrize(
    "where", ["/setup/effort", "/setup/about", "/setup/factor?name=wool", "/setup/outcome?name=echo",
             "/setup/outcome?name=bass", "/setup/derived?name=inner_air"])  # fmt: skip
def test_what_was_not_changed_is_not_stored(visitor, project, where):
    entries = len(project.file.history())
    page = visitor.send(visitor.get(where), where.split("?")[0])
    assert page.status == 422
    assert "Nothing was changed, so nothing is stored." in page.text
    assert len(project.file.history()) == entries


def test_what_matters_is_questioned_where_it_is_all_there_is(visitor):
    """It is stored all the same, since only the maker knows."""
    typed = {"name": "boil", "unit": "min", "goal": "lower", "best": "5", "worst": "15", "matters": "2"}
    said = (
        "What matters of boil is 20 min, more than all there is from worst to best (10 min); if that is a slip, put it"
    )
    page = visitor.send(visitor.get("/setup/outcome"), "/outcome", **typed)
    assert page.status == 200
    assert said not in page.text
    page = visitor.send(visitor.get("/setup/outcome?name=boil"), "/outcome", matters="20")
    assert page.status == 200
    assert said in page.text


def test_what_differs_is_named_as_on_the_form(visitor):
    page = visitor.get("/setup/factor?name=wool")
    visitor.send(visitor.get("/setup/factor?name=wool"), "/factor", minutes="12")
    late = visitor.send(page, "/factor", minutes="20")
    assert late.status == 409
    assert '<th scope="row"><bdi>One change takes</bdi></th>' in late.html


GAP = {"name": "gap", "low": "0", "high": "4"}


@pytest.mark.parametrize(
    ("kind", "typed", "expected"),
    [
        ("factor", {"name": "liner", "kind": "categorical"},
         {"levels": "Factor 'liner' is categorical: give at least two different levels."}),
        ("factor", {"name": "liner", "kind": "ordered", "levels": "felt"},
         {"levels": "Factor 'liner' is ordered: give at least two different levels, each by itself; 'felt' is one."}),
        ("factor", {"name": "liner", "kind": "categorical", "levels": "felt\ncork", "way": "up"},
         {"way": "Factor 'liner' has no order, so its way cannot be 'up'; use either or rebuild."}),
        ("factor", {"name": "fins", "kind": "count", "low": "1.5", "high": "4", "was": "2"},
         {"low": "Low is '1.5'; a count takes whole numbers only."}),
        ("factor", {"name": "gap", "low": "1"}, {"high": "Factor 'gap' is continuous: give both low and high."}),
        ("factor", GAP, {"was": "What it was until now is empty; the variants on record need it, so say what they all had."}),
        ("factor", {**GAP, "name": "bass", "was": "1"},
         {"name": "Outcome 'bass' has the name of something defined before it."}),
        ("outcome", {"name": "hum", "kind": "rated"},
         {"scale_low": "Outcome 'hum' is rated: give the scale from low to high, such as from 1 to 7."}),
        ("outcome", {"name": "hum", "kind": "rated", "scale_low": "1"},
         {"scale_high": "Outcome 'hum' is rated: give the scale from low to high, such as from 1 to 7."}),
        ("outcome", {"name": "hum", "goal": "raise", "worst": "2"},
         {"best": "Outcome 'hum' has goal raise: give one best and one worst value."}),
        ("outcome", {"name": "hum", "goal": "within", "low": "2"},
         {"high": "Outcome 'hum' has goal within: say from where to where it is wanted."}),
        ("outcome", {"name": "hum", "goal": "hit", "worst": "2"}, {"target": "Outcome 'hum' has goal hit: give target."}),
        ("outcome", {"name": "hum", "goal": "hit", "target": "1", "worst": "2", "best": "3"},
         {"best": "It does not fit, since goal hit uses target."}),
        ("outcome", {"name": "hum", "kind": "rated", "scale_low": "1", "scale_high": "7", "goal": "lower", "best": "0",
                     "worst": "8"},
         dict.fromkeys(["best", "worst"], "It lies beyond its scale from 1 to 7, so no reading can ever get there.")),
        ("outcome", {"name": "wool"}, {"name": "Outcome 'wool' has the name of something defined before it."}),
        ("limit", {"rule": ""}, {"rule": "A rule is empty; write one such as 'rings * 42 - wool * 2.1 >= 180'."}),
        ("limit", {"rule": "ring >= 2"}, {"rule": "Limit 'ring >= 2' uses 'ring', which is no factor. Did you mean 'rings'?"}),
        ("limit", {"rule": "rings + 2"}, {"rule": "Limit 'rings + 2' compares nothing; write it with <, <=, >, >=, == or !=."}),
        ("limit", {"rule": "inner_air >= 180"},
         {"rule": "This limit is defined already; change that one, or write another rule."}),
        ("limit", {"rule": "wool > 60"},
         {"rule": "No settings keep the limit 'wool > 60' within the factors' ranges; loosen it or widen a range."}),
        ("derived", {"name": "air", "expression": "rings / 0"},
         {"expression": "Derived quantity 'air': 'rings / 0' gives no number at any setting; look for a division by zero, "
          "or a root or logarithm of a negative number."}),
        ("derived", {"name": "air", "expression": ""},
         {"expression": "Expression is empty; write one such as 'rings * 42 - wool * 2.1'."}),
        ("derived", {"name": "air", "expression": "ring * 2"},
         {"expression": "Derived quantity 'air': 'ring * 2' uses 'ring', which is no factor. Did you mean 'rings'?"}),
        ("derived", {"name": "a b", "expression": "rings * 2"},
         {"name": "Derived quantity 'a b' must be 1 to 60 letters, digits or underscores, starting with a letter: 'tip_gap'."}),
        ("expectation", {"factor": "driver", "outcome": "bass", "effect": "raises"},
         {"effect": "driver has no order, so there is no more of it; only 'nothing' can be expected of it."}),
        ("expectation", {"factor": "wool", "outcome": "bass", "effect": "raises", "size": "-1"},
         {"size": "The size expected of wool is -1; it must be above 0."}),
        ("expectation", {"factor": "wool", "outcome": "hum", "effect": "raises"},
         {"outcome": "wool is expected to act on 'hum', which is no outcome; there are bass, echo and clarity."}),
    ],
)  # fmt: skip
def test_a_refusal_stands_at_the_field_that_puts_it_right(visitor, project, kind, typed, expected):
    """Also where the sentence does not begin with the field's name; at no other, and once for each."""
    before = project.file.fingerprint()
    page = visitor.send(visitor.get(f"/setup/{kind}"), f"/{kind}", **typed)
    assert page.status == 422
    assert {name: html.unescape(said) for name, said in told(page).items()} == expected
    assert f"Nothing is stored yet: see the {'field' if len(expected) == 1 else 'fields'} marked below." in page.text
    assert project.file.fingerprint() == before


@pytest.mark.parametrize(
    ("where", "typed", "field"),
    [
        ("factor?name=rings", {"high": "10"}, "high"),  # variant 3 has 11
        ("factor?name=rings", {"low": "10"}, "low"),  # variant 1 has 9
        ("factor?name=driver", {"levels": "poly\nbamboo"}, "levels"),
        ("outcome?name=echo", {"scale_high": "2", "worst": "2"}, "scale_high"),  # one reading is 3
    ],
)
def test_a_change_that_the_records_stand_against_is_told_at_its_field(visitor, project, where, typed, field):
    before = project.file.fingerprint()
    page = visitor.send(visitor.get(f"/setup/{where}"), f"/{where.split('?')[0]}", **typed)
    assert page.status == 422
    assert list(told(page)) == [field]
    assert project.file.fingerprint() == before


def test_what_cannot_be_removed_blames_no_field(visitor):
    page = visitor.send(visitor.get("/setup/derived?name=inner_air"), "/remove")
    assert page.status == 422
    assert told(page) == {}
    assert (
        "Derived quantity inner_air cannot be removed, since limit inner_air >= 180 uses it; remove or change that first."
    ) in page.text


@pytest.mark.parametrize(
    ("there", "kind", "add"), [((), "factor", "Add a factor"), (("factor",), "outcome", "Add an outcome")]
)
def test_an_expectation_leads_to_what_has_to_be_defined_first(tmp_path, there, kind, add):
    factors = [Factor("gap", low=0, high=1)] if there else []
    project = Project.create(tmp_path / "bare.duckdb", Setup(title="Bare", factors=factors))
    visitor = Visitor(create_app(project.path, Settings(folder=tmp_path)))
    page = visitor.get("/setup/expectation")
    assert page.status == 200
    assert "has to be defined first." in page.text
    assert f'<a href="/setup/{kind}"><bdi>{add}</bdi></a>' in page.html
    assert page.forms == []


def test_an_effect_larger_than_the_outcome_is_questioned(visitor, project):
    project.file.change_setup("expectation", Expectation("wool", "bass", "lowers", 1e4))
    said = (
        "Wool is expected to change bass by 10000 dB, far more than all that is known of it (6 dB); if that is a slip"
    )
    assert said in visitor.get("/setup").text
