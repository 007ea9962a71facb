"""The bench in a real Chromium: the job by thumb on a phone, without JavaScript, and live between two devices."""

from __future__ import annotations

import pytest

from tests.browser.devices import PHONE, Device, photo, show_demo, tap
from tests.browser.drawn import INTERVALS
from tests.browser.serving import Served, radio_in

pytestmark = [pytest.mark.browser, pytest.mark.slow]
sync_api = pytest.importorskip("playwright.sync_api")

CONTRAST = """() => {
    const channel = v => { v /= 255; return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; };
    const light = c => { const [r, g, b] = c.match(/[\\d.]+/g).map(Number); return .2126 * channel(r) + .7152 * channel(g) + .0722 * channel(b); };
    const ground = e => { for (; e; e = e.parentElement) { const c = getComputedStyle(e).backgroundColor; if (!/, 0\\)/.test(c)) return c; } return "rgb(255,255,255)"; };
    let worst = [21, ""];
    for (const e of document.querySelectorAll("body :not(script):not(style):not(noscript)")) {
        if (e.closest("svg,option,.unseen,.skip") || ![...e.childNodes].some(n => n.nodeType === 3 && n.data.trim())) continue;
        const a = light(getComputedStyle(e).color), b = light(ground(e));
        const ratio = (Math.max(a, b) + .05) / (Math.min(a, b) + .05);
        if (ratio < worst[0]) worst = [ratio, e.outerHTML.slice(0, 80)];
    }
    return worst;
}"""  # noqa: E501
SMALL = """() => [...document.querySelectorAll("button, .button, .chip, .tabs a, input[type=text], select, textarea")]
    .filter(e => e.offsetParent && !e.matches(".quiet"))
    .filter(e => e.getBoundingClientRect().height < 43.5 || e.getBoundingClientRect().width < 24)
    .map(e => e.outerHTML.slice(0, 80))"""
SLIGHT = """() => [...document.querySelectorAll("main :is(a, summary, button)")].filter(e => {
    const box = e.getBoundingClientRect();
    return e.offsetParent && box.width && (box.height < 24 || box.width < 24);
}).map(e => e.outerHTML.slice(0, 80))"""
"""What a thumb could miss: WCAG 2.2, success criterion 2.5.8, asks for 24 px each way."""


@pytest.fixture
def served(tmp_path):
    with Served(None, tmp_path, patience_s=20.0) as running:
        yield running


def log(page, address, settings, is_first=False):
    """Log a variant of the fan by tapping, with a photo."""
    page.goto(f"{address}/log?unit=new")
    for name, value in settings.items():
        chip = page.locator(f".chip:has(input[name='f.{name}'][value='{value}'])")
        if chip.count():
            chip.tap()
        else:
            page.locator(f"[name='f.{name}']").fill(str(value))
    page.set_input_files("#photos", photo())
    tap(page, "Store variant")
    page.wait_for_url("**/readings*")


def judge(device, link, grade):
    """Judge everything that a rater's page asks; return the codes and all the texts seen.

    The drawn secret of the link is taken out of the texts: four letters of it spell a word now and then.
    """
    page, seen, secret = device.page, [], link.rsplit("/", 1)[1]
    page.goto(link)
    while page.locator(".code").count():
        device.check()
        seen.append((page.locator(".code").inner_text(), page.content().replace(secret, "").casefold()))
        page.locator(f".grade:has(input[value='{grade(len(seen))}'])").first.tap()
        tap(page, "That is my judgement")
    return seen


