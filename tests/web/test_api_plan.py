"""Plans, routes and settled versions as JSON: the same words by both faces, the same doors as everything else."""

from __future__ import annotations

import json
import re

import pytest

from doe.cli.main import main
from doe.guides.demos import demo_folder
from doe.project import Project
from doe.web import Settings, create_app
from tests.web.client import Visitor

NEW = ("/api/plan", "/api/route", "/api/settle", "/api/settle/find", "/api/settle/tolerance", "/api/settle/plan",
       "/api/settle/confirm?build=1", "/api/settle/compare?first=1&second=2", "/api/settle/1")  # fmt: skip


def command(project, words, capsys):
    capsys.readouterr()
    code = main([*words, "--json", "--project", str(project.path)])
    return code, capsys.readouterr().out


def same(visitor, project, address, words, capsys):
    """The same question by both faces: equal JSON, or a refusal by both."""
    answer = visitor.get(address)
    code, said = command(project, words, capsys)
    assert answer.status in {0: (200,), 1: (422,), 2: (400, 422)}[code], (code, answer.html)
    if code == 0:
        assert json.loads(answer.html) == json.loads(said)
    return answer


@pytest.mark.parametrize(
    ("address", "words"),
    [
        ("/api/plan?kind=d-optimal&runs=8&starts=2", ["plan", "--kind", "d-optimal", "--runs", "8", "--starts", "2"]),
        ("/api/plan?model=vents,wool&runs=6&starts=2&seed=3",
         ["plan", "--model", "vents,wool", "--runs", "6", "--starts", "2", "--seed", "3"]),
        ("/api/plan?hours=20&kind=full", ["plan", "--hours", "20", "--kind", "full"]),
        ("/api/plan?kind=nonsense", ["plan", "--kind", "nonsense"]),
        ("/api/route", ["route"]),
        ("/api/settle", ["settle"]),
        ("/api/settle/compare?first=1&second=2", ["settle", "compare", "1", "2"]),
    ],
)  # fmt: skip
def test_the_api_says_what_the_command_says(visitor, project, address, words, capsys):
    same(visitor, project, address, words, capsys)


@pytest.mark.slow
def test_a_comparison_of_plans_is_the_commands(visitor, project, capsys):
    told = json.loads(same(visitor, project, "/api/plan?runs=8", ["plan", "--runs", "8"], capsys).html)
    assert sum(row["is_recommended"] for row in told["plans"]) == 1


def adopt(visitor, **more):
    return visitor.request("POST", "/api/plan", json={"kind": "d-optimal", "runs": 7, "starts": 2, **more})


def test_a_plan_is_adopted_shown_routed_edited_and_given_up(visitor, project, capsys):
    made = adopt(visitor)
    assert made.status == 201
    entry = json.loads(made.html)["entry"]
    assert project.file.history()[-1].id == entry
    shown = json.loads(same(visitor, project, "/api/plan", ["plan"], capsys).html)
    assert [row["status"] for row in shown["runs"]] == ["planned"] * 7
    same(visitor, project, "/api/route?seconds=1&seed=2", ["route", "--seconds", "1", "--seed", "2"], capsys)
    assert adopt(visitor).status == 422  # one plan at a time
    runs = shown["runs"]
    runs[0]["wool"] = 45
    edited = visitor.request("PUT", "/api/plan", json={"runs": runs})
    assert edited.status == 200, edited.html
    assert project.file.adopted_plan().runs[0].settings["wool"] == 45
    assert visitor.request("POST", f"/api/history/{json.loads(edited.html)['entry']}/undo").status == 200
    assert project.file.adopted_plan().runs[0].settings["wool"] != 45
    assert visitor.request("DELETE", "/api/plan").status == 200
    assert project.file.adopted_plan() is None


