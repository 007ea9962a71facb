from doe.guides.symptoms import symptoms
from doe.web import Settings, create_app
from tests.web.client import Visitor


def test_the_projects_own_factors_come_cheapest_first(visitor):
    """The same order as `fettle symptom`: wool 8 min, driver 25 min, rings with a new body 1 h 40 min."""
    text = visitor.get("/symptoms/boomy").text
    told = (
        "wool : more filling 8 min Fibres",
        "driver : another driver, or one with more magnet 25 min The Q",
        "rings : another volume 1 h 40 min, takes a new unit A closed box",
        "Seldom helps",
        "vents : vent holes at random 12 min, cannot be taken back They",
        "Usually tried, too",
        "a longer port It",
    )
    at = [text.index(said) for said in told]
    assert at == sorted(at)


def test_every_symptom_is_listed_and_has_a_page_without_a_project(tmp_path):
    visitor = Visitor(create_app(None, Settings(folder=tmp_path)))
    listed = visitor.get("/symptoms").text
    for item in symptoms():
        assert item.told in listed
        assert item.check in visitor.get(f"/symptoms/{item.name}").text
    assert "With your factors" not in visitor.get("/symptoms/boomy").text


def test_other_words_lead_to_the_same_page(visitor):
    assert visitor.get("/symptoms/muddy").text == visitor.get("/symptoms/boomy").text
