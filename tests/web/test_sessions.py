import json
import re
from dataclasses import replace

import pytest

from tests.web.client import Visitor

SECRETS = ("body a", "body b", "paper", "poly", "vents", "wool", "rings", "variant")


@pytest.fixture
def prepared(visitor):
    page = visitor.get("/sessions/new")
    page = visitor.send(page, "/new", name="Evening", outcomes=["echo"], variants=["1", "2", "3"], twice=["2"],
                        raters="Ann\nBo", low_end="dry", high_end="wet")  # fmt: skip
    assert page.status == 200
    return page


def links(page):
    return re.findall(r'<p class="link"><a href="http://127.0.0.1(/listen/[^"]+)"', page.html)


def judge_all(app, link, grade):
    rater = Visitor(app)
    page, seen = rater.get(link), []
    while "That is my judgement" in page.text:
        seen.append(re.search(r'class="code">(\d{3})<', page.html)[1])
        page = rater.send(page, link.rsplit("/", 1)[1], o__echo=str(grade + len(seen) % 2))
    return seen, page, rater


def test_a_session_runs_blind_from_its_preparation_to_its_readings(visitor, app, project, prepared):
    """Two raters, three variants, one hidden repeat; readings appear when it is closed, with codes resolved."""
    seen = [judge_all(app, link, grade) for link, grade in zip(links(prepared), (2, 4), strict=True)]
    assert all("Thank you" in page.text for _, page, _ in seen)
    assert set(seen[0][0]) == set(seen[1][0])
    assert len(set(seen[0][0])) == 4
    assert len(project.file.readings()) == 3
    closed = visitor.send(visitor.get(prepared.url), "/close")
    assert closed.status == 200
    added = project.file.readings()[3:]
    assert len(added) == 8
    assert {item["session"] for item in added} == {"Evening"}
    codes = {re.search(r"\d{3}", item["note"])[0]: item["variant"] for item in added}
    assert sorted(codes.values()) == ["1", "2", "2", "3"]
    assert [item["variant"] for item in added if item["rater"] == "Ann"] == [codes[code] for code in seen[0][0]]
    assert "repeats to within a standard deviation of" in closed.text


def test_links_that_lead_nowhere_from_another_device_are_said_to(prepared, visitor, app):
    """The address is the one the page was asked at, unless the bench knows one that others reach."""
    assert "These links open on this machine only." in visitor.get(prepared.url).text
    app.state.desk.settings = replace(app.state.desk.settings, address="http://192.168.1.20:8080")
    assert "These links open on this machine only." not in visitor.get(prepared.url).text


def test_one_rater_spelt_twice_is_one_rater(visitor):
    page = visitor.send(visitor.get("/sessions/new"), "/new", name="Noon", outcomes=["echo"], variants=["1", "3"],
                        raters="Ann\nBo\nann")  # fmt: skip
    assert len(links(page)) == 2


def test_what_its_unit_no_longer_is_cannot_be_put_out(visitor, prepared):
    """Variants 1 and 2 are one unit, which is variant 2 now; 3 is another."""
    assert "Variant 1 cannot be put out: the unit has been changed since." in visitor.get(prepared.url).text
    page = visitor.send(visitor.get("/sessions/new"), "/new", name="Noon", outcomes=["echo"], variants=["2", "3"],
                        raters="Ann")  # fmt: skip
    assert "cannot be put out" not in page.text


def test_a_raters_page_tells_nothing_of_what_is_behind_a_code(app, prepared, project):
    """No name, setting or unit in its HTML, headers, cookies or address, and no cookie at all."""
    for link in links(prepared):
        rater = Visitor(app)
        page = rater.get(link)
        text = page.html.replace(link.rsplit("/", 1)[1], "").casefold()  # its drawn letters may spell a word
        assert [secret for secret in SECRETS if secret in text] == []
        assert not list(rater.cookies.jar)
        assert "set-cookie" not in page.headers
        assert "nav" not in re.findall(r"<(\w+)", page.html)
        judged = rater.send(page, link.rsplit("/", 1)[1], o__echo="3", follow=False)
        assert judged.headers["location"] == link
    told = json.dumps([visitor_json(app, path) for path in ("/api/sessions", "/api/history", "/api/readings")])
    codes = [sample.code for sample in project.file.prepared_sessions()[0].session.samples]
    assert not any(re.search(rf"\b{code}\b", told) for code in codes)


