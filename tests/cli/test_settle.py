"""`fettle settle`, on the log of the invented radio, whose truth its script writes down."""

import json

import pytest

from doe.guides.demos import demo_folder
from doe.model.settled import SettledVersion
from doe.project import Project


@pytest.mark.slow
def test_the_equivalent_of_the_best_variant_asks_for_a_lower_body(radio, fettle):
    """241.5 cm3 without wool ask for 5.75 rings; 7 are allowed, so the nearest is shown with what must give."""
    done = fettle("settle", "find")
    assert done.code == 0
    assert done.out.startswith(
        "With wool at 0, no lasting setting within its limits comes near enough to the inner air of variant 21 (241.5 cm3); "
        "the nearest is rings 7.\n"
    )
    assert "What must give: rings beyond 7 to 12: rings 6 would be 10.5 cm3 off." in done.out
    found = json.loads(fettle("settle", "find", "--json").out)
    assert found["table"][0]["rings"] == 7
    assert found["table"][0]["off by"] == pytest.approx(52.5)
    assert {row["route"] for row in found["predictions"]} == {"through", "parts"}


@pytest.mark.slow
def test_the_equivalent_of_a_tall_stuffed_body_is_a_lower_one(radio, fettle):
    done = fettle("settle", "find", "17", "--without", "wool")
    assert done.out.startswith(
        "With wool at 0, rings 9 comes nearest to the inner air of variant 17 (367.5 cm3): 10.5 cm3 too much."
    )


@pytest.mark.slow
def test_a_version_is_settled_listed_compared_and_taken_back(radio, fettle):
    done = fettle("settle", "keep", "21", "--name", "kitchen radio", "--note", "for the shelf")
    assert done.code == 0
    assert done.out.startswith(
        "Version 1, kitchen radio (variant 21; begins a line of its own).\n  vents 4, rings 7, wool 25"
    )
    assert "Not confirmed by fresh builds." in done.out
    assert "Take it back with 'fettle undo 3'." in done.out
    fettle("settle", "keep", "17", "--name", "tall radio")
    listed = fettle("settle")
    assert "Version 1, kitchen radio" in listed.out
    assert [item["number"] for item in json.loads(fettle("settle", "list", "--json").out)] == [1, 2]
    compared = fettle("settle", "compare", "1", "2")
    assert "version 1  version 2" in compared.out
    echo = next(
        row for row in json.loads(fettle("settle", "compare", "1", "2", "--json").out) if row["outcome"] == "echo"
    )
    assert echo["verdict"] == "worse"
    assert echo["low"] < 3.3 * (367.5 - 241.5) / 324 < echo["high"]
    assert fettle("undo", "4").code == 0
    assert "tall radio" not in fettle("settle").out


@pytest.mark.slow
def test_the_sheet_holds_what_was_settled(radio, fettle, tmp_path):
    fettle("settle", "keep", "21", "--name", "kitchen radio")
    done = fettle("settle", "sheet")
    assert done.code == 0
    page = (tmp_path / "reports" / "radio-version-1.html").read_text(encoding="utf-8")
    wanted = [
        "Version 1, kitchen radio",
        "Make a new unit: rings 7.",
        "It only goes up: stop at 4.",
        "all parts with a price",
    ]
    for text in (*wanted, "It was not confirmed by fresh builds", radio.file.fingerprint()):
        assert text in page
    again = fettle("settle", "sheet")
    assert (again.code, "exists" in again.err) == (1, True)


@pytest.mark.slow
def test_tolerances_and_the_size_of_a_confirmation_are_told(radio, fettle):
    done = fettle("settle", "tolerance", "21")
    assert "driver: poly (no other) - hold it" in done.out
    plan = json.loads(fettle("settle", "plan", "21", "--json").out)
    assert plan["builds"] >= 1
    assert min(row["chance"] for row in plan["table"]) >= 0.9
    assert plan["beside"] >= 1  # the log has several sessions
    assert "'fettle settle session ... --beside VARIANT'" in fettle("settle", "plan", "21").err


