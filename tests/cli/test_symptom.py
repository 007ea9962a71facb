import json


def test_the_projects_own_factors_come_cheapest_first(rig, fettle):
    done = fettle("symptom", "boomy")
    assert done.code == 0
    at = [done.out.index(f"{place}. {name}") for place, name in enumerate(("wool", "driver", "rings"), start=1)]
    assert at == sorted(at)
    assert "  vents: vent holes at random, 12 min; cannot be taken back" in done.out.split("Seldom helps")[1]
    assert "\nTake care: Play quiet while looking for the note" in done.out
    assert "\nUsually tried, too\n" in done.out


def test_without_a_project_the_rules_are_told_alone(fettle):
    done = fettle("symptom", "runs", "hot")
    assert done.code == 0
    assert "Usually tried\n" in done.out
    assert done.err == "There is no project in this folder, so these are the rules alone.\n"


def test_a_project_that_is_named_must_be_there(fettle):
    assert fettle("symptom", "boomy", "--project", "none.duckdb").code == 1


def test_the_list_and_the_answer_are_told_as_json_too(rig, fettle):
    assert {"name", "told", "ideas"} <= set(json.loads(fettle("symptom", "--json").out)[0])
    found = json.loads(fettle("symptom", "echo", "--json").out)
    assert [item["factor"] for item in found["here"]] == ["wool", "rings"]
    assert found["here"][1]["minutes"] == 100


def test_every_symptom_is_listed(fettle):
    assert len(fettle("symptom").out.splitlines()) == 10
