"""The build sheet: what a version froze, in words, safe whatever was typed."""

from __future__ import annotations

import re
import shutil
from dataclasses import replace

import pytest

from doe.advise.effort import new_unit_cost
from doe.model.effort import Effort
from doe.model.errors import DataError, StoreError, UsageError
from doe.model.factor import Factor
from doe.model.listening import PreparedSession, RaterSheet, Sample
from doe.model.outcome import Outcome
from doe.model.records import Reading, Variant
from doe.model.settled import SettledVersion
from doe.model.setup import Setup
from doe.project import Project
from doe.sheets import build_sheet, print_pdf
from doe.sheets import printing as printing_module
from doe.sheets.build_sheet import bench_steps, sheet_context
from doe.sheets.cautions import BENCH, LISTENING
from doe.sheets.settled import ruled, settled
from doe.store import ProjectFile
from doe.store.attachments import TAKE
from tests.refusing import refused
from tests.store.radio import RADIO, SETTINGS

EVIDENCE = {
    "expected": [
        {"outcome": "bass", "unit": "dB", "mean": 0.52, "low": 0.1, "high": 0.9, "build_low": -0.3, "build_high": 1.3}
    ],
    "tolerances": {
        "rows": [
            {"factor": "vents", "kind": "count", "setting": 2, "low": 2.0, "high": 3.0, "levels": [], "care": "some care"},
            {"factor": "rings", "kind": "count", "setting": 9, "low": 9.0, "high": 9.0, "levels": [], "care": "hold it"},
            {"factor": "wool", "kind": "continuous", "setting": 20.0, "low": 12.0, "high": 60.0, "levels": [],
             "care": "some care"},
            {"factor": "driver", "kind": "categorical", "setting": "poly", "low": None, "high": None,
             "levels": ["poly", "paper"], "care": "some care"},
        ],
        "headline": "Hold rings.",
        "notes": ["One at a time."],
    },
    "confirmation": {
        "verdict": "kept its promise", "headline": "Variant 1 kept the promise.", "readings": 4, "notes": [],
        "rows": [{"outcome": "bass", "verdict": "kept its promise", "finding": "Bass: kept its promise."}],
    },
}  # fmt: skip


@pytest.fixture(scope="module")
def project(tmp_path_factory):
    path = tmp_path_factory.mktemp("sheet") / "radio.duckdb"
    file = ProjectFile.create(path, RADIO)
    file.add_variant(Variant("1", SETTINGS))
    file.add_readings([Reading("1", "bass", 0.5)])
    file.attach("1", "front.png", b"\x89PNG not really", "<b>front</b>")
    file.settle_version(
        SettledVersion(0, "<script>alert(1)</script>", "1", {}, evidence=EVIDENCE, note="for & against")
    )
    return Project.open(path)


def test_what_was_frozen_is_told(project):
    sheet = sheet_context(project, project.version())
    assert [(line.factor, line.setting, line.room, line.kind) for line in sheet.settings] == [
        ("vents", "2", "2 or 3", "some"),
        ("rings", "9", "no other", "hold"),
        ("wool", "20 %", "12 to 60 %", "some"),
        ("driver", "poly", "or paper", "some"),
    ]
    assert [(line.outcome, line.expected, line.confirmed) for line in sheet.promises] == [
        ("bass", "0.5 dB (-0.3 to 1.3)", "kept its promise")
    ]
    assert sheet.confirmation == ("Variant 1 kept the promise. 4 readings.", "Bass: kept its promise.")


def test_steps_come_in_an_order_that_can_be_built():
    """What needs a new unit comes first, one-way changes next, what goes back and forth last; bare states take no time."""
    steps = bench_steps(RADIO, SETTINGS)
    assert [(step.what, step.takes) for step, _ in steps] == [
        ("Make a new unit: rings 9.", "2 h 30 min"),
        ("Set vents to 2.", "12 min"),
        ("Set wool to 20 %.", "8 min"),
        ("Set driver to poly.", ""),
    ]
    assert "It cannot be changed afterwards." in steps[0][0].note
    assert "It only goes up: stop at 2." in steps[1][0].note
    assert [step.what for step, _ in bench_steps(RADIO, {**SETTINGS, "wool": 0.0})][2] == "Leave wool at 0 %."


