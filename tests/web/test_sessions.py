import html
import json
import re
from dataclasses import replace
from datetime import datetime

import numpy as np
import pytest

from doe.model.listening import Judgement, PreparedSession, RaterSheet, Sample
from doe.signals.playback import Clip
from doe.web.listen import sheet_of
from tests.web.client import Visitor

SECRETS = ("body a", "body b", "paper", "poly", "vents", "wool", "rings", "variant")


FOURTH = {"vents": 1, "rings": 10, "wool": 20, "driver": "paper"}


@pytest.fixture
def prepared(visitor, project):
    """A session of 2, 3 and 4, each of which its unit still is."""
    project.log(FOURTH, new_unit="body C")
    page = visitor.get("/sessions/new")
    page = visitor.send(page, "/new", name="Evening", outcomes=["echo"], variants=["2", "3", "4"], twice=["2"],
                        raters="Ann\nBo", low_end="dry", high_end="wet")  # fmt: skip
    assert page.status == 200
    return page


def links(page):
    return re.findall(r'<p class="link"><a href="http://127.0.0.1(/listen/[^"]+)"', page.html)


def opened(rater, link):
    """Open a rater's page, which leads to an address of the place that is next."""
    return rater.follow(rater.get(link))


def key_of(link):
    return link.rsplit("/", 1)[1]


def told(page, field):
    """The sentence at a field."""
    return html.unescape(re.search(rf'id="in-{field}-error">([^<]*)<', page.html)[1])


def judge_all(app, link, grade):
    rater = Visitor(app)
    page, seen = opened(rater, link), []
    while "That is my judgement" in page.text:
        seen.append(re.search(r'class="code">(\d{3})<', page.html)[1])
        page = rater.send(page, link.rsplit("/", 1)[1], o__echo=str(grade + len(seen) % 2))
    return seen, page, rater


def test_a_session_runs_blind_from_its_preparation_to_its_readings(visitor, app, project, prepared):
    """Two raters, three variants, one hidden repeat; readings appear when it is closed, with codes resolved."""
    first = project.file.prepared_sessions()[0].session
    assert first.ends == {"echo": ("dry", "wet")}
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
    assert sorted(codes.values()) == ["2", "2", "3", "4"]
    assert [item["variant"] for item in added if item["rater"] == "Ann"] == [codes[code] for code in seen[0][0]]
    assert "repeats to within a standard deviation of" in closed.text


def test_what_was_judged_is_told_place_by_place_and_repeats_of_what_still_counts(visitor, project):
    """Grades 2 and 4 of variant 2 at places 2 and 10: root of 2^2 / 2; variant 3 is withdrawn, and repeats nothing."""
    samples = [Sample(str(100 + place), "2" if place in (2, 10) else "3") for place in range(1, 12)]
    sheet = RaterSheet("Ann", "key", [(sample.code,) for sample in samples])
    project.file.prepare_session(PreparedSession("Evening", ["echo"], samples, [sheet]))
    (kept,) = project.file.prepared_sessions()
    for place, grade in ((1, 1), (2, 2), (10, 4), (11, 7)):
        project.file.judge(kept.id, Judgement("Ann", place, {"echo": grade}))
    project.file.withdraw_variant("3")
    project.file.close_session(kept.id)
    page = visitor.get(f"/sessions/{kept.id}")
    assert "repeats to within a standard deviation of 1.4, from 1 repeat." in page.text
    assert re.findall(r"Ann (\d+) 1\d\d = ", page.text) == ["1", "2", "10", "11"]


def test_the_name_that_is_offered_is_free(visitor, prepared, project):
    """One session on record, one prepared, and names that are counted on by hand."""
    for name, offered in (("Noon", "Session 4"), ("session 5", "Session 6")):
        project.read("1", [("bass", 4)], session=name)
        assert f'value="{offered}"' in visitor.get("/sessions/new").html


def test_links_that_lead_nowhere_from_another_device_are_said_to(prepared, visitor, app):
    """The address is the one the page was asked at, unless the bench knows one that others reach."""
    assert "These links open on this machine only." in visitor.get(prepared.url).text
    app.state.desk.settings = replace(app.state.desk.settings, address="http://192.168.1.20:8080")
    assert "These links open on this machine only." not in visitor.get(prepared.url).text


