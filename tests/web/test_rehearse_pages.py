import re
import threading
from dataclasses import replace

import pandas as pd
import pytest

from doe.model.errors import UsageError
from doe.rehearse import Rehearsal, rehearse
from doe.rehearse.begin import unit_at_hand
from doe.web.planner import Planner
from tests.web.client import worked_out

PLAYS = pd.DataFrame(
    {
        "seed": [1, 2], "minutes": [90.0, 150.0], "reached": [True, True], "finally_right": [True, False],
        "regret": [0.02, 0.1], "variants": [4, 6], "variants_until": [3, 5], "builds": [1, 1],
    }
)  # fmt: skip
SEEN = pd.DataFrame({"outcome": ["tip_noise"], "unit": ["dB"], "swing": [1.5], "share": [0.25]})
RIVALS = PLAYS.assign(strategy="random variants", reached=False, minutes=480.0)


def answer(hours=8.0, rivals=RIVALS):
    return Rehearsal(PLAYS, pd.DataFrame(), SEEN, hours, 0.1, (), rivals)


class Player:
    """Stands in for the rehearsals: counts how often it was asked, for what, and answers at once."""

    def __init__(self):
        self.asked = []

    def __call__(self, setup, **how):
        self.asked.append((setup, how))
        return answer(how["hours"], RIVALS if how["compare"] else pd.DataFrame())


@pytest.fixture
def player(monkeypatch, app):
    app.state.rehearser = Planner()
    player = Player()
    monkeypatch.setattr("doe.rehearse.rehearse", player)
    return player


def test_the_form_alone_plays_nothing_and_holds_what_is_usual(visitor, player):
    page = visitor.get("/rehearse")
    assert dict(page.form("/rehearse")["fields"]) == {"hours": "24", "benches": "20", "scatter": "10"}
    assert page.status == 200 and not player.asked


def test_the_page_says_what_the_rehearsal_says(visitor, player):
    page = visitor.get("/rehearse?hours=8&benches=2&scatter=10+%25&compare=yes")
    found = answer()
    for sentence in (found.headline, *found.sentences, "Each rehearsal begins with unit body B as it is now"):
        assert sentence in page.text
    assert re.findall(
        r'name="(hours|benches|scatter)"[^>]*value="([^"]*)"', visitor.get("/rehearse?hours=8&scatter=").html
    ) == [("hours", "8"), ("benches", "20"), ("scatter", "10")]  # what is not given is as usual, and shown
    assert "Tip noise: effects from about 1.5 dB on (25 % of its range) would be seen" in page.text
    rows = re.findall(r'data-label="[^"]*">([^<]*)<', page.html)
    assert rows == ["100 %", "1 h 30 min", "50 %", "0.06 of worth", "0 %", "not in 8 h", "50 %", "0.06 of worth"]
    how = player.asked[0][1]
    assert (how["hours"], how["benches"], how["noise"], how["compare"]) == (8, 2, 0.1, True)


def test_a_reading_leaves_the_answer_and_another_set_up_does_not(visitor, player, project):
    """Readings play no part; what a change takes does."""
    address = "/rehearse?hours=8&benches=2"
    visitor.get(address)
    project.read("1", [("bass", 4.0)])
    assert "Other ways of working" not in visitor.get(address).text
    assert len(player.asked) == 1
    factor = project.setup.factors[0]
    project.file.change_setup("factor", replace(factor, minutes=factor.minutes + 5), factor.name)
    visitor.get(address)
    assert len(player.asked) == 2


@pytest.mark.parametrize(
    ("query", "sentence"),
    [
        ("hours=0", "Bench time is '0'; it must be more than 0 and at most 1000."),
        ("benches=2.5", "Benches to play is '2.5'; it must be a whole number from 1 to 100."),
        ("benches=many", "Benches to play is 'many'; it must be a number."),
        ("scatter=100", "Scatter of one reading is '100'; it must be more than 0 and at most 99."),
    ],
)
def test_what_cannot_be_played_is_told_at_its_field(visitor, player, query, sentence):
    page = visitor.get(f"/rehearse?{query}")
    assert page.status == 422
    assert sentence in page.text and "see the field marked below" in page.text
    assert not player.asked


def test_a_set_up_that_cannot_be_played_is_told_with_the_way_to_mend_it(visitor, player, monkeypatch):
    def refuse(*_, **__):
        raise UsageError("There is one factor; a rehearsal needs two at least.")

    monkeypatch.setattr("doe.rehearse.rehearse", refuse)
    page = visitor.get("/rehearse?hours=8")
    assert page.status == 422
    assert "a rehearsal needs two at least." in page.text
    assert '<a href="/setup">Put it right in the set-up</a>' in page.html


def test_a_rehearsal_is_stopped_with_what_is_played(visitor, player, monkeypatch):
    """While it is played the page says how far it is; stopped, it goes back to what was asked and shows what there is."""
    told, go_on = threading.Event(), threading.Event()

    def slow(setup, *, progress, **how):
        progress(1, 20)
        told.set()
        go_on.wait(10)
        try:
            progress(2, 20)
        except KeyboardInterrupt:
            return answer(how["hours"])
        return None

    monkeypatch.setattr("doe.rehearse.rehearse", slow)
    monkeypatch.setattr(visitor.app.state.desk.settings.__class__, "patience_s", 0.05, raising=False)
    address = "/rehearse?hours=8&benches=20&scatter=10"
    visitor.get(address)
    assert told.wait(10)
    page = visitor.get(address)
    assert "Working out 1 of 20 benches, 5 %" in page.text
    sent = visitor.send(page, "/rehearse/stop", follow=False)
    go_on.set()
    assert sent.headers["location"].startswith("/rehearse?hours=8")
    assert answer().headline in worked_out(visitor, sent.headers["location"]).text


def test_stopping_leads_nowhere_else(visitor, player):
    token = dict(visitor.get("/setup/about").forms[-1]["fields"])["token"]
    away = visitor.request(
        "POST", "/rehearse/stop", data={"token": token, "back": "https://elsewhere.example/rehearse"}
    )
    assert away.headers["location"] == "/rehearse"


@pytest.mark.slow
def test_the_page_plays_what_the_engine_plays(visitor, app, project):
    """One short bench, on processes of their own and in this one: the same answer."""
    app.state.rehearser = Planner()
    page = worked_out(visitor, "/rehearse?hours=1&benches=1&scatter=10")
    unit = unit_at_hand(project.file.units(), project.setup.factors)
    found = rehearse(project.setup, hours=1, benches=1, start=dict(unit.settings))
    assert found.headline in page.text