def test_a_zero_that_takes_work_is_set_and_paid_like_any_setting(tmp_path):
    """A length that is sawn down to 0, and a tilt whose range begins below 0; both cost what advice counts for them."""
    length = Factor("length", low=0, high=20, way="down", minutes=5, price=3, note="Use the fine saw")
    tilt = Factor("tilt", low=-5, high=5, minutes=2, price=1, note="Both feet!")
    felt = Factor("felt", low=0, high=9, way="up")  # costs nothing, so it is no part
    setup = Setup(factors=[tilt, length, felt], effort=Effort(new_unit_minutes=90))
    file = ProjectFile.create(tmp_path / "saw.duckdb", setup)
    settings = {"length": 0.0, "tilt": 0.0, "felt": 3.0}
    file.add_variant(Variant("1", settings))
    file.settle_version(SettledVersion(0, "first", "1", {}))
    made = Project.open(file.path)
    sheet = sheet_context(made, made.version())
    assert [(step.what, step.note, step.takes) for step in sheet.steps[1:]] == [
        ("Set length to 0.", "Use the fine saw. It only goes down: stop at 0.", "5 min"),
        ("Set felt to 3.", "It only goes up: stop at 3.", ""),
        ("Set tilt to 0.", "Both feet!", "2 min"),
    ]
    assert sheet.parts == (("tilt: 0", "1"), ("length: 0", "3"), ("all parts with a price", "4"))
    cost = new_unit_cost(setup.factors, settings, setup.effort)
    assert (sheet.takes, cost.minutes, cost.price) == ("1 h 37 min", 97, 4)


def test_a_picture_that_two_variants_share_is_shown_once(tmp_path):
    """Under the version's own variant, though the other one's came first."""
    file = ProjectFile.create(tmp_path / "radio.duckdb", RADIO)
    file.add_variant(Variant("1", SETTINGS))
    file.add_variant(Variant("2", SETTINGS, parent="1"))
    for variant, note in (("1", "front"), ("2", "front, sanded"), ("1", "back")):
        file.attach(variant, f"{note[:5]}.png", note[:5].encode(), note)
    file.settle_version(SettledVersion(0, "first", "2", {}))
    made = Project.open(file.path)
    photos = sheet_context(made, made.version()).photos
    assert [caption for _, caption in photos] == ["variant 2: front, sanded", "variant 1: back"]


def test_a_photo_of_a_variant_that_was_withdrawn_keeps_its_name(tmp_path):
    """The version froze it; the variant itself cannot be withdrawn, those that it came from can."""
    file = ProjectFile.create(tmp_path / "radio.duckdb", RADIO)
    file.add_variant(Variant("1", SETTINGS))
    file.add_variant(Variant("2", SETTINGS, parent="1"))
    file.attach("1", "front.png", b"\x89PNG", "front")
    file.settle_version(SettledVersion(0, "first", "2", {}))
    file.withdraw_variant("1")
    made = Project.open(file.path)
    sheet = sheet_context(made, made.version())
    assert [caption for _, caption in sheet.photos] == ["variant 1: front"]
    assert dict(sheet.facts)["In the log"] == "variant 2 from 1"


def test_a_sheet_is_written_after_the_definitions_changed(tmp_path):
    """A factor that came later is left out, and a level that is gone is still told."""
    file = ProjectFile.create(tmp_path / "radio.duckdb", RADIO)
    file.add_variant(Variant("1", SETTINGS))
    file.settle_version(SettledVersion(0, "first", "1", {}))
    file.correct_variant("1", settings={"driver": "paper"})
    file.change_setup("factor", replace(RADIO.factors[3], levels=["paper", "bamboo"]), name="driver")
    file.change_setup("factor", Factor("feet", kind="categorical", levels=["felt", "cork"]), was="cork")
    page = build_sheet(Project.open(file.path), tmp_path / "sheet.html").read_text(encoding="utf-8")
    assert "Set driver to poly." in page
    assert "feet" not in page


def test_nothing_that_was_typed_becomes_markup(project, tmp_path):
    page = build_sheet(project, tmp_path / "sheet.html").read_text(encoding="utf-8")
    assert "<script" not in page
    assert "<b>" not in page
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in page
    assert re.search(r'<img src="data:image/png;base64,[A-Za-z0-9+/=]+" alt="variant 1: &lt;b&gt;front', page)
    assert "http://" not in page.replace("http://www.w3.org", "")


def test_the_same_content_gives_the_same_bytes(project, tmp_path):
    one, two = (build_sheet(project, tmp_path / name).read_bytes() for name in ("a.html", "b.html"))
    assert one == two


