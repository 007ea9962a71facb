import re
from datetime import datetime, timedelta, timezone

import duckdb
import pytest

from doe.model.change import find_variant
from doe.model.errors import DataError, FettleError, UsageError
from doe.model.factor import Factor
from doe.model.limit import Limit
from doe.model.records import Reading, Unit, Variant
from doe.model.setup import Setup
from doe.project import Project
from doe.store import ProjectFile
from tests.refusing import refused
from tests.store.radio import SETTINGS


def by_name(f: ProjectFile) -> dict[str, Variant]:
    return {variant.name: variant for variant in f.variants()}


def test_a_variant_comes_back_as_it_was_logged(radio: ProjectFile):
    """All fields survive, in their own types: counts whole, levels as defined."""
    variant = Variant(
        "3", {**SETTINGS, "wool": 35.0}, unit=None, parent="2", minutes=12.5, price=3.0,
        when=datetime(2026, 3, 1, 14, 30, 5, 123), status="planned", note="more wool\nand a second line",
    )  # fmt: skip
    entry = radio.add_variant(variant)
    assert by_name(radio)["3"] == variant
    assert entry.subject == "3"
    assert entry.summary == "planned variant 3 from 2: vents 4 -> 2, wool 20 -> 35"


def test_settings_are_stored_as_defined(empty: ProjectFile):
    """What is typed as text or in another case is read by the factor."""
    empty.add_variant(Variant("1", {"vents": "3", "rings": 9.0, "wool": "2,5e1", "driver": "POLY"}))
    assert by_name(empty)["1"].settings == {"vents": 3, "rings": 9, "wool": 25.0, "driver": "poly"}


def test_a_time_may_be_written(radio: ProjectFile):
    radio.correct_variant("2", when="2026-03-03 19:30")
    assert by_name(radio)["2"].when == datetime(2026, 3, 3, 19, 30)
    with refused(DataError, "when is 'noon'; write it as 2026-03-03 or '2026-03-03 19:30'."):
        radio.correct_variant("2", when="noon")


def test_a_zone_is_dropped_not_converted(empty: ProjectFile):
    """Times are those of the bench's own clock."""
    when = datetime(2026, 3, 1, 14, 30, tzinfo=timezone(timedelta(hours=5)))
    empty.add_variant(Variant("1", SETTINGS, when=when))
    assert by_name(empty)["1"].when == datetime(2026, 3, 1, 14, 30)


def test_an_object_without_settings_is_a_reference(radio: ProjectFile):
    assert by_name(radio)["shop"].is_reference


@pytest.mark.parametrize(
    ("variant", "sentence"),
    [
        (Variant("1", SETTINGS), "Variant '1' is logged already; give it a name of its own."),
        (Variant("SHOP"), "Variant 'SHOP' differs from 'shop' in capitals only; give it a name of its own."),
        (Variant("9", {**SETTINGS, "vents": 7}), "vents is 7; it must be a whole number from 0 to 6."),
        (Variant("9", {**SETTINGS, "wool": 12}), "wool is 12; it must be a number from 0 to 60 % in steps of 5."),
        (
            Variant("9", {**SETTINGS, "driver": "polly"}),
            "driver is 'polly'; it must be paper, poly or bamboo. Did you mean 'poly'?",
        ),
        (
            Variant("9", {**SETTINGS, "vent": 1}),
            "'vent' is no factor of this project; there are vents, rings, wool and driver. Did you mean 'vents'?",
        ),
        (Variant("9", {"vents": 1}), "rings has no value; it must be a whole number from 7 to 12."),
        (
            Variant("9", {**SETTINGS, "rings": 7, "wool": 60}),
            "Variant 9 breaks the limit 'air >= 180' (the driver needs air).",
        ),
        (Variant("9", SETTINGS, parent="12"), "Parent '12' is not in this project. Did you mean '2'?"),
        (Variant("9", SETTINGS, unit="B"), "Unit 'B' is not in this project; there is only A."),
        (Variant("9", SETTINGS, unit="A"), "vents cannot go from 4 to 2 on unit A: it only goes up."),
        (
            Variant("9", {**SETTINGS, "vents": 5, "rings": 10}, unit="A"),
            "rings cannot go from 9 to 10 on unit A: it needs a new unit.",
        ),
        (Variant("9", SETTINGS, status="idea"), "status is 'idea'; it must be built or planned."),
        (Variant("9", SETTINGS, minutes=-1), "Variant 9: minutes is -1; it must be 0 or more."),
    ],
)
def test_what_is_not_allowed_is_one_sentence_and_stores_nothing(radio: ProjectFile, variant: Variant, sentence: str):
    before = radio.path.read_bytes()
    with pytest.raises(FettleError, match=f"^{re.escape(sentence)}$"):
        radio.add_variant(variant)
    assert radio.path.read_bytes() == before


