"""Every form, and what may be typed into it: refused at its field with its values kept, or stored as it was typed."""

import html
import io
import re
import zipfile
from urllib.parse import urljoin

import pytest
from PIL import Image

from doe.web import urls
from tests.web.client import Visitor

TEXTS = {
    "empty": "", "words": "wide", "minus": "-1", "beyond": "1e999", "no number": "nan", "superscript": "²",
    "digits": "9" * 5000, "long": "x" * 10_000, "emoji": "\U0001f528\U0001f528", "right to left": "שלום",
    "markup": "<script>alert(1)</script>", "zero byte": "a\0b", "turned": "‮⁦x", "two lines": "a\nb",
}  # fmt: skip
FORMS = {
    "log": ("/log?unit=body+A", "/log"),
    "log on a new unit": ("/log?unit=new", "/log"),
    "reference": ("/log/reference", "/log/reference"),
    "readings": ("/variants/2/readings", "/readings"),
    "correct a reading": ("/readings/1/correct", "/correct"),
    "correct a variant": ("/variants/2/correct", "/correct"),
    "built": ("/variants/4", "/built"),
    "session": ("/sessions/new", "/new"),
    "judgement": ("/listen/KEY?place=1&again=yes", "/KEY"),
    "new factor": ("/setup/factor", "/factor"),
    "factor": ("/setup/factor?name=wool", "/factor"),
    "new outcome": ("/setup/outcome", "/outcome"),
    "outcome": ("/setup/outcome?name=echo", "/outcome"),
    "limit": ("/setup/limit", "/limit"),
    "derived": ("/setup/derived", "/derived"),
    "effort": ("/setup/effort", "/effort"),
    "about": ("/setup/about", "/about"),
    "start": ("/start", "/start"),
}


@pytest.fixture
def address(project):
    """Where each form is, in a project that also has a planned variant and a prepared session."""
    from doe.model.listening import PreparedSession, RaterSheet, Sample
    from doe.model.records import Variant

    settings = {"vents": 3, "rings": 9, "wool": 30, "driver": "paper"}
    project.file.add_variant(Variant("4", settings, status="planned"), number_on=True)
    sheet = RaterSheet("Ann", "SECRET", [("123",), ("456",)])
    samples = [Sample("123", "1"), Sample("456", "2")]
    project.file.prepare_session(PreparedSession("Evening", ["echo"], samples, [sheet]))
    return {name: (path.replace("KEY", "SECRET"), end.replace("KEY", "SECRET")) for name, (path, end) in FORMS.items()}


def fields_of(page, end):
    """Names of the fields of a form that a person types into."""
    form = page.form(end)
    part = page.html[page.html.index(f'action="{html.escape(form["action"])}"') :]
    part = part[: part.index("</form>")]
    return re.findall(r'<(?:textarea|input)(?=[^>]*(?:type="text"|rows=))[^>]*?\bname="([^"]+)"', part)


@pytest.mark.slow
@pytest.mark.parametrize("name", FORMS)
def test_whatever_is_typed_is_stored_as_it_is_or_comes_back(visitor, project, address, name):
    """422 with the value kept, a sentence and nothing stored; or 303 and stored. Never a fault of ours, never markup."""
    path, end = address[name]
    page = visitor.get(path)
    names = fields_of(page, end)
    assert names
    alone = [({field: TEXTS[what]}, what) for field in names for what in ("words", "markup")]
    together = [(dict.fromkeys(names, value), what) for what, value in TEXTS.items()]
    for typed, what in together + alone:
        before = project.file.history()[-1].id
        changed = {field.replace(".", "__"): value for field, value in typed.items()}
        answer = visitor.send(page, end, follow=False, **changed, once=f"{list(typed)} {what}")
        where = (name, list(typed), what)
        assert answer.status in (303, 422), where
        assert "<script>alert" not in answer.html, where
        if answer.status == 303:
            page = stored(visitor, project, answer, path, page)
            continue
        assert project.file.history()[-1].id == before, where
        assert 'class="problem' in answer.html, where
        kept = dict(answer.form(end)["fields"])
        for field, value in typed.items():
            assert kept[field].strip() == value.replace("\0", "").strip(), (*where, field)


def stored(visitor, project, answer, path, page):
    """Look at where it leads, and return the form for the next try."""
    landed = visitor.follow(answer)
    assert landed.status == 200
    assert "<script>alert" not in landed.html
    if path == "/start":
        return page
    if "/variants/" in path or "name=" in path:
        project.file.take_back(project.file.history()[-1].id)  # it may go by another name now
    return visitor.get(path)


