import html
import re
import shutil
import time
from dataclasses import fields, replace

import pandas as pd
import pytest

from doe.model.errors import DataError, FettleError
from doe.model.factor import Factor
from doe.model.limit import Limit
from doe.model.setup import Setup
from doe.model.wording import capital
from doe.planning.known import Judged
from doe.project import Project
from doe.web import Settings, create_app, plan_contexts
from doe.web.plan_runs import runs_to_build
from doe.web.planner import Planner
from doe.web.route import in_words
from tests.web.client import Visitor, worked_out
from tests.web.test_pages import used_by


@pytest.fixture(autouse=True)
def quick(monkeypatch):
    """Few starts and a known scatter: these tests are about pages."""
    monkeypatch.setattr("doe.plans.optimal.default_starts", lambda task: 20)
    monkeypatch.setattr(
        "doe.project.Project.judged_by", lambda self, *_, **__: Judged("bass", 0.5, 1.0, "Judged by bass.")
    )


@pytest.fixture
def asked(visitor):
    """The page that recommends a plan of at most eight runs."""
    return worked_out(visitor, "/plan?runs=8&kind=d-optimal")


@pytest.fixture(scope="module")
def adopted_file(tmp_path_factory):
    """Where the project is kept once that plan is adopted, for the next test to start from."""
    return tmp_path_factory.mktemp("adopted") / "rig.duckdb"


@pytest.fixture
def adopted(visitor, path, adopted_file):
    """The page of that plan when it is adopted."""
    if adopted_file.exists():
        shutil.copy(adopted_file, path)
    else:
        assert visitor.send(worked_out(visitor, "/plan?runs=8&kind=d-optimal"), "/adopt").status == 200
        shutil.copy(path, adopted_file)
    return worked_out(visitor, "/plan")


@pytest.mark.parametrize(
    ("template", "context"), [("plan.html", "PlanPage"), ("route.html", "RoutePage"), ("rehearse.html", "RehearsePage")]
)
def test_template_takes_what_its_context_declares(template, context):
    """Every declared field is used, and nothing else but the frame and what the partials are handed."""
    declared = {item.name for item in fields(getattr(plan_contexts, context))}
    handed = {"frame", "urls", "it", "chart", "above", "suffix", "loop", "back", "stop", "keeps"}
    assert declared <= used_by(template)
    assert used_by(template) - declared <= handed


def test_the_page_asks_what_may_be_spent(visitor, project):
    page = visitor.get("/plan")
    assert page.status == 200
    assert [name for name, _ in page.form("/plan")["fields"]][:2] == ["hours", "runs"]
    assert "Define factors" not in page.text
    assert "Nothing is planned" in visitor.get("/route").text


def test_a_plan_is_shown_with_what_it_tells_apart(asked, project):
    """In words, as a table, and as charts with the same facts as text; nothing is stored."""
    assert asked.status == 200
    assert "D-optimal plan, 8 runs, 4 factors, 4 units." in asked.text
    assert asked.html.count('role="img"') == 3
    assert 'aria-label="Correlation between terms, largest first' in asked.html
    assert asked.html.count("<noscript><p>") == 3
    assert project.file.adopted_plan() is None


@pytest.mark.slow
def test_plans_are_compared_and_the_recommended_one_adopted(visitor, project):
    page = worked_out(visitor, "/plan?runs=8&hours=20")
    assert "Take this one:" in page.text
    assert "Other plans that fit" in page.text
    adopted = visitor.send(page, "/adopt")
    assert adopted.status == 200
    assert project.file.adopted_plan().facts["model"] in ("main", "two-factor", "quadratic")


def test_a_plan_is_adopted_built_and_abandoned(visitor, adopted, project):
    """Without JavaScript: its runs become planned variants, the route leads through them, one is built on its unit."""
    assert ": 0 of 8 built." in adopted.text
    assert len(project.file.adopted_plan().left) == 8
    assert project.readings().shape[0] == 3
    route = worked_out(visitor, "/route")
    assert "No route takes fewer than" in route.text
    form = dict(route.form("/built")["fields"])
    logged = visitor.send(route, "/built", minutes="35")
    assert logged.url.startswith(f"http://127.0.0.1/variants/{form['variant']}/readings")
    built = next(item for item in project.file.variants() if item.name == form["variant"])
    assert (built.status, built.unit, built.minutes) == ("built", form["unit"], 35.0)
    page = worked_out(visitor, "/plan")
    assert ": 1 of 8 built." in page.text
    gone = visitor.send(page, "/abandon")
    assert "Abandoned the plan: 7 runs not built, 1 built" in gone.text
    assert project.file.adopted_plan() is None
    visitor.send(gone, "/undo")
    assert len(project.file.adopted_plan().left) == 7


