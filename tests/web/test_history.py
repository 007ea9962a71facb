from dataclasses import replace

import pytest

from doe.store import ProjectFile
from doe.web.desk import Desk
from doe.web.settings import Settings
from tests.web.conftest import NoThinker


def undoable(page):
    """The entries beside which a button takes them back, latest first."""
    actions = [form["action"] for form in page.forms if form["action"].endswith("/undo")]
    return [int(action.split("/")[2]) for action in actions]


def test_all_but_what_began_the_project_and_what_was_taken_back_can_be_taken_back(visitor, project):
    project.file.take_back(6)
    assert undoable(visitor.get("/history")) == [7, 5, 4, 3, 2]


def test_what_came_with_an_export_is_not_offered_to_be_taken_back(visitor, app, project, tmp_path):
    """It was offered, and refused."""
    project.file.export(tmp_path / "tables", kind="csv")
    file = ProjectFile.restore(tmp_path / "back.duckdb", tmp_path / "tables")
    file.retire_unit("body A")
    app.state.desk = Desk(file.path, Settings(folder=tmp_path))
    app.state.desk.thinker = NoThinker()
    assert [entry.id for entry in file.history() if entry.kind == "restore"] == [7]
    assert undoable(visitor.get("/history")) == [8]


@pytest.mark.parametrize(("count", "pages"), [(100, [100]), (101, [100, 1]), (205, [100, 100, 5])])
def test_a_long_history_goes_on_page_by_page(visitor, app, count, pages):
    """Each entry stands on one of them."""
    desk = app.state.desk
    (first,) = desk.view().history[:1]
    desk.view().history = [replace(first, id=number) for number in range(1, count + 1)]
    shown, address = [], "/history"
    while address:
        page = visitor.get(address)
        shown.append(page.html.count("made the project"))
        address = page.html.partition('href="/history?before=')[2].partition('"')[0]
        address = f"/history?before={address}" if address else ""
    assert shown == pages
