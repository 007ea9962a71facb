"""The report in a real Chromium: quiet console, no request, no sideways scrolling, and drawings that equal the table."""

from __future__ import annotations

import re

import pytest

from doe.charts import theme
from doe.sheets import report
from tests.browser.drawn import INTERVALS
from tests.charts import radio
from tests.sheets import hard

pytestmark = [pytest.mark.browser, pytest.mark.slow]
sync_api = pytest.importorskip("playwright.sync_api")


@pytest.fixture(scope="module")
def pages(tmp_path_factory):
    folder = tmp_path_factory.mktemp("reports")
    projects = {"radio": radio.project(folder / "radio.duckdb"), "named": hard.named(folder / "named.duckdb"),
                "empty": hard.empty(folder / "empty.duckdb")}  # fmt: skip
    return {name: report(project, folder / f"{name}.html") for name, project in projects.items()}


class Seen:
    """An open page with what its console said and what it asked for."""

    def __init__(self, browser, path, width: int, scheme: str = "light") -> None:
        self.said: list[str] = []
        self.asked: list[str] = []
        self.context = browser.new_context(viewport={"width": width, "height": 844}, color_scheme=scheme)
        self.page = self.context.new_page()
        self.page.on("console", lambda message: self.said.append(message.text))
        self.page.on("pageerror", lambda error: self.said.append(str(error)))
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.goto(path.as_uri())
        self.page.wait_for_function("() => [...document.querySelectorAll('.plot')].every(plot => plot.dataset.made)")


@pytest.fixture(scope="module")
def look_at(browser, pages):
    """Open a page, or return it where it is open, for tests that only read it."""
    opened: dict[tuple[str, int, str], Seen] = {}

    def look(name: str, width: int, scheme: str = "light") -> Seen:
        if (name, width, scheme) not in opened:
            opened[name, width, scheme] = Seen(browser, pages[name], width, scheme)
        return opened[name, width, scheme]

    yield look
    for seen in opened.values():
        seen.context.close()


@pytest.fixture
def open_page(browser, pages):
    """Open a page for a test that changes it, or what it shows."""
    opened: list[Seen] = []

    def open_it(name: str, width: int, scheme: str = "light") -> Seen:
        opened.append(Seen(browser, pages[name], width, scheme))
        return opened[-1]

    yield open_it
    for seen in opened:
        seen.context.close()


@pytest.mark.parametrize(
    ("name", "width", "scheme"),
    [
        *(("radio", width, scheme) for width in (390, 1280) for scheme in ("light", "dark")),
        ("named", 390, "dark"),
        ("named", 1280, "light"),
        ("empty", 390, "light"),
        ("empty", 1280, "dark"),
    ],
)
def test_page_is_quiet_asks_for_nothing_and_fits(look_at, pages, name, width, scheme):
    """No console message, one request (the file), no sideways scrolling of the page."""
    seen = look_at(name, width, scheme)
    assert seen.said == []
    assert [url for url in seen.asked if not url.startswith(("data:", "blob:"))] == [pages[name].as_uri()]
    assert seen.page.evaluate("document.documentElement.scrollWidth") <= width
    assert seen.page.evaluate("window.hacked") is None


@pytest.mark.parametrize("width", [390, 1280])
@pytest.mark.parametrize("place", [1, 2])
def test_drawn_interval_ends_equal_the_numbers_in_the_table(look_at, place, width):
    """Pixels of the drawn lines, turned back into the outcome's unit, against the text of the table beside the chart."""
    page = look_at("radio", width).page
    told = [
        [float(number) for number in re.findall(r"-?[\d.]+", text)]
        for text in page.locator(f"#outcome-{place} table.effects td[data-label='95 % interval']").all_inner_texts()
    ]
    drawn = page.evaluate(INTERVALS, f"chart-{place}-effects")
    assert len(drawn) == len(told) >= 5
    for (_, low, high, pixel), (told_low, told_high) in zip(drawn, told, strict=True):
        rounding = 0.051  # the table prints one decimal place, or more
        assert abs(low - told_low) <= rounding + abs(pixel) / 2
        assert abs(high - told_high) <= rounding + abs(pixel) / 2


