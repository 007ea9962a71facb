"""A recipe with the file that one of its keys names, given on a phone and used for the next recording."""

from __future__ import annotations

import pytest

from doe.model.outcome import Outcome
from doe.model.setup import Setup
from doe.project import Project
from tests.browser.devices import PHONE, Device, tap
from tests.browser.serving import Served
from tests.cli.test_measure import curve_text

pytestmark = [pytest.mark.browser, pytest.mark.slow]
sync_api = pytest.importorskip("playwright.sync_api")

MICROPHONE = b"20 0\n200 0\n201 3\n20000 3\n"  # 3 dB too loud above 200 Hz


def text_file(name, content):
    return {"name": name, "mimeType": "text/plain", "buffer": content}


@pytest.mark.parametrize("scripts", [True, False])
def test_a_microphone_is_chosen_with_its_recipe_and_corrects_what_is_recorded(browser, tmp_path, scripts):
    """By hand: the bass stands 4 dB below the band above, of which 3 dB are the microphone's, so 1 dB are left."""
    project = Project.create(tmp_path / "box.duckdb", Setup(title="Box", outcomes=(Outcome("bass", unit="dB"),)))
    project.log_reference("shop radio")
    with Served(project.path, tmp_path) as served:
        phone = Device(browser, served.address, java_script_enabled=scripts, **PHONE)
        page = phone.go("/setup/outcome?name=bass")
        page.select_option("[name=from]", "band_level")
        keys = "band = 40, 150\nrelative_to = 300, 1000\nmicrophone = mic.txt"
        page.fill("[name=keys]", keys)
        page.set_input_files("#in-recipe_files", text_file("phone.txt", MICROPHONE))
        tap(page, "Store")
        assert "'phone.txt' is named by no key" in page.inner_text("main")
        assert page.input_value("[name=keys]") == keys
        assert all("status of 422" in line for line in phone.said)  # which is what the browser says of a refusal
        phone.said.clear()
        page.set_input_files("#in-recipe_files", text_file("mic.txt", MICROPHONE))
        tap(page, "Store")
        assert "kept mic.txt for its recipe" in page.inner_text("body")
        phone.go("/variants/shop%20radio/recordings")
        page.set_input_files("input[type=file]", text_file("a1.txt", curve_text(-4.0, 1).encode()))
        tap(page, "Measure and keep them")
        assert project.readings()["value"].tolist() == pytest.approx([-1.0], abs=0.3)
        if scripts:
            phone.check()
        phone.context.close()
