import json
import math

import pytest

from doe.signals.estimates import ESTIMATES
from tests.cli.running import command

HELP = "'fettle estimate --help' shows what it takes.\n"
BOTTLE = ["helmholtz", "volume_cm3=1000", "radius_mm=10", "length_mm=50"]


def test_an_estimate_tells_number_formula_source_and_trust(fettle):
    """And it needs no project: the folder is empty."""
    done = fettle("estimate", *BOTTLE)
    assert (done.code, done.err) == (0, "")
    heads = [line.split(":")[0] for line in done.out.splitlines()]
    assert heads == ["Helmholtz resonance", "Formula", "Source", "Trust"]


def test_the_number_is_that_of_the_formula(fettle):
    """By f = c / (2 pi) sqrt(S / (V L')) with flanged ends of 8 r / (3 pi) each, written out here once more."""
    found = json.loads(fettle("estimate", *BOTTLE, "--json").out)
    c = math.sqrt(1.4 * 287.05 * 293.15)
    length = 0.05 + 2 * 8 * 0.01 / (3 * math.pi)
    assert found["value"] == pytest.approx(c / (2 * math.pi) * math.sqrt(math.pi * 0.01**2 / (1e-3 * length)), rel=1e-9)
    assert (found["unit"], found["inputs"]["radius_mm"]) == ("Hz", 10)


def test_without_a_name_all_are_listed_with_what_they_take(fettle):
    listed = json.loads(fettle("estimate", "--json").out)
    assert [row["estimate"] for row in listed] == list(ESTIMATES)
    text = fettle("estimate").out
    assert "helmholtz: " in text and "  from volume_cm3 radius_mm length_mm\n" in text
    assert "vents (1)" in text


def test_a_name_alone_tells_what_it_takes(fettle):
    """Each quantity with its unit and what it is when it is left out, and what has to be typed."""
    rows = {line.split()[0]: line for line in fettle("estimate", "helmholtz").out.splitlines()[3:-2]}
    assert rows["radius_mm"].split()[1:4] == ["mm", "is", "needed"]
    assert "flanged" in rows["inner_end"] and "Air in the body." in rows["volume_cm3"]
    assert fettle("estimate", "helmholtz").out.endswith("fettle estimate helmholtz volume_cm3= radius_mm= length_mm=\n")
    assert json.loads(fettle("estimate", "leak", "--json").out) == json.loads(fettle("estimate", "--json").out)[-1]


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["helmhotz"], "estimate is 'helmhotz'; it must be helmholtz, closed_box, vented_box, ring_cavity, cavity_modes, "
         "cavity_decay or leak. Did you mean 'helmholtz'?"),
        (["helmholtz", "volume_cm3=1"], "helmholtz needs radius_mm and length_mm too."),
        ([*BOTTLE, "radius_mm=3"], "radius_mm is given twice, as 10 and 3; give it once."),
        (["helmholtz", "volume_cm3=0", "radius_mm=1", "length_mm=1"], "volume_cm3 is 0; it must be above 0."),
        (["helmholtz", "volume_cm3=x", "radius_mm=1", "length_mm=1"], "volume_cm3 is 'x'; it must be a number."),
        (["helmholtz", "volume"], "QUANTITY=VALUE is 'volume'; write it as NAME=VALUE, without blanks around the sign."),
    ],
)  # fmt: skip
def test_what_cannot_be_worked_out_is_refused(fettle, words, sentence):
    done = fettle("estimate", *words)
    assert (done.code, done.out, done.err) == (2, "", f"{sentence}\n{HELP}")


def test_the_real_command_needs_no_project(tmp_path):
    done = command("estimate", *BOTTLE, cwd=tmp_path)
    assert (done.code, done.err) == (0, "")
    assert list(tmp_path.iterdir()) == []
