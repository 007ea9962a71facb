"""Every chart on every page as Chromium drew it: interval ends against the JSON interface, and its text alternative."""

from __future__ import annotations

from html import unescape

import pytest

from doe.sheets import report
from tests.browser.drawn import ENDS
from tests.browser.serving import Served
from tests.charts import radio

pytestmark = [pytest.mark.browser, pytest.mark.slow]
pytest.importorskip("playwright.sync_api")

WIDTHS = pytest.mark.parametrize("width", [390, 1280])


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    """A radio whose echo holds an interaction; one suggestion was built and read, so that its predictions were met."""
    folder = tmp_path_factory.mktemp("drawn")
    project = radio.project(folder / "radio.duckdb")
    advice = project.recommend(1)
    project.keep_advice(advice)
    row = advice.table.iloc[0]
    settings = {factor.name: row[factor.name] for factor in project.setup.factors}
    name = project.log(settings, new_unit="fresh").variant.name
    project.read(name, [("bass", 0.4), ("echo", 2.0)], session="later", rater="Ann")
    assert len(project.track().table) == 2
    project.adopt(project.plan(14, kind="d-optimal", starts=2), "main", "bass")
    with Served(project.path, folder, patience_s=60.0) as served:
        yield served, report(project, folder / "radio.html").as_uri()


class Seen:
    """A page with its charts made."""

    def __init__(self, browser, address, width, scheme="light"):
        self.context = browser.new_context(viewport={"width": width, "height": 844}, color_scheme=scheme)
        self.page = self.context.new_page()
        self.page.goto(address)
        self.page.wait_for_function("() => [...document.querySelectorAll('.plot')].every(plot => plot.dataset.made)")
        self.kinds = self.page.evaluate(
            "() => Object.fromEntries([...document.querySelectorAll('.plot')].map(plot => [plot.id, plot.layout.meta.kind]))"
        )

    def drawn(self, identity):
        return self.page.evaluate(ENDS, identity)


@pytest.fixture(scope="module")
def look_at(browser, bench):
    """Open a page, or return it where it is open; no test here changes one."""
    served, made = bench
    opened = {}

    def look(path, width, scheme="light"):
        if (path, width, scheme) not in opened:
            address = made if path == "report" else served.address + path
            opened[path, width, scheme] = Seen(browser, address, width, scheme)
        return opened[path, width, scheme]

    yield look
    for seen in opened.values():
        seen.context.close()


def held(ask, outcome, identity, kind):
    """Pairs of ends that a chart must show, as the JSON interface gives them: one list for each of its scales."""
    if kind in ("worth", "front", "candidates"):
        told = ask("/api/next")
        if kind == "worth":
            return [[(row["low"], row["high"]) for row in told["worth"]]]
        if kind == "candidates":
            return []
        names = [name.removesuffix(" low") for name in told["front"][0] if name.endswith(" low")]
        return [
            on_scale(ask, name, [(row[f"{name} low"], row[f"{name} high"]) for row in told["front"][:12]])
            for name in names
        ]
    if kind == "track":
        rows = ask("/api/next/track")["table"]
        names = list(dict.fromkeys(row["outcome"] for row in rows))
        return [
            on_scale(ask, name, [(row["low"], row["high"]) for row in rows if row["outcome"] == name]) for name in names
        ]
    if kind == "precision":
        return [[(-row["half_width"], row["half_width"]) for row in ask("/api/plan")["precision"]]]
    return (
        [held_of_effects(ask, outcome, identity, kind)]
        if kind in ("effects", "levels", "interaction", "timeline")
        else []
    )


def on_scale(ask, name, pairs):
    """Pairs of ends as far as the scale of a rated outcome goes."""
    scale = next(outcome for outcome in ask("/api/outcomes") if outcome["name"] == name).get("scale")
    low, high = scale or (float("-inf"), float("inf"))
    return [tuple(min(max(end, low), high) for end in pair) for pair in pairs]


