import numpy as np
import pytest
import segno

from doe.project import Project
from doe.web import Settings, create_app
from doe.web.serve import greeting, new_key, terminal_code
from tests.web.client import Visitor

FORM = "application/x-www-form-urlencoded"


def test_a_foreign_host_name_is_refused(app):
    """DNS rebinding: a page of evil.example whose name points here may not talk to us."""
    page = Visitor(app, host="evil.example").get("/")
    assert page.status == 400
    assert "evil.example" in page.text


@pytest.mark.parametrize(
    "headers",
    [
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
    ],
)
def test_posts_from_other_sites_store_nothing(visitor, project, headers):
    page = visitor.get("/history")
    before = project.file.fingerprint()
    fields = dict(page.form("/undo")["fields"])
    for path in (page.form("/undo")["action"], "/api/history/7/undo"):
        assert visitor.request("POST", path, data=fields, headers=headers).status == 403
    assert project.file.fingerprint() == before


def test_pages_of_other_sites_ask_for_nothing_but_links(visitor):
    """Else any page that is visited could keep the server busy, by pictures whose addresses are plans and advice."""
    foreign = {"sec-fetch-site": "cross-site"}
    for address in ("/api/plan?runs=8", "/api/next", "/"):
        assert visitor.request("GET", address, headers={**foreign, "sec-fetch-mode": "no-cors"}).status == 403
    assert visitor.request("GET", "/", headers={**foreign, "sec-fetch-mode": "navigate"}).status == 200


def test_a_form_needs_the_token_of_its_caller(visitor, app, project):
    page = visitor.get("/history")
    before = project.file.fingerprint()
    stranger = Visitor(app)
    stranger.get("/")
    for token in ("", "0" * 40, dict(page.form("/undo")["fields"])["token"]):
        answer = stranger.request("POST", page.form("/undo")["action"], data={"token": token, "once": "x"})
        assert answer.status == 403
    assert project.file.fingerprint() == before


def test_a_form_of_one_project_is_not_stored_in_another(visitor, app, project, tmp_path):
    """Whoever turns the server to another project does so for every page that is open."""
    other = Project.create(tmp_path / "other.duckdb", project.setup)
    page = visitor.get("/history")
    before = (project.file.fingerprint(), other.file.fingerprint())
    app.state.desk.open(other)
    form = page.form("/undo")
    answer = visitor.request("POST", form["action"], data=dict(form["fields"]))
    assert answer.status == 403
    assert "before another project was opened" in answer.text
    assert (project.file.fingerprint(), other.file.fingerprint()) == before
    again = visitor.get("/setup/about")
    assert visitor.send(again, "/about", question="Why?").status == 200
    assert other.setup.question == "Why?"


def test_headers_and_cookie_are_strict(visitor):
    page = visitor.get("/")
    assert page.headers["content-security-policy"].startswith(
        "default-src 'none'; script-src 'self'; style-src 'self';"
    )
    assert "unsafe" not in page.headers["content-security-policy"]
    assert page.headers["x-content-type-options"] == "nosniff"
    assert "HttpOnly" in page.headers["set-cookie"]
    assert "SameSite" in page.headers["set-cookie"]
    assert "set-cookie" not in visitor.get("/").headers


@pytest.mark.parametrize("is_announced", [True, False])
def test_a_body_that_is_too_big_is_refused(path, is_announced):
    """Refused by its announced size, and while it is read where none was announced."""
    visitor = Visitor(create_app(path, Settings(folder=path.parent, most_bytes=50_000, patience_s=0)))
    visitor.get("/import")

    async def pieces():
        for _ in range(20):
            yield b"x" * 10_000

    content = b"x" * 200_000 if is_announced else pieces()
    answer = visitor.request("POST", "/import", content=content, headers={"Content-Type": FORM})
    assert answer.status == 413
    assert "too big" in answer.text


@pytest.fixture
def lan(path):
    return create_app(path, Settings(folder=path.parent, key="abcd-efgh-jkmn", key_attempts=3, patience_s=0))


def test_on_a_network_nothing_opens_without_the_key(lan):
    visitor = Visitor(lan)
    for address in ("/", "/log", "/variants", "/report.html", "/export.xlsx", "/backup.zip", "/live", "/photos/abc"):
        page = visitor.get(address)
        assert (page.status, page.headers["location"]) == (303, "/enter"), address
    assert visitor.get("/api/variants").status == 401
    page = visitor.send(visitor.get("/enter"), "/enter", key="wrong")
    assert page.status == 403
    assert "not the key" in page.text
    page = visitor.send(visitor.get("/enter"), "/enter", key="abcd-efgh-jkmn")
    assert page.status == 200
    assert visitor.get("/api/variants").status == 200


def test_the_link_of_the_picture_opens_and_a_forged_cookie_does_not(lan):
    guest = Visitor(lan)
    assert guest.follow(guest.get("/enter?key=abcd-efgh-jkmn")).status == 200
    forger = Visitor(lan)
    forger.cookies.set("fettle", "someone.1.0123456789abcdef0123456789abcdef01234567")
    assert forger.get("/variants").status == 303


def test_key_attempts_are_limited_by_address(lan):
    guesser = Visitor(lan, address="10.0.0.9")
    form = guesser.get("/enter")
    statuses = [guesser.send(form, "/enter", key=f"guess{number}").status for number in range(5)]
    assert statuses == [403, 403, 403, 429, 429]
    refused = guesser.get("/enter?key=abcd-efgh-jkmn")
    assert (refused.status, refused.headers["retry-after"]) == (429, "60")
    friend = Visitor(lan, address="10.0.0.10")
    assert friend.send(friend.get("/enter"), "/enter", key="abcd-efgh-jkmn").status == 200


def test_the_greeting_names_address_key_and_risk():
    settings = Settings(key=new_key(), address="http://192.168.1.7:8737")
    text = "\n".join(greeting(settings, 8737))
    assert settings.key in text
    assert "http://192.168.1.7:8737" in text
    assert "not encrypted" in text
    assert greeting(Settings(), 80) == ["Open http://127.0.0.1:80 in a browser; Ctrl-C stops."]


@pytest.mark.parametrize("is_colourful", [True, False])
def test_the_code_on_a_terminal_is_the_one_of_its_text(is_colourful):
    """Read back as a camera sees it: ink is black on white where colours are set, and light on a dark terminal elsewhere.

    ISO/IEC 18004:2015, 6.3.8: around the symbol at least four modules stay light.
    """
    link = "http://192.168.1.7:8737/enter?key=abcd-efgh-jkmn"
    lines = terminal_code(link, is_colourful=is_colourful).split("\n")
    if is_colourful:
        assert all(line.startswith("\033[38;5;16;48;5;231m") and line.endswith("\033[0m") for line in lines)
        lines = [line.removeprefix("\033[38;5;16;48;5;231m").removesuffix("\033[0m") for line in lines]
    inked = np.array([[mark in half for mark in line] for line in lines for half in ("█▀", "█▄")])
    is_dark = inked if is_colourful else ~inked
    symbol = np.array(segno.make(link, error="l").matrix, dtype=bool)
    size = len(symbol)
    assert (is_dark[4 : 4 + size, 4 : 4 + size] == symbol).all()
    assert is_dark.sum() == symbol.sum()
    assert is_dark.shape[1] == size + 8
    assert len(is_dark) >= size + 8
    assert {len(line) for line in lines} == {size + 8}
