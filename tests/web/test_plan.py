import html
import re
import time
from dataclasses import fields

import pytest

from doe.model.errors import DataError, FettleError
from doe.planning.known import Judged
from doe.web import plan_contexts
from doe.web.planner import Planner
from doe.web.route import in_words
from tests.web.client import worked_out
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


@pytest.fixture
def adopted(visitor, asked):
    assert visitor.send(asked, "/adopt").status == 200
    return worked_out(visitor, "/plan")


@pytest.mark.parametrize(("template", "context"), [("plan.html", "PlanPage"), ("route.html", "RoutePage")])
def test_template_takes_what_its_context_declares(template, context):
    """Every declared field is used, and nothing else but the frame and what the partials are handed."""
    declared = {item.name for item in fields(getattr(plan_contexts, context))}
    handed = {"frame", "urls", "it", "chart", "above", "suffix", "loop", "back"}
    assert declared <= used_by(template)
    assert used_by(template) - declared <= handed


def test_the_page_asks_what_may_be_spent(visitor, project):
    page = visitor.get("/plan")
    assert page.status == 200
    assert [name for name, _ in page.form("/plan")["fields"]][:2] == ["hours", "runs"]
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
    ("query", "sentence"),
    [
        ("runs=3", "the main effects alone are 6 unknowns, so ask for 7 runs or more"),
        ("runs=abc", "Variants is 'abc'; it must be a number."),
        ("runs=2.5", "Variants is '2.5'; it must be a whole number."),
        ("runs=-4", "Variants is '-4'; it must be more than 0."),
        ("hours=0", "Bench time is '0'; it must be more than 0."),
        ("hours=&runs=&kind=", "Say how much bench time you can spend, or how many variants."),
        ("hours=5&kind=full", "Bench time compares plans of every kind"),
        ("runs=8&kind=full", "A full plan of 4 factors has 24 runs, not 8; leave runs out, or use kind d-optimal."),
        ("runs=8&kind=%3Cb%3E", "kind is '&lt;b&gt;'; it must be"),
    ],
)
def test_a_plan_that_cannot_be_comes_back_with_its_values(visitor, project, query, sentence):
    page = worked_out(visitor, f"/plan?{query}")
    assert page.status == 422
    assert sentence.replace("'", "&#39;") in page.html or sentence in page.html
    typed = dict(part.split("=") for part in query.split("&"))
    assert all(dict(page.form("/plan")["fields"])[name] == typed[name] for name in ("hours", "runs") if name in typed)


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
    back = visitor.request("POST", "/plan/stop", data={**token, "back": "/plan?hours=12"})
    assert back.headers["location"] == "/plan?hours=12"


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

    def refuse(tell):
        raise FettleError("no way")

    assert planner.ask("b", refuse, 5).refusal == "no way"
    planner.close()


def test_arguments_become_words():
    said = "12 runs in 2 blocks; use kind='d-optimal' with blocks=3, or give existing=."
    assert in_words(said) == "12 runs in 2 blocks; use kind d-optimal with 3 blocks, or tick 'beside the log'."