@pytest.mark.parametrize(
    ("query", "field", "sentence"),
    [
        ("runs=3", "runs", "the main effects alone are 6 unknowns, so ask for 7 runs or more"),
        ("runs=abc", "runs", "Variants is 'abc'; it must be a number."),
        ("runs=2.5", "runs", "Variants is '2.5'; it must be a whole number."),
        ("runs=-4", "runs", "Variants is '-4'; it must be more than 0."),
        ("runs=5000", "runs", "Variants is '5000'; it must be at most 1000."),
        ("hours=0", "hours", "Bench time is '0'; it must be more than 0."),
        ("hours=1e9", "hours", "Bench time is '1e9'; it must be at most 10000."),
        (
            "hours=soon&runs=8",
            "hours",
            "Bench time is 'soon'; it must be a number from 0, or a time such as 1 h 35 min.",
        ),
        ("hours=&runs=&kind=", "hours", "Say how much bench time you can spend, or how many variants."),
        ("hours=5&kind=full", "hours", "Bench time compares plans of every kind"),
        (
            "runs=8&kind=full",
            "runs",
            "A full plan of 4 factors has 24 runs, not 8; leave runs out, or use kind d-optimal.",
        ),
        ("kind=fraction", "kind", "driver has 3 levels, and a two-level fraction takes two of each factor"),
        ("kind=fold-over&beside=", "kind", "driver has 3 levels"),
        ("runs=8&kind=%3Cb%3E", "kind", "Kind of plan is '<b>'; it must be d-optimal, i-optimal"),
        ("runs=8&kind=full&model=cubic", "model", "What it is to estimate is 'cubic'; it must be main, two-factor or"),
    ],
)
def test_a_plan_that_cannot_be_comes_back_with_its_values(visitor, project, query, field, sentence):
    """The sentence stands at the one field that it is about, which is not folded away."""
    page = worked_out(visitor, f"/plan?{query}")
    assert page.status == 422
    assert [name for name in page.ids if name.endswith("-error")] == [f"in-{field}-error"]
    assert sentence in html.unescape(re.search(r'-error">([^<]*)<', page.html)[1])
    assert "Nothing is planned yet: see the field marked below." in page.text
    assert ("<details open>" in page.html) is (field in ("kind", "model"))
    typed = dict(part.split("=") for part in query.split("&"))
    assert all(dict(page.form("/plan")["fields"])[name] == typed[name] for name in ("hours", "runs") if name in typed)


def test_sessions_units_and_runs_in_the_middle_are_asked_of_one_kind(visitor, project):
    """The page makes the plan that Python makes of the same words."""
    page = worked_out(visitor, "/plan?runs=8&kind=d-optimal&blocks=2&units=3")
    made = project.plan(8, kind="d-optimal", blocks=2, units=3, judged=Judged("bass", 0.5, 1.0, "Judged by bass."))
    assert made.headline in page.text
    assert visitor.send(page, "/adopt").status == 200
    assert len({run.block for run in project.file.adopted_plan().runs}) == 2


@pytest.mark.parametrize(
    ("asked", "field", "sentence"),
    [
        ("runs=8&blocks=2", "blocks", "This is said of one kind of plan; choose the kind, or leave it empty."),
        ("runs=8&kind=d-optimal&units=1.5", "units", "Units is '1.5'; it must be a whole number."),
        ("runs=8&kind=d-optimal&units=40", "units", "Units is 40; the terms that only change with a rebuild need 2"),
        (
            "runs=8&kind=d-optimal&centre=3",
            "centre",
            "Centre is 3, but kind d-optimal puts runs in the middle by itself",
        ),
        ("runs=8&kind=d-optimal&blocks=9", "blocks", ""),
    ],
)
def test_what_of_the_shape_cannot_be_is_told_at_its_field(visitor, asked, field, sentence):
    page = worked_out(visitor, f"/plan?{asked}")
    assert page.status == 422
    assert html.unescape(page.html.partition(f'id="in-{field}-error">')[2]).startswith(sentence)
    assert f'id="in-{field}-error"' in page.html


def test_two_amounts_that_cannot_be_read_are_told_at_once(visitor):
    page = worked_out(visitor, "/plan?hours=soon&runs=abc")
    assert {name for name in page.ids if name.endswith("-error")} == {"in-hours-error", "in-runs-error"}
    assert "see the fields marked below" in page.text