def visitor_json(app, path):
    return json.loads(Visitor(app).get(path).html)


def test_a_rater_can_stop_go_on_and_change_the_last_one(app, prepared, project):
    link = links(prepared)[0]
    rater = Visitor(app)
    page = rater.send(rater.get(link), link.rsplit("/", 1)[1], o__echo="3")
    again = Visitor(app).get(link)
    assert "1 of 4 samples judged" in again.text
    back = rater.get(re.search(r'href="([^"]*place=1)"', page.html)[1])
    assert dict(back.forms[0]["fields"])["o.echo"] == "3"
    rater.send(back, link.rsplit("/", 1)[1], o__echo="5")
    kept = project.file.prepared_sessions()[0].judgements
    assert [(item.place, item.values) for _, _, item in kept] == [(1, {"echo": 5.0})]


@pytest.mark.parametrize(("typed", "sentence"), [("", "Nothing is chosen yet."), ("9", "echo is 9; it must be a grade"),
                                                 ("<i>", "echo is '<i>'")])  # fmt: skip
def test_a_bad_judgement_comes_back(app, prepared, project, typed, sentence):
    link = links(prepared)[0]
    page = Visitor(app).get(link)
    answer = Visitor(app).send(page, link.rsplit("/", 1)[1], o__echo=typed)
    assert answer.status == 422
    assert sentence in answer.text
    assert project.file.prepared_sessions()[0].judgements == ()


def test_a_closed_session_takes_no_more(visitor, app, prepared, project):
    link = links(prepared)[0]
    page = Visitor(app).get(link)
    Visitor(app).send(page, link.rsplit("/", 1)[1], o__echo="3")
    visitor.send(visitor.get(prepared.url), "/close")
    late = Visitor(app).send(page, link.rsplit("/", 1)[1], o__echo="4")
    assert late.status == 409
    assert "closed" in late.text
    assert len(project.file.readings()) == 4


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ({"raters": ""}, "There are 0 raters"),
        ({"variants": ["1"]}, "Fewer than two variants"),
        ({"variants": ["1", "2"], "twice": ["3"]}, "Variant 3 is to be judged twice but is not among"),
        ({"outcomes": ["echo", "clarity"]}, "clarity compares two variants; it must be the only outcome"),
        ({"name": ""}, "What it is called is empty"),
        ({"name": "Tuesday"}, "Session 'Tuesday' is in the project already"),
    ],
)
def test_a_preparation_that_cannot_be_comes_back(visitor, project, typed, sentence):
    fields = {"name": "Evening", "outcomes": ["echo"], "variants": ["1", "2"], "raters": "Ann", **typed}
    page = visitor.send(visitor.get("/sessions/new"), "/new", **fields)
    assert page.status == 422
    assert sentence in page.text
    assert project.file.prepared_sessions() == []


@pytest.mark.slow
def test_pairs_are_compared_by_tapping_the_better_one(visitor, app, project):
    page = visitor.send(visitor.get("/sessions/new"), "/new", name="Pairs", outcomes=["clarity"],
                        variants=["1", "2", "3"], raters="Ann")  # fmt: skip
    link = links(page)[0]
    rater = Visitor(app)
    answer = rater.get(link)
    while "That is my judgement" in answer.text:
        answer = rater.send(answer, link.rsplit("/", 1)[1], o__clarity="first")
    visitor.send(visitor.get(page.url), "/close")
    added = project.file.readings()[3:]
    assert {frozenset((item["variant"], item["versus"])) for item in added} == {
        frozenset("12"), frozenset("13"), frozenset("23")}  # fmt: skip
    assert {item["value"] for item in added} == {1.0}


@pytest.mark.slow
def test_twenty_raters_at_once_lose_nothing(visitor, app, project):
    from concurrent.futures import ThreadPoolExecutor

    page = visitor.send(visitor.get("/sessions/new"), "/new", name="Crowd", outcomes=["echo"], variants=["1", "2"],
                        raters="\n".join(f"R{number}" for number in range(20)))  # fmt: skip
    with ThreadPoolExecutor(20) as pool:
        done = list(pool.map(lambda link: judge_all(app, link, 3), links(page)))
    assert all("Thank you" in last.text for _, last, _ in done)
    assert len(project.file.prepared_sessions()[0].judgements) == 40