@pytest.mark.parametrize(
    ("method", "address", "body", "word"),
    [
        ("GET", "/api/plan?runs=0", None, "runs"),
        ("GET", "/api/plan?hours=nan", None, "hours"),
        ("GET", "/api/plan?hours=3&blocks=2", None, "blocks does not go with it"),
        ("GET", "/api/plan?model=,", None, "model is ','"),
        ("GET", "/api/plan?runs=6&outcome=loudness", None, "loudness"),
        ("GET", "/api/route?seconds=1e9", None, "seconds"),
        ("GET", "/api/settle/confirm", None, "build"),
        ("GET", "/api/settle/confirm?build=99", None, "99"),
        ("GET", "/api/settle/tolerance?probability=inf", None, "probability"),
        ("GET", "/api/settle/find?variant=99", None, "99"),
        ("POST", "/api/plan", {"kind": "nonsense"}, "nonsense"),
        ("POST", "/api/plan", {"runs": "many"}, "runs"),
        ("PUT", "/api/plan", {"runs": [{"vents": 2}]}, "No plan is adopted"),
        ("PUT", "/api/plan", {"runs": []}, "runs"),
        ("DELETE", "/api/plan", None, "No plan is adopted"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_stored(visitor, project, method, address, body, word):
    before = project.file.fingerprint()
    answer = visitor.request(method, address, json=body)
    assert answer.status in (400, 422), answer.html
    assert word in json.loads(answer.html)["error"]["message"]
    assert project.file.fingerprint() == before


@pytest.mark.parametrize(
    "change", [{"vents": 77}, {"vents": "many"}, {"driver": None}, {"variant": "99"}, {"block": -1}]
)
def test_a_bad_run_leaves_the_adopted_plan_as_it_was(visitor, project, change):
    adopt(visitor)
    runs = [{name: row[name] for name in ("variant", "vents", "rings", "wool", "driver")}
            for row in json.loads(visitor.get("/api/plan").html)["runs"]]  # fmt: skip
    before = project.file.fingerprint()
    answer = visitor.request("PUT", "/api/plan", json={"runs": [{**runs[0], **change}, *runs[1:]]})
    assert answer.status == 422, answer.html
    bare = [{name: cell for name, cell in row.items() if name != "wool"} for row in runs]
    assert visitor.request("PUT", "/api/plan", json={"runs": bare}).status in (400, 422)
    assert project.file.fingerprint() == before


def test_an_unknown_version_is_not_found(visitor):
    assert visitor.get("/api/settle/7").status == 404


@pytest.mark.parametrize("address", NEW)
def test_nothing_is_told_without_the_key_or_to_a_foreign_name(path, address):
    """The guard stands before every address under /api, so an unlisted caller learns as little here as elsewhere."""
    app = create_app(path, Settings(folder=path.parent, key="open-sesame"))
    for stranger in (Visitor(app, address="192.168.0.9"), Visitor(app, host="evil.example")):
        answer, known = stranger.get(address), stranger.get("/api/variants")
        assert (answer.status, answer.html) == (known.status, known.html)
        assert answer.status in (303, 400, 401, 403)


def test_an_open_blind_session_changes_no_answer(visitor, app):
    """Neither what lies behind a code nor what was judged so far shows through a plan, a route or a settled version."""
    adopt(visitor)
    asked = [item for item in NEW if item != "/api/settle/find"] + ["/api/settle/find?without=wool"]
    before = [(visitor.get(address).status, visitor.get(address).html) for address in asked]
    page = visitor.get("/sessions/new")
    page = visitor.send(page, "/new", name="Evening", outcomes=["echo"], variants=["2", "3"], twice=["2"],
                        raters="Ann", low_end="dry", high_end="wet")  # fmt: skip
    link = re.search(r'<p class="link"><a href="http://127.0.0.1(/listen/[^"]+)"', page.html)[1]
    rater = Visitor(app)
    judged = rater.send(rater.follow(rater.get(link)), link.rsplit("/", 1)[1], o__echo="7")
    assert judged.status == 200
    assert [(visitor.get(address).status, visitor.get(address).html) for address in asked] == before


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE"])
def test_writes_from_other_sites_store_nothing(visitor, project, method):
    before = project.file.fingerprint()
    answer = visitor.request(method, "/api/plan", json={"runs": 6}, headers={"Sec-Fetch-Site": "cross-site"})
    assert answer.status == 403
    assert project.file.fingerprint() == before


def test_openapi_tells_every_parameter(visitor):
    told = json.loads(visitor.get("/api/openapi.json").html)
    for address in NEW:
        path = address.split("?")[0].replace("/1", "/{number}")
        for method, what in told["paths"][path].items():
            assert what["summary"] and what["description"], (method, path)
            assert all("description" in item for item in what.get("parameters", []) if item["in"] == "query"), path
    assert set(told["paths"]["/api/plan"]) == {"get", "post", "put", "delete"}


@pytest.mark.slow
def test_settling_says_what_the_command_says(tmp_path, capsys):
    project = Project.create(tmp_path / "radio.duckdb", demo_folder("radio") / "setup.toml")
    project.import_log(demo_folder("radio") / "log.csv")
    visitor = Visitor(create_app(project.path, Settings(folder=tmp_path)))
    project.keep_version("kitchen radio", "21")
    project.keep_version("tall radio", "17")
    for address, words in (
        ("/api/settle", ["settle"]),
        (
            "/api/settle/find?variant=17&without=wool&count=2",
            ["settle", "find", "17", "--without", "wool", "--count", "2"],
        ),
        ("/api/settle/tolerance?variant=21", ["settle", "tolerance", "21"]),
        ("/api/settle/plan?variant=21&risk=0.2", ["settle", "plan", "21", "--risk", "0.2"]),
        ("/api/settle/confirm?build=21", ["settle", "confirm", "21"]),
        ("/api/settle/compare?first=1&second=2", ["settle", "compare", "1", "2"]),
    ):
        assert same(visitor, project, address, words, capsys).status == 200
    assert json.loads(visitor.get("/api/settle/2").html)["name"] == "tall radio"
