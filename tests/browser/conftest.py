from __future__ import annotations

import pytest

from doe.web.thinking import Thinker
from tests.browser.serving import ARGUMENTS, CHROMIUM


@pytest.fixture(scope="package")
def launched():
    """Chromium by what it is started with beside the usual; other tests must not find its event loop running."""
    sync_api = pytest.importorskip("playwright.sync_api")
    if CHROMIUM is None:
        pytest.skip("no Chromium here")
    with sync_api.sync_playwright() as playwright:
        started = {}

        def launch(*more):
            if more not in started:
                started[more] = playwright.chromium.launch(executable_path=CHROMIUM, args=[*ARGUMENTS, *more])
            return started[more]

        yield launch
        for one in started.values():
            one.close()


@pytest.fixture(scope="module")
def browser(request, launched):
    """Chromium with what the module's `MORE_ARGUMENTS` name; every test opens a context of its own."""
    started = launched(*getattr(request.module, "MORE_ARGUMENTS", ()))
    yield started
    for context in started.contexts:
        context.close()


@pytest.fixture(scope="package", autouse=True)
def thought_once():
    """What is worked out from a log is kept for the next test that serves the very same log, so that it can be shown at once.

    Most tests here open the radio's log to look at something else, and analysing it takes longer than they do.
    """
    kept, think = {}, Thinker._think

    def remembered(thinker, project):
        told = tuple((entry.kind, entry.summary, entry.takes_back) for entry in project.file.history())
        log = (project.file.fingerprint(), told)
        if log not in kept:
            kept[log] = think(thinker, project)
        return kept[log]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Thinker, "_think", remembered)
        yield