def held_of_effects(ask, outcome, identity, kind):
    told = ask(f"/api/analyse/{outcome}")
    if kind == "interaction":
        terms = list(dict.fromkeys(row["term"] for row in told["cells"]))
        term = terms[int(identity.split("-")[3]) - 1]
        return [(row["low"], row["high"]) for row in told["cells"] if row["term"] == term]
    rows = told[{"effects": "table", "levels": "levels", "timeline": "variants"}[kind]]
    if kind == "effects":
        rows = [row for row in rows if not {":", "^"} & set(row["term"]) or row["activity"] >= 0.1]
    return [(row["low"], row["high"]) for row in rows]


def outcome_of(ask, path, identity):
    """A page of one outcome says which in its address; the report numbers them."""
    if path.startswith("/moves/"):
        return path.removeprefix("/moves/")
    numbers = [int(part) for part in identity.split("-") if part.isdigit()]
    return ask("/api/outcomes")[numbers[0] - 1]["name"] if numbers else ""


def check(seen, ask, path):
    """Hold every chart of a page against the numbers; return the kinds whose intervals were held."""
    found = set()
    for identity, kind in seen.kinds.items():
        scales = held(ask, outcome_of(ask, path, identity), identity, kind)
        drawn = seen.drawn(identity)
        assert len(drawn) == sum(map(len, scales)), (identity, kind)
        axes = list(dict.fromkeys(item["axis"] for item in drawn)) if len(scales) > 1 else [None]
        for axis, pairs in zip(axes if scales else [], scales, strict=True):
            own = [item for item in drawn if axis in (None, item["axis"])]
            match(own, pairs)
            found.add(kind)
    return found


def match(own, pairs):
    """Each drawn interval is one of the result's, cut at the axis, to within a pixel; each is used once."""
    left = list(pairs)
    for item in own:
        floor, top = item["range"]
        cut = [(max(low, floor), min(high, top)) for low, high in left]
        off = [max(abs(item["low"] - low), abs(item["high"] - high)) for low, high in cut]
        nearest = min(range(len(off)), key=off.__getitem__)
        assert off[nearest] <= item["pixel"], (item, left[nearest])
        left.pop(nearest)
    assert not left


@WIDTHS
@pytest.mark.parametrize(
    ("path", "kinds"),
    [
        ("/moves/bass", {"effects", "levels"}),
        ("/moves/echo", {"effects", "levels", "interaction"}),
        ("/next", {"front", "track"}),
        ("/plan", {"precision"}),
        ("report", {"effects", "levels", "interaction", "timeline", "worth"}),
    ],
)
def test_drawn_intervals_end_where_the_numbers_say(look_at, bench, path, kinds, width):
    seen = look_at(path, width)
    ask = remembered(seen.context.request, bench[0].address)
    found = check(seen, ask, path)
    assert kinds <= found, (seen.kinds, seen.page.locator("main").inner_text()[:1500])


def remembered(request, address):
    told = {}

    def ask(path):
        if path not in told:
            answer = request.get(address + path)
            assert answer.status == 200, answer.text()
            told[path] = answer.json()
        return told[path]

    return ask


@pytest.mark.parametrize(
    ("path", "scheme"),
    [
        ("/moves/bass", "light"),
        ("/moves/echo", "dark"),
        ("/next", "dark"),
        ("/plan", "light"),
        ("/route", "dark"),
        ("report", "light"),
        ("report", "dark"),
    ],
)
def test_every_chart_is_tied_to_its_text(look_at, path, scheme):
    """An image with the whole text as its name, in a figure whose caption is the chart's own sentence, in either theme."""
    seen = look_at(path, 1280, scheme)
    assert seen.kinds
    for identity in seen.kinds:
        plot = seen.page.locator(f"#{identity}")
        meta = plot.evaluate("plot => plot.layout.meta")
        assert plot.evaluate("plot => plot.querySelectorAll('svg.main-svg').length") >= 1
        assert plot.get_attribute("role") == "img" and plot.get_attribute("aria-label") == meta["alt"]
        named = seen.page.get_by_role("img", name=meta["alt"], exact=True)
        assert named.evaluate_all("all => all.map(plot => plot.id)").count(identity) == 1
        figure = plot.locator("xpath=ancestor::figure")
        assert figure.locator("figcaption").text_content() == meta["title"]
        assert meta["alt"] in unescape(figure.locator("noscript").evaluate("item => item.textContent"))