@pytest.mark.slow
def test_a_build_that_contradicts_the_log_is_told(radio, fettle):
    """A second body of variant 21 that echoes like an open one: 5 to 6 grades where the log promises 2.5."""
    fettle("log", "vents=4", "rings=7", "wool=25", "driver=poly", "feet=felt", "--new-unit", "body F")
    for rater in ("Ines", "Tomas", "Wren"):
        fettle("read", "23", *["echo=6", "echo=5", "echo=6"], "--rater", rater, "--session", "evening 6")
    done = fettle("settle", "confirm", "23")
    assert done.code == 0
    assert "fell short in echo" in done.out
    assert "Note: Echo contradicts the log: it came out worse than 95 % of what was predicted." in done.out


@pytest.mark.slow
def test_a_blind_session_is_prepared_for_fresh_builds(radio, fettle):
    done = fettle(
        "settle",
        "session",
        "21",
        "17",
        "--beside",
        "shop radio",
        "--rater",
        "Ines",
        "--rater",
        "Tomas",
        "--rounds",
        "2",
    )
    assert done.out.startswith("Prepared session confirmation: 6 coded samples for 2 raters. Start quiet;")
    (kept,) = radio.file.prepared_sessions()
    assert sorted(sample.variant for sample in kept.session.samples) == [
        "17",
        "17",
        "21",
        "21",
        "shop radio",
        "shop radio",
    ]
    assert all(len(sheet.trials) == 6 for sheet in kept.session.sheets)


@pytest.mark.parametrize(
    ("words", "code", "sentence"),
    [
        (
            ["find"],
            1,
            "No variant is known to be the best yet, since none has been read; name the one that is meant; "
            "write its number behind the command.",
        ),
        (["find", "--without", "driver"], 1, "driver is part of no derived quantity"),
        (
            ["tolerance"],
            1,
            "No variant is known to be the best yet, since none has been read; name the one that is meant; "
            "write its number behind the command.",
        ),
        (["confirm", "1"], 1, "There is no variant '1': no variant is logged yet; 'fettle log' logs the first."),
        (
            ["keep", "9", "--name", "x"],
            1,
            "There is no variant '9': no variant is logged yet; 'fettle log' logs the first.",
        ),
        (
            ["compare", "1", "2"],
            1,
            "Nothing is settled yet; 'fettle settle keep VARIANT --name NAME' settles a version.",
        ),
        (["sheet"], 1, "Nothing is settled yet"),
        (["session", "1"], 2, "Name at least one rater; --rater NAME names one."),
    ],
)
def test_an_empty_project_is_told_what_is_missing(fettle, tmp_path, words, code, sentence):
    Project.create(tmp_path / "radio.duckdb", demo_folder("radio") / "setup.toml")
    done = fettle("settle", *words)
    assert (done.code, done.out) == (code, "")
    assert sentence in done.err


def test_without_versions_the_list_says_where_to_begin(fettle, tmp_path):
    Project.create(tmp_path / "radio.duckdb", demo_folder("radio") / "setup.toml")
    assert fettle("settle").out.startswith("Nothing is settled yet. 'fettle settle find'")


def test_a_settled_variant_is_not_withdrawn_and_the_way_out_is_named(radio, fettle):
    entry = radio.file.settle_version(SettledVersion(0, "kitchen radio", "21", {}))
    done = fettle("withdraw", "21")
    assert (done.code, done.out) == (1, "")
    assert done.err == (
        "Variant '21' cannot be withdrawn, since version 1, kitchen radio, is settled on it; take entry "
        f"{entry.id} of the history back first, which settled it; 'fettle undo {entry.id}' does that.\n"
    )
    assert fettle("check").code == 0
    assert fettle("undo", str(entry.id)).code == 0
    assert fettle("withdraw", "21").code == 0
