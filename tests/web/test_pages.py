import re
from dataclasses import fields
from inspect import getmembers, isclass

import pytest
from jinja2 import meta

from doe.sheets.contexts import said
from doe.web import contexts, pages
from doe.web.pages import environment
from doe.web.thinking import Known
from tests.web.conftest import NoThinker

PAGES = ["/", "/log", "/log?unit=new", "/log?start=1", "/log/reference", "/variants", "/variants/1", "/variants/1/correct",
         "/variants/1/readings", "/readings/1/correct", "/compare?a=1&b=3", "/sessions", "/sessions/new", "/moves",
         "/moves/echo", "/moves/bass/readings", "/what-if?f.vents=2&f.rings=9&f.wool=0&f.driver=poly", "/next", "/history",
         "/setup", "/setup/factor", "/setup/factor?name=wool", "/setup/outcome?name=echo", "/setup/limit",
         "/setup/derived?name=inner_air", "/setup/expectation", "/setup/effort", "/setup/about", "/import", "/start", "/api",
         "/help", "/help/verdicts", "/symptoms", "/symptoms/boomy", "/estimates",
         "/estimates/helmholtz", "/recipes", "/plan", "/rehearse", "/route", "/settle"]  # fmt: skip
TEMPLATES = {
    "bench.html": contexts.BenchPage, "moves.html": contexts.MovesPage, "what_if.html": contexts.WhatIfPage,
    "readings_of_outcome.html": contexts.ReadingsOfOutcome, "next.html": contexts.NextPage, "log.html": contexts.LogPage,
    "form.html": contexts.FormPage, "variants.html": contexts.VariantsPage, "compare.html": contexts.ComparePage,
    "variant.html": contexts.VariantPage, "history.html": contexts.HistoryPage, "setup.html": contexts.SetupPage,
    "start.html": contexts.StartPage, "import.html": contexts.ImportPage, "sessions.html": contexts.SessionsPage,
    "session.html": contexts.SessionPage, "listen.html": contexts.ListenPage, "fault.html": contexts.FaultPage,
    "enter.html": contexts.EnterPage, "api.html": contexts.ApiPage, "help.html": contexts.HelpPage,
    "symptom.html": contexts.SymptomPage, "recipes.html": contexts.RecipesPage,
    "estimate.html": contexts.EstimatePage,
}  # fmt: skip


def test_every_page_answers_with_one_heading_and_nothing_inline(thoughtful):
    """One h1 (or the partial's h2 under a hidden one), unique ids, no inline script, style or handler, nothing fetched."""
    for path in PAGES:
        page = thoughtful.get(path)
        assert page.status == 200, path
        assert len(re.findall(r"<h1[ >]", page.html)) == 1, path
        assert len(page.ids) == len(set(page.ids)), path
        bare = re.sub(r'<script type="application/json".*?</script>', "", page.html, flags=re.DOTALL)
        assert not re.search(r"<style|\sstyle=|\son\w+=|<script(?![^>]*src=)", bare), path
        assert not re.search(r"(?:src|href|action)=[\"'](?:https?:)?//", bare), path


@pytest.mark.slow
def test_pages_are_light_without_the_chart_library(thoughtful):
    """Page weight without plotly at most 150 kB, style sheets and scripts of ours included."""
    own = sum(len(thoughtful.get(f"/static/{name}").content) for name in
              ("palette.css", "report.css", "app.css", "app.js", "charts.js", "before-plotly.js"))  # fmt: skip
    assert max(len(thoughtful.get(path).content) for path in PAGES) + own < 150_000


def used_by(name):
    """Names that a template takes, through its parents and partials."""
    source = environment().loader.get_source(environment(), name)[0]
    tree = environment().parse(source)
    found = set(meta.find_undeclared_variables(tree))
    for other in meta.find_referenced_templates(tree):
        if other and other != name:
            found |= used_by(other)
    return found


@pytest.mark.parametrize("name", sorted(TEMPLATES))
def test_template_takes_what_its_context_declares(name):
    """Every declared field is used, and nothing else but the frame and what the partials of a loop are handed."""
    declared = {item.name for item in fields(TEMPLATES[name])}
    handed = {"frame", "urls", "it", "item", "chart", "above", "suffix", "rows", "with_variant", "loop"}
    assert declared <= used_by(name)
    assert used_by(name) - declared <= handed


def test_every_field_of_a_context_says_what_it_holds():
    for name, kind in getmembers(contexts, isclass):
        if kind.__module__ == contexts.__name__:
            assert all(item.metadata.get("help") for item in fields(kind)), name
    assert said("x") == {"help": "x"}