def test_what_no_entry_would_mend_is_told_above_the_form(tmp_path):
    project = Project.create(tmp_path / "bare.duckdb", Setup(title="Bare"))
    visitor = Visitor(create_app(project.path, Settings(folder=tmp_path)))
    page = worked_out(visitor, "/plan?runs=8&kind=full")
    assert page.status == 422
    assert "There are no factors yet, so there is nothing to plan; define them first." in page.text
    assert '<a href="/setup">Define factors in the set-up</a>' in page.html
    assert "Define factors" in visitor.get("/plan").text  # before anything is asked, too
    assert not [name for name in page.ids if name.endswith("-error")]


def test_too_few_hours_say_how_many_it_takes(visitor):
    """By hand: seven rounds of readings of 5 min and a session of 10 take 45 min, so that in 40 no plan is looked for."""
    page = worked_out(visitor, "/plan?hours=40+min")
    told = html.unescape(re.search(r'in-hours-error">([^<]*)<', page.html)[1])
    assert "so ask for 7 runs or more" in told
    hours = re.search(
        r"The quickest plan of 7 runs takes (\d+) h(?: (\d+) min)? at the bench, readings included\.$", told
    )
    minutes = 60 * int(hours[1]) + int(hours[2] or 0)
    assert worked_out(visitor, f"/plan?hours={minutes + 1}+min").status == 200
    assert worked_out(visitor, f"/plan?hours={minutes - 2}+min").status == 422


class Compared:
    """A comparison of two plans of a given chance, as the page looks at one."""

    def __init__(self, made, chance, unjudged=""):
        row = {"plan": "Small plan, 8 runs.", "kind": "d-optimal", "model": "quadratic", "runs": 8, "hours": 12.5,
               "new_units": 2, "apart": "main effects apart", "half_width_of_judged": 1.5, "unjudged": unjudged,
               "power": chance, "power_of_judged": chance,
               "is_recommended": True}  # fmt: skip
        other = {**row, "plan": "Large plan, 9 runs.", "model": "main", "hours": 30.0, "power": 0.9, "power_of_judged": 0.9,
                 "is_recommended": False}  # fmt: skip
        self.table = pd.DataFrame([row, other])
        self.plans = (made, replace(made, headline="Large plan, 9 runs."))
        self.plan, self.model, self.headline, self.reason = (
            made,
            "main",
            "Take this one: small plan.",
            ("It is quick.",),
        )


@pytest.fixture
def compare(visitor, monkeypatch, project):
    """Look at a comparison of that chance."""
    made = project.plan(8, kind="d-optimal", judged=Judged("bass", 0.5, 1.0, ""))

    def look(chance, unjudged="", path="/plan?hours=40&beside=yes"):
        monkeypatch.setattr("doe.project.Project.choose_plan", lambda *_, **__: Compared(made, chance, unjudged))
        return worked_out(visitor, path)

    return look


@pytest.mark.parametrize(
    ("chance", "unjudged", "kicker"),
    [
        (0.8, "", "Worth its builds"),
        (0.79, "", "The surest that fits"),
        (0.07, "", "Likely to miss what it looks for"),
        (0.0, "rings", "The surest that fits"),
    ],
)
def test_what_a_plan_is_called_follows_its_chance(compare, chance, unjudged, kicker):
    page = compare(chance, unjudged)
    assert re.search(r'<p class="kicker">([^<]*)<', page.html)[1] == kicker


def test_another_plan_that_fits_is_shown_and_adopted(compare, visitor, project):
    """Its address holds what was asked; the page shows that very plan, leads back, and adopts what it shows."""
    page = compare(0.9)
    href = html.unescape(re.search(r'<a href="([^"]*)"><bdi>Large plan', page.html)[1])
    assert href == "/plan?hours=40&beside=yes&at=1"
    other = worked_out(visitor, href)
    assert re.search(r'<h2 class="big"><bdi>([^<]*)<', other.html)[1] == "Large plan, 9 runs."
    assert "It takes 30 h at the bench, with 2 new units, readings included." in other.text
    assert "recommended; 12 h 30 min" in other.text
    assert '<a href="/plan?hours=40&amp;beside=yes"><bdi>Small plan' in other.html
    assert dict(other.forms[-1]["fields"])["hours"] == "40"
    assert visitor.send(other, "/adopt").status == 200
    assert project.file.adopted_plan().facts["model"] == "main"
    assert project.file.adopted_plan().headline.startswith("Large plan, 9 runs:")


