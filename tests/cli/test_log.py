import json
import struct
import zlib

from doe.store import ProjectFile


def png():
    def chunk(name, body):
        return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))

    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", bytes(13)) + chunk(b"tEXt", b"N 52.37") + chunk(b"IEND", b"")


def test_a_change_is_told_with_where_it_comes_from_and_how_to_take_it_back(rig, fettle):
    """The unit's present variant is the parent; minutes are those of the definitions."""
    done = fettle("log", "vents=3", "driver=poly", "--unit", "body A")
    assert done.code == 0
    assert done.out == (
        "Stored: variant 4 on unit body A, changed from variant 2:\n"
        "  vents   2 -> 3\n"
        "  driver  paper -> poly\n"
        "By the definitions these changes take 37 min at the bench.\n"
        "Take it back with 'fettle undo 7'.\n"
    )
    assert done.err == "Next: log what is read of it with 'fettle read 4 OUTCOME=VALUE'.\n"
    variant = ProjectFile.open(rig).variants()[-1]
    assert (variant.name, variant.unit, variant.parent) == ("4", "body A", "2")
    assert variant.settings == {"vents": 3, "rings": 9, "wool": 30.0, "driver": "poly"}


def test_what_was_logged_can_be_taken_back_as_told(rig, fettle):
    before = ProjectFile.open(rig).fingerprint()
    fettle("log", "vents=3", "--unit", "body A")
    assert ProjectFile.open(rig).fingerprint() != before
    assert fettle("undo", "7").code == 0
    assert ProjectFile.open(rig).fingerprint() == before


def test_a_new_unit_gets_the_next_name_and_one_entry(rig, fettle):
    """Unit and variant come and go together."""
    done = fettle("log", "--from", "2", "--new-unit", "--set", "rings=8", "wool=10")
    assert done.out == (
        "Stored: variant 4 on the new unit body C, changed from variant 2:\n"
        "  rings  9 -> 8\n"
        "  wool   30 -> 10  %\n"
        "Take it back with 'fettle undo 7'.\n"
    )
    fettle("undo", "7")
    assert [unit.name for unit in ProjectFile.open(rig).units()] == ["body A", "body B"]


def test_a_new_unit_without_a_name_may_stand_before_a_setting(rig, fettle):
    done = fettle("log", "--from", "2", "--new-unit", "rings=8")
    assert done.out.startswith("Stored: variant 4 on the new unit body C, changed from variant 2:\n  rings  9 -> 8\n")


def test_starting_from_an_older_variant_works_on_its_unit(rig, fettle):
    """The unit has moved on to variant 2; the settings come from variant 1, the effort is that of the unit's change."""
    done = fettle("log", "--from", "1", "wool=5")
    assert "variant 4 on unit body A, changed from variant 1:\n  wool  0 -> 5  %\n" in done.out
    assert "take 8 min" in done.out


def test_a_rebuild_of_the_same_settings_must_be_meant(rig, fettle):
    assert fettle("log", "--unit", "body A").code == 1
    done = fettle("log", "--unit", "body A", "--again")
    assert done.out.startswith("Stored: variant 4 on unit body A, changed from variant 2, settings unchanged.\n")


def test_effort_time_and_note_are_kept(rig, fettle):
    words = [
        "--minutes",
        "42,5",
        "--price",
        "9",
        "--when",
        "2026-03-03 19:30",
        "--note",
        "sounds fuller",
        "--name",
        "4b",
    ]
    assert fettle("log", "vents=4", "--unit", "body A", *words).code == 0
    variant = ProjectFile.open(rig).variants()[-1]
    assert (variant.name, variant.minutes, variant.price, variant.note) == ("4b", 42.5, 9.0, "sounds fuller")
    assert str(variant.when) == "2026-03-03 19:30:00"


def test_bench_time_may_carry_its_units(rig, fettle):
    assert fettle("log", "vents=4", "--unit", "body A", "--minutes", "4h10").code == 0
    assert fettle("correct", "1", "--minutes", "1.5 h").code == 0
    times = {variant.name: variant.minutes for variant in ProjectFile.open(rig).variants()}
    assert (times["4"], times["1"]) == (250.0, 90.0)


