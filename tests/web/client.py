"""A browser without JavaScript: follows links, fills forms as they stand, keeps cookies."""

from __future__ import annotations

import asyncio
import time
from html.parser import HTMLParser

import httpx


class Page(HTMLParser):
    """An answer, with its forms and what stands in them."""

    def __init__(self, answer):
        super().__init__()
        self.status, self.html, self.headers, self.url = (
            answer.status_code,
            answer.text,
            answer.headers,
            str(answer.url),
        )
        self.content = answer.content
        self.forms, self.ids, self.texts = [], [], []
        self._select, self._area, self._skip = None, None, False
        if "html" in answer.headers.get("content-type", ""):
            self.feed(self.html)

    def handle_starttag(self, tag, attributes):
        found = dict(attributes)
        if "id" in found:
            self.ids.append(found["id"])
        if tag == "form":
            self.forms.append({"action": found["action"], "method": found.get("method", "get"), "fields": []})
        elif tag in ("script", "style"):
            self._skip = True
        elif tag == "input" and self.forms and "name" in found:
            kind = found.get("type", "text")
            if kind != "file" and (kind not in ("radio", "checkbox") or "checked" in found):
                self.forms[-1]["fields"].append((found["name"], found.get("value", "")))
        elif tag == "textarea" and self.forms:
            self._area = found["name"]
            self.forms[-1]["fields"].append((self._area, ""))
        elif tag == "select" and self.forms:
            self._select = found["name"]
            self.forms[-1]["fields"].append((self._select, ""))
        elif tag == "option" and self._select and "selected" in found:
            self.forms[-1]["fields"][-1] = (self._select, found.get("value", ""))

    def handle_endtag(self, tag):
        if tag in ("script", "style"):
            self._skip = False
        if tag == "textarea":
            self._area = None
        if tag == "select":
            self._select = None

    def handle_data(self, data):
        if self._area is not None:
            name, value = self.forms[-1]["fields"][-1]
            self.forms[-1]["fields"][-1] = (name, value + data)
        elif not self._skip and data.strip():
            self.texts.append(data.strip())

    @property
    def text(self):
        return " ".join(self.texts)

    def form(self, ends):
        """Return the first form whose address ends (or begins) like this."""
        return next(form for form in self.forms if form["action"].split("?")[0].endswith(ends))


class Visitor:
    """Somebody with a browser, at an app in this process."""

    def __init__(self, app, host="127.0.0.1", address="127.0.0.1"):
        self.app, self.base, self.address = app, f"http://{host}", address
        self.cookies = httpx.Cookies()

    def request(self, method, path, **options):
        async def ask():
            transport = httpx.ASGITransport(self.app, client=(self.address, 5000))
            async with httpx.AsyncClient(transport=transport, base_url=self.base, cookies=self.cookies) as client:
                answer = await client.request(method, path, **options)
                self.cookies = client.cookies
                return answer

        return Page(asyncio.run(ask()))

    def get(self, path, **options):
        return self.request("GET", path, **options)

    def follow(self, page):
        while page.status == 303:
            page = self.get(page.headers["location"])
        return page

    def send(self, page, ends, files=None, follow=True, **typed):
        """Send a form with some fields changed; dots and dashes in names are written as double underscores."""
        form = page.form(ends)
        changed = {name.replace("__", "."): value for name, value in typed.items()}
        fields: dict[str, list[str]] = {}
        for name, value in form["fields"]:
            if name not in changed:
                fields.setdefault(name, []).append(value)
        for name, value in changed.items():
            fields[name] = value if isinstance(value, list) else [value]
        answer = self.request("POST", form["action"], data=fields, files=files or None)
        return self.follow(answer) if follow else answer


def worked_out(visitor, path):
    """Look again until what the page waits for is worked out."""
    page = visitor.get(path)
    for _ in range(200):
        if "Working out" not in page.text:
            return page
        time.sleep(0.1)
        page = visitor.get(path)
    raise AssertionError(f"the work on {path} did not end")