def test_wrong_addresses_say_so(visitor):
    for path in ("/nowhere", "/variants/99", "/moves/loudness", "/sessions/7", "/photos/../../etc/passwd", "/listen/abc",
                 "/setup/nothing", "/static/../app.py", "/readings/99/correct", "/help/nothing",
                 "/symptoms/nothing", "/estimates/nothing"):  # fmt: skip
        page = visitor.get(path)
        assert page.status == 404, path
        assert "Traceback" not in page.html


def test_without_a_project_every_page_leads_to_the_start(tmp_path):
    from doe.web import Settings, create_app
    from tests.web.client import Visitor

    visitor = Visitor(create_app(None, Settings(folder=tmp_path)))
    for path in ("/", "/log", "/next", "/moves"):
        page = visitor.get(path)
        assert (page.status, page.headers["location"]) == (303, "/start")
    assert visitor.get("/api/variants").status == 404


def test_a_fault_of_our_own_shows_no_traceback(visitor, app, monkeypatch, caplog):
    def break_down():
        raise RuntimeError("secret detail")

    monkeypatch.setattr(app.state.desk, "view", break_down)
    page = visitor.get("/history")
    assert page.status == 500
    assert "secret detail" not in page.html
    assert "What was acknowledged is stored" in page.text
    assert page.headers["content-security-policy"].startswith("default-src 'none'")


def test_comparing_begins_with_the_last_one_and_what_it_came_from(visitor, project):
    """Variant 3 was built last, started from 1; with a single variant there is nothing to choose yet."""
    fields = dict(visitor.get("/variants").form("/compare")["fields"])
    assert (fields["a"], fields["b"]) == ("1", "3")


@pytest.mark.parametrize(("is_fresh", "mark"), [(True, "2 best so far"), (False, "2 best before the last change")])
def test_the_best_of_an_older_answer_is_not_called_the_best_so_far(visitor, app, is_fresh, mark):
    class Thought:
        asked = type("Asked", (), {"advice": type("Advice", (), {"best": {"variant": "2"}})})

    class Thinker(NoThinker):
        def ask(self, *_):
            return Known(Thought, is_fresh=is_fresh, is_working=not is_fresh)

    app.state.desk.thinker = Thinker()
    assert mark in visitor.get("/variants").text


def test_a_reference_object_is_compared_by_what_was_read(thoughtful, project):
    """Readings by hand: bass 1, 2 and 3, so 2 on average; echo once; clarity never."""
    project.log_reference("shop radio")
    project.read(
        "shop radio", [("bass", 1.0), ("bass", 2.0), ("bass", 3.0), ("echo", 4)], session="Tuesday", rater="Ann"
    )
    page = thoughtful.get("/compare?a=shop+radio&b=1")
    cells = re.findall(r"<td>([^<]*)</td>", page.html)
    assert cells[::2][:2] == ["2 dB, plain mean of 3 readings", "4, one reading"]
    assert cells[1].startswith("4.00 dB (")
    assert "shop radio has no settings, so nothing is predicted there" in page.text
    assert "shop radio: no settings" in page.text
    assert 'class="differs"' not in page.html


@pytest.mark.parametrize(("trouble", "is_working"), [("The analysis was cancelled.", False), ("", True)])
def test_a_comparison_says_whether_means_will_come(visitor, app, trouble, is_working):
    class Thinker(NoThinker):
        def ask(self, *_):
            return Known(None, is_fresh=False, is_working=is_working, trouble=trouble)

    app.state.desk.thinker = Thinker()
    said_so = visitor.get("/compare?a=1&b=2").text
    assert ("The means are being worked out; reload in a moment." in said_so) is is_working
    assert ("The means could not be worked out. The analysis was cancelled." in said_so) is not is_working


def test_every_form_that_stores_says_that_it_is_under_way_and_is_not_filled_in_by_the_browser():
    """In each template: no field completed from elsewhere, and a button that says while it waits what is being done."""
    seen = 0
    for path in sorted(pages.TEMPLATES.glob("*.html")):
        for form in re.findall(r'<form method="post".*?</form>', path.read_text(encoding="utf-8"), re.DOTALL):
            seen += 1
            assert 'autocomplete="off"' in form.split("{% include")[0], path.name
            for button in re.findall(r"<button(?:\{%.*?%\}|[^>])*>", form):
                assert 'data-waiting="' in button or 'type="button"' in button, (path.name, button)
    assert seen > 20


def test_pages_say_which_kind_of_number_stands_for_a_variant():
    """Plain means, adjusted means and predictions of one variant differ, and each is called what it is."""
    shown = {
        name: (pages.TEMPLATES / name).read_text(encoding="utf-8")
        for name in ("bench.html", "variants.html", "what_if.html")
    }
    assert "There now, adjusted mean" in shown["bench.html"]
    assert "Outcomes are plain means of the readings, not adjusted" in shown["variants.html"]
    assert "Best variant, predicted" in shown["what_if.html"]
    assert "what a variant itself was read as can differ" in shown["what_if.html"]