def test_a_plan_that_is_not_among_those_compared_is_the_recommended_one(compare):
    for at in ("2", "-1", "x", "0" * 30):
        page = compare(0.9, path=f"/plan?hours=40&at={at}")
        assert "Take this one: small plan." in page.text


def test_a_route_is_told_in_its_order(visitor, adopted):
    """One list from the first step to the last, whichever unit each is on; what each unit takes stands below it."""
    page = worked_out(visitor, "/route")
    places = [int(place) for place in re.findall(r'<li value="(\d+)">', page.html)]
    assert places == list(range(1, 9))
    units = re.findall(r"</a> <b>on <bdi>([^<]*)</bdi></b>", page.html)
    assert len(units) == 8
    told = dict(re.findall(r"<dt><bdi>([^<]*)</bdi></dt><dd>([^<]*)</dd>", page.html))
    assert list(told) == list(dict.fromkeys(units))
    for unit, said in told.items():
        count = units.count(unit)
        assert f"{count} variant{'s' if count > 1 else ''}, " in said
    assert page.html.count("It is built") == len(told)


def built_first(page):
    """The variants in the rows of a plan's table, each with what stands before it."""
    return re.findall(r'<tr><td><bdi>(\w+)</bdi></td><td><a href="/variants/\w+"><bdi>(\w+)</bdi>', page.html)


def test_an_adopted_plan_is_listed_in_the_order_to_build_it(visitor, adopted, project):
    """As the route goes, on the same units; what is built stands at the end, and the first sentence says what comes next."""
    way = worked_out(visitor, "/route")
    steps = re.findall(r"Variant <bdi>(\w+)</bdi></a> <b>on <bdi>([^<]*)</bdi></b>: <bdi>([^<]*)</bdi>", way.html)
    assert built_first(adopted) == [(str(place), name) for place, (name, _, _) in enumerate(steps, 1)]
    assert [name for name, _, _ in steps] != sorted(name for name, _, _ in steps)  # or nothing is shown by this
    assert [row[1] for row in re.findall(r"(<td><a .*?</td>)<td><bdi>([^<]*)</bdi>", adopted.html)] == [
        unit for _, unit, _ in steps
    ]
    assert f"Next: variant {steps[0][0]} on {steps[0][1]}. {capital(steps[0][2])}" in adopted.text
    assert "Runs, in the order to build them" in adopted.text
    visitor.send(way, "/route/built")
    after = worked_out(visitor, "/plan")
    assert built_first(after)[-1] == ("built", steps[0][0])
    assert "Next: variant" in after.text


def test_a_factor_called_build_keeps_its_settings_beside_the_order_to_build_in():
    """Two runs of it and of one that has no unit; the second is built."""
    runs_told = {"order": [1, 2], "variant": ["5", "6"], "status": ["planned", "built"]}
    table = pd.DataFrame({**runs_told, "build": [30.0, 40.0], "coil_2": [1, 2]})
    factors = (Factor("build", low=0, high=60, unit="g"), Factor("coil_2", low=0, high=5))
    runs = runs_to_build(table, factors, None)
    assert runs.headings == ("Build", "Variant", "build, g", "coil 2")
    assert runs.rows == (("1", "5", "30", "1"), ("built", "6", "40", "2"))
    assert runs.hrefs == ("/variants/5", "/variants/6")


def test_the_runs_of_a_plan_are_shown_though_it_cannot_be_judged_any_more(visitor, adopted, project):
    """Why not was all that there was to see."""
    project.file.change_setup("limit", Limit("wool < 60"))
    page = worked_out(visitor, "/plan")
    assert page.status == 422
    assert "breaks the limit 'wool < 60'" in page.text
    assert sorted(built_first(page)) == [(str(place), str(place + 3)) for place in range(1, 9)]
    assert "0 of 8 built." in page.text


def test_a_plan_shown_before_the_log_changed_is_not_adopted(visitor, asked, project):
    project.log({"vents": 3}, unit="body A")
    answer = visitor.send(asked, "/adopt")
    assert answer.status == 409
    assert "has changed since" in answer.text
    assert project.file.adopted_plan() is None


