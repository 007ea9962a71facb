"""What a rater's browser is ever given: searched for anything that could tell what stands behind a code."""

from __future__ import annotations

import io
import json

import numpy as np
import pytest
import soundfile
from PIL import Image

from doe.model.factor import Factor
from doe.model.outcome import Outcome
from doe.model.setup import Setup
from doe.project import Project
from tests.browser.serving import Served

pytestmark = [pytest.mark.browser, pytest.mark.slow]
sync_api = pytest.importorskip("playwright.sync_api")
MORE_ARGUMENTS = ["--autoplay-policy=no-user-gesture-required"]

SECRETS = ["marmot", "zebrawood", "quillback", "ottersen", "kestrel", "puffin", "lemming", "walrus"]
"""Words for variants, factors, levels, units, files, notes and a photo that stand nowhere else."""
RATE = 16_000


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    """Three recorded and photographed variants whose every name is a secret, served."""
    folder = tmp_path_factory.mktemp("blind")
    factors = [
        Factor("zebrawood", low=0, high=9),
        Factor("timbre", kind="categorical", levels=["quillback", "ottersen"]),
    ]
    outcomes = [
        Outcome("echo", kind="rated", scale=(1, 5)),
        Outcome("clarity", kind="compared"),
    ]
    project = Project.create(folder / "walrus.duckdb", Setup(title="Walrus", factors=factors, outcomes=outcomes))
    rng = np.random.default_rng(4)
    programme = 0.2 * rng.standard_normal(2 * RATE)
    out = io.BytesIO()
    Image.new("RGB", (40, 30), "sienna").save(out, "JPEG", comment=b"lemming")
    for number in range(3):
        name = f"marmot-{number}"
        project.log({"zebrawood": number, "timbre": "quillback" if number % 2 else "ottersen"}, new_unit=f"kestrel {number}",
                    name=name, note="puffin", photos=[("lemming.jpg", out.getvalue())])  # fmt: skip
        path = folder / f"puffin {number}.wav"
        with soundfile.SoundFile(path, "w", RATE, 1, "PCM_24") as file:
            file.title = name
            file.write(np.concatenate([np.zeros(160 * number), programme * 10 ** (-number / 4)]))
        project.file.attach(name, path.name, path.read_bytes(), "take")
    with Served(project.path, folder, patience_s=0) as served:
        yield served.address, project


def prepare(browser, address, outcome, name):
    """Prepare a session of all three with playback; return the address of the rater's page."""
    page = browser.new_page()
    page.goto(f"{address}/sessions/new")
    page.fill("[name=name]", name)
    page.locator(f"[name=outcomes][value={outcome}]").check(force=True)
    for number in range(3):
        page.locator(f"[name=variants][value='marmot-{number}']").check(force=True)
    if outcome == "echo":
        page.locator("[name=twice][value='marmot-1']").check(force=True)
    page.locator("[name=plays]").check(force=True)
    page.fill("[name=raters]", "Ann")
    page.click("button:has-text('Prepare it')")
    page.wait_for_selector(".rater a")
    link = page.locator(".rater a").first.get_attribute("href")
    page.close()
    return link


class Rater:
    """A rater's browser that keeps everything it is given."""

    def __init__(self, browser):
        self.given: list[tuple[str, bytes]] = []
        self.sounds: dict[str, bytes] = {}
        self.said: list[str] = []
        self.context = browser.new_context(viewport={"width": 390, "height": 844})
        self.page = self.context.new_page()
        self.page.on("response", self._keep)
        self.page.on("console", lambda message: self.said.append(message.text))
        self._open = []

    def _keep(self, answer):
        self._open.append(answer)

    def collect(self):
        """Fetch the bodies of what came since; a redirect has none, and a stream never ends."""
        for answer in self._open:
            head = json.dumps(answer.headers_array()) + answer.url
            self._given(answer, head)
        self._open = []

    def _given(self, answer, head):
        is_stream = "event-stream" in answer.headers.get("content-type", "")
        if is_stream or 300 <= answer.status < 400:
            body = b""
        else:
            try:
                body = answer.body()
            except sync_api.Error:  # the page's icon may come so late that the browser has dropped it: fetched again
                assert "/static/" in answer.url
                body = self.context.request.get(answer.url).body()
        self.given.append((answer.url, head.encode() + body))
        if answer.url.endswith(".wav"):
            self.sounds[answer.url] = body


def leaks(rater):
    """Return what was found of the secrets: in bodies, headers, addresses, cookies, storage and the page as it stands."""
    page = rater.page
    kept = json.dumps([page.evaluate("JSON.stringify([{...localStorage}, {...sessionStorage}, document.title])"),
                       rater.context.cookies(), page.url])  # fmt: skip
    places = [*rater.given, ("the page", page.content().encode()), ("the browser's storage", kept.encode())]
    return [(where, word) for where, body in places for word in SECRETS if word.encode() in body.lower()]


