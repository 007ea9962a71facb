import json
import re
import threading
from types import SimpleNamespace

import pytest

from doe.model.effort import Effort
from doe.model.factor import Factor
from doe.model.outcome import Outcome
from doe.model.patience import Interrupted, interruptible
from doe.model.records import Unit, Variant
from doe.model.setup import Setup
from doe.project import Project
from doe.web import Settings, create_app
from doe.web.moves import _effort
from doe.web.next_change import _left
from tests.web.client import Visitor, worked_out


@pytest.mark.slow
def test_a_suggestion_is_taken_built_and_read(thoughtful, project):
    page = worked_out(thoughtful, "/next")
    taken = thoughtful.send(page, "/take")
    assert taken.status == 200
    planned = project.file.variants()[-1]
    assert planned.status == "planned"
    (kept,) = project.file.suggestions()
    assert kept["settings"] == planned.settings
    assert {"outcome", "mean", "low", "high"} <= set(kept["predictions"][0])
    assert f"Variant {planned.name}" in thoughtful.get("/").text
    name = {} if planned.unit else {"unit": "body Z"}
    built = thoughtful.send(taken, "/built", minutes="40", **name)
    assert built.url.startswith(f"http://127.0.0.1/variants/{planned.name}/readings")
    now = project.file.variants()[-1]
    assert (now.status, now.minutes) == ("built", 40)
    assert now.unit is not None
    project.read(planned.name, {"bass": 2.0})
    page = worked_out(thoughtful, "/next")
    assert "Earlier predictions: " in page.text
    assert 'id="chart-track"' in page.html


@pytest.mark.parametrize(("typed", "unit", "parent"), [("body A", "body A", "2"), ("body Z", "body Z", None)])
def test_a_plan_without_a_unit_is_built_on_one_at_hand_or_a_new_one(visitor, project, typed, unit, parent):
    """It goes the same way as from the command line: the unit's own variant is what it was changed from."""
    project.file.add_variant(Variant("9", {"vents": 4, "rings": 9, "wool": 30, "driver": "paper"}, status="planned"))
    page = visitor.get("/variants/9")
    assert "a unit at hand, or the name of a new one" in visitor.send(page, "/built", unit="").text
    assert visitor.send(page, "/built", unit=typed, minutes="24").status == 200
    built = next(item for item in project.file.variants() if item.name == "9")
    assert (built.status, built.unit, built.parent, built.minutes) == ("built", unit, parent, 24)


def test_a_suggestion_is_set_aside_with_its_reason(thoughtful, project):
    page = thoughtful.get("/next")
    mark = dict(page.form("/aside")["fields"])["mark"]
    assert thoughtful.send(page, "/aside", why="").status == 422
    kept = thoughtful.send(page, "/aside", why="no drill at hand")
    assert kept.status == 200
    assert "no drill at hand" in kept.text
    assert mark not in kept.html
    assert project.file.suggestions()[-1]["why"] == "no drill at hand"


def test_an_expectation_is_stored_shown_and_told_beside_the_advice(thoughtful, project):
    form = thoughtful.get("/setup/expectation")
    bad = thoughtful.send(form, "/expectation", factor="wol", outcome="bass", effect="lowers")
    assert (bad.status, "which is no factor. Did you mean" in bad.text) == (422, True)
    kept = thoughtful.send(form, "/expectation", factor="wool", outcome="bass", effect="lowers", size="2,5")
    assert "more wool lowers bass by about 2.5 dB" in kept.text
    assert project.setup.expectations[0].size == 2.5
    assert "wool on bass" in thoughtful.get("/setup/expectation?name=wool%20on%20bass").text
    assert (
        "Expected by the maker, as a mild prior: more wool lowers bass by about 2.5 dB;"
        in worked_out(thoughtful, "/next").text
    )


def test_a_suggestion_of_an_older_page_is_told(thoughtful):
    page = thoughtful.get("/next")
    answer = thoughtful.send(page, "/take", mark="0" * 16)
    assert answer.status == 409
    assert "no longer on the page" in answer.text


def test_what_if_predicts_with_an_interval_and_names_the_way(thoughtful):
    page = thoughtful.get("/what-if?f.vents=4&f.rings=9&f.wool=30&f.driver=paper")
    assert page.status == 200
    assert "Unit body A: 12 min." in page.text  # one change of vents, by its definition
    page = thoughtful.get("/what-if?f.vents=2&f.rings=9&f.wool=30&f.driver=paper")
    assert "Unit body A: it carries these settings now." in page.text
    bad = thoughtful.get("/what-if?f.vents=40&f.rings=9&f.wool=30&f.driver=paper")
    assert bad.status == 422
    assert "vents is 40" in bad.text


