import pytest

from doe.web import Settings, create_app
from doe.web.access import is_local
from tests.web.client import Visitor

KEY = "abcd-efgh-jkmn"
PAGE = {"Accept": "text/html,*/*;q=0.8"}


@pytest.fixture
def lan(path):
    return create_app(path, Settings(folder=path.parent, key=KEY, key_attempts=3, patience_s=0))


def enter(guest, key=KEY):
    return guest.send(guest.get("/enter"), "/enter", follow=False, key=key)


def test_the_key_leads_to_the_page_that_was_asked_for(lan):
    """Also after a wrong key, and by the link of the picture; once, and then it is forgotten."""
    guest = Visitor(lan)
    assert guest.get("/log?unit=body+A", headers=PAGE).headers["location"] == "/enter"
    assert enter(guest, "wrong").status == 403
    answer = enter(guest)
    assert (answer.status, answer.headers["location"]) == (303, "/log?unit=body+A")
    assert guest.follow(answer).status == 200
    assert "asked" not in guest.cookies
    other = Visitor(lan)
    other.get("/variants/1", headers=PAGE)
    assert other.get(f"/enter?key={KEY}").headers["location"] == "/variants/1"


def test_what_is_no_page_is_not_gone_to(lan):
    """A stream that connects again, a picture, a form: after the key comes the first page."""
    guest = Visitor(lan)
    guest.get("/live?since=3", headers={"Accept": "text/event-stream"})
    guest.get("/photos/abc", headers={"Accept": "image/avif,image/*"})
    guest.request("POST", "/log", headers=PAGE, data={"note": "x"})
    assert enter(guest).headers["location"] == "/"


@pytest.mark.parametrize(
    "address",
    ["//evil.example", "/\\evil.example", "\\\\evil.example", "https://evil.example/", "javascript:alert(1)", "evil.example",
     "", " /log", "/log\r\nX-Header: 1", "/log\t", "/" + "a" * 2000],
)  # fmt: skip
def test_nobody_is_sent_to_another_site(lan, address):
    assert not is_local(address)
    guest = Visitor(lan)
    guest.get("/enter")
    guest.cookies.set("asked", "".join(f"%{byte:02X}" for byte in address.encode()), path="/enter")
    assert enter(guest).headers["location"] == "/"


def test_addresses_with_names_in_them_are_local():
    assert is_local("/")
    assert is_local("/variants/back%20box/readings?session=Tuesday&rater=%C3%89va#top")


def test_the_page_of_the_key_asks_for_nothing_that_needs_it(lan):
    """No stream, no links that would lead back here, no size of the project; and the key can be read while it is typed."""
    page = Visitor(lan).get("/enter")
    assert "data-live" not in page.html
    assert "3 variants" not in page.text
    assert "/variants" not in page.html
    assert "/report.html" not in page.html
    assert 'type="password"' not in page.html
    assert dict(page.form("/enter")["fields"])["key"] == ""
