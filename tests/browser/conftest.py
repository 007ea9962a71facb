from __future__ import annotations

import pytest

from tests.browser.serving import ARGUMENTS, CHROMIUM


@pytest.fixture(scope="module")
def browser(request):
    """One Chromium for a module, started with what its `MORE_ARGUMENTS` name beside the usual."""
    sync_api = pytest.importorskip("playwright.sync_api")
    if CHROMIUM is None:
        pytest.skip("no Chromium here")
    arguments = [*ARGUMENTS, *getattr(request.module, "MORE_ARGUMENTS", ())]
    with sync_api.sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=CHROMIUM, args=arguments)
        yield started
        started.close()
