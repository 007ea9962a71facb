"""What moves it, by the terms that are asked for."""

import html

import pytest

from doe.guides.demos import demo_folder
from doe.project import Project
from doe.web import Settings, create_app, urls
from tests.web.client import Visitor
from tests.web.conftest import NoThinker

THROUGH = "inner_air, vents, driver, feet"


@pytest.fixture(scope="module")
def radio(tmp_path_factory):
    path = tmp_path_factory.mktemp("radio") / "radio.duckdb"
    project = Project.create(path, demo_folder("radio") / "setup.toml")
    project.import_log(demo_folder("radio") / "log.csv")
    return project


@pytest.fixture(scope="module")
def at_radio(radio):
    app = create_app(radio.path, Settings(folder=radio.path.parent))
    app.state.desk.thinker = NoThinker()
    return Visitor(app)


def test_a_quantity_is_asked_for_in_the_place_of_its_parts(at_radio, radio):
    """The page offers the question, and answers it as Python does; it says by what, and leads back."""
    page = at_radio.get(urls.moves("echo", THROUGH))
    assert page.status == 200
    assert f"<h2>{radio.analyse('echo', THROUGH.split(', ')).headline}</h2>" in page.html
    assert f"By these terms only: <bdi>{THROUGH}</bdi>." in page.html
    assert f'<a href="{html.escape(urls.moves("echo", THROUGH))}"><bdi>inner air</bdi></a>' in page.html
    assert f'<a href="{urls.moves("echo")}">' in page.html
    assert ("terms", THROUGH) in page.form(urls.moves("echo"))["fields"]


def test_a_model_by_name_is_read_as_the_command_reads_it(at_radio, radio):
    assert radio.analyse("bass", "main").headline in at_radio.get(urls.moves("bass", "main")).text


@pytest.mark.parametrize(
    ("asked", "sentence"),
    [
        ("foam", "'foam', which is no factor"),
        ("wool:wool:wool", "wool:wool:wool"),
        (",".join(["vents"] * 30), "terms were listed"),
    ],
)
def test_terms_that_cannot_be_asked_for_are_told_at_their_field(at_radio, asked, sentence):
    page = at_radio.get(urls.moves("echo", asked))
    assert page.status == 422
    told = html.unescape(page.html.partition('id="in-terms-error">')[2].partition("<")[0])
    assert sentence in told
    assert "By these terms only" not in page.text
    assert asked.split(",")[0] in dict(page.form(urls.moves("echo"))["fields"])["terms"]


def test_no_terms_are_no_question(at_radio):
    assert at_radio.get(urls.moves("echo", " , ")).status == 200
    assert "By these terms only" not in at_radio.get(urls.moves("echo", " , ")).text
