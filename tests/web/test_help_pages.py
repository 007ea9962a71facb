from doe.guides.topics import TOPICS
from doe.web import Settings, create_app, help_pages
from tests.web.client import Visitor


def test_every_topic_is_listed_and_shown(visitor):
    """The list leads to each topic; each shows its example and its limits."""
    listed = visitor.get("/help")
    for key in TOPICS:
        assert f'href="/help/{key}"' in listed.html
        page = visitor.get(f"/help/{key}")
        assert page.status == 200
        assert "Worked example" in page.text
        assert "When not to trust it" in page.text


def test_help_needs_no_project(tmp_path):
    visitor = Visitor(create_app(None, Settings(folder=tmp_path)))
    assert '<a href="/help">Help</a>' in visitor.get("/start").html
    assert visitor.get("/help").status == 200
    assert visitor.get("/help/framing").status == 200


def test_html_in_a_page_is_shown_and_not_obeyed(visitor, monkeypatch):
    """Also no address but the topics' own becomes a link with a script in it."""
    text = "# T\n<script>alert(1)</script> <b>x</b>\n\n[a](javascript:alert(1))\n"
    monkeypatch.setattr(help_pages, "topic", lambda key: type("Page", (), {"text": text, "title": "T"}))
    help_pages._body.cache_clear()
    page = visitor.get("/help/care")
    help_pages._body.cache_clear()
    assert "<script>alert" not in page.html
    assert "&lt;script&gt;" in page.html
    assert 'href="javascript' not in page.html
