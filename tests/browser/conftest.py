from __future__ import annotations

import pytest

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