@pytest.mark.parametrize(
    ("typed", "field", "sentence"),
    [
        ({"unit": ""}, "unit", "On unit is empty; it must be a unit at hand, or the name of a new one."),
        (
            {"minutes": "-1"},
            "minutes",
            "Bench time it really took is '-1'; it must be a number from 0, or a time such as 1 h 35 min.",
        ),
    ],
)
def test_a_run_that_cannot_be_logged_comes_back_at_its_step(visitor, adopted, project, typed, field, sentence):
    """Its form is open, with what was typed and the sentence at the field; nothing stands on top of the page."""
    route = worked_out(visitor, "/route?shuffle=5")
    place = re.search(r'id="in-unit-(\d+)"', route.html)[1]
    filled = {"unit": "body A", "minutes": "25 min"} | typed
    answer = visitor.send(route, "/built", **filled)
    assert answer.status == 422
    assert html.unescape(re.search(rf'id="in-{field}-{place}-error">([^<]*)<', answer.html)[1]) == sentence
    kept = dict(answer.form("/built")["fields"])
    assert {name: kept[name] for name in (*filled, "shuffle")} == filled | {"shuffle": "5"}
    assert answer.html.count("<details open>") == 1
    assert "head-problem" not in answer.html
    assert len(project.file.adopted_plan().left) == 8


def test_a_run_that_a_unit_cannot_take_is_told_in_its_form(visitor, adopted, project, monkeypatch):
    def refuse(*_, **__):
        raise DataError("rings cannot go from 9 to 10 on unit body A: it needs a new unit.")

    monkeypatch.setattr("doe.project.Project.log", refuse)
    answer = visitor.send(worked_out(visitor, "/route"), "/built", minutes="25")
    assert answer.status == 422
    opened = answer.html.index("<details open>")
    assert opened < answer.html.index("rings cannot go from 9 to 10") < answer.html.index("</details>", opened)


def test_a_run_that_is_not_planned_is_told(visitor, adopted, project):
    answer = visitor.send(worked_out(visitor, "/route"), "/built", variant="99")
    assert answer.status == 422
    assert "Variant 99: There is no planned variant '99'" in answer.text
    assert len(project.file.adopted_plan().left) == 8


@pytest.mark.parametrize(
    ("query", "sentence"),
    [
        ("shuffle=-5", "More time for chance is '-5'; it must be a number from 0 to 1000."),
        ("new=1.5", "New units is '1.5'; it must be a whole number from 0."),
    ],
)
def test_a_route_that_cannot_be_asked_for_is_told(visitor, adopted, query, sentence):
    page = worked_out(visitor, f"/route?{query}")
    assert page.status == 422
    assert sentence in page.text


def test_more_time_buys_a_random_order(visitor, adopted):
    assert "Shuffled: " in worked_out(visitor, "/route?shuffle=30").text


def test_stopping_leads_back_to_this_app_only(visitor, asked):
    page = visitor.get("/plan")
    fields = dict(page.form("/plan")["fields"])
    assert "token" not in fields  # asking changes nothing, so it needs none
    token = dict(asked.form("/adopt")["fields"])
    back = visitor.request("POST", "/plan/stop", data={**token, "back": "https://elsewhere.example/plan"})
    assert (back.status, back.headers["location"]) == (303, "/plan")
    back = visitor.request("POST", "/plan/stop", data={**token, "back": "/plan?hours=12+h"})
    assert back.headers["location"] == "/plan?hours=12+h"


def test_a_search_is_stopped_with_the_best_so_far():
    """The work is told by a KeyboardInterrupt, and returns what it has; others wait their turn."""
    planner = Planner()

    def search(tell):
        try:
            for step in range(10_000):
                time.sleep(0.01)
                tell(step / 10_000, "looking")
        except KeyboardInterrupt:
            return "best so far"
        return "all of it"

    first = planner.ask("a", search, 0.1)
    assert (first.answer, first.is_working) == (None, True)
    assert planner.ask("a", search, 0.05).step.startswith("looking")
    planner.stop()
    assert planner.ask("a", search, 5).answer == "best so far"
    assert planner.answered("a") == "best so far"
    assert planner.answered("b") is None
    planner.close()


def test_a_search_stopped_before_anything_was_found_says_so():
    planner = Planner()

    def search(tell):
        while True:
            time.sleep(0.01)
            tell(0.0, "looking")

    planner.ask("a", search, 0.1)
    planner.stop()
    assert planner.ask("a", search, 5).refusal == "The search was stopped before it had found anything."
    assert planner.ask("a", lambda tell: 7, 5).answer == 7  # asked again, it is searched again

    def refuse(tell):
        raise FettleError("no way")

    assert planner.ask("b", refuse, 5).refusal == "no way"
    planner.close()


def test_arguments_become_words():
    said = "12 runs in 2 blocks; use kind='d-optimal' with blocks=3, or give existing=."
    assert in_words(said) == "12 runs in 2 blocks; use kind d-optimal with 3 blocks, or tick 'beside the log'."
