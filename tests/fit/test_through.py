from __future__ import annotations

import numpy as np
import pytest

from doe.fit import analyse
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


def test_nothing_is_said_where_the_parts_do_nothing():
    rng = np.random.default_rng(4)
    settings = random_settings(20, rng)
    log = plain_log(settings, rng.normal(0, 0.5, 20))
    assert analyse(log, FACTORS, Outcome("decay"), derived=[AIR]).through.iloc[0]["finding"] == ""


def test_a_quantity_whose_parts_did_not_vary_is_left_out():
    rng = np.random.default_rng(5)
    settings = random_settings(12, rng).assign(rings=9)
    log = plain_log(settings, rng.normal(0, 0.5, 12))
    assert analyse(log, FACTORS, Outcome("decay"), derived=[AIR]).through.empty
