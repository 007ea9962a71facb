"""Help: what each step of the job is for, with an example that works on the demo."""

from __future__ import annotations

from functools import cache

from fastapi import APIRouter, Request
from markdown_it import MarkdownIt
from markupsafe import Markup
from starlette.exceptions import HTTPException
from starlette.responses import Response

from doe.guides.topics import TOPICS, topic, topics
from doe.web import urls
from doe.web.contexts import HelpPage
from doe.web.pages import page

router = APIRouter(include_in_schema=False)


@router.get("/help")
def show_list(request: Request) -> Response:
    """Show what there is help on; no project needed."""
    return page(request, "help.html", HelpPage("", "", _listed("")))


@router.get("/help/{key}")
def show(request: Request, key: str) -> Response:
    """Show one topic."""
    if key not in TOPICS:
        raise HTTPException(404)
    return page(request, "help.html", HelpPage(topic(key).title, _body(key), _listed(key)))


@cache
def _body(key: str) -> Markup:
    """Render a topic without its heading; HTML in the text would be shown, not obeyed."""
    _, _, rest = topic(key).text.partition("\n")
    html = MarkdownIt("commonmark", {"html": False}).render(rest)
    return Markup(html.replace("<pre>", '<pre tabindex="0">'))  # wide ones scroll, by keyboard too


def _listed(here: str) -> tuple[tuple[str, str, bool], ...]:
    return tuple((item.title, urls.help_page(item.key), item.key == here) for item in topics())
