import re
from html.parser import HTMLParser

import pytest

from doe.model.errors import StoreError, UsageError
from doe.sheets import report
from doe.sheets.report import report_page
from tests.charts import radio
from tests.sheets import hard


class Page(HTMLParser):
    """The report as a browser takes it apart: tags with attributes, text by element, scripts by their own rules."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str]]] = []
        self.text: list[str] = []
        self.scripts: list[str] = []
        self._inside = ""
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, {name: value or "" for name, value in attrs}))
        if tag in ("script", "style"):
            self._inside = tag

    def handle_endtag(self, tag):
        if tag == self._inside:
            self._inside = ""

    def handle_data(self, data):
        if self._inside == "script":
            self.scripts.append(data)
        elif not self._inside:
            self.text.append(data)

    @property
    def words(self) -> str:
        return " ".join(" ".join(self.text).split())


@pytest.fixture(scope="module")
def project(tmp_path_factory):
    return radio.project(tmp_path_factory.mktemp("radio") / "radio.duckdb")


@pytest.fixture(scope="module")
def page(project):
    return report_page(project)


@pytest.fixture(scope="module")
def hard_page(tmp_path_factory):
    """Page of one of the hard projects, made once."""
    made: dict[str, str] = {}

    def get(case: str) -> str:
        if case not in made:
            made[case] = report_page(hard.CASES[case](tmp_path_factory.mktemp(case) / "p.duckdb"))
        return made[case]

    return get


def test_same_content_gives_the_same_bytes(project, page, tmp_path):
    """Nothing depends on when or where it is written."""
    assert report(project, tmp_path / "folder" / "radio.html").read_bytes() == page.encode()


def test_parts_come_in_the_order_in_which_they_are_asked(page):
    parsed = Page(page)
    ids = [attributes["id"] for tag, attributes in parsed.tags if tag == "section"]
    assert ids == ["outcome-1", "outcome-2", "ruled", "standing", "next", "log", "unknown", "methods"]
    words = parsed.words
    counts = "20 variants · 100 readings · 5 sessions · 4 raters"
    assert words.index(radio.SETUP.title) < words.index(radio.SETUP.question) < words.index(counts)


def test_answer_states_headline_verdicts_and_checks(page, project):
    words = Page(page).words
    effects = project.analyse("bass")
    assert effects.headline in words
    assert "moves it" in words
    for finding in effects.checks["finding"]:
        assert " ".join(finding.split()) in words


def test_footer_identifies_the_content(page, project):
    words = Page(page).words
    assert f"Fingerprint of the content {project.file.fingerprint()}" in words
    assert project.file.last_reading_at().strftime("Last reading %Y-%m-%d %H:%M") in words


def test_page_asks_for_nothing_outside(page):
    """No element loads from elsewhere, and the policy in the head forbids it."""
    for tag, attributes in Page(page).tags:
        for name in ("src", "href", "action", "data", "poster"):
            assert attributes.get(name, "#").startswith("#"), (tag, name)
    policy = next(attributes["content"] for tag, attributes in Page(page).tags if "http-equiv" in attributes)
    assert policy.startswith("default-src 'none';")
    assert "@import" not in page.split("</style>")[0] and "url(" not in page.split("</style>")[0]


def test_plotly_is_inlined_once(page):
    assert len(re.findall(r"plotly\.js v\d", page[:6_000_000])) == 1


def test_every_chart_has_both_drawings_and_its_facts_as_text(page):
    tags = Page(page).tags
    charts = [attributes for tag, attributes in tags if attributes.get("class") == "plot"]
    drawings = [attributes["data-drawing"] for tag, attributes in tags if "data-drawing" in attributes]
    assert len(charts) >= 8
    assert drawings == ["wide", "narrow"] * len(charts)
    assert len({chart["id"] for chart in charts}) == len(charts)
    assert all(chart["role"] == "img" and len(chart["aria-label"]) > 40 for chart in charts)


def test_existing_report_is_kept_unless_it_may_be_replaced(tmp_path):
    project = hard.empty(tmp_path / "p.duckdb")
    path = tmp_path / "radio.html"
    path.write_text("mine")
    said = f"'{path}' exists already; give another name, or say that it may be replaced."
    with pytest.raises(StoreError, match=f"^{re.escape(said)}$"):
        report(project, path)
    assert path.read_text() == "mine"
    assert report(project, path, replace=True) == path
    assert path.read_text(encoding="utf-8").startswith("<!doctype html>")


def test_report_is_a_page(project, tmp_path):
    with pytest.raises(UsageError, match=r"^'radio\.pdf' must end in \.html\.$"):
        report(project, tmp_path / "radio.pdf")


@pytest.mark.parametrize(
    "case", [pytest.param(case, marks=pytest.mark.slow) if case == "many" else case for case in hard.CASES]
)
def test_every_kind_of_project_can_be_reported(case, hard_page):
    """Empty, unread, one variant, constant, hundreds of variants, odd names: a page with all its parts, no markup obeyed."""
    parsed = Page(hard_page(case))
    assert [attributes["id"] for tag, attributes in parsed.tags if tag == "section" and "id" in attributes][-5:] == [
        "standing", "next", "log", "unknown", "methods",
    ]  # fmt: skip
    assert "i" not in {tag for tag, _ in parsed.tags}
    assert [tag for tag, _ in parsed.tags].count("title") == 1
    assert not any("window.hacked" in script and not script.lstrip().startswith("{") for script in parsed.scripts)
    assert "Traceback" not in parsed.words


def test_refusals_are_said_in_the_page(hard_page):
    assert "Only one variant has a reading of noise" in Page(hard_page("single")).words
    assert "All 8 readings of noise are equal" in Page(hard_page("constant")).words


def test_empty_project_says_what_to_do_first(hard_page):
    words = Page(hard_page("empty")).words
    assert "This project has no outcomes yet" in words
    assert "No variant is logged yet." in words


def test_names_are_shown_as_typed(hard_page):
    words = Page(hard_page("named")).words
    for typed in (hard.MARKUP, hard.HEBREW, hard.ARABIC, "למה זה רועש?"):
        assert typed in words