def judge_all(rater, link):
    """Load and hear the recordings of every sample, and judge it; return how many there were."""
    page, count = rater.page, 0
    page.goto(link)
    while page.locator(".code").count():
        page.click("[data-load]")
        page.wait_for_selector("[data-player][data-ready]")
        for button in page.locator("[data-sound]").all():
            button.click()
            assert button.get_attribute("aria-pressed") == "true"
            assert page.locator("[data-sound][aria-pressed=true]").count() == 1
        rater.collect()
        assert leaks(rater) == []
        page.locator(".grade input").nth(1).check(force=True)
        with page.expect_navigation():
            page.click("button:has-text('That is my judgement')")
        count += 1
    rater.collect()
    return count


@pytest.mark.parametrize(("outcome", "count"), [("echo", 4), ("clarity", 3)])
def test_nothing_a_rater_is_given_tells_a_variant(browser, bench, outcome, count):
    """Every body, header, address, cookie and stored item of a whole session, with its recordings, and no cookie at all."""
    address, _ = bench
    link = prepare(browser, address, outcome, f"Evening {outcome}")
    rater = Rater(browser)
    assert judge_all(rater, link) == count
    assert leaks(rater) == []
    assert rater.context.cookies() == []
    assert rater.said == []
    assert len(rater.given) > 4 * count
    assert len(rater.sounds) == (4 if outcome == "echo" else 3)
    assert len({len(body) for body in rater.sounds.values()}) == 1
    assert len(set(rater.sounds.values())) == len(rater.sounds)
    hears_the_same(rater)
    rater.context.close()


def hears_the_same(rater):
    """The recordings were made 0, 160 and 320 samples late and 5 dB apart: as served they are one programme at one level."""
    heard = [soundfile.read(io.BytesIO(body))[0] for body in rater.sounds.values()]
    levels = [10 * np.log10(np.mean(sound**2)) for sound in heard]
    assert max(levels) - min(levels) < 0.1
    assert all(np.corrcoef(heard[0], sound)[0, 1] > 0.999 for sound in heard)


def test_the_search_would_find_something(browser, bench):
    """The check can fail: the maker's own page of a variant holds what is searched for."""
    address, _ = bench
    maker = Rater(browser)
    maker.page.goto(f"{address}/variants/marmot-1")
    maker.collect()
    assert {word for _, word in leaks(maker)} >= {"marmot", "zebrawood", "quillback", "kestrel"}
    maker.context.close()


def test_recordings_start_quiet_and_go_with_the_session(browser, bench):
    """The slider begins 40 dB down with the caution above it; a code of another sheet, or a closed session, gives nothing."""
    address, project = bench
    link = prepare(browser, address, "echo", "Night")
    rater = Rater(browser)
    page = rater.page
    page.goto(link)
    assert page.locator("#loudness").input_value() == "-40"
    assert "quiet" in page.locator(".player .caution").inner_text()
    code = page.locator(".code").inner_text()
    request = rater.context.request
    assert request.get(f"{link}/{code}.wav").status == 200
    kept = project.file.prepared_sessions()[-1]
    codes = {sample.code for sample in kept.session.samples}
    unknown = next(str(number) for number in range(100, 999) if str(number) not in codes)
    assert request.get(f"{link}/{unknown}.wav").status == 404
    project.file.drop_session(kept.id)
    assert request.get(f"{link}/{code}.wav").status == 404
    rater.context.close()


@pytest.mark.parametrize(("outcome", "count"), [("echo", 4), ("clarity", 3)])
@pytest.mark.parametrize("with_script", [True, False])
def test_back_never_puts_a_grade_on_another_sample(browser, bench, outcome, count, with_script):
    """Whatever Back shows, what is chosen on it is what was said of that very sample, and a sample not yet judged has none."""
    address, _ = bench
    link = prepare(browser, address, outcome, f"Back {outcome} {with_script}")
    context = browser.new_context(java_script_enabled=with_script)
    page, said = context.new_page(), {}
    page.goto(link)
    for place in range(count):
        code = " ".join(page.locator(".code").all_inner_texts())
        assert code not in said
        assert page.locator(".grade input:checked").count() == 0
        page.locator(".grade input").nth(place % 3).check(force=True)
        said[code] = page.locator(".grade input:checked").get_attribute("value")
        with page.expect_navigation():
            page.click("button:has-text('That is my judgement')")
        page.go_back()
        shown = " ".join(page.locator(".code").all_inner_texts())
        chosen = page.locator(".grade input:checked")
        assert (chosen.get_attribute("value") if chosen.count() else None) == said.get(shown)
        page.goto(link)
    assert "Thank you" in page.locator("h1").inner_text()
    context.close()


def test_recordings_play_without_javascript(browser, bench):
    address, _ = bench
    link = prepare(browser, address, "echo", "Plain")
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(link)
    assert page.locator("audio").count() == 1
    assert page.locator("audio").get_attribute("src").endswith(f"{page.locator('.code').inner_text()}.wav")
    context.close()
