import numpy as np
import pytest

from doe.advise.effort import bought_levels, change_cost, change_tables, new_unit_cost, reading_minutes
from doe.model.effort import bare_setting
from doe.model.factor import Factor

START = {"vents": 2, "rings": 9, "wool": 20.0, "driver": "poly"}


def test_only_what_changes_takes_time(factors):
    end = {**START, "vents": 4, "wool": 0.0}
    assert change_cost(factors, START, end).minutes == 12 + 8
    assert change_cost(factors, START, START).minutes == 0


def test_minutes_per_step_grow_with_the_change():
    factor = Factor("tip", low=0, high=1, step=0.1, minutes=5, minutes_per_step=2)
    assert change_cost([factor], {"tip": 0.2}, {"tip": 0.5}).minutes == pytest.approx(5 + 3 * 2)


def test_a_level_is_paid_once_per_project(factors):
    end = {**START, "driver": "bamboo"}
    assert change_cost(factors, START, end).price == 40
    assert change_cost(factors, START, end, {"driver": {"bamboo"}}).price == 0
    assert bought_levels(factors, [START, {"vents": 2}])["driver"] == {"poly"}


def test_every_change_is_paid_and_a_level_besides_until_it_is_bought(effort):
    """A pad costs 3 to change and cork 40, a hole 2 to drill; a unit is 20, and comes without holes and pads."""
    pad = Factor("pad", kind="categorical", levels=["foam", "cork"], price=3, prices={"foam": 5, "cork": 40})
    hole = Factor("hole", kind="count", low=0, high=2, way="up", price=2)
    values, start = [pad.levels, (0, 1, 2)], {"pad": "foam", "hole": 1}
    for bought, changed, new in (
        ({}, [0, 43], [8, 43]),
        ({"pad": {"foam"}}, [0, 43], [3, 43]),
        ({"pad": {"cork"}}, [0, 3], [8, 3]),
    ):
        at_hand, made = (change_tables([pad, hole], values, begin, effort, bought).price for begin in (start, None))
        assert [list(prices) for prices in at_hand] == [changed, [2, 0, 2]]
        assert [list(prices) for prices in made] == [new, [0, 2, 2]]
        end = {"pad": "cork", "hole": 2}
        assert change_cost([pad, hole], start, end, bought).price == changed[1] + 2
        assert change_cost([pad, hole], start, {**start, "hole": 2}, bought).price == 2
        assert new_unit_cost([pad, hole], end, effort, bought).price == 20 + new[1] + 2
        assert new_unit_cost([pad, hole], {"pad": "foam", "hole": 0}, effort, bought).price == 20 + new[0]


def test_a_new_unit_counts_itself_and_then_its_settings(factors, effort):
    """Vents drilled from none, wool put in from none, a driver fitted; rings come with the unit, at no minutes."""
    cost = new_unit_cost(factors, {**START, "driver": "bamboo"}, effort)
    assert cost.minutes == 150 + 12 + 8 + 25
    assert cost.price == 20 + 40
    assert new_unit_cost(factors, {**START, "vents": 0, "wool": 0.0}, effort).minutes == 150 + 25


def test_a_factor_that_only_goes_down_starts_at_its_high_end():
    assert bare_setting(Factor("length", low=20, high=60, way="down")) == 60
    assert bare_setting(Factor("feet", kind="ordered", levels=["soft", "hard"])) == "soft"


def test_a_session_is_counted_once_for_a_batch(effort):
    assert reading_minutes(effort, 2) == 15 + 12
    assert reading_minutes(effort, 2, is_new_session=False) == 12


def test_tables_agree_with_the_plain_sum(factors, effort):
    """Look-up by code gives the same minutes and money as adding the factors up, for a unit and for a new one."""
    rng = np.random.default_rng(1)
    values = [factor.grid(13) for factor in factors]
    bought = {"driver": {"poly"}}
    codes = np.stack([rng.integers(len(value), size=40) for value in values], axis=1)
    for start in (START, None):
        minutes, price = change_tables(factors, values, start, effort, bought).total(codes)
        for place, code in enumerate(codes):
            end = {factor.name: value[k] for factor, value, k in zip(factors, values, code, strict=True)}
            if start is None:
                cost = new_unit_cost(factors, end, effort, bought)
            elif all(factor.can_go(start[factor.name], end[factor.name]) for factor in factors):
                cost = change_cost(factors, start, end, bought)
            else:
                assert minutes[place] == np.inf
                continue
            assert (minutes[place], price[place]) == (cost.minutes, cost.price)
