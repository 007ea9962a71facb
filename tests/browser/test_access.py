"""Who cannot see well, or has no pointer: WCAG 2.2 AA by axe-core on every page, and the job by keyboard alone."""

from __future__ import annotations

from importlib.resources import files

import pytest

from tests.browser.screens import PAGES, session_pages
from tests.browser.serving import Served, radio_in

pytestmark = [pytest.mark.browser, pytest.mark.slow]
sync_api = pytest.importorskip("playwright.sync_api")
axe = pytest.importorskip("axe_playwright_python")

RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
"""The tags under which axe-core keeps its rules for WCAG 2.2, level AA and below."""
DRAWN = "() => [...document.querySelectorAll('.plot')].every(plot => plot.dataset.made)"
RUN = """rules => axe.run(document, {runOnly: rules}).then(found => found.violations.map(
    rule => [rule.id, rule.nodes.map(node => node.html.slice(0, 120) + " " + node.failureSummary)]))"""
FOCUS = """() => {
    const shown = document.activeElement.matches(".chip input, .grade input, .pick input")
        ? document.activeElement.nextElementSibling : document.activeElement;
    const style = getComputedStyle(shown), box = shown.getBoundingClientRect();
    const bar = document.querySelector(".stick");
    const under = bar && !bar.contains(shown) ? bar.getBoundingClientRect().top : innerHeight;
    return {outline: parseFloat(style.outlineWidth), style: style.outlineStyle, name: document.activeElement.name || "",
            text: document.activeElement.textContent.trim().slice(0, 40), hidden: box.top >= under || box.bottom <= 0};
}"""


@pytest.fixture(scope="module")
def bench(browser, tmp_path_factory):
    """The radio's log, served, with a session under way; returns its address and every page of it."""
    folder = tmp_path_factory.mktemp("access")
    project = radio_in(folder)
    with Served(project.path, folder, patience_s=30) as served:
        yield served.address, session_pages(browser, served.address)


def violations(page):
    page.evaluate((files("axe_playwright_python") / "axe.min.js").read_text(encoding="utf-8"))
    return page.evaluate(RUN, RULES)


@pytest.mark.parametrize(("scheme", "width"), [("light", 390), ("dark", 1280)])
def test_axe_finds_no_violation_on_any_page(browser, bench, scheme, width):
    """axe-core's WCAG rules; the page's own policy is set aside in this browser only, so that its script may run."""
    address, pages = bench
    context = browser.new_context(viewport={"width": width, "height": 844}, color_scheme=scheme, bypass_csp=True)
    page = context.new_page()
    found = {}
    for name, path in pages.items():
        page.goto(address + path)
        page.wait_for_function(DRAWN)
        found[name] = violations(page)
    for name, path in (("log refused", "/log?unit=body+C"), ("session refused", "/sessions/new")):
        page.goto(address + path)
        page.locator(".stick button").click()
        page.wait_for_selector(".problem")
        found[name] = violations(page)
    context.close()
    assert {name: told for name, told in found.items() if told} == {}


def test_axe_would_find_something(browser):
    """The check can fail: pale text, and a field without a label."""
    context = browser.new_context(bypass_csp=True)
    page = context.new_page()
    page.set_content(
        "<html lang=en><title>x</title><main><h1>x</h1><p style='color:#ccc'>pale</p><input></main></html>"
    )
    assert {rule for rule, _ in violations(page)} == {"color-contrast", "label"}
    context.close()


def step(page, key="Tab"):
    """Press a key; whatever has the focus must show it, and must not be hidden behind the bar at the bottom."""
    page.keyboard.press(key)
    told = page.evaluate(FOCUS)
    if told["name"] or told["text"]:
        assert told["outline"] >= 2, told
        assert told["style"] != "none", told
        assert not told["hidden"], told
    return told


def walk_to(page, name="", text=""):
    """Go on with Tab until a field of that name, or something that says that, has the focus; return what was passed."""
    passed = []
    for _ in range(120):
        told = step(page)
        passed.append(told["name"] or told["text"])
        if (name and told["name"] == name) or (text and told["text"] == text):
            return passed
    raise AssertionError(f"{name or text} cannot be reached; passed {passed}")


def test_a_variant_is_logged_by_keyboard_alone(browser, bench):
    address, _ = bench
    page = browser.new_page(viewport={"width": 390, "height": 844})
    page.goto(f"{address}/log?unit=body+C")
    assert step(page)["text"] == "To the page"
    page.keyboard.press("Enter")  # skips the navigation
    walk_to(page, name="f.vents")
    page.keyboard.press("Control+a")
    page.keyboard.type("5")
    passed = walk_to(page, text="Store variant")
    assert {"f.wool", "f.driver", "f.feet", "minutes", "note"} <= set(passed)
    with page.expect_navigation():
        page.keyboard.press("Enter")
    assert "vents 4 -> 5" in page.locator(".notice").inner_text()
    page.close()


def test_a_session_is_judged_by_keyboard_alone(browser, bench):
    """Every sample of a rater's sheet with Tab, arrow keys and Enter."""
    address, pages = bench
    page = browser.new_page(viewport={"width": 390, "height": 844})
    page.goto(address + pages["listen"])
    judged = 0
    while page.locator(".code").count():
        walk_to(page, name="o.echo")
        page.keyboard.press("Space")
        step(page, "ArrowRight")
        assert page.locator("[name='o.echo']:checked").input_value() == "2"
        walk_to(page, text="That is my judgement")
        with page.expect_navigation():
            page.keyboard.press("Enter")
        judged += 1
    assert judged == 4
    assert "Thank you" in page.locator("h1").inner_text()
    page.close()


def test_every_page_is_in_the_list():
    """What the pictures show is what is checked here; the pages of the bench itself at least."""
    assert {"/", "/log", "/variants", "/sessions", "/moves/echo", "/next", "/history", "/setup"} <= set(PAGES.values())
