"""Forms of factors and outcomes ask for what the chosen kind and goal need, and hide nothing that holds something."""

from __future__ import annotations

import pytest

from doe.model.outcome import Outcome
from doe.model.setup import Setup
from doe.project import Project
from tests.browser.devices import PHONE, Device, tap
from tests.browser.serving import Served

pytestmark = [pytest.mark.browser, pytest.mark.slow]
sync_api = pytest.importorskip("playwright.sync_api")


def shown(page):
    """Names of the fields that can be seen."""
    return {
        item.get_attribute("name")
        for item in page.locator("main :is(input, select, textarea)[name]:visible").all()
        if item.get_attribute("type") != "hidden"
    }


def test_fields_follow_kind_and_goal(browser, tmp_path):
    """Of an echo that is wanted low; a target that was typed before the goal was changed stays to be seen."""
    project = Project.create(tmp_path / "box.duckdb", Setup(title="Box", outcomes=(Outcome("bass", unit="dB"),)))
    with Served(project.path, tmp_path) as served:
        phone = Device(browser, served.address, **PHONE)
        page = phone.go("/setup/factor")
        assert {"low", "high", "step"} <= shown(page) and "levels" not in shown(page)
        page.select_option("[name=kind]", "categorical")
        assert "levels" in shown(page) and not {"low", "high", "step", "minutes_per_step"} & shown(page)
        page.fill("[name=name]", "driver")
        page.fill("[name=levels]", "paper\npoly")
        tap(page, "Store")
        assert project.setup.factors[0].levels == ("paper", "poly")
        phone.go("/setup/factor?name=driver")
        assert "prices" in shown(page) and not {"low", "high", "step", "minutes_per_step"} & shown(page)
        phone.go("/setup/outcome?name=bass")
        assert not {"worst", "weight"} & shown(page)

        page = phone.go("/setup/outcome")
        assert not {"scale_low", "best", "target", "low", "worst", "weight", "keys", "recipe_files"} & shown(page)
        page.select_option("[name=kind]", "rated")
        assert {"scale_low", "scale_high"} <= shown(page) and "from" not in shown(page)
        page.select_option("[name=goal]", "hit")
        page.fill("[name=target]", "3")
        page.select_option("[name=goal]", "lower")
        assert {"best", "worst", "target", "weight"} <= shown(page)
        for name, value in {"name": "echo", "scale_low": "1", "scale_high": "7", "best": "1", "worst": "6"}.items():
            page.fill(f"[name={name}]", value)
        page.fill("[name=target]", "")
        tap(page, "Store")
        assert project.setup.outcomes[1].goal == "lower"
        phone.check()
        phone.context.close()


def test_without_scripts_every_field_can_be_seen(browser, tmp_path):
    project = Project.create(tmp_path / "box.duckdb", Setup(title="Box"))
    with Served(project.path, tmp_path) as served:
        phone = Device(browser, served.address, java_script_enabled=False, **PHONE)
        assert {"scale_low", "target", "low", "keys"} <= shown(phone.go("/setup/outcome"))
        phone.context.close()
