"""Names as long as they may be and without a break, on a phone: nothing pushes a page wide or prints over its neighbour."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from doe.project import Project
from doe.store.setup_file import read_setup
from tests.browser.devices import PHONE, Device, tap
from tests.browser.screens import ROOT
from tests.browser.serving import Served

pytestmark = [pytest.mark.browser, pytest.mark.slow]
sync_api = pytest.importorskip("playwright.sync_api")

LONG = 60
FACTOR, LEVELS, OUTCOME, GRADE = "f" * LONG, ["w" * LONG, "v" * LONG], "m" * LONG, "g" * LONG
VARIANT, UNIT, RATER = "V" * LONG, "U" * LONG, "R" * LONG
SETUP = f"""\
title = "Rig"
[[factor]]
name = "{FACTOR}"
kind = "count"
low = 0
high = 6
[[factor]]
name = "paper"
kind = "categorical"
levels = {LEVELS}
[[outcome]]
name = "{OUTCOME}"
unit = "dB"
goal = "hit"
target = 0
worst = 6
matters = 1.0
[[outcome]]
name = "{GRADE}"
kind = "rated"
scale = [1, 7]
goal = "lower"
"""
OVERPRINTED = """() => [...document.querySelectorAll("table.log td, table.log th")].filter(cell => {
    const words = document.createRange();
    words.selectNodeContents(cell);
    const edge = cell.getBoundingClientRect().right;
    return [...words.getClientRects()].some(box => box.width && box.right > edge + 1);
}).map(cell => cell.textContent.slice(0, 20))"""


@pytest.fixture(scope="module")
def rig(tmp_path_factory):
    """A project in which everything has a long name, with a planned variant."""
    folder = tmp_path_factory.mktemp("long")
    (folder / "setup.toml").write_text(SETUP, encoding="utf-8")
    project = Project.create(folder / "rig.duckdb", read_setup(folder / "setup.toml"))
    project.log({FACTOR: 1, "paper": LEVELS[0]}, new_unit=UNIT, name=VARIANT)
    for value, level in ((2, 0), (3, 1), (5, 1), (6, 0), (0, 1)):
        project.log({FACTOR: value, "paper": LEVELS[level]}, new_unit=UNIT[:-1] + str(value))
    for place, variant in enumerate(project.file.variants()):
        for extra in (0, 0.3):
            project.read(variant.name, [(OUTCOME, 1.0 + place + extra)], session="Monday", rater=RATER)
    with Served(project.path, folder, patience_s=30.0) as running:
        yield running


def judged(device):
    """Let the long-named rater judge two variants, and close the session; return its address."""
    page = device.go("/sessions/new")
    page.locator(".chip:has([name=outcomes])").first.tap()
    for name in (VARIANT, "3"):
        page.locator(f".chip:has([name=variants][value='{name}'])").tap()
    page.fill("[name=raters]", RATER)
    tap(page, "Prepare it")
    session = re.sub(r"\?.*", "", page.url.removeprefix(device.address))
    page.goto(page.locator(".rater a").first.get_attribute("href"))
    for _ in range(2):
        page.locator(".grade").nth(2).tap()
        tap(page, "That is my judgement")
    device.go(session)
    tap(page, "Close the session")
    return session


def test_no_page_scrolls_sideways_and_no_cell_prints_over_the_next(browser, rig):
    device = Device(browser, rig.address, **PHONE)
    session = judged(device)
    paths = ("/", "/log", "/log?unit=new", "/variants", f"/variants/{VARIANT}", f"/variants/{VARIANT}/readings",
             f"/variants/{VARIANT}/correct", f"/compare?a={VARIANT}&b=3", "/what-if", f"/moves/{OUTCOME}", "/next", "/settle",
             "/history", "/setup", f"/setup/factor?name={FACTOR}", session, "/sessions")  # fmt: skip
    wide = {}
    for path in paths:
        page = device.go(path)
        wide[path] = page.evaluate("document.documentElement.scrollWidth"), page.evaluate(OVERPRINTED)
    device.context.close()
    assert {path: found for path, found in wide.items() if found != (390, [])} == {}


SHARES = """() => {
    const width = item => item.getBoundingClientRect().width;
    return [...document.querySelectorAll("dl.facts dd")].map(value => width(value) / width(value.parentElement));
}"""


def test_what_is_said_of_a_long_name_keeps_half_of_the_line(browser, rig):
    """Half, less the gap between the two; the pages of the next change and of a variant name every outcome and factor."""
    device = Device(browser, rig.address, **PHONE)
    for path in ("/next", f"/variants/{VARIANT}"):
        shares = device.go(path).evaluate(SHARES)
        assert len(shares) >= 4, path
        assert min(shares) > 0.48, path
    device.context.close()


def test_a_unit_of_many_words_pushes_no_page_wide_at_a_desk(browser, tmp_path):
    """Nor does it squeeze the names beside it to a few letters a line."""
    source = ROOT / "examples" / "radio"
    setup = read_setup(source / "setup.toml")
    unit = "percentage points over the whole of the band"
    outcomes = [replace(item, unit=unit) if item.name == "bass" else item for item in setup.outcomes]
    project = Project.create(tmp_path / "radio.duckdb", replace(setup, outcomes=outcomes))
    project.import_log(source / "log.csv")
    with Served(project.path, tmp_path, patience_s=30.0) as served:
        for width in (820, 1280):
            page = browser.new_page(viewport={"width": width, "height": 900})
            for path in ("/", "/moves/bass"):
                page.goto(served.address + path)
                assert page.evaluate("document.documentElement.scrollWidth") <= width, (path, width)
            page.close()
