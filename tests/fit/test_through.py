from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from doe.fit import analyse
from doe.fit.through import _finding
from doe.model.factor import Factor
from doe.model.limit import Derived
from doe.model.outcome import Outcome
from tests.fit.logs import FACTORS, plain_log, random_settings

AIR = Derived("inner_air", "rings * 42 - wool * 2.1", "cm3")


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_factors_that_act_through_a_quantity_are_said_to(seed: int):
    """Truth: decay follows the inner air alone."""
    rng = np.random.default_rng(seed)
    settings = random_settings(20, rng)
    air = settings["rings"] * 42 - settings["wool"] * 2.1
    log = plain_log(settings, 0.05 * air + rng.normal(0, 0.5, 20))
    row = analyse(log, FACTORS, Outcome("decay"), derived=[AIR]).through.iloc[0]
    assert row["quantity"] == "inner_air"
    assert row["odds"] > 3
    assert row["finding"].startswith("Rings and wool move decay through inner air (odds ")


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_factors_that_act_otherwise_are_said_to(seed: int):
    """Truth: wool raises it although it takes air away, and rings raise it by adding air."""
    rng = np.random.default_rng(seed)
    settings = random_settings(20, rng)
    log = plain_log(settings, 2 * settings["rings"] + 0.2 * settings["wool"] + rng.normal(0, 0.5, 20))
    row = analyse(log, FACTORS, Outcome("decay"), derived=[AIR]).through.iloc[0]
    assert row["odds"] < 1 / 3
    assert "otherwise than through inner air" in row["finding"]


@pytest.mark.parametrize("of_driver", [0.0, 5.0])
def test_nothing_is_said_where_the_parts_do_nothing(of_driver: float):
    """Whatever another factor does."""
    rng = np.random.default_rng(4)
    settings = random_settings(20, rng)
    log = plain_log(settings, of_driver * (settings["driver"] == "poly") + rng.normal(0, 0.5, 20))
    assert analyse(log, FACTORS, Outcome("decay"), derived=[AIR]).through.iloc[0]["finding"] == ""


def test_a_quantity_that_was_held_while_only_its_parts_changed_is_left_out():
    """As in a mixture, where all always comes to 100; there was no analysis of such a log."""
    wool = np.array([0.0, 20, 40, 60, 10, 50])
    held = pd.DataFrame({"wool": wool, "felt": 60 - wool})
    log = plain_log(held, 0.1 * wool + np.random.default_rng(1).normal(0, 0.2, 6))
    factors = [Factor(name, low=0, high=60) for name in held]
    effects = analyse(log, factors, Outcome("decay"), derived=[Derived("both", "wool + felt")])
    assert len(effects.through) == 0
    assert set(effects.table["tangled_with"]) >= {"wool", "felt"}


def test_a_quantity_that_some_variants_do_not_have_stops_no_analysis():
    """Divided by a setting of 0; whoever defined such a quantity had no answer to anything any more."""
    rng = np.random.default_rng(6)
    settings = random_settings(8, rng).assign(wool=[0.0, 10, 20, 30, 40, 50, 60, 0])
    log = plain_log(settings, settings["rings"] + rng.normal(0, 0.5, 8))
    row = analyse(log, FACTORS, Outcome("decay"), derived=[Derived("per_wool", "rings / wool")]).through.iloc[0]
    assert np.isnan(row["odds"])
    assert row["finding"] == "Per wool cannot be computed for some of the variants, so nothing is said of it here."


def test_a_quantity_whose_parts_did_not_vary_is_left_out():
    rng = np.random.default_rng(5)
    settings = random_settings(12, rng).assign(rings=9)
    log = plain_log(settings, rng.normal(0, 0.5, 12))
    assert analyse(log, FACTORS, Outcome("decay"), derived=[AIR]).through.empty


@pytest.mark.parametrize(
    ("odds", "expected"),
    [
        (
            1e6,
            "Rings and wool move bass level through inner air (odds over a million to 1 over the two by themselves).",
        ),
        (3.0, "Rings and wool move bass level through inner air (odds 3 to 1 over the two by themselves)."),
        (2.9, "Whether rings and wool move bass level through inner air or by themselves cannot be told yet."),
        (1 / 2.9, "Whether rings and wool move bass level through inner air or by themselves cannot be told yet."),
        (1 / 3, "Rings and wool move bass level otherwise than through inner air (odds 3 to 1 against it)."),
    ],
)
def test_odds_of_three_to_one_tell_and_less_does_not(odds: float, expected: str):
    outcome = Outcome("bass_level")
    assert _finding(AIR, ["rings", "wool"], odds, True, outcome) == expected
    assert _finding(AIR, ["rings", "wool"], odds, False, outcome) == ""


def test_only_parts_that_were_changed_are_said_to_move_it():
    """Truth: as above, with vents in the quantity too; these were changed, or always stood at 2 and were named all the same."""
    rng = np.random.default_rng(1)
    settings = random_settings(20, rng)
    air = Derived("inner_air", "rings * 42 - wool * 2.1 - vents * 20", "cm3")
    findings = []
    for vents in (settings["vents"], 2):
        chosen = settings.assign(vents=vents)
        decay = 0.05 * (chosen["rings"] * 42 - chosen["wool"] * 2.1 - chosen["vents"] * 20) + rng.normal(0, 0.5, 20)
        row = analyse(plain_log(chosen, decay), FACTORS, Outcome("decay"), derived=[air]).through.iloc[0]
        assert row["parts"] == "vents, rings, wool"
        findings.append(row["finding"])
    assert findings[0].startswith("Vents, rings and wool move decay through inner air (odds ")
    assert findings[0].endswith(" over these by themselves).")
    assert "rings and wool move decay" in findings[1]
    assert "vents" not in findings[1].casefold()
