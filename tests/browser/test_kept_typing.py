"""What a person has typed, chosen or opened stays theirs: over news from elsewhere, over Back, and when sending was stopped."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.browser.devices import PHONE, Device, photo, tap
from tests.browser.serving import Served, radio_in

pytestmark = [pytest.mark.browser, pytest.mark.slow]
sync_api = pytest.importorskip("playwright.sync_api")

STANDS = """() => [...document.querySelectorAll("form:has(.stick) :is(input, select, textarea):not([type=hidden])")]
    .map(item => [item.name, /radio|checkbox/.test(item.type) ? item.checked && item.value : item.value])"""
"""Every field of the form of a page, and what stands in it."""


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    """The radio's log, served, with a variant that is planned for a new unit."""
    folder = tmp_path_factory.mktemp("kept")
    project = radio_in(folder)
    last = project.snapshot().variants[-1]
    settings = {**last.settings, "vents": 0, "rings": 7}
    project.file.add_variant(replace(last, name="planned", settings=settings, unit=None, parent=None, status="planned"))
    with Served(project.path, folder, patience_s=60.0) as running:
        yield running


@pytest.fixture
def device(browser, demo):
    made = Device(browser, demo.address, **PHONE)
    yield made
    made.context.close()


class Elsewhere:
    """Somebody at another device, who stores what changes no answer."""

    count = 0

    def store(self, demo):
        Elsewhere.count += 1
        demo.app.state.desk.project.log_reference(f"other radio {Elsewhere.count}")


def rested(device, path):
    """Go to a page, and wait until it has nothing to wait for itself."""
    page = device.go(path)
    page.wait_for_selector("[data-working]", state="detached", timeout=60_000)
    return page


def told(page):
    page.wait_for_selector("#news:not([hidden])", timeout=15_000)
    return page.locator("#news").inner_text()


def type_built(page):
    page.fill("[name=minutes]", "1 h 25 min")
    return lambda: page.locator("[name=minutes]").input_value() == "1 h 25 min"


def type_version(page):
    page.fill("#keep [name=note]", "on the shelf")
    return lambda: page.locator("#keep [name=note]").input_value() == "on the shelf"


def type_refusal(page):
    page.locator("summary", has_text="Not this one").first.tap()
    page.locator("[name=why]").first.fill("the glue is out")
    return lambda: page.locator("[name=why]").first.input_value() == "the glue is out"


def choose_photo(page):
    page.set_input_files("#photos", photo())
    return lambda: page.evaluate("document.getElementById('photos').files.length") == 1


@pytest.mark.parametrize(
    ("path", "act"),
    [("/variants/planned", type_built), ("/settle", type_version), ("/next", type_refusal), ("/variants/21", choose_photo)],
)  # fmt: skip
def test_news_from_elsewhere_is_told_and_takes_nothing_away(device, demo, path, act):
    """Also when the focus has left the field; the page says what a reload would drop."""
    page = rested(device, path)
    is_kept = act(page)
    page.evaluate("document.activeElement.blur()")
    Elsewhere().store(demo)
    assert "Just now, elsewhere: logged variant" in told(page)
    assert "Reloading drops what was filled in here." in told(page)
    assert is_kept()
    device.check()


def test_what_is_typed_while_the_news_is_fetched_stays(device, demo):
    """The page is asked for before the first letter, and comes after it."""
    page = device.go("/variants/planned")
    held = []
    page.route("**/variants/planned", lambda route: held.append(route))
    with page.expect_request("**/variants/planned"):
        Elsewhere().store(demo)
    is_kept = type_built(page)
    page.evaluate("document.activeElement.blur()")
    held[0].continue_()
    assert "Just now, elsewhere: logged variant" in told(page)
    assert is_kept()