def test_history_takes_back_once_and_tells_why_not(visitor, project):
    page = visitor.get("/history")
    form = page.form("/history/6/undo")
    assert visitor.follow(visitor.request("POST", form["action"], data=dict(form["fields"]))).status == 200
    assert len(project.file.readings()) == 2
    again = visitor.request("POST", form["action"], data={**dict(form["fields"]), "once": "another"})
    assert again.status == 422
    assert "taken back already" in again.text


def test_the_work_is_cancelled_in_the_middle_of_a_step_and_can_begin_again(path, monkeypatch):
    """The engines ask at their checkpoints; the tenth of them waits here until the page's Cancel has been pressed."""
    asked, reached, pressed = [], threading.Event(), threading.Event()

    def listened(given_up):
        def at_checkpoint():
            asked.append(app.state.desk.thinker._step)
            if len(asked) == 10:
                reached.set()
                assert pressed.wait(20)
            return given_up()

        return interruptible(at_checkpoint)

    monkeypatch.setattr("doe.web.thinking.interruptible", listened)
    app = create_app(path, Settings(folder=path.parent, patience_s=0.0))
    visitor = Visitor(app)
    visitor.get("/")
    assert reached.wait(20)
    page = visitor.get("/")
    assert visitor.send(page, "/thinking/cancel", follow=False).status == 303
    pressed.set()
    job = app.state.desk.thinker._job
    with pytest.raises(Interrupted):
        job.result(20)
    assert len(asked) == 10
    assert asked.count(asked[-1]) > 1, "it was stopped within a step, not between two"
    stopped = visitor.get("/")
    assert "The analysis was cancelled." in stopped.text
    app.state.desk.settings = Settings(folder=path.parent, patience_s=20.0)
    assert "cancelled" not in visitor.follow(visitor.send(stopped, "/thinking/again")).text


def test_a_page_shows_that_work_is_under_way_instead_of_waiting(path):
    visitor = Visitor(create_app(path, Settings(folder=path.parent, patience_s=0.0)))
    assert "Working out" in visitor.get("/moves/bass").text


def test_where_nothing_is_worth_building_that_is_said_first_on_every_page(tmp_path):
    """One factor of two levels, both built and read often with little scatter: nothing is left to gain."""
    setup = Setup(
        title="Tip",
        factors=(Factor("tip", kind="ordered", levels=["short", "long"], minutes=10),),
        outcomes=(Outcome("force", goal="raise", worst=0, best=10, matters=0.5),),
    )
    project = Project.create(tmp_path / "tip.duckdb", setup)
    for place in range(8):
        level = ("short", "long")[place % 2]
        project.log({"tip": level}, new_unit=f"tip {place}")
        project.read(
            str(place + 1), [("force", {"short": 4, "long": 8}[level] + (place % 3 - 1) / 20 + off) for off in (0, 0.1)]
        )
    visitor = Visitor(create_app(project.path, Settings(folder=tmp_path, patience_s=20.0)))
    told = json.loads(visitor.get("/api/next").html)
    assert told["headline"].startswith("Nothing within reach is likely to be worth building: keep variant ")
    for address in ("/", "/next"):
        text = worked_out(visitor, address).text
        assert f"Stop here? {told['headline']} The chance that anything within reach is better by " in text
    assert told["stop"][1:].startswith(f"{told['headline'][1:]} The chance that ")


@pytest.mark.slow
def test_from_nothing_to_a_first_answer(tmp_path):
    """Start blank, define a factor and an outcome, log two variants, take readings, see an answer and the next change."""
    visitor = Visitor(create_app(None, Settings(folder=tmp_path, patience_s=20.0)))
    page = visitor.send(visitor.get("/start"), "/start", title="Desk bell", question="It rattles.")
    assert "It rattles." in page.text
    assert visitor.send(visitor.get("/start"), "/start", title="").status == 422
    bad = visitor.send(visitor.get("/setup/factor"), "/factor", name="mass", low="9", high="2", unit="g")
    assert bad.status == 422
    assert "low (9) must be below high (2)" in bad.text
    assert visitor.send(bad, "/factor", low="2", high="9", step="0.5", minutes="5").status == 200
    assert visitor.send(visitor.get("/setup/outcome"), "/outcome", name="ring", unit="s", goal="raise", best="5", worst="0",
                        matters="0.5").status == 200  # fmt: skip
    for mass, rung in (("2", "1.1 1.2"), ("9", "3.0 3.1"), ("5", "2.0 2.2")):
        place = "/log" if mass != "2" else "/log?unit=new"
        logged = visitor.send(visitor.get(place), "/log", f__mass=mass)
        assert visitor.send(logged, "/readings", o__ring=rung).status == 200
    assert "mass" in worked_out(visitor, "/moves/ring").text
    assert "Take it" in visitor.get("/next").text or "Read it again" in visitor.get("/next").text
    assert re.search(r"Keep variant \d", visitor.get("/").text)