def test_one_rater_spelt_twice_is_one_rater(visitor):
    page = visitor.send(visitor.get("/sessions/new"), "/new", name="Noon", outcomes=["echo"], variants=["2", "3"],
                        raters="Ann\nBo\nann")  # fmt: skip
    assert len(links(page)) == 2


def test_what_its_unit_no_longer_is_cannot_be_put_out(visitor, prepared, project):
    """Said of a session that was prepared before its units were changed."""
    assert "cannot be put out" not in visitor.get(prepared.url).text
    project.log({"wool": 35}, unit="body A")
    assert "Variant 2 cannot be put out: its unit has been changed since." in visitor.get(prepared.url).text
    project.log({"wool": 5}, unit="body C")
    assert "Variants 2 and 4 cannot be put out: their units have been changed since." in visitor.get(prepared.url).text


def test_what_cannot_be_put_out_is_marked_before_and_not_prepared(visitor, project):
    """Variants 1 and 2 are one unit, which is variant 2 now; a form that was opened earlier is refused at its field."""
    page = visitor.get("/sessions/new")
    assert re.search(r'name="variants" value="1" disabled', page.html)
    hint = re.search(r'id="in-variants-hint">([^<]*)<', page.html)[1]
    assert hint.startswith("Variant 1 cannot be put out: its unit has been changed since.")
    assert not re.search(r'name="variants" value="[23]" disabled', page.html)
    assert not re.search(r'name="twice" value="1"', page.html)
    fields = {"name": "Noon", "outcomes": ["echo"], "raters": "Ann"}
    answer = visitor.send(page, "/new", variants=["1", "2"], **fields)
    assert answer.status == 422
    assert told(answer, "variants") == "Variant 1 cannot be put out: its unit has been changed since. Leave it out."
    assert "Nothing is prepared yet: see the field marked below." in answer.text
    assert project.file.prepared_sessions() == []
    assert visitor.send(page, "/new", variants=["2", "3"], **fields).status == 200


def test_where_too_little_can_be_put_out_no_session_is_offered(visitor, project):
    project.file.withdraw_variant("3")
    said = "A session needs at least two variants that can be put out; the units of the others have been changed since."
    assert said in visitor.get("/sessions").text
    assert said in visitor.get("/sessions/new").text
    assert "Prepare it" not in visitor.get("/sessions/new").text


def test_a_recording_of_what_is_changed_since_can_be_judged(visitor, app, project, monkeypatch):
    """It can be chosen, is refused to be put out, and taken where recordings are played."""
    monkeypatch.setattr("doe.web.desk.View.recorded", frozenset(["1", "2"]))
    monkeypatch.setattr("doe.measuring.playback", lambda *_: {})
    page = visitor.get("/sessions/new")
    assert not re.search(r'name="variants" value="1" disabled', page.html)
    assert "1: its unit has been changed since" in page.text
    fields = {"name": "Noon", "outcomes": ["echo"], "raters": "Ann", "variants": ["1", "2"]}
    answer = visitor.send(page, "/new", **fields)
    assert told(answer, "variants").endswith("has been changed since. Play its recording instead, or leave it out.")
    assert visitor.send(page, "/new", plays=["yes"], **fields).status == 200
    assert project.file.prepared_sessions()[0].session.plays


def test_recordings_are_heard_though_one_was_withdrawn(visitor, app, project, monkeypatch):
    """None could be fetched any more, since there is none of what was withdrawn."""
    monkeypatch.setattr("doe.web.desk.View.recorded", frozenset(["1", "2", "3"]))
    monkeypatch.setattr(
        "doe.measuring.playback",
        lambda _, names: {name: Clip(np.zeros((9, 1)), 8000, 0, 0.0) for name in names if name},
    )
    fields = {"name": "Noon", "outcomes": ["echo"], "raters": "Ann", "variants": ["2", "3"], "plays": ["yes"]}
    page = visitor.send(visitor.get("/sessions/new"), "/new", **fields)
    (link,) = links(page)
    codes = {item.variant: item.code for item in project.file.prepared_sessions()[0].session.samples}
    withdrawn = project.file.withdraw_variant("3")
    rater = Visitor(app)
    assert [rater.get(f"{link}/{codes[name]}.wav").status for name in "23"] == [200, 404]
    judged = rater.send(opened(rater, link), key_of(link), o__echo="3")
    assert set(re.findall(rf"{link}/(\d+).wav", judged.html)) == {codes["2"]}
    project.file.take_back(withdrawn.id)
    assert rater.get(f"{link}/{codes['3']}.wav").status == 200


