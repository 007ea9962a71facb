"""What the sweep over plain forms leaves out: import, the access key, why not; and that no form is left out at all."""

import pytest

from doe.web import Settings, create_app
from tests.web.client import Visitor, worked_out
from tests.web.test_bad_input import FORMS, TEXTS

SOME = {what: TEXTS[what] for what in ("empty", "beyond", "long", "right to left", "markup", "zero byte", "turned")}
"""Where each try takes long: one of each sort."""
SHEET = "variant,vents,rings,wool,driver,Bass in dB\n7,1,9,0,paper,3.2\n"

SWEPT = {
    "/log", "/log/reference", "/variants/{name:path}/readings", "/readings/{number}/correct", "/variants/{name:path}/correct",
    "/variants/{name:path}/built", "/sessions/new", "/listen/{key}", "/setup/{kind}", "/start",
}  # fmt: skip
"""Addresses of the forms in `FORMS`."""
HERE = {"/import", "/import/store", "/enter", "/next/aside"}
ELSEWHERE = {
    "/variants/{name:path}/photos": "files only: tests/web/test_bad_input.py and test_log.py",
    "/variants/{name:path}/recordings": "files: tests/web/test_recordings.py",
    "/settle/keep": "tests/web/test_settle.py",
    "/plan/adopt": "what was asked is in the address: tests/web/test_plan.py",
    "/route/built": "tests/web/test_plan.py",
    "/api/variants": "JSON: tests/web/test_api.py",
    "/api/readings": "JSON: tests/web/test_api.py",
    "/api/plan": "JSON: tests/web/test_api_plan.py",
    "/api/history/{entry}/undo": "JSON: tests/web/test_api.py",
}
NOTHING_TO_TYPE = {
    "/history/{entry}/undo", "/log/unit", "/next/take", "/plan/abandon", "/plan/stop", "/rehearse/stop",
    "/readings/{number}/withdraw", "/sessions/{identity}/close", "/sessions/{identity}/drop", "/setup/{kind}/remove",
    "/start/demo", "/start/open", "/recipes/again", "/thinking/again", "/thinking/cancel", "/variants/{name:path}/withdraw",
}  # fmt: skip
"""Buttons: a fixed address and hidden fields; `test_a_button_with_its_hidden_fields_forged_does_no_harm` sends them rubbish."""


def posts(app):
    """Addresses that take a form or JSON."""
    found, waiting = set(), list(app.routes)
    while waiting:
        route = waiting.pop()
        waiting.extend(getattr(getattr(route, "original_router", None), "routes", ()))
        if "POST" in (getattr(route, "methods", None) or ()):
            found.add(route.path)
    return found


def test_every_form_is_swept_somewhere(app):
    known = SWEPT | HERE | set(ELSEWHERE) | NOTHING_TO_TYPE
    assert posts(app) == known, "a new form belongs in the sweep, and one that is gone out of it"
    assert len(FORMS) >= len(SWEPT)


@pytest.mark.slow
@pytest.mark.parametrize("address", sorted(NOTHING_TO_TYPE))
@pytest.mark.parametrize("what", ["beyond", "markup"])
def test_a_button_with_its_hidden_fields_forged_does_no_harm(visitor, project, address, what):
    """Nobody types into these, but anything can be sent: refused in words, or done as it stands; never a fault of ours."""
    token = dict(visitor.get("/log/reference").form("/reference")["fields"])["token"]
    for name, value in (
        ("name:path", "nothing"),
        ("kind", "factor"),
        ("entry", "999"),
        ("number", "999"),
        ("identity", "999"),
    ):
        address = address.replace("{" + name + "}", value)
    before = project.file.fingerprint()
    fields = dict.fromkeys(("name", "mark", "unit", "file", "why", "mode", "to", "at"), TEXTS[what])
    answer = visitor.request("POST", address, data={"token": token, "once": what, **fields})
    assert answer.status in (303, 400, 404, 409, 413, 422)
    assert "<script>alert" not in answer.html
    assert project.file.fingerprint() == before