def test_a_reference_object_has_no_settings(rig, fettle):
    done = fettle("log", "--reference", "shop radio", "--note", "borrowed")
    assert done.out == "Stored: reference object shop radio.\nTake it back with 'fettle undo 7'.\n"
    assert ProjectFile.open(rig).variants()[-1].is_reference
    assert fettle("log", "--from", "shop radio", "vents=3").err == (
        "Variant shop radio is a reference object without settings; start from another one.\n"
    )
    for own in (["--minutes", "0"], ["--price", "3"], ["--when", "2026-03-03"], ["--again"], ["vents=3"]):
        assert fettle("log", "--reference", "fan", *own).err.startswith(
            "--reference logs an object without settings, so nothing but --note and --photo goes with it."
        )


def test_a_photo_is_kept_without_its_metadata_and_can_be_taken_back(rig, fettle):
    before = ProjectFile.open(rig).fingerprint()
    (rig.parent / "back.png").write_bytes(png())
    done = fettle("log", "vents=3", "--unit", "body A", "--photo", "back.png")
    assert "Photo back.png is kept beside the project.\n" in done.out
    assert done.out.endswith("Take it back with 'fettle undo 8' and 'fettle undo 7'.\n")
    assert ("Files: back.png" in fettle("show", "4").out, "Files" in fettle("show", "3").out) == (True, False)
    kept = ProjectFile.open(rig).attachments()
    assert [(row["variant"], row["filename"]) for row in kept] == [("4", "back.png")]
    assert b"52.37" not in kept[0]["path"].read_bytes()
    assert (fettle("undo", "8").code, fettle("undo", "7").code) == (0, 0)
    assert ProjectFile.open(rig).fingerprint() == before


def test_the_first_variant_of_a_project_makes_its_first_unit(made_once, tmp_path, fettle):
    fettle("init", "first", "--setup", made_once / "setup.toml")
    done = fettle("log", "vents=0", "rings=9", "wool=0", "driver=paper")
    assert done.out.startswith("Stored: variant 1 on the new unit A:\n  vents   0\n")
    assert fettle("log", "vents=1").out.startswith("Stored: variant 2 on unit A, changed from variant 1:")
    assert fettle("log", "--new-unit", "--from", "1").out.startswith(
        "Stored: variant 3 on the new unit B, changed from"
    )


def test_json_tells_the_same_in_full(rig, fettle):
    done = fettle("log", "vents=3", "--unit", "body A", "--json")
    assert json.loads(done.out) == {
        "variant": "4",
        "unit": "body A",
        "is_new_unit": False,
        "parent": "2",
        "settings": {"vents": 3, "rings": 9, "wool": 30.0, "driver": "paper"},
        "changed": {"vents": {"from": 2, "to": 3}},
        "expected_minutes": 12.0,
        "was_planned": False,
        "entry": 7,
        "photo_entries": [],
        "notes": [],
    }
    assert done.err == ""


def test_a_date_to_come_and_endless_bench_time_are_stored_and_said(rig, fettle):
    done = fettle("log", "wool=35", "--unit", "body A", "--when", "2199-05-05", "--minutes", "1e9")
    assert (done.code, ProjectFile.open(rig).variants()[-1].minutes) == (0, 1e9)
    assert done.err.startswith(
        "Note: variant 4 is dated in days to come, 2199-05-05. If that is a slip, take it back.\n"
        "Note: the bench time of variant 4 is 16666666 h 40 min. If that is a slip, take it back.\n"
    )
    told = json.loads(fettle("log", "wool=40", "--unit", "body A", "--when", "2199-05-05", "--json").out)
    assert told["notes"] == ["variant 5 is dated in days to come, 2199-05-05"]
    done = fettle("correct", "2", "--when", "2199-05-05", "--minutes", "1e6")
    assert done.err.count("If that is a slip, take it back.") == 2
    assert fettle("log", "wool=45", "--unit", "body A", "--minutes", "4h").err.startswith("Next: ")


def test_endless_bench_time_of_a_definition_is_stored_and_said(rig, fettle):
    assert fettle("effort", "--new-unit-minutes", "1e6", "--new-unit-price", "1e6").err == (
        "Note: the time to make a new unit is 16666 h 40 min. If that is a slip, take it back.\n"
    )
    assert fettle("factor", "change", "wool", "--minutes", "1e6").err == (
        "Note: one change of wool is 16666 h 40 min. If that is a slip, take it back.\n"
    )
