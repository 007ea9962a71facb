import re
import shutil

import pytest

from doe.guides.demos import demo_folder
from doe.model.errors import FitError
from doe.model.limit import Derived
from doe.project import Project
from doe.web import Settings, create_app
from doe.web.thinking import Known
from tests.web.client import Visitor
from tests.web.conftest import NoThinker


@pytest.fixture(scope="module")
def radio_once(tmp_path_factory):
    path = tmp_path_factory.mktemp("radio") / "radio.duckdb"
    Project.create(path, demo_folder("radio") / "setup.toml").import_log(demo_folder("radio") / "log.csv")
    return path


@pytest.fixture
def radio(radio_once, tmp_path):
    return shutil.copy(radio_once, tmp_path / "radio.duckdb")


@pytest.fixture
def at_radio(radio, tmp_path):
    return Visitor(create_app(radio, Settings(folder=tmp_path)))


@pytest.mark.slow
def test_the_equivalent_is_found_with_what_must_give(at_radio):
    page = at_radio.get("/settle?ask=find&variant=21&without=wool")
    assert page.status == 200
    assert "no lasting setting within its limits comes near enough to the inner air of variant 21" in page.text
    assert "rings beyond 7 to 12: rings 6 would be 10.5 cm3 off" in page.text


@pytest.mark.slow
def test_tolerances_sizes_and_judgements_are_asked_by_address(at_radio):
    assert "driver: poly (no other) - hold it" in at_radio.get("/settle?ask=room&variant=21").text
    assert "Confirm with" in at_radio.get("/settle?ask=plan&variant=21").text
    assert "Variant 21 (1 fresh build)" in at_radio.get("/settle?ask=confirm&build=21").text


@pytest.mark.slow
def test_a_version_is_kept_shown_compared_and_taken_back(at_radio, radio):
    page = at_radio.get("/settle")
    assert "Nothing is settled yet" in page.text
    kept = at_radio.send(page, "/settle/keep", name="kitchen radio", variant="21", note="<b>shelf</b>")
    assert kept.status == 200
    assert "Version 1, kitchen radio" in kept.text
    assert kept.text.count("It was not confirmed by fresh builds yet.") == 1
    assert "<b>shelf</b>" not in kept.html
    assert "There is no version 2; there is only 1." in at_radio.get("/settle/2/sheet.html").text
    sheet = at_radio.get("/settle/1/sheet.html")
    assert "Make a new unit: rings 7." in sheet.text
    again = at_radio.send(kept, "/settle/keep", name="kitchen radio", variant="17")
    assert (again.status, "A version is called 'kitchen radio' already" in again.text) == (422, True)
    second = at_radio.send(again, "/settle/keep", name="tall radio", variant="17")
    compared = at_radio.get("/settle?ask=compare&first=1&second=2")
    assert "From version 1 to version 2" in compared.text
    assert ": worse." in compared.text
    undone = at_radio.send(second, "/undo")
    assert undone.status == 200
    assert [item.name for item in Project.open(radio).versions()] == ["kitchen radio"]


SAME = {"vents": 2, "rings": 9, "wool": 30, "driver": "paper"}


@pytest.fixture
def with_builds(visitor, app, project):
    """Variant 2 is the best; 4 was built with its settings and read, 3 and 5 have others."""
    project.log(SAME, new_unit="body C")
    project.log({**SAME, "wool": 40}, new_unit="body D")
    for name in "345":
        project.read(name, [("bass", 1.0), ("echo", 3)], session="Friday", rater="Ann")
    app.state.desk.thinker = Knows("2")
    return visitor


class Knows(NoThinker):
    """Stands in for the analyses where only the best variant counts."""

    def __init__(self, best):
        advice = type("Advice", (), {"best": {"variant": best}})
        thought = type("Thought", (), {"asked": type("Asked", (), {"advice": advice})})
        self.known = Known(thought, is_fresh=True, is_working=False)

    def ask(self, *_):
        return self.known


def chips(page):
    """Builds that the form which settles offers."""
    part = page.html[page.html.index('id="keep"') :]
    return re.findall(r'type="checkbox" name="build" value="([^"]*)"', part)


def test_builds_of_the_settings_that_are_kept_are_offered(with_builds):
    page = with_builds.get("/settle")
    assert chips(page) == ["4", "2"]
    assert "2 itself" in page.text
    assert "Those with the settings of variant 2." in page.text
    assert chips(with_builds.get("/settle?build=5")) == ["4", "2"], "what was judged above is not carried over"
    page = with_builds.send(page, "/settle/keep", variant="5", build="4", look="builds", name="radio", note="shelf")
    assert page.status == 200
    assert chips(page) == ["5"]
    assert "No other build with the settings of variant 5 has been read yet." in page.text
    fields = dict(page.form("/settle/keep")["fields"])
    assert (fields["name"], fields["variant"], fields["note"]) == ("radio", "5", "shelf")


def test_builds_are_not_offered_before_the_best_is_known(visitor, project):
    """And a reference object, which cannot be built, never is."""
    project.log_reference("shop")
    page = visitor.get("/settle")
    assert "shop" not in page.html
    assert chips(page) == []
    assert "Which variant is the best is not worked out yet" in page.text