def test_numbering_on_takes_the_next_number_that_was_never_used(radio: ProjectFile):
    """A withdrawn number is not given again, so notes on paper stay true."""
    assert radio.add_variant(Variant("any", SETTINGS), number_on=True).subject == "3"
    radio.withdraw_variant("3")
    assert radio.add_variant(Variant("any", SETTINGS), number_on=True).subject == "4"


def test_a_new_unit_can_come_with_its_variant(radio: ProjectFile):
    radio.add_variant(Variant("3", {**SETTINGS, "rings": 10}, unit="B"), new_unit=Unit("B"))
    assert {unit.name: unit.variant for unit in radio.units()} == {"A": "2", "B": "3"}
    assert len(radio.history()) == 7


def test_a_correction_keeps_what_it_does_not_name(radio: ProjectFile):
    """Settings are merged; the old version stays in the history."""
    entry = radio.correct_variant("2", settings={"wool": 25}, note="", minutes=30)
    assert by_name(radio)["2"] == Variant("2", {**SETTINGS, "vents": 4, "wool": 25.0}, "A", "1", minutes=30.0)
    assert entry.summary == "corrected variant 2: wool 20 -> 25, minutes 20 -> 30, note fuller -> -"


def test_a_new_name_is_followed_by_readings_and_children(radio: ProjectFile):
    radio.correct_variant("1", name="first")
    assert by_name(radio)["2"].parent == "first"
    assert [row["variant"] for row in radio.readings()] == ["first", "2", "shop", "2"]
    assert radio.readings()[3]["versus"] == "first"


def test_the_capitals_of_a_name_can_be_corrected(radio: ProjectFile):
    """A variant is not in its own way."""
    radio.correct_variant("shop", name="Shop")
    assert "Shop" in by_name(radio)


def test_taking_back_brings_no_name_that_differs_in_capitals_only(radio: ProjectFile):
    renamed = radio.correct_variant("shop", name="bought")
    radio.add_variant(Variant("SHOP"))
    sentence = (
        f"Entry {renamed.id} cannot be taken back, since other records stand on it; take back {renamed.id + 1} first: "
        "Variants 'shop' and 'SHOP' differ in capitals only."
    )
    with pytest.raises(DataError, match=f"^{re.escape(sentence)}$"):
        radio.take_back(renamed.id)


def old_project(radio: ProjectFile) -> ProjectFile:
    """Let a project hold names that differ in capitals only, as older versions let in."""
    radio.add_unit(Unit("B"))
    radio.add_variant(Variant("sold"))
    with duckdb.connect(str(radio.path)) as con:
        con.execute("UPDATE variant SET name = 'SHOP' WHERE name = 'sold'")
        con.execute("UPDATE unit SET name = 'a' WHERE name = 'B'")
    return ProjectFile.open(radio.path)