def test_a_raters_page_tells_nothing_of_what_is_behind_a_code(app, prepared, project):
    """No name, setting or unit in its HTML, headers, cookies or address, and no cookie at all."""
    for link in links(prepared):
        rater = Visitor(app)
        page = opened(rater, link)
        text = page.html.replace(link.rsplit("/", 1)[1], "").casefold()  # its drawn letters may spell a word
        assert [secret for secret in SECRETS if secret in text] == []
        assert not list(rater.cookies.jar)
        assert "set-cookie" not in page.headers
        assert "nav" not in re.findall(r"<(\w+)", page.html)
        judged = rater.send(page, link.rsplit("/", 1)[1], o__echo="3", follow=False)
        assert judged.headers["location"] == f"{link}?place=2"
    told = json.dumps([visitor_json(app, path) for path in ("/api/sessions", "/api/history", "/api/readings")])
    codes = [sample.code for sample in project.file.prepared_sessions()[0].session.samples]
    assert not any(re.search(rf"\b{code}\b", told) for code in codes)


def visitor_json(app, path):
    return json.loads(Visitor(app).get(path).html)


def test_a_rater_can_stop_go_on_and_change_the_last_one(app, prepared, project):
    link = links(prepared)[0]
    rater = Visitor(app)
    page = rater.send(opened(rater, link), key_of(link), o__echo="3")
    again = opened(Visitor(app), link)
    assert "1 of 4 samples judged" in again.text
    back = rater.get(html.unescape(re.search(r'href="([^"]*place=1[^"]*)"', page.html)[1]))
    assert dict(back.forms[0]["fields"])["o.echo"] == "3"
    rater.send(back, key_of(link), o__echo="5")
    kept = project.file.prepared_sessions()[0].judgements
    assert [(item.place, item.values) for _, _, item in kept] == [(1, {"echo": 5.0})]


def test_each_place_has_an_address_and_that_of_a_judged_one_leads_on(app, prepared):
    """Going back in the browser asks for the address of a judged place: the next one comes with a word, and with no grade."""
    link = links(prepared)[0]
    rater = Visitor(app)
    first = opened(rater, link)
    assert first.url.endswith(f"{link}?place=1")
    code = re.search(r'class="code">(\d{3})<', first.html)[1]
    second = rater.send(first, key_of(link), o__echo="3")
    assert second.url.endswith("?place=2")
    assert "is judged already" not in second.text
    back = rater.follow(rater.get(f"{link}?place=1"))
    assert back.url.endswith("?place=2&judged=1")
    assert f"Sample {code} is judged already; this sample comes next." in back.text
    assert "o.echo" not in dict(back.forms[0]["fields"])
    assert 'autocomplete="off"' in back.html.partition("<form")[2].partition(">")[0]
    assert all('autocomplete="off"' in radio for radio in re.findall(r'<input type="radio"[^>]*>', back.html))
    done = judge_all(app, link, 2)[1]
    assert "Thank you" in done.text
    assert "Thank you" in rater.follow(rater.get(f"{link}?place=1")).text


@pytest.mark.parametrize(("typed", "sentence"), [("", "Nothing is chosen yet."), ("9", "echo is 9; it must be a grade"),
                                                 ("<i>", "echo is '<i>'")])  # fmt: skip
def test_a_bad_judgement_comes_back(app, prepared, project, typed, sentence):
    link = links(prepared)[0]
    page = opened(Visitor(app), link)
    answer = Visitor(app).send(page, link.rsplit("/", 1)[1], o__echo=typed)
    assert answer.status == 422
    assert sentence in answer.text
    assert project.file.prepared_sessions()[0].judgements == ()


