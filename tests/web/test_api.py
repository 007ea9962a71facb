import asyncio
import json

import pytest

from doe.cli.main import main
from doe.model.listening import PreparedSession, RaterSheet, Sample
from doe.web import live


@pytest.mark.parametrize(
    ("address", "words"),
    [
        ("/api/variants", ["variants"]),
        ("/api/variants/2", ["show", "2"]),
        ("/api/units", ["unit", "list"]),
        ("/api/sessions", ["session", "list"]),
        ("/api/history", ["history"]),
        ("/api/history?last=2", ["history", "--last", "2"]),
        ("/api/factors", ["factor", "list"]),
        ("/api/outcomes", ["outcome", "list"]),
        ("/api/analyse/bass", ["analyse", "bass"]),
        ("/api/analyse/bass?terms=vents", ["analyse", "bass", "--terms", "vents"]),
        ("/api/next", ["next"]),
        ("/api/next?only=learn&count=2", ["next", "--only", "learn", "--count", "2"]),
        ("/api/next/track", ["next", "--track"]),
        ("/api/predict?start=2&wool=20&vents=3", ["predict", "wool=20", "vents=3", "--start", "2"]),
    ],
)
def test_the_api_says_what_the_command_says(visitor, address, words, project, capsys):
    """The same question by both faces gives the same JSON."""
    for name, value in (("2", 3.0), ("3", 1.0)):
        project.read(name, [("bass", value), ("bass", value + 0.3)], session="Tuesday")
    sheet = RaterSheet("Ann", "key", [("123",)])
    project.file.prepare_session(PreparedSession("blind", ["echo"], [Sample("123", "1")], [sheet]))
    answer = visitor.get(address)
    capsys.readouterr()
    code = main([*words, "--json", "--project", str(project.path)])
    said = capsys.readouterr().out
    assert answer.status == (200 if code == 0 else 422)
    if code == 0:
        told = json.loads(said)
        assert json.loads(answer.html) == (told[0] if words[0] == "analyse" else told)


def test_logging_and_reading_through_the_api(visitor, project):
    new = visitor.request("POST", "/api/variants", json={"settings": {"vents": 3}, "unit": "body A"})
    assert new.status == 201
    assert json.loads(new.html)["changed"] == {"vents": {"from": 2, "to": 3}}
    assert json.loads(new.html)["was_planned"] is False
    read = visitor.request("POST", "/api/readings", json={"variant": "4", "values": [["bass", 2.5], ["bass", 2.7]]})
    assert read.status == 201
    assert len(project.file.readings()) == 5
    undone = visitor.request("POST", f"/api/history/{json.loads(read.html)['entry']}/undo")
    assert undone.status == 200
    assert len(project.file.readings()) == 3


@pytest.mark.parametrize(
    ("method", "address", "body", "status", "word"),
    [
        ("GET", "/api/nothing", None, 404, "address"),
        ("GET", "/api/variants/99", None, 404, "99"),
        ("DELETE", "/api/variants", None, 405, "request"),
        ("POST", "/api/variants", {"settings": {"vents": 77}, "unit": "body A"}, 422, "vents is 77"),
        (
            "POST",
            "/api/variants",
            {"settings": "no"},
            422,
            "settings is not what is asked for here; it must be an object.",
        ),
        (
            "POST",
            "/api/variants",
            {"settings": {"vents": True}, "unit": "body A"},
            422,
            "settings vents is not what is asked for here; it must be a number.",
        ),
        ("POST", "/api/readings", {"variant": "1", "values": [["bass", True]]}, 422, "values 0 1 is not what is asked"),
        (
            "POST",
            "/api/variants",
            {"minutes": -1},
            422,
            "minutes is not what is asked for here; it must be at least 0.",
        ),
        (
            "POST",
            "/api/variants",
            {"note": "x" * 20_001},
            422,
            "note is not what is asked for here; it must have 20000 characters at most.",
        ),
        ("PUT", "/api/plan", {"runs": [{"vents": True}]}, 422, "runs 0 vents is not what is asked"),
        ("POST", "/api/readings", {"variant": "1", "values": [["loudness", 1]]}, 422, "loudness"),
        ("POST", "/api/history/99/undo", None, 422, "no entry 99"),
        ("GET", "/api/analyse/bass", None, 422, "Only one variant has a reading of bass; effects need at least two"),
        ("GET", "/api/analyse/bass?seed=-1", None, 422, "seed is not what is asked for here; it must be at least 0."),
        (
            "GET",
            "/api/analyse/bass?seed=x",
            None,
            422,
            "seed is not what is asked for here; it must be a whole number.",
        ),
        ("POST", "/api/readings", {"values": []}, 422, "variant is not what is asked for here; it must be given."),
        ("GET", "/api/settle/seven", None, 404, "Nothing is kept at this address."),
        ("GET", "/api/next?seed=-1", None, 422, "seed"),
        ("GET", "/api/history?last=-3", None, 422, "last is not what is asked for here; it must be at least 1."),
        ("GET", "/api/analyse/bass?terms=%2C", None, 400, "terms is ','; give main, two-factor, quadratic"),
    ],
)
def test_errors_have_one_shape(visitor, method, address, body, status, word):
    answer = visitor.request(method, address, json=body)
    assert answer.status == status
    error = json.loads(answer.html)["error"]
    assert set(error) == {"status", "title", "message"}
    assert error["status"] == status
    assert word in error["message"]


def test_what_is_no_json_is_said_to_be_none(visitor):
    answer = visitor.request("POST", "/api/readings", content="{", headers={"content-type": "application/json"})
    assert "The request is not what is asked for here; it must be JSON." in answer.html


def test_openapi_describes_it_without_the_pages(visitor):
    told = json.loads(visitor.get("/api/openapi.json").html)
    assert "/api/variants" in told["paths"]
    assert all(path.startswith("/api/") for path in told["paths"])


def test_a_change_by_anybody_is_told_within_two_seconds(app, project):
    """The stream of one page, while another process's writer stores a reading."""

    class Asking:
        def __init__(self):
            self.app = app

        async def is_disconnected(self):
            return False

    async def watch():
        last = project.file.history()[-1].id
        stream = live._events(Asking(), app.state.desk, last)
        assert (await anext(stream)).startswith("retry")
        waiting = asyncio.ensure_future(anext(stream))
        await asyncio.sleep(0.1)
        project.read("1", [("bass", 5.0)])
        event = await asyncio.wait_for(waiting, 2.0)
        await stream.aclose()
        return last, event

    last, event = asyncio.run(watch())
    assert event.startswith(f"id: {last + 1}\nevent: change\n")
    assert "of variant 1" in event