@pytest.mark.slow
def test_every_starter_set_and_demo_can_be_begun(tmp_path):
    visitor = Visitor(create_app(None, Settings(folder=tmp_path, patience_s=0.0)))
    for key in ("blank", "loudspeaker", "ear-cup", "plucked", "fan", "enclosure"):
        page = visitor.send(visitor.get("/start"), "/start", title=f"My {key}", set=key)
        assert page.status == 200
        assert f"My {key}" in page.text
    demo = visitor.send(visitor.get("/start"), "/demo", demo="radio")
    assert "23 variants" in demo.text
    assert len(list(tmp_path.glob("*.duckdb"))) == 7
    opened = visitor.send(visitor.get("/start"), "/open", file="my-fan.duckdb")
    assert "My fan" in opened.text


def test_two_people_at_the_same_definition_are_told(visitor, project):
    page = visitor.get("/setup/factor?name=wool")
    other = visitor.send(visitor.get("/setup/factor?name=wool"), "/factor", minutes="12")
    assert other.status == 200
    late = visitor.send(page, "/factor", minutes="20")
    assert late.status == 409
    assert "Somebody else changed this meanwhile" in late.text
    assert visitor.send(late, "/factor").status == 200
    assert next(item for item in project.setup.factors if item.name == "wool").minutes == 20


def test_a_definition_that_records_contradict_is_refused(visitor, project):
    page = visitor.send(visitor.get("/setup/factor?name=vents"), "/factor", high="1")
    assert page.status == 422
    assert project.setup.factors[0].high == 6
    page = visitor.send(visitor.get("/setup/limit"), "/limit", rule="__import__('os').system('true') > 1")
    assert page.status == 422
    removed = visitor.send(visitor.get("/setup/outcome?name=clarity"), "/remove")
    assert removed.status == 200
    assert [item.name for item in project.setup.outcomes] == ["bass", "echo"]


def test_a_later_suggestion_starts_where_an_earlier_one_leaves_the_unit():
    """By hand: body A goes from 10 to 30; a new unit is nobody's start."""
    wool = Factor("wool", kind="continuous", low=0, high=60)
    earlier = [{"unit": "body A", "wool": 10.0}, {"unit": "new", "wool": 50.0}, {"unit": "body A", "wool": 30.0}]
    assert _left(earlier, "body A", [wool]) == {"wool": 30.0}
    assert _left(earlier[:1], "body A", [wool]) == {"wool": 10.0}
    assert _left(earlier, "new", [wool]) is None
    assert _left(earlier, "body B", [wool]) is None
    assert _left([], "body A", [wool]) is None


def test_a_page_tells_nobody_to_type_a_command(thoughtful):
    """Echo was read of one variant only, clarity of none; the command line says what to type, a page has its own links."""
    for outcome, sentence in (
        ("clarity", "There is no reading of clarity yet."),
        ("echo", "Only one variant has a reading"),
    ):
        page = thoughtful.get(f"/moves/{outcome}")
        assert sentence in page.text
        assert "'fettle" not in page.text


def test_a_change_that_takes_no_minutes_is_a_change():
    """Nobody said what wool takes, so both units take nothing; only one of them is there."""
    units = [Unit("A", {"wool": 0.0}), Unit("B", {"wool": 20.0}), Unit("C", {})]
    setup = SimpleNamespace(factors=[Factor("wool", low=0, high=60)], effort=Effort(new_unit_minutes=90))
    told = _effort(SimpleNamespace(snapshot=SimpleNamespace(setup=setup, units=units)), {"wool": 20.0})
    assert told == ("Unit B: it carries these settings now.", "Unit A: 0 min.", "A new unit: 1 h 30 min.")