def test_what_cannot_be_written_is_refused(project, tmp_path):
    with refused(UsageError, "'sheet.txt' must end in .html."):
        build_sheet(project, tmp_path / "sheet.txt")
    with refused(UsageError, "There is no version 7; there is only 1."):
        build_sheet(project, tmp_path / "sheet.html", 7)
    empty = Project.create(tmp_path / "empty.duckdb")
    with pytest.raises(DataError, match="Nothing is settled yet"):
        build_sheet(empty, tmp_path / "sheet.html")


def test_without_a_browser_no_pdf_is_written_and_it_is_said(tmp_path, monkeypatch):
    monkeypatch.setattr(printing_module.shutil, "which", lambda name: None)
    with pytest.raises(StoreError, match="No Chromium is installed"):
        print_pdf(tmp_path / "a.html", tmp_path / "a.pdf")


@pytest.mark.browser
@pytest.mark.skipif(shutil.which("chromium") is None, reason="Chromium is not installed")
@pytest.mark.parametrize(("paper", "width", "height"), [("A4", 210 / 25.4, 297 / 25.4), ("letter", 8.5, 11)])
def test_a_page_prints_on_the_paper_there_is(project, tmp_path, paper, width, height):
    """A4 is 210 by 297 mm (ISO 216), letter 8.5 by 11 inches; a PDF counts in 72nds of an inch (ISO 32000-1, 8.3.2.3).

    All of it *from memory*.
    """
    page = build_sheet(project, tmp_path / "sheet.html")
    made = print_pdf(page, tmp_path / "sheet.pdf", paper=paper).read_bytes()
    assert made.startswith(b"%PDF")
    boxes = re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", made)
    assert boxes
    for box in boxes:
        assert [float(side) / 72 for side in box] == pytest.approx([width, height], abs=0.01)


def test_the_report_tells_settled_versions_the_newest_first(project):
    (told,) = settled(project.setup, project.versions())
    assert told.settings == "vents 2, rings 9, wool 20 %, driver poly"
    assert told.confirmed[0] == "Variant 1 kept the promise."
    assert ruled([]).out == ()


KETTLE = Setup(
    "Kettle",
    "It boils slowly",
    [Factor("pot_gap", low=5, high=30, unit="mm"), Factor("lid", kind="categorical", levels=["steel", "glass"])],
    [Outcome("boil", unit="min"), Outcome("grip", kind="rated", scale=(1, 7), note="with a wet hand")],
)


def kettle(tmp_path, **changes):
    """A project about a kettle: one thing measured, one judged by hand."""
    file = ProjectFile.create(tmp_path / "kettle.duckdb", replace(KETTLE, **changes))
    file.add_variant(Variant("1", {"pot_gap": 10, "lid": "steel"}))
    file.settle_version(SettledVersion(0, "first", "1", {}))
    return Project.open(file.path)


def warned(project):
    return sheet_context(project, project.version(1)).cautions


def test_a_sheet_warns_of_playback_only_where_sound_may_be_played(tmp_path):
    """Nothing is played of a kettle that is timed and gripped."""
    assert warned(kettle(tmp_path)) == (BENCH,)


@pytest.mark.parametrize(
    "changes",
    [
        {"outcomes": [Outcome("level", recipe={"from": "level"})]},
        {"outcomes": [Outcome("level", unit="dB(A)")]},
        {"outcomes": [Outcome("pitch", unit="Hz")]},
        {"outcomes": [Outcome("echo", kind="rated", scale=(1, 7))]},
        {"outcomes": [Outcome("sings", kind="rated", scale=(1, 7), note="how loud it sings")]},
        {"outcomes": [Outcome("nicer", kind="compared")], "question": "The music sounds thin"},
    ],
)
def test_a_sheet_warns_wherever_ears_or_sound_are_used(tmp_path, changes):
    assert warned(kettle(tmp_path, **changes)) == (BENCH, LISTENING)


def test_a_sheet_warns_where_recordings_are_kept_or_played(tmp_path):
    made = kettle(tmp_path, outcomes=[Outcome("finish", kind="rated", scale=(1, 7))])
    assert warned(made) == (BENCH,)
    sheet = RaterSheet("Ann", "key", [("123",)])
    session = PreparedSession("blind", ["finish"], [Sample("123", "1")], [sheet], plays=True)
    entry = made.file.prepare_session(session)
    assert warned(made) == (BENCH, LISTENING)
    made.file.take_back(entry.id)
    assert warned(made) == (BENCH,)
    made.file.attach("1", "take.wav", b"RIFF", TAKE)
    assert warned(made) == (BENCH, LISTENING)