@pytest.mark.slow
def test_an_older_project_with_such_names_is_read_by_exact_name(radio: ProjectFile, tmp_path):
    """It opens, is sound, goes out and comes back, and what is written goes where its capitals say."""
    old = old_project(radio)
    back = ProjectFile.restore(tmp_path / "back.duckdb", old.export(tmp_path / "out"))
    for f in (old, back):
        project = Project(f)
        for name in ("shop", "SHOP"):
            assert find_variant(name, f.variants()).name == name
            assert project.read(name, {"echo": 3}).readings[0].variant == name
        assert project.log({"vents": 3}, unit="a", start="1").variant.unit == "a"
        assert f.check() == []
        f.add_variant(Variant("9"))  # what is there already stands in no way
        with refused(DataError, "There are variants shop and SHOP; spell 'Shop' with the capitals of the one meant."):
            project.read("Shop", {"echo": 3})


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"name": "2"}, "Variant '2' is logged already; give it a name of its own."),
        ({"name": "Shop"}, "Variant 'Shop' differs from 'shop' in capitals only; give it a name of its own."),
        ({"parent": "2"}, "Variant '1' cannot come from '2', which comes from it."),
        ({"parent": "1"}, "Variant '1' cannot come from '1', which comes from it."),
        ({"setings": {}}, "A variant has no 'setings'; it has name, settings, unit, parent, minutes, price, when, status"
                          " and note. Did you mean 'settings'?"),
        ({"settings": {"vents": 9}}, "vents is 9; it must be a whole number from 0 to 6."),
        ({"settings": {"vents": "2"}, "note": ""}, "Nothing was changed, so nothing is stored."),
    ],
)  # fmt: skip
def test_a_wrong_correction_is_one_sentence(radio: ProjectFile, changes: dict, sentence: str):
    with pytest.raises((DataError, UsageError), match=f"^{re.escape(sentence)}$"):
        radio.correct_variant("1", **changes)


def test_a_limit_that_came_after_a_variant_does_not_stand_against_its_correction(radio: ProjectFile):
    """Variant 1 has 9 rings, so it broke the rule before; wool has one of its own, which it keeps and has to."""
    radio.change_setup("limit", Limit("rings >= 10"))
    radio.correct_variant("1", note="weighed again", settings={"vents": 3})
    assert (radio.variants()[0].note, radio.variants()[0].settings["vents"]) == ("weighed again", 3)
    with refused(DataError, "Variant 1 breaks the limit 'air >= 180' (the driver needs air)."):
        radio.correct_variant("1", settings={"rings": 7, "wool": 60})


def test_withdrawing_takes_readings_along_and_mends_the_lineage(radio: ProjectFile):
    """Children of a withdrawn variant come from its parent; nothing is left dangling."""
    radio.add_variant(Variant("3", {**SETTINGS, "vents": 5}, unit="A", parent="2"))
    radio.add_variant(Variant("4", {**SETTINGS, "vents": 6}, unit="A", parent="3"))
    before = radio.fingerprint()
    entry = radio.withdraw_variant("2")
    assert entry.summary == "withdrew variant 2 with 2 readings"
    assert (by_name(radio)["3"].parent, by_name(radio)["4"].parent) == ("1", "3")
    assert {row["variant"] for row in radio.readings()} == {"1", "shop"}
    assert radio.check() == []
    radio.take_back(entry.id)
    assert radio.fingerprint() == before


def test_without_factors_a_variant_waits_for_them(tmp_path):
    """A project may begin with outcomes only; a factor that comes later says what it was till then."""
    f = ProjectFile.create(tmp_path / "a.duckdb", Setup())
    f.add_variant(Variant("1"))
    f.change_setup("factor", Factor("feet", kind="categorical", levels=["felt", "cork"]), was="cork")
    assert by_name(f)["1"].settings == {"feet": "cork"}


def test_names_are_bound_not_pasted(radio: ProjectFile):
    """A name is data, whatever it looks like."""
    nasty = "1'); DROP TABLE variant; --"
    radio.add_variant(Variant(nasty, SETTINGS))
    radio.add_readings([Reading(nasty, "bass", 1.0, session='a"b', rater="]['")])
    assert nasty in by_name(radio)
    assert radio.check() == []