def test_a_closed_session_takes_no_more_and_gives_back_what_was_said(visitor, app, prepared, project):
    """It is not thanked for as stored: the code, the grade and the remark stand on the page, to be handed over."""
    link = links(prepared)[0]
    page = opened(Visitor(app), link)
    Visitor(app).send(page, key_of(link), o__echo="3")
    second = opened(Visitor(app), link)
    code = re.search(r'class="code">(\d{3})<', second.html)[1]
    visitor.send(visitor.get(prepared.url), "/close")
    late = Visitor(app).send(second, key_of(link), o__echo="4", note="hums <b>low")
    assert late.status == 409
    assert "What you just sent came after the session was closed, so it is not stored." in late.text
    assert "what was said is stored" not in late.text
    shown = re.findall(r"<dt><bdi>([^<]*)</bdi></dt><dd dir=\"auto\">([^<]*)</dd>", late.html)
    assert shown == [("Sample", code), ("echo", "4"), ("Remark", "hums &lt;b&gt;low")]
    assert len(project.file.readings()) == 4
    assert "Thank you; what was said is stored." in Visitor(app).get(link).text


def test_a_session_closed_while_a_judgement_is_on_its_way_says_so_too(visitor, app, prepared, project, monkeypatch):
    """The page's own look at the session is older than the store's."""
    link = links(prepared)[0]
    Visitor(app).send(opened(Visitor(app), link), key_of(link), o__echo="3")
    page = opened(Visitor(app), link)
    stale = sheet_of(app.state.desk, key_of(link))
    visitor.send(visitor.get(prepared.url), "/close")
    looks = iter([stale])
    monkeypatch.setattr("doe.web.listen.sheet_of", lambda desk, key: next(looks, None) or sheet_of(desk, key))
    late = Visitor(app).send(page, key_of(link), o__echo="4", follow=False)
    assert late.status == 409
    assert "so it is not stored" in late.text


def test_what_is_sent_into_a_dropped_session_is_not_lost(visitor, app, prepared, project):
    link = links(prepared)[0]
    page = opened(Visitor(app), link)
    project.file.drop_session(project.file.prepared_sessions()[0].id)
    late = Visitor(app).send(page, key_of(link), o__echo="4", note="hums low")
    assert late.status == 404
    assert "hums low" in late.text


@pytest.mark.parametrize(
    ("typed", "field", "sentence"),
    [
        (
            {"raters": "Ann\n" + "x" * 81},
            "raters",
            f"Rater '{'x' * 37}...' must be text on one line, 1 to 80 characters.",
        ),
        ({"name": "y" * 81}, "name", f"Session '{'y' * 37}...' must be text on one line, 1 to 80 characters."),
    ],
)
def test_a_name_that_is_too_long_is_refused_at_its_field(visitor, project, typed, field, sentence):
    fields = {"name": "Evening", "outcomes": ["echo"], "variants": ["2", "3"], "raters": "Ann", **typed}
    page = visitor.send(visitor.get("/sessions/new"), "/new", **fields)
    assert page.status == 422
    assert told(page, field) == sentence
    assert page.text.count(sentence) == 1
    assert "Nothing is prepared yet: see the field marked below." in page.text
    assert project.file.prepared_sessions() == []


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ({"raters": ""}, "There are 0 raters"),
        ({"variants": ["1"]}, "Fewer than two variants"),
        ({"twice": ["1"]}, "Variant 1 is to be judged twice but is not among"),
        ({"outcomes": ["echo", "clarity"]}, "clarity compares two variants; it must be the only outcome"),
        ({"name": ""}, "What it is called is empty"),
        ({"name": "Tuesday"}, "Session 'Tuesday' is in the project already"),
    ],
)
def test_a_preparation_that_cannot_be_comes_back(visitor, project, typed, sentence):
    fields = {"name": "Evening", "outcomes": ["echo"], "variants": ["2", "3"], "raters": "Ann", **typed}
    page = visitor.send(visitor.get("/sessions/new"), "/new", **fields)
    assert page.status == 422
    assert sentence in page.text
    assert project.file.prepared_sessions() == []


