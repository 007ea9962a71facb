"""A phone at a served bench, and what a thumb does on it."""

from __future__ import annotations

import io

from PIL import Image

PHONE = {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True}


class Device:
    """A browser of its own, with what its console said and what it asked for."""

    def __init__(self, browser, address, **options):
        self.said, self.asked, self.bodies = [], [], []
        self.context = browser.new_context(**options)
        self.page = self.context.new_page()
        self.page.on("console", lambda message: self.said.append(message.text))
        self.page.on("pageerror", lambda error: self.said.append(str(error)))
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.address = address

    def go(self, path="/"):
        self.page.goto(self.address + path)
        return self.page

    def check(self):
        """Nothing on the console, nothing asked of anybody else, nothing wider than the screen."""
        assert self.said == []
        assert [url for url in self.asked if not url.startswith((self.address, "data:", "blob:"))] == []
        # innerWidth grows with what overflows on a phone, so the screen's own width is asked for
        width = self.page.viewport_size["width"]
        assert self.page.evaluate("document.documentElement.scrollWidth") <= width


def tap(page, text):
    """Tap a button that sends a form, and wait for the page that it leads to."""
    with page.expect_navigation():
        page.locator("button", has_text=text).first.tap()


def show_demo(device):
    device.go("/start")
    tap(device.page, "Demo: Tabletop radio")
    return device.page


def photo():
    out = io.BytesIO()
    Image.new("RGB", (80, 60), "sienna").save(out, "JPEG")
    return {"name": "back.jpg", "mimeType": "image/jpeg", "buffer": out.getvalue()}
