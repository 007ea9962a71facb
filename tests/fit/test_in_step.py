"""Truth: nothing but a drift, by 1 from reading to reading, while vents were raised one after another."""

import pandas as pd
import pytest

from doe.fit import analyse
from doe.model.factor import Factor
from doe.model.outcome import Outcome

FACTORS = (
    Factor("vents", kind="count", low=0, high=9),
    Factor("lining", kind="categorical", levels=["felt", "cork"]),
)
CHECK = "Drift over the log"


def drifted(vents, again=()):
    """Variants in the order of reading, then some of them again: variant, vents and a value that only drifts."""
    rows = [
        {"variant": f"v{place}", "outcome": "echo", "session": "s", "order": order, "vents": vents[place],
         "lining": ("felt", "cork")[place in (1, 4)], "value": float(order) + 0.1 * (-1) ** order}
        for order, place in enumerate([*range(len(vents)), *again])
    ]  # fmt: skip
    return pd.DataFrame(rows)


def check_of(log):
    checks = analyse(log, FACTORS, Outcome("echo")).checks.set_index("check")
    return checks.loc[CHECK] if CHECK in checks.index else None


@pytest.mark.parametrize("vents", [range(6), range(9, 3, -1), [0, 1, 2, 4, 5, 6]])
def test_a_factor_that_went_one_way_could_be_drift(vents):
    found = check_of(drifted(vents))
    assert found["level"] == "look"
    assert found["finding"] == "Vents went one way from build to build, so a drift over time would look like its work."
    assert found["advice"].startswith("Read an early variant again")


@pytest.mark.parametrize(
    ("vents", "again"), [(range(6), [0]), ([3, 0, 5, 1, 4, 2], []), (range(3), [])], ids=["read again", "mixed", "few"]
)
def test_no_such_doubt_where_something_speaks_against_it(vents, again):
    found = check_of(drifted(vents, again))
    assert found is None or "one way" not in found["finding"]


def test_a_factor_that_went_to_and_fro_hides_no_drift():
    """Here the vents do it all, and no trend is left beside them."""
    log = drifted([3, 0, 5, 1, 4, 2])
    found = check_of(log.assign(value=log["vents"] + 0.1 * (-1) ** log["order"]))
    assert found["level"] == "fine"


def test_a_variant_read_in_two_sessions_speaks_against_it():
    log = drifted(range(6))
    later = log.iloc[:1].assign(session="t", order=0)
    assert "one way" in check_of(log)["finding"]
    found = check_of(pd.concat([log, later], ignore_index=True))
    assert found is None or "one way" not in found["finding"]