@pytest.mark.parametrize(
    ("name", "typed", "sentence"),
    [
        ("log", {"f.wool": "wide"}, "wool is 'wide'"),
        ("log", {"minutes": "soon"}, "Bench time it really took is 'soon'; it must be a number from 0, "
         "or a time such as 1 h 35 min."),
        ("log", {"f.vents": "3", "price": "-4"}, "Money it really took is '-4'; it must be a number from 0."),
        ("log", {"f.vents": "3", "name": "1"}, "1"),
        ("log on a new unit", {"f.vents": "1", "f.rings": "9", "f.wool": "0", "f.driver": "poly", "new_unit": "body A"},
         "body A"),
        ("reference", {"name": ""}, "What it is called is empty"),
        ("readings", {"o.bass": "loud"}, "bass is 'loud'"),
        ("readings", {"o.echo": "12"}, "echo is 12"),
        ("readings", {"o.bass": "3", "order": "0"}, "Place in the order is '0'; it must be a whole number from 1 to 999999."),
        ("correct a reading", {"value": "loud"}, "bass is 'loud'"),
        ("correct a variant", {"f.vents": "9"}, "vents is 9"),
        ("correct a variant", {"minutes": "-3"}, "Bench time is '-3'; it must be a number from 0, or a time such as "
         "1 h 35 min."),
        ("correct a variant", {"name": "1"}, "name of its own"),
        ("correct a variant", {"parent": "77"}, "77"),
        ("built", {"unit": ""}, "Built on unit is empty"),
        ("built", {"unit": "body Z", "minutes": "x"}, "Bench time it really took is 'x'"),
        ("session", {"raters": ""}, "There are 0 raters"),
        ("session", {"low_end": "x" * 70}, "The low end has 70 characters; it may have at most 60."),
        ("new factor", {"name": "a b"}, "a b"),
        ("new factor", {"name": "mass", "low": "x"}, "Low is 'x'"),
        ("factor", {"step": "0"}, "Factor 'wool': step is 0; it must be more than 0."),
        ("new outcome", {"name": ""}, "name"),
        ("outcome", {"matters": "-1"}, "Outcome 'echo': smallest change that matters is -1; it must be more than 0."),
        ("limit", {"rule": "rings * * 2"}, "no expression that can be read"),
        ("derived", {"name": "air", "expression": "rings *"}, "expression"),
        ("effort", {"session_minutes": "-1"}, "The time for a session is '-1'"),
        ("about", {"title": "x" * 300}, "What is tuned has 300 characters; it may have at most 200."),
        ("start", {"title": ""}, "What is tuned is empty"),
    ],
)  # fmt: skip
def test_the_sentence_stands_at_the_field(visitor, project, address, name, typed, sentence):
    """One sentence at the field that it is about, tied to it for a screen reader; nothing is stored."""
    path, end = address[name]
    field = list(typed)[-1] if name != "correct a variant" else next(iter(typed))
    before = project.file.fingerprint()
    answer = visitor.send(visitor.get(path), end, **{key.replace(".", "__"): value for key, value in typed.items()})
    assert answer.status == 422
    identity = f"in-{field.replace('.', '-')}-error"
    assert identity in answer.ids, answer.html[answer.html.find("problem") - 200 :][:600]
    told = html.unescape(re.search(rf'id="{identity}">([^<]*)<', answer.html)[1])
    assert sentence in told
    assert told.endswith(".")
    assert f'aria-describedby="{identity}' in answer.html or f" {identity}" in answer.html
    assert project.file.fingerprint() == before


def test_an_expired_key_is_told_and_nothing_is_stored(path, project):
    """The server was started anew: the cookie and the form's token of the old one count no more."""
    from doe.web import Settings, create_app

    def started(key):
        return create_app(path, Settings(folder=path.parent, key=key, patience_s=0))

    visitor = Visitor(started("abcd-efgh-jkmn"))
    visitor.follow(visitor.get("/enter?key=abcd-efgh-jkmn"))
    page = visitor.get("/log/reference")
    before = project.file.fingerprint()
    visitor.app = started("other-other-keys")
    answer = visitor.send(page, "/log/reference", name="shop radio")
    assert answer.status == 401
    assert "nothing was stored" in answer.text
    visitor.app = started("")
    answer = visitor.send(page, "/log/reference", name="shop <b>radio")
    assert answer.status == 403
    assert "shop <b>radio" in answer.text
    assert "<b>radio" not in answer.html
    assert project.file.fingerprint() == before


def test_a_unit_that_went_meanwhile_brings_the_form_back(visitor, project):
    made = project.log({"vents": 1, "rings": 8, "wool": 5, "driver": "poly"}, new_unit="body C")
    page = visitor.get("/log?unit=body+C")
    project.file.take_back(made.entry.id)
    before = project.file.fingerprint()
    answer = visitor.send(page, "/log", f__vents="4", note="tighter")
    assert answer.status == 409
    assert "body C" in answer.text
    assert dict(answer.form("/log")["fields"])["note"] == "tighter"
    assert project.file.fingerprint() == before