def test_what_was_open_stays_open_and_the_focus_where_it_was(device, demo):
    """What the page itself opens can be closed, what it closes can be opened; both hold when it is drawn anew."""
    page = rested(device, "/next")
    about, aside = (page.locator("summary", has_text=words).first for words in ("What it takes", "Not this one"))
    about.click()
    aside.click()
    page.evaluate("window.stillHere = true")
    Elsewhere().store(demo)
    assert "Just now: logged variant" in told(page)
    page.wait_for_selector("[data-working]", state="detached", timeout=60_000)
    opened = page.evaluate("[...document.querySelectorAll('details[data-called]')].slice(0, 2).map(item => item.open)")
    assert opened == [False, True]
    assert page.evaluate("document.activeElement.textContent") == "Not this one"
    page.locator("a", has_text="Plan several").focus()
    Elsewhere().store(demo)
    page.wait_for_function(
        "count => document.querySelector('#news').textContent.includes(count)", arg=str(Elsewhere.count)
    )
    assert page.evaluate("document.activeElement.textContent") == "Plan several builds at once"
    assert page.evaluate("window.stillHere") is True


class SlowThinker:
    """Works for as long as the test wants, and shows the older answer meanwhile."""

    def __init__(self, known):
        self.known, self.is_over = known, False

    def ask(self, *_):
        return replace(self.known, is_fresh=self.is_over, is_working=not self.is_over)

    def last(self, *_):
        return self.ask()

    def cancel(self):
        pass


def test_an_answer_that_was_waited_for_is_told_when_the_page_is_in_use(device, demo, monkeypatch):
    desk = demo.app.state.desk
    slow = SlowThinker(desk.thinker.ask(desk.project, desk.mark(), 60.0))
    monkeypatch.setattr(desk, "thinker", slow)
    page = device.go("/next")
    assert page.locator("[data-working]").count() == 1
    is_kept = type_refusal(page)
    page.wait_for_timeout(2000)  # twice as long as the page waits before it looks again
    assert page.locator("#news").is_hidden()
    slow.is_over = True
    assert "The work that this page waited for is over. Reloading drops" in told(page)
    assert is_kept()


def test_back_after_storing_shows_a_fresh_form(device, demo):
    """Field by field what a page shows that is opened for the first time, and none of what was stored."""
    fresh = device.context.new_page()
    for path, button in (("/variants/21/readings", "Store the readings"), ("/log?unit=body+C", "Store variant")):
        page = device.go(path)
        if "readings" in path:
            page.fill("[name='o.bass']", "1.25")
            page.locator(".chip:has(input[name='o.echo'][value='2'])").tap()
            page.fill("[name=rater]", "Ann")
            page.fill("[name=session]", "late")
        else:
            page.fill("[name='f.vents']", "6")
            page.locator(".chip:has(input[name='f.driver'][value='bamboo'])").tap()
        page.fill("[name=note]", "half asleep")
        tap(page, button)
        assert "Stored" in page.locator(".notice").inner_text()
        page.go_back()
        fresh.goto(page.url)
        stands = page.evaluate(STANDS)
        assert stands == fresh.evaluate(STANDS), path
        assert ["note", ""] in stands
        assert page.locator("#news").is_hidden()


FAST = "const slow = setTimeout; window.setTimeout = (act, after, ...more) => slow(act, after / 10, ...more);"
"""Timers that run ten times as fast."""
STOPPED = """async () => {
    const button = document.querySelector(".stick button"), said = [button.textContent];
    const later = after => new Promise(done => setTimeout(done, after));
    button.click();
    button.click();
    await later(5000);
    said.push(button.textContent);
    stop();
    await later(4000);
    said.push(button.textContent);
    return said;
}"""
"""Press twice, stop the browser from sending after 5 s, and wait for 4 s more; what the button says meanwhile."""


def test_a_button_says_that_it_is_storing_and_works_again_after_a_while(device, demo):
    """Held back by a slow network and stopped in the browser; pressed again, and stored once."""
    desk, page, held = demo.app.state.desk, device.page, []
    before = len(desk.project.snapshot().variants)
    page.add_init_script(FAST)
    device.go("/log?unit=body+C")
    page.locator(".chip:has(input[name='again'])").tap()
    page.route("**/log", lambda route: held.append(route))
    assert page.evaluate(STOPPED) == ["Store variant", "Storing…", "Store variant"]
    assert len(held) == 1
    page.unroute("**/log")
    tap(page, "Store variant")
    assert "Stored" in page.locator(".notice").inner_text()
    assert len(desk.project.snapshot().variants) == before + 1


