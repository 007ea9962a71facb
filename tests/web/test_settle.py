import shutil

import pytest

from doe.cli.demo import demo_folder
from doe.project import Project
from doe.web import Settings, create_app
from tests.web.client import Visitor


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
    assert "<b>shelf</b>" not in kept.html
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


def test_what_cannot_be_answered_is_said_on_the_page(visitor):
    page = visitor.get("/settle?ask=find&without=driver")
    assert page.status == 422
    assert "driver is part of no derived quantity" in page.text
    assert visitor.get("/settle?ask=compare&first=1&second=2").status == 422
    assert visitor.get("/settle/1/sheet.html").status in (404, 422)
