"""Pictures of every page, for people to look at: ``python -m tests.browser.screens OUT``."""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from playwright.sync_api import sync_playwright

from doe.project import Project
from doe.store.setup_file import read_setup
from tests.browser.serving import ARGUMENTS, CHROMIUM, Served, radio_in

ROOT = Path(__file__).parents[2]
PAGES = {
    "bench": "/", "log": "/log", "log-new": "/log?unit=new", "variants": "/variants", "variant": "/variants/21",
    "readings": "/variants/21/readings", "recordings": "/variants/21/recordings",
    "correct": "/variants/21/correct", "compare": "/compare?a=3&b=21",
    "sessions": "/sessions", "session-new": "/sessions/new", "moves": "/moves/echo", "raw": "/moves/bass/readings",
    "plan": "/plan?runs=8&kind=d-optimal", "rehearse": "/rehearse", "route": "/route",
    "what-if": "/what-if?f.vents=4&f.rings=7&f.wool=50&f.driver=poly&f.feet=felt", "next": "/next",
    "settle": "/settle", "history": "/history",
    "setup": "/setup", "factor": "/setup/factor?name=wool", "outcome": "/setup/outcome", "recipes": "/recipes",
    "import": "/import", "start": "/start", "api": "/api", "help": "/help", "help-topic": "/help/verdicts",
    "symptom": "/symptoms/boomy", "estimate": "/estimates/vented_box?fs_hz=45&qts=0.4&vas_l=12&volume_l=8&tuning_hz=45",
    "missing": "/nowhere",
}  # fmt: skip


def main(out: Path) -> None:
    """Write one picture for each page, width and theme."""
    out.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        source = ROOT / "examples" / "radio"
        project = radio_in(Path(folder))
        empty = Path(folder) / "empty"
        empty.mkdir()
        Project.create(empty / "new.duckdb", read_setup(source / "setup.toml"))
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        with Served(project.path, Path(folder), patience_s=30) as served:
            shoot(browser, served.address, out, session_pages(browser, served.address))
        with Served(empty / "new.duckdb", empty, patience_s=30) as served:
            shoot(browser, served.address, out, {"empty-bench": "/", "empty-moves": "/moves", "empty-next": "/next",
                                                 "empty-variants": "/variants"})  # fmt: skip
        browser.close()


def session_pages(browser, address):
    """Prepare a session, so that its pages and a rater's can be shown too."""
    page = browser.new_page()
    page.goto(f"{address}/sessions/new")
    page.locator("[name=outcomes]").first.check(force=True)
    for name in ("18", "20", "21"):
        page.locator(f"[name=variants][value='{name}']").check(force=True)
    page.locator("[name=twice][value='21']").check(force=True)
    page.fill("[name=raters]", "Ann\nBo")
    page.fill("[name=low_end]", "as if outdoors")
    page.fill("[name=high_end]", "as if in a stairwell")
    page.click("button:has-text('Prepare it')")
    page.wait_for_selector(".rater a")
    link = page.locator(".rater a").first.get_attribute("href")
    session = page.url.removeprefix(address).split("?")[0]
    page.close()
    return {**PAGES, "session": session, "codes": f"{session}/codes", "listen": link.removeprefix(address)}


def shoot(browser, address, out, pages):
    """Take every page at both widths in both themes."""
    for scheme in ("light", "dark"):
        for width in (390, 1280):
            context = browser.new_context(viewport={"width": width, "height": 844}, color_scheme=scheme)
            page = context.new_page()
            page.on("console", lambda message, page=page: print(page.url, message.text, file=sys.stderr))
            for name, path in pages.items():
                page.goto(address + path)
                page.wait_for_function("() => [...document.querySelectorAll('.plot')].every(plot => plot.dataset.made)")
                over = page.evaluate("document.documentElement.scrollWidth")
                if over > width:
                    print(f"{name} at {width} is {over} wide", file=sys.stderr)
                page.screenshot(path=out / f"{name}-{width}-{scheme}.png", full_page=True)
            context.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]))