CHANGED = """async () => {
    const button = document.querySelector(".stick button"), field = document.querySelector("[name=raters]"), said = [];
    button.click();
    await new Promise(done => setTimeout(done, 500));
    stop();
    said.push(button.textContent);
    field.value = "Ann\\nBo";
    field.dispatchEvent(new Event("input", {bubbles: true}));
    return [...said, button.textContent];
}"""
"""Press, stop the browser from sending, and change a field; what the button says before and after the change."""
WENT_THROUGH = """() => {
    const form = document.querySelector("form:has(.stick)");
    return fetch(form.action, {method: "POST", body: new URLSearchParams(new FormData(form)), redirect: "manual"});
}"""
"""What a form sends reaches the server, though its page hears no more of it."""


def test_what_is_changed_after_sending_was_stopped_is_neither_told_as_stored_nor_lost(device, demo):
    """The first values went through although the browser was stopped: the pages say so, and the form holds the later ones."""
    page, held = device.go("/sessions/new"), []
    page.fill("[name=name]", "Late evening")
    page.locator("[name=outcomes]").first.check(force=True)
    for place in (0, 1):
        page.locator("[name=variants]:not([disabled])").nth(place).check(force=True)
    page.fill("[name=raters]", "Ann")
    page.evaluate(WENT_THROUGH)
    page.route("**/sessions/new", lambda route: held.append(route))
    assert page.evaluate(CHANGED) == ["Storing…", "Prepare it"]
    page.unroute("**/sessions/new")
    tap(page, "Prepare it")
    assert "those earlier values are what is stored" in page.locator("main").inner_text()
    with page.expect_navigation():
        page.locator("a", has_text="Look at what is stored").tap()
    assert (
        page.locator(".notice")
        .inner_text()
        .startswith("Stored earlier: Prepared session Late evening: 2 samples, 1 rater.")
    )
    assert "These are the earlier values" in page.locator(".notice").inner_text()
    tap(page, "Take it back")
    page = device.go("/sessions/new")
    assert "What you typed here before is still there." in told(page)
    assert page.locator("[name=raters]").input_value() == "Ann\nBo"
    tap(page, "Prepare it")
    assert "2 samples, 2 raters" in page.locator(".notice").inner_text()


def test_back_from_an_error_of_the_network_brings_a_form_that_works(device, demo):
    """On a page that itself tells of something stored before; what was typed since is no part of that."""
    page = device.go("/variants/21/readings")
    page.fill("[name='o.bass']", "0.5")
    tap(page, "Store the readings")
    assert "done=" in page.url
    page.fill("[name='o.bass']", "0.75")
    device.context.set_offline(True)
    with page.expect_event("requestfailed"):
        page.locator(".stick button").tap(no_wait_after=True)
    page.wait_for_selector(".stick", state="detached")
    device.context.set_offline(False)
    page.go_back()
    assert page.locator("[name='o.bass']").input_value() == "0.75"
    assert page.locator(".stick button").inner_text() == "Store the readings"
    tap(page, "Store the readings")
    assert "bass 0.75" in page.locator("details").first.text_content()


COME_BACK = "dispatchEvent(new PageTransitionEvent('pageshow', {persisted: true}))"


def test_a_page_that_the_browser_kept_is_not_sent_from_twice(device, demo):
    """What a browser that keeps whole pages does on Back: awake again as it was left, with the token of a stored form."""
    page = device.go("/log?unit=body+C")
    once = page.locator("[name=once]").first.input_value()
    page.locator(".chip:has(input[name='again'])").tap()
    tap(page, "Store variant")
    page = device.go("/log?unit=body+C")
    page.evaluate("window.stillHere = true")
    page.evaluate(COME_BACK)
    page.wait_for_timeout(300)
    assert page.evaluate("window.stillHere") is True
    page.evaluate("once => { document.querySelector('[name=once]').value = once; }", once)
    with page.expect_navigation():
        page.evaluate(COME_BACK)
    assert page.locator("[name=once]").first.input_value() != once


def test_our_script_does_not_wait_for_the_library_that_draws(device):
    """The page follows the news although the library is still on its way, as over a slow network."""
    page = device.page
    held = []
    page.route("**/static/plotly.js", lambda route: held.append(route))
    with page.expect_request("**/live?*"):
        page.goto(f"{device.address}/moves/echo", wait_until="commit")
    assert page.evaluate("!window.Plotly")
    held[0].continue_()
    page.wait_for_function("() => [...document.querySelectorAll('.plot')].every(plot => plot.dataset.made)")