def test_narrow_page_shows_the_narrow_drawing(look_at):
    widths = [
        look_at("radio", width).page.evaluate("document.getElementById('chart-1-effects').layout.meta.width")
        for width in (390, 1280)
    ]
    assert widths == ["narrow", "wide"]


def test_drawing_changes_with_the_width_of_the_window(open_page):
    page = open_page("radio", 1280).page
    page.set_viewport_size({"width": 390, "height": 844})
    page.wait_for_function("() => document.getElementById('chart-1-effects').layout.meta.width === 'narrow'")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_charts_take_the_colours_of_the_reader(look_at, scheme):
    page = look_at("radio", 1280, scheme).page
    shown = page.evaluate("document.getElementById('chart-1-effects').layout.template.layout.paper_bgcolor")
    assert shown == theme.COLOURS[scheme]["sheet"]
    sheet = page.evaluate("getComputedStyle(document.documentElement).getPropertyValue('--sheet')")
    assert sheet == theme.COLOURS[scheme]["sheet"]


def test_print_is_light_and_within_the_paper(open_page):
    """While printing every chart is the wide drawing on light ground; afterwards the page is as before."""
    page = open_page("radio", 390, "dark").page
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    made = page.evaluate(
        "[...document.querySelectorAll('.plot')].map(plot => [plot.layout.meta.width, plot.layout.width, plot.style.zoom])"
    )
    assert {tuple(item) for item in made} == {("wide", 860, "0.78")}
    assert (
        page.evaluate("document.getElementById('chart-1-effects').layout.template.layout.font.color")
        == theme.COLOURS["light"]["ink"]
    )
    page.evaluate("window.dispatchEvent(new Event('afterprint'))")
    assert page.evaluate("document.getElementById('chart-1-effects').layout.meta.width") == "narrow"


def test_printed_pages_hold_every_part(open_page, tmp_path):
    """PDF 1.4 and later: the number of page objects; A4, nothing cut into an endless strip."""
    page = open_page("radio", 1280).page
    data = page.pdf(format="A4", print_background=True)
    count = len(re.findall(rb"/Type\s*/Page[^s]", data))
    assert 6 <= count <= 16


def test_every_text_stands_out_from_its_ground(look_at):
    """WCAG 2.2, 1.4.3 (AA), of every text on the page by its computed colours, light and dark."""
    script = """() => {
        const channel = v => { v /= 255; return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; };
        const light = c => { const [r, g, b] = c.match(/[\\d.]+/g).map(Number); return .2126 * channel(r) + .7152 * channel(g) + .0722 * channel(b); };
        const ground = e => { for (; e; e = e.parentElement) { const c = getComputedStyle(e).backgroundColor; if (!/, 0\\)/.test(c)) return c; } return "rgb(255,255,255)"; };
        let worst = 21;
        for (const e of document.querySelectorAll("body :not(script):not(style):not(noscript)")) {
            if (e.closest("svg") || ![...e.childNodes].some(n => n.nodeType === 3 && n.data.trim())) continue;
            const a = light(getComputedStyle(e).color), b = light(ground(e));
            worst = Math.min(worst, (Math.max(a, b) + .05) / (Math.min(a, b) + .05));
        }
        return worst;
    }"""  # noqa: E501
    for scheme in ("light", "dark"):
        assert look_at("radio", 1280, scheme).page.evaluate(script) >= 4.5


def test_log_can_be_reached_and_scrolled_by_keyboard(open_page):
    """WCAG 2.2, 2.1.1: a region that scrolls takes the focus and has a name."""
    page = open_page("radio", 390).page
    region = page.locator("#log .scroll")
    region.focus()
    page.keyboard.press("End")
    assert page.evaluate("document.activeElement.getAttribute('aria-label')") == "The log"