@pytest.mark.slow
def test_what_is_withdrawn_while_a_session_is_blind_is_said_before_and_after(visitor, app, prepared, project):
    """Its code is named to whoever puts the samples out; what was judged of it is told as left out, not passed over."""
    session = project.file.prepared_sessions()[0].session
    (sample,) = [item for item in session.samples if item.variant == "4"]
    seen, _, _ = judge_all(app, f"/listen/{session.sheets[0].key}", 3)
    assert sample.code in seen
    project.file.withdraw_variant("4")
    page = visitor.get("/sessions/1")
    assert f"Code {sample.code} stands for what was withdrawn since: nothing judged of it is stored." in page.text
    closed = visitor.send(page, "/close")
    said = f"Closed session Evening with {len(seen) - 1} readings, without 1 judgement of what was taken out since."
    assert said in closed.text


def test_a_session_whose_every_sample_was_withdrawn_is_refused_with_what_to_do(visitor, app, prepared, project):
    judge_all(app, f"/listen/{project.file.prepared_sessions()[0].session.sheets[0].key}", 3)
    for name in ("4", "3", "2"):
        project.file.withdraw_variant(name)
    before = project.file.fingerprint()
    refused = visitor.send(visitor.get("/sessions/1"), "/close")
    assert refused.status == 422
    assert (
        "All that was judged in session 'Evening' is of variants or outcomes that were taken out since, so there is nothing to "
        "store; bring them back in the history, or drop the session."
    ) in refused.text
    assert project.file.fingerprint() == before


def test_pairs_are_compared_by_tapping_the_better_one(visitor, app, project):
    project.log(FOURTH, new_unit="body C")
    page = visitor.send(visitor.get("/sessions/new"), "/new", name="Pairs", outcomes=["clarity"],
                        variants=["2", "3", "4"], raters="Ann")  # fmt: skip
    link = links(page)[0]
    rater = Visitor(app)
    answer = opened(rater, link)
    while "That is my judgement" in answer.text:
        answer = rater.send(answer, link.rsplit("/", 1)[1], o__clarity="first")
    closed = visitor.send(visitor.get(page.url), "/close")
    assert "A session of comparisons has no hidden repeats" in closed.text
    assert "One or two hidden repeats in the next session" not in closed.text  # they would be refused
    added = project.file.readings()[3:]
    assert {frozenset((item["variant"], item["versus"])) for item in added} == {
        frozenset("23"), frozenset("24"), frozenset("34")}  # fmt: skip
    assert {item["value"] for item in added} == {1.0}


@pytest.mark.slow
def test_twenty_raters_at_once_lose_nothing(visitor, app, project):
    from concurrent.futures import ThreadPoolExecutor

    page = visitor.send(visitor.get("/sessions/new"), "/new", name="Crowd", outcomes=["echo"], variants=["2", "3"],
                        raters="\n".join(f"R{number}" for number in range(20)))  # fmt: skip
    with ThreadPoolExecutor(20) as pool:
        done = list(pool.map(lambda link: judge_all(app, link, 3), links(page)))
    assert all("Thank you" in last.text for _, last, _ in done)
    assert len(project.file.prepared_sessions()[0].judgements) == 40


def test_readings_do_not_go_into_a_session_that_was_judged_blind(visitor, app, prepared, project):
    """Its readings are the last of today when it is closed; the sitting at the bench before it goes on."""
    now = datetime.now().replace(microsecond=0)
    project.read("2", [("bass", 3.0)], session="Bench today", when=now)
    judge_all(app, links(prepared)[0], 3)
    visitor.send(visitor.get(prepared.url), "/close")
    assert project.file.readings()[-1]["session"] == "Evening"
    assert dict(visitor.get("/variants/2/readings").form("/readings")["fields"])["session"] == "Bench today"


def test_a_comparison_is_told_with_both_of_its_variants(visitor):
    page = visitor.send(visitor.get("/variants/2/readings"), "/readings", o__clarity="first", versus="3")
    assert "Stored: Read clarity of variant 2 better than of variant 3" in page.text
    page = visitor.send(visitor.get("/variants/2/readings"), "/readings", o__clarity="tie", versus="1")
    assert "Stored: Read clarity of variants 2 and 1 alike" in page.text