@pytest.mark.parametrize(
    ("where", "end", "typed"),
    [
        ("/variants/3/readings", "/readings", {"o__bass": "2.5", "note": "rings <i>"}),
        ("/variants/3/correct", "/correct", {"note": "rings <i>"}),
        ("/variants/3", "/photos", {}),
    ],
)
def test_a_variant_that_was_taken_out_meanwhile_is_told(visitor, project, where, end, typed):
    """404, and what was typed stands on the page, so that nothing is lost."""
    page = visitor.get(where)
    project.file.withdraw_variant("3")
    before = project.file.fingerprint()
    answer = visitor.send(page, end, **typed)
    assert answer.status == 404
    assert all(value in answer.text for value in typed.values())
    assert "<i>" not in answer.html
    assert project.file.fingerprint() == before


def test_a_form_without_a_token_of_its_own_is_stored_each_time(visitor, project):
    """Nothing tells copies apart then, so none may be swallowed."""
    for name in ("shop radio", "car radio"):
        visitor.send(visitor.get("/log/reference"), "/reference", name=name, once="")
    assert [item.name for item in project.file.variants()][-2:] == ["shop radio", "car radio"]


def test_several_photos_are_one_entry(visitor, project):
    """All of them or none, and one button takes them back."""
    files = []
    for colour in ("brown", "green"):
        out = io.BytesIO()
        Image.new("RGB", (20, 20), colour).save(out, "PNG")
        files.append(("photos", (f"{colour}.png", out.getvalue())))
    before = project.file.fingerprint()
    bad = visitor.send(visitor.get("/variants/2"), "/photos", files=[*files, ("photos", ("virus.jpg", b"MZ" * 900))])
    assert bad.status == 422
    assert "photo-error" in bad.ids
    assert project.file.fingerprint() == before
    page = visitor.send(visitor.get("/variants/2"), "/photos", files=files)
    assert len(project.file.attachments()) == 2
    visitor.send(page, "/undo")
    assert project.file.fingerprint() == before


def test_a_label_with_a_slash_has_a_page(visitor, project):
    project.log_reference("shop / car")
    assert visitor.get("/variants/shop%20%2F%20car").status == 200
    assert visitor.get("/variants/shop%20%2F%20car/readings").status == 200
    assert visitor.get("/variants/shop%20%2F%20car/correct").status == 200
    assert visitor.get("/api/variants/shop%20%2F%20car").status == 200
    assert "shop%20%252F%20car" in visitor.get("/variants").html


@pytest.mark.parametrize("label", [".", "..", "1/readings", "1/correct", "50%", "50%2F", "a?b#c", "..."])
def test_a_variant_may_be_called_what_is_a_path(visitor, project, label):
    """A browser leaves the parts . and .. out of a path (RFC 3986, 5.2.4, *from memory*); 1/readings are the readings of 1."""
    project.file.correct_variant("2", name=label)
    assert f"<h1><bdi>{label}</bdi></h1>" in html.unescape(visitor.get(urls.variant(label)).html)
    assert urls.variant(label) == urljoin(urls.variants() + "/", urls.variant(label))
    for address in (urls.readings(label), urls.variant(label, "correct"), urls.variant(label, "recordings")):
        assert label in html.unescape(visitor.get(address).html)
    assert visitor.send(visitor.get(urls.variant(label, "correct")), "/correct", note="thin").status == 200
    assert next(item.note for item in project.snapshot().variants if item.name == label) == "thin"


def test_a_workbook_that_unfolds_without_end_is_refused(visitor, project):
    """A decompression bomb: 600 MB of zeros in a file of under a megabyte."""
    out = io.BytesIO()
    with (
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed,
        packed.open("xl/worksheets/sheet1.xml", "w", force_zip64=True) as sheet,
    ):
        for _ in range(600):
            sheet.write(bytes(1_000_000))
    assert len(out.getvalue()) < 1_000_000
    before = project.file.fingerprint()
    answer = visitor.send(visitor.get("/import"), "/import", files=[("file", ("log.xlsx", out.getvalue()))])
    assert answer.status == 422
    assert "log.xlsx" in answer.text
    assert project.file.fingerprint() == before


@pytest.mark.parametrize(
    "address", ["/?done=²", f"/?done={'9' * 5000}", f"/history?before={'9' * 30}", "/variants?x=%00"]
)
def test_odd_numbers_in_an_address_do_no_harm(visitor, address):
    assert visitor.get(address).status in (200, 422)