def test_the_whole_job_on_a_phone(browser, served, tmp_path):
    """Start from a set, log six variants with photos, a blind session with two raters, verdict, next change, report."""
    device = Device(browser, served.address, **PHONE)
    page = device.go("/start")
    page.fill("[name=title]", "Desk fan")
    page.locator(".pick:has(input[value=fan])").tap()
    tap(page, "Start the project")
    page.wait_for_selector(".todo")
    builds = [(3, 18, 0.5, "none"), (9, 28, 0.5, "felt"), (3, 40, 4, "foam"), (9, 18, 4, "none"), (6, 28, 2, "felt"),
              (9, 28, 4, "foam")]  # fmt: skip
    for blades, pitch, gap, liner in builds:
        log(page, served.address, {"blades": blades, "pitch": pitch, "tip_gap": gap, "speed": 1800, "liner": liner})
        page.fill("[name='o.airflow']", f"{60 + 4 * blades + pitch:.1f}")
        page.fill("[name='o.noise_level']", f"{30 + blades + pitch / 10:.1f}")
        tap(page, "Store the readings")
        page.wait_for_selector(".notice")
        device.check()
    device.go("/sessions/new")
    page.locator(".chip:has([name=outcomes])").first.tap()
    for name in "1256":
        page.locator(f".chip:has([name=variants][value='{name}'])").tap()
    page.locator(".chip:has([name=twice][value='5'])").tap()
    page.fill("[name=raters]", "Ann\nBo")
    tap(page, "Prepare it")
    page.wait_for_selector(".rater")
    links = [item.get_attribute("href") for item in page.locator(".rater a").all()]
    session = page.url
    for number, link in enumerate(links):
        rater = Device(browser, served.address, **PHONE)
        seen = judge(rater, link, lambda place, number=number: 1 + (place + number) % 7)
        assert len({code for code, _ in seen}) == 5
        words = ("blades", "pitch", "tip_gap", "liner", "felt", "foam", "variant")
        assert [text[max(0, text.find(word) - 99) :][:200] for word in words for _, text in seen if word in text] == []
        assert rater.context.cookies() == []
        rater.context.close()
    page.goto(session)
    tap(page, "Close the session")
    page.wait_for_selector("text=How well each rater repeats")
    device.check()
    device.go("/moves/airflow")
    page.wait_for_function("() => [...document.querySelectorAll('.plot')].every(plot => plot.dataset.made)")
    assert page.locator("#outcome-1 h2").inner_text()
    device.check()
    device.go("/next")
    page.wait_for_load_state()
    if page.get_by_role("button", name="Take it").count():
        tap(page, "Take it")
        page.wait_for_selector(".checklist")
        page.locator(".checklist input").first.tap()
        assert page.locator(".checklist input").first.is_checked()
    device.check()
    device.go("/")
    report = page.locator(".foot a[data-making]")
    with page.expect_download() as download:
        report.tap()
        assert report.inner_text() == "Making the report"
    page.locator(".foot a[data-making]:not([aria-busy])").wait_for()
    assert download.value.suggested_filename.endswith(".html")
    download.value.save_as(tmp_path / "report.html")
    assert "Desk fan" in (tmp_path / "report.html").read_text(encoding="utf-8")
    device.context.close()


def test_the_log_and_a_judgement_without_javascript(browser, served):
    device = Device(browser, served.address, java_script_enabled=False, **PHONE)
    page = show_demo(device)
    page.goto(f"{served.address}/log?unit=body+C")
    page.fill("[name='f.wool']", "27")
    tap(page, "Store variant")
    assert (
        page.locator("#in-f-wool-error").inner_text() == "wool is 27; it must be a number from 0 to 60 % in steps of 5."
    )
    assert page.locator("[name='f.wool']").input_value() == "27"
    page.fill("[name='f.wool']", "50")
    page.set_input_files("#photos", photo())
    tap(page, "Store variant")
    page.fill("[name='o.bass']", "0.4 0.6")
    page.locator(".chip:has(input[name='o.echo'][value='2'])").tap()
    tap(page, "Store the readings")
    assert "Read bass 0.4, bass 0.6, echo 2 of variant" in page.locator(".notice").inner_text()
    tap(page, "Take it back")
    assert "Took back" in page.locator(".notice").inner_text()
    page.goto(f"{served.address}/sessions/new")
    page.locator(".chip:has([name=outcomes])").first.tap()
    for chip in page.locator(".chip:not(.off):has([name=variants])").all()[:2]:
        chip.tap()
    page.fill("[name=raters]", "Ann")
    tap(page, "Prepare it")
    page.goto(page.locator(".rater a").first.get_attribute("href"))
    for _ in range(2):
        page.locator(".grade").nth(2).tap()
        tap(page, "That is my judgement")
    assert "Thank you" in page.locator("h1").inner_text()
    device.context.close()