@pytest.mark.parametrize("what", TEXTS)
def test_whatever_is_typed_as_a_key_is_refused_at_its_field(path, what):
    app = create_app(path, Settings(folder=path.parent, key="abcd-efgh-jkmn", patience_s=0))
    visitor = Visitor(app)
    page = visitor.send(visitor.get("/enter"), "/enter", key=TEXTS[what], once=what)
    assert page.status == 403
    assert "key-error" in page.ids
    assert "That is not the key" in page.text
    assert "<script>alert" not in page.html
    assert visitor.get("/variants").status == 303, "still outside"


@pytest.mark.slow
def test_whatever_is_typed_as_a_reason_is_kept_or_comes_back(thoughtful, project):
    for what, text in SOME.items():
        page = worked_out(thoughtful, "/next")
        before = project.file.history()[-1].id
        answer = thoughtful.send(page, "/aside", why=text, once=what, follow=False)
        assert answer.status in (303, 422), what
        assert "<script>alert" not in answer.html, what
        if answer.status == 303:
            assert project.file.suggestions()[-1]["why"] == text.replace("\0", "").strip(), what
            assert "<script>alert" not in thoughtful.follow(answer).html
            project.file.take_back(project.file.history()[-1].id)  # or there would soon be none left to set aside
            continue
        assert project.file.history()[-1].id == before, what
        assert "Why not " in answer.text, what
        assert dict(answer.form("/aside")["fields"])["why"].strip() == text.strip(), what


def test_a_reason_sent_twice_is_kept_once(thoughtful, project):
    page = worked_out(thoughtful, "/next")
    for _ in range(2):
        assert thoughtful.send(page, "/aside", why="no rings in the house").status == 200
    assert len(project.file.suggestions()) == 1


def looked_at(visitor, text=SHEET, name="log.csv"):
    """Send a file to look at."""
    return visitor.send(visitor.get("/import"), "/import", files=[("file", (name, text.encode()))])


@pytest.mark.parametrize("what", SOME)
def test_whatever_is_in_a_sheet_is_shown_and_not_stored(visitor, project, what):
    """As the whole file, as a heading, as a cell, as the file's own name."""
    before = project.file.fingerprint()
    text = SOME[what]
    for content, name in (
        (text, "log.csv"),
        (SHEET.replace("Bass in dB", f'"{text}"'), "log.csv"),
        (SHEET.replace("paper", f'"{text}"'), "log.csv"),
        (SHEET.replace("3.2", f'"{text}"'), "log.csv"),
        (SHEET, f"{text[:200]}.csv"),
    ):
        answer = looked_at(visitor, content, name.replace("\0", "").replace("\n", "").replace('"', ""))
        assert answer.status in (200, 422), (what, content[:80])
        assert "<script>alert" not in answer.html, what
        assert project.file.fingerprint() == before


@pytest.mark.parametrize("what", SOME)
def test_whatever_is_said_of_a_column_is_refused_or_followed(visitor, project, what):
    """The choices are a list, but anything can be sent; looking at it again stores nothing."""
    page = looked_at(visitor)
    before = project.file.fingerprint()
    targets = [value for name, value in page.form("/import")["fields"] if name == "heading"]
    answer = visitor.send(page, "/import", target=[SOME[what]] * len(targets))
    assert answer.status in (200, 422)
    assert "<script>alert" not in answer.html
    assert project.file.fingerprint() == before


def test_a_sheet_that_is_no_longer_kept_is_told(visitor, project):
    before = project.file.fingerprint()
    page = looked_at(visitor, SHEET.replace("Bass in dB", "bass"))
    for sheet in ("", "gone", "x" * 10_000, "\U0001f528"):
        answer = visitor.send(page, "/import/store", sheet=sheet, once=f"lost {sheet[:5]}")
        assert answer.status == 422
        assert "no longer kept here; choose it again." in answer.text
    assert project.file.fingerprint() == before


def test_a_sheet_stored_twice_is_stored_once(visitor, project):
    page = looked_at(visitor, SHEET.replace("Bass in dB", "bass"))
    for _ in range(2):
        assert visitor.send(page, "/import/store").status == 200
    assert [item.name for item in project.file.variants()] == ["1", "2", "3", "7"]
