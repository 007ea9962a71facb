import html
import json

import pytest

from doe.signals.estimates import ESTIMATES, estimate
from doe.web import Settings, create_app
from tests.signals.test_estimates import GIVEN
from tests.web.client import Visitor

BOTTLE = "/estimates/helmholtz?volume_cm3=1000&radius_mm=10&length_mm=50"


@pytest.mark.parametrize("name", sorted(ESTIMATES))
def test_the_page_tells_all_that_the_estimate_says(visitor, name):
    page = visitor.get(f"/estimates/{name}?" + "&".join(f"{key}={value}" for key, value in GIVEN[name].items()))
    found = estimate(name, GIVEN[name])
    assert page.status == 200
    for figure in (found, *found.more):
        assert figure.name in page.text and figure.formula in page.text
    assert found.source in page.text and found.trust in page.text
    assert json.loads(visitor.get(f"/api/estimates/{name}", params=GIVEN[name]).html) == found.to_tables()


def test_every_estimate_is_listed_without_a_project(tmp_path):
    visitor = Visitor(create_app(None, Settings(folder=tmp_path)))
    listed = visitor.get("/estimates")
    assert all(f'href="/estimates/{name}"' in listed.html for name in ESTIMATES)
    assert "118 Hz" in visitor.get(BOTTLE).text
    assert [row["estimate"] for row in json.loads(visitor.get("/api/estimates").html)] == list(ESTIMATES)


def test_a_form_that_nobody_filled_in_is_no_fault(visitor):
    page = visitor.get("/estimates/helmholtz")
    assert page.status == 200
    assert "is needed" not in page.text and "Still needed" not in page.text


def test_what_is_missing_or_wrong_is_told_at_its_field_and_what_was_typed_stays(visitor):
    page = visitor.get("/estimates/helmholtz?volume_cm3=1000&inner_end=free")
    assert page.status == 422
    assert "Still needed: radius and length." in page.text
    assert "Radius is empty; it is needed." in page.text
    assert dict(page.form("/estimates/helmholtz")["fields"])["volume_cm3"] == "1000"
    assert '<option value="free" selected>' in page.html
    wrong = visitor.get(BOTTLE.replace("radius_mm=10", "radius_mm=-1"))
    assert wrong.status == 422
    assert html.unescape(wrong.html).count("Radius is -1; it must be above 0.") == 2  # above, and at its field


def test_a_refusal_of_the_interface_names_what_is_allowed(visitor):
    answer = visitor.get("/api/estimates/helmholtz?volume_cm3=1000")
    assert (answer.status, json.loads(answer.html)["error"]["message"]) == (
        400,
        "helmholtz needs radius_mm and length_mm too.",
    )
    assert visitor.get("/api/estimates/nothing").status == 404