def test_a_reading_shows_on_the_other_device_without_a_reload(browser, served):
    """Within 2 s of being stored; and a form that is being filled is left alone and told."""
    first, second = (Device(browser, served.address, **PHONE) for _ in range(2))
    page = show_demo(first)
    watching = second.go("/variants/21")
    watching.evaluate("window.stillHere = true")
    busy = Device(browser, served.address, **PHONE)
    filling = busy.go("/log?unit=body+A")
    filling.locator("[name=note]").fill("half typed")
    page.goto(f"{served.address}/variants/21/readings")
    page.fill("[name='o.bass']", "1.25")
    tap(page, "Store the readings")
    watching.wait_for_selector("text=bass 1.25 dB", timeout=2500)
    assert watching.evaluate("window.stillHere") is True
    filling.wait_for_selector("#news:not([hidden])", timeout=2500)
    assert filling.locator("[name=note]").input_value() == "half typed"
    filling.goto(f"{served.address}/")
    filling.goto(f"{served.address}/log?unit=body+A")
    assert filling.locator("[name=note]").input_value() == "half typed"
    for device in (first, second, busy):
        device.check()
        device.context.close()


def test_a_draft_is_dropped_once_it_is_stored_and_kept_until_then(browser, served):
    """Wherever the store leads, also where that page has no form; what was refused, or typed elsewhere, stays."""
    device = Device(browser, served.address, **PHONE)
    page = show_demo(device)
    still = "What you typed here before is still there."
    device.go("/setup/outcome")
    page.fill("[name=name]", "hum tone")
    page.locator("[name=unit]").fill("dB")
    tap(page, "Store")
    assert page.locator("[name=name]").input_value() == "hum tone", "refused: a name has no blank"
    device.go("/log?unit=body+A")
    page.locator("[name=note]").fill("half typed")
    device.go("/setup/outcome")
    assert page.locator("[name=name]").input_value() == "hum tone"
    assert still in page.locator("#news").inner_text()
    page.fill("[name=name]", "hum")
    tap(page, "Store")
    assert "Stored" in page.locator(".notice").inner_text()
    device.go("/setup/outcome")
    assert page.locator("[name=name]").input_value() == ""
    assert page.locator("#news").is_hidden()
    device.go("/log?unit=body+A")
    assert page.locator("[name=note]").input_value() == "half typed"
    device.go("/start")
    page.fill("[name=title]", "Desk bell")
    tap(page, "Start the project")
    device.go("/start")
    assert page.locator("[name=title]").input_value() == ""
    assert [text for text in device.said if "422" not in text] == []
    device.context.close()


CUT = """() => [...document.querySelectorAll("select")].flatMap(list => {
    const style = getComputedStyle(list), pen = document.createElement("canvas").getContext("2d");
    pen.font = style.font;
    const room = list.clientWidth - parseFloat(style.paddingLeft) - parseFloat(style.paddingRight) - 20; // the arrow
    return [...list.options].map(item => item.text).filter(text => pen.measureText(text).width > room);
})"""


def test_choices_and_buttons_on_a_phone_read_as_they_are_written(browser, served):
    """No choice is cut off, no two words run into one, and a new unit, of which all is new, counts no changes."""
    device = Device(browser, served.address, **PHONE)
    page = show_demo(device)
    for path in ("/setup/factor", "/setup/outcome", "/setup/expectation", "/settle", "/compare?a=1&b=21"):
        device.go(path)
        assert page.evaluate(CUT) == [], path
    device.go("/log?unit=body+B")
    assert page.locator("button", has_text="Retire").inner_text() == "Retire body B"
    assert page.locator(".changes").inner_text() == "nothing changed yet"
    device.go("/log?unit=new")
    assert page.locator(".changes").inner_text() == ""
    device.check()
    device.context.close()


def test_what_keeps_a_version_from_being_settled_is_seen_at_once(browser, served):
    """The field that is to blame has the focus, its form is on the screen, and what was typed is there."""
    device = Device(browser, served.address, **PHONE)
    page = show_demo(device)
    device.go("/settle")
    page.locator("#keep [name=note]").fill("on the shelf")
    tap(page, "Settle it")
    assert page.evaluate("document.activeElement.name") == "name"
    assert page.locator("#in-name-keep").bounding_box()["y"] < 844
    assert page.locator("#keep [name=note]").input_value() == "on the shelf"
    page.locator("#keep [name=variant]").select_option("21")
    tap(page, "Show the builds of this variant")
    assert "with the settings of variant 21" in page.locator("#keep").inner_text()
    assert page.locator("#keep [name=note]").input_value() == "on the shelf"
    assert page.locator("#keep").bounding_box()["y"] < 844
    device.context.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_text_stands_out_and_targets_are_big_enough(browser, served, scheme):
    """WCAG 2.2, 1.4.3 (4.5:1) by computed colours, and 2.5.8 with room to spare: 44 px high, on every page."""
    device = Device(browser, served.address, color_scheme=scheme, **PHONE)
    page = show_demo(device)
    paths = ("/", "/log", "/variants", "/variants/21", "/variants/21/readings", "/moves/echo", "/next", "/history",
             "/setup", "/setup/factor?name=wool", "/sessions", "/sessions/new", "/import", "/start", "/what-if",
             "/settle")  # fmt: skip
    for path in paths:
        device.go(path)
        ratio, where = page.evaluate(CONTRAST)
        assert ratio >= 4.5, (path, where)
        assert page.evaluate(SMALL) == [], path
        assert page.evaluate(SLIGHT) == [], path
        assert page.evaluate("document.documentElement.scrollWidth") <= 390, path
    assert [text for text in device.said if "404" not in text] == []
    device.context.close()


