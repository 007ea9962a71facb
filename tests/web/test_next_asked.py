"""The next change, for the time and the unit that there are."""

import html
import re
from dataclasses import replace
from threading import Event

import pytest

from doe.project import Project
from doe.web import urls
from tests.web.client import worked_out
from tests.web.test_setup import told

HAND = {"hours": "1 h 30 min", "unit": "body A", "only": "learn"}


def asked(visitor, **values):
    return visitor.get(urls.next_change(asked=values.items()))


def test_what_there_is_counts_as_in_python(visitor, project):
    page = asked(visitor, **HAND)
    advice = project.recommend(3, hours=1.5, unit="body A", only="learn")
    assert page.status == 200
    shown = html.unescape(re.sub(r"<[^>]*>", "", page.html))
    for reason in advice.table["reason"]:
        assert reason.split(":")[0] in shown
    assert "Looked for with 1 h 30 min of bench time left, on unit body A, only to learn." in shown
    assert dict(page.form("/next")["fields"]) == HAND


def test_a_suggestion_for_what_there_is_can_be_taken(visitor, project):
    page = asked(visitor, unit="new")
    taken = visitor.send(page, "/next/take")
    assert taken.status == 200
    planned = project.snapshot().variants[-1]
    first = project.recommend(3, unit="new").table.iloc[0]
    assert (planned.status, planned.unit) == ("planned", None)
    assert planned.settings == {factor.name: first[factor.name] for factor in project.setup.factors}


def test_what_is_set_aside_leads_back_to_the_same_question(visitor, project):
    page = visitor.send(asked(visitor, **HAND), "/next/aside", why="no glue")
    assert page.status == 200
    assert dict(page.form("/next")["fields"]) == HAND
    bad = visitor.send(page, "/next/aside", why=" ")
    assert (bad.status, dict(bad.form("/next")["fields"])) == (422, HAND)


@pytest.mark.parametrize(
    ("values", "sentence"),
    [
        ({"hours": "soon"}, "Bench time left is 'soon'; it must be a number from 0, or a time such as 1 h 35 min."),
        ({"hours": "-2"}, "Bench time left is '-2'; it must be a number from 0, or a time such as 1 h 35 min."),
        ({"hours": "0 min"}, "Bench time left is '0 min'; it must be more than 0."),
        ({"unit": "body Z"}, "There is no unit 'body Z' to change; there are body A, body B and a new one."),
        ({"only": "win"}, "What for is 'win'; it must be improve or learn."),
    ],
)
def test_what_cannot_be_read_is_told_at_its_field(visitor, values, sentence):
    page = asked(visitor, **values)
    assert page.status == 422
    assert {name: html.unescape(text) for name, text in told(page).items()} == dict.fromkeys(values, sentence)
    assert "Nothing is looked for yet: see the field marked below." in page.text


def test_no_time_is_said_as_in_python(visitor, project):
    stop = project.recommend(3, hours=5 / 60).stop
    assert stop.startswith("5 min left, and the cheapest move takes ")
    assert stop.partition(";")[0] in asked(visitor, hours="5 min").text


def test_a_large_log_is_not_waited_for(app, visitor, monkeypatch):
    """The page is there at once and says what it works out; asked again, it has the answer."""
    app.state.desk.settings = replace(app.state.desk.settings, patience_s=0.0)
    begun, recommend = Event(), Project.recommend

    def slow(project, *given, **how):
        begun.wait(20.0)
        return recommend(project, *given, **how)

    monkeypatch.setattr(Project, "recommend", slow)
    page = asked(visitor, hours="3")
    assert page.status == 200
    assert "Working out the next change" in page.text
    assert not [form for form in page.forms if form["action"] == "/next/take"]
    begun.set()
    assert worked_out(visitor, urls.next_change(asked=[("hours", "3")])).form("/next/take")
