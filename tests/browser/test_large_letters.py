"""A browser whose letters are set to twice the usual size, on a phone: they grow, and nothing overlaps or runs off the side."""

from __future__ import annotations

import pytest

from tests.browser.devices import PHONE
from tests.browser.screens import PAGES
from tests.browser.serving import Served, radio_in

pytestmark = [pytest.mark.browser, pytest.mark.slow]
sync_api = pytest.importorskip("playwright.sync_api")

LETTERS = 32
MORE_ARGUMENTS = (f"--blink-settings=defaultFontSize={LETTERS}",)
DRAWN = "() => [...document.querySelectorAll('.plot')].every(plot => plot.dataset.made)"
FAULTS = """most => {
    const found = [], wide = document.documentElement.scrollWidth;
    if (wide > most) found.push(`${wide} px wide`);
    for (const tab of document.querySelectorAll(".tabs a")) {
        const words = document.createRange(), room = tab.getBoundingClientRect();
        words.selectNodeContents(tab);
        const said = words.getBoundingClientRect();
        if (said.left < room.left - 1 || said.right > room.right + 1 || said.bottom > room.bottom + 1)
            found.push(`${tab.textContent.trim()} runs out of its tab`);
    }
    return found;
}"""


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    """Of the radio's log, served; no test here changes it."""
    folder = tmp_path_factory.mktemp("letters")
    project = radio_in(folder)
    with Served(project.path, folder, patience_s=30.0) as served:
        yield served.address


GROWN = """() => [...document.querySelectorAll('.plot')].map(plot => {
    const seen = plot.getBoundingClientRect(), room = plot.closest("figure").getBoundingClientRect();
    return [seen.width / plot.offsetWidth, seen.right <= room.right + 1 && seen.bottom <= room.bottom + 1];
})"""


def test_letters_of_charts_grow_where_there_is_room(browser, address):
    """Twice as large at a desk, within their frames, and what is under the pointer is still found."""
    page = browser.new_page(viewport={"width": 1280, "height": 900})
    for path in ("/moves/echo", "/next"):
        page.goto(address + path)
        page.wait_for_function(DRAWN)
        grown = page.evaluate(GROWN)
        assert grown
        assert all(is_within for _, is_within in grown)
        assert [round(scale, 2) for scale, _ in grown] == [LETTERS / 16] * len(grown)
        assert page.evaluate(FAULTS, 1280) == []
        page.locator(".scatterlayer .point").first.scroll_into_view_if_needed()
        mark = page.locator(".scatterlayer .point").first.bounding_box()
        page.mouse.move(mark["x"] + mark["width"] / 2, mark["y"] + mark["height"] / 2)
        page.wait_for_selector(".hoverlayer .hovertext", timeout=5000)
    page.close()


LETTERED = """() => Object.fromEntries([...document.querySelectorAll('.plot')].map(plot => {
    const sizes = [...plot.querySelectorAll('.main-svg text')].map(text => parseFloat(getComputedStyle(text).fontSize));
    return [plot.id, [Math.max(...sizes) * plot.getBoundingClientRect().width / plot.offsetWidth, %s]];
}))"""
CROWDED = """(() => {
    const room = plot.getBoundingClientRect();
    const seen = [...plot.querySelectorAll('.annotation text')].map(text => text.getBoundingClientRect());
    return seen.some(box => box.left < room.left - 1 || box.right > room.right + 1)
        || seen.some((box, place) => seen.slice(place + 1).some(other =>
            Math.min(box.right, other.right) - Math.max(box.left, other.left) > 2
            && Math.min(box.bottom, other.bottom) - Math.max(box.top, other.top) > 2));
})()"""


def test_letters_of_charts_grow_on_a_phone_too(browser, address):
    """The drawing for a narrow screen gets larger letters and more height where they keep apart; none runs out of it."""
    usual = 14.0  # pixels, of the labels in every chart: doe/charts/theme.py
    page = browser.new_context(**PHONE).new_page()
    found = {}
    for path in ("/moves/echo", "/plan?runs=8&kind=d-optimal"):
        page.goto(address + path)
        page.wait_for_function(DRAWN)
        found |= page.evaluate(LETTERED % CROWDED)
        assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["viewport"]["width"]
    page.context.close()
    assert not any(is_crowded for _, is_crowded in found.values())
    for name in ("chart-2-effects", "plan-precision", "plan-prediction"):
        assert found[name][0] > 1.25 * usual, name


def test_pages_follow_the_letters_of_the_browser(browser, address):
    page = browser.new_context(**PHONE).new_page()
    found = {}
    for name, path in PAGES.items():
        page.goto(address + path)
        page.wait_for_function(DRAWN)
        found[name] = page.evaluate(FAULTS, PHONE["viewport"]["width"])
        size = page.evaluate("parseFloat(getComputedStyle(document.body).fontSize)")
        assert size == LETTERS, name
    page.context.close()
    assert {name: told for name, told in found.items() if told} == {}