def test_what_if_follows_the_settings_and_works_without_a_script(browser, served):
    """The same prediction whether it is asked with the button or follows a change."""
    device = Device(browser, served.address, **PHONE)
    page = show_demo(device)
    device.go("/what-if?f.vents=4&f.rings=7&f.wool=50&f.driver=poly&f.feet=felt")
    first = page.locator("#answer td").first.inner_text()
    page.locator("[name='f.vents']").fill("1")
    page.wait_for_function("before => document.querySelector('#answer td').innerText !== before", arg=first)
    live = page.locator("#answer").inner_text()
    assert "f.vents=1" in page.url
    page.locator("[name='f.vents']").fill("77")
    page.wait_for_selector("#answer .problem")
    plain = Device(browser, served.address, java_script_enabled=False, **PHONE)
    plain.go("/what-if")
    for name, value in {"vents": "1", "rings": "7", "wool": "50"}.items():
        plain.page.locator(f"[name='f.{name}']").fill(value)
    for name, value in {"driver": "poly", "feet": "felt"}.items():
        plain.page.locator(f".chip:has([name='f.{name}'][value='{value}'])").tap()
    tap(plain.page, "What would it do?")
    assert plain.page.locator("#answer").inner_text() == live
    device.context.close()
    plain.context.close()


@pytest.mark.parametrize("width", [390, 1280])
def test_drawn_intervals_equal_the_analysis_and_are_told_in_text(browser, served, width):
    """Ends of the drawn lines, turned back from pixels, against the JSON interface; the text alternative names them too."""
    device = Device(browser, served.address, viewport={"width": width, "height": 844})
    device.go("/start")
    with device.page.expect_navigation():
        device.page.locator("button", has_text="Demo: Tabletop radio").click()
    page = device.go("/moves/bass")
    page.wait_for_function("() => [...document.querySelectorAll('.plot')].every(plot => plot.dataset.made)")
    table = device.context.request.get(f"{served.address}/api/analyse/bass").json()["table"]
    drawn = page.evaluate(INTERVALS, "chart-1-effects")
    assert len(drawn) >= 5
    ends = [(row["low"], row["high"]) for row in table]
    for _, low, high, pixel in drawn:
        assert min(max(abs(low - a), abs(high - b)) for a, b in ends) <= abs(pixel)
    for plot in page.locator(".plot").all():
        assert len(plot.get_attribute("aria-label")) > 40
    told = page.locator("#chart-1-effects").get_attribute("aria-label")
    shown = page.locator("#outcome-1 td[data-label='95 % interval']").all_inner_texts()
    assert len(shown) == len(drawn)
    assert all(interval in told for interval in shown), (told, shown)
    device.check()
    device.context.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_a_build_sheet_is_shown_as_it_was_designed(browser, tmp_path, scheme):
    """On a phone: its own style is let in, nothing is blocked, and nothing runs off the side."""
    project = radio_in(tmp_path)
    project.keep_version("kitchen radio", "21")
    with Served(project.path, tmp_path, patience_s=20.0) as running:
        device = Device(browser, running.address, **PHONE, color_scheme=scheme)
        page = device.go("/settle/1/sheet.html")
        device.check()
        serif = page.evaluate("getComputedStyle(document.querySelector('h1')).fontSize")
        assert serif != "32px"  # a browser's own h1
        assert page.evaluate("getComputedStyle(document.querySelector('.facts')).display") == "flex"
        device.context.close()