@pytest.mark.parametrize("variant", ["", "2"])
def test_a_ticked_build_never_chooses_the_variant(with_builds, project, variant):
    """The best is 2, also where it is only meant; build 5 has other settings, so it confirms nothing of it."""
    before = project.file.fingerprint()
    page = with_builds.send(
        with_builds.get("/settle"), "/settle/keep", name="radio", variant=variant, build="5", note="top"
    )
    assert page.status == 422
    told = re.search(r'id="in-build-keep-error">([^<]*)<', page.html)[1]
    assert told == "Variant 2 has other settings than the builds 5 that should confirm it."
    assert 'class="problem head-problem"' not in page.html
    form = page.form("/settle/keep")["fields"]
    kept = {name: value for name, value in form if name not in ("token", "once")}
    assert kept == {"name": "radio", "variant": variant, "build": "5", "through": "", "note": "top"}
    assert project.file.fingerprint() == before


def test_the_best_variant_is_kept_with_the_builds_that_prove_it(with_builds, project):
    page = with_builds.send(with_builds.get("/settle"), "/settle/keep", name="radio", build="4")
    version = project.versions()[-1]
    assert (version.variant, list(version.evidence["confirmation"]["builds"])) == ("2", ["4"])
    assert page.text.count(version.evidence["confirmation"]["headline"]) == 1


@pytest.mark.parametrize(
    ("typed", "field", "sentence"),
    [
        ({"name": ""}, "name", "What to call it is empty; it must be a label, such as &#39;kitchen radio&#39;."),
        ({"name": "x" * 90}, "name", "must be text on one line, 1 to 80 characters."),
        ({"note": "y" * 600}, "note", "Note has 600 characters; it may have at most 500."),
        ({"variant": "77"}, "variant", "There is no variant &#39;77&#39;; there are 1, 2, 3, 4 and 5."),
        (
            {"through": "air"},
            "through",
            "&#39;air&#39; is no derived quantity of this project; there is only inner_air.",
        ),
    ],
)
def test_what_keeps_a_version_from_being_settled_is_told_in_its_form(with_builds, project, typed, field, sentence):
    """At the field by its label, with everything typed still there."""
    filled = {"name": "radio", "variant": "2", "note": "top", "build": "4"} | typed
    before = project.file.fingerprint()
    page = with_builds.send(with_builds.get("/settle"), "/settle/keep", **filled)
    assert page.status == 422
    own = page.html[page.html.index('id="keep"') :]
    mark = f'id="in-{field}-keep-error">'
    assert mark in own
    assert sentence in own[own.index(mark) :][:300]
    kept = dict(page.form("/settle/keep")["fields"])
    shown = {name: value for name, value in filled.items() if name != "through" and value != "77"}
    assert {name: kept[name] for name in shown} == shown
    assert project.file.fingerprint() == before


def test_what_is_nobodys_fault_stands_in_the_form_too(with_builds, project, monkeypatch):
    def refuse(*_, **__):
        raise FitError("Nothing can be told yet.")

    monkeypatch.setattr("doe.project.Project.keep_version", refuse)
    page = with_builds.send(with_builds.get("/settle"), "/settle/keep", name="radio")
    assert page.status == 422
    assert page.html.index('id="keep"') < page.html.index("Nothing can be told yet.")
    assert dict(page.form("/settle/keep")["fields"])["name"] == "radio"


def test_what_the_answer_asks_for_can_be_chosen_on_the_page(visitor, project):
    """A refusal that says 'say which' has a field for it: the quantity where there are two, and the lasting setting."""
    assert dict(visitor.get("/settle").form("/settle")["fields"]).keys() >= {"without", "to"}
    project.file.change_setup("derived", Derived("mass", "rings * 30 + wool * 0.5", unit="g"))
    told = visitor.get("/settle?ask=find&variant=1")
    assert "More than one quantity could be kept equal; say which: inner_air or mass." in told.text
    assert "--" not in told.text[: told.text.index("1. Find")]
    fields = dict(told.form("/settle")["fields"])
    assert fields.keys() >= {"without", "to", "through"}
    refused = visitor.get("/settle?ask=find&variant=1&through=mass&without=wool&to=70")
    assert "wool is 70; it must be a number from 0 to 60 % in steps of 5." in refused.text
    assert dict(refused.form("/settle")["fields"])["to"] == "70"


def test_what_cannot_be_answered_is_said_on_the_page(visitor):
    page = visitor.get("/settle?ask=find&without=driver")
    assert page.status == 422
    assert "driver is part of no derived quantity" in page.text
    assert visitor.get("/settle?ask=compare&first=1&second=2").status == 422
    assert (
        visitor.get("/settle?ask=compare&first=²&second=" + 9 * "9" + "9").status == 200
    )  # no version, so nothing is asked
    missing = visitor.get("/settle/1/sheet.html")
    assert (missing.status, "There is no such page" in missing.text) == (404, True)
    assert "Nothing is settled yet." in missing.text
    assert visitor.get("/api/settle/1").status == 404
    odd = visitor.get("/settle/seven/sheet.html")
    assert (odd.status, "Nothing is kept at this address." in odd.text) == (404, True)


def test_with_nothing_built_there_is_nothing_to_ask(tmp_path):
    """No form that could only be refused, but the way to a first variant."""
    project = Project.create(tmp_path / "bare.duckdb")
    page = Visitor(create_app(project.path, Settings(folder=tmp_path))).get("/settle")
    assert "Nothing is built yet" in page.text
    assert '<a href="/log">log a variant</a>' in page.html
    assert [form["action"] for form in page.forms] == []
