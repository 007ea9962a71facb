import warnings

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from doe.advise.route import route
from doe.model.errors import FettleError
from doe.plans import KINDS, plan
from tests.strategies import efforts, factor_sets, settings_for


@pytest.mark.slow
@given(
    factor_sets(1, 5),
    st.sampled_from(list(KINDS)),
    st.sampled_from(["main", "two-factor", "quadratic"]),
    st.none() | st.integers(1, 24),
    st.integers(1, 3),
    st.integers(1, 2),
)
def test_whatever_is_asked_for_gives_a_plan_or_one_sentence(factors, kind, model, runs, blocks, replicates):
    """Law: every request ends in a plan whose settings are allowed, or in a sentence; never in another error or a warning."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            made = plan(factors, runs, model, kind=kind, blocks=blocks, replicates=replicates, starts=3)
        except FettleError as told:
            assert "\n" not in str(told)
            assert str(told).endswith(".") or str(told).endswith("?")
            return
    for factor in factors:
        assert [factor.read(cell) for cell in made.table[factor.name]] == made.table[factor.name].tolist()
    assert made.summary()
    assert (made.precision["se"] > 0).all()
    assert np.isfinite(list(made.efficiency.values())).all()


@pytest.mark.slow
@given(st.data(), factor_sets(1, 3), efforts(), st.integers(1, 6), st.integers(0, 2))
def test_whatever_is_to_be_built_gets_a_route(data, factors, effort, n_variants, n_units):
    """Law: with new units at hand every set of variants can be built, and no step goes the wrong way."""
    variants = [data.draw(settings_for(factors)) for _ in range(n_variants)]
    states = [data.draw(settings_for(factors)) for _ in range(n_units)]
    units = pd.DataFrame([{"unit": f"old {k}", **state} for k, state in enumerate(states)]) if states else None
    found = route(pd.DataFrame(variants), factors, units=units, effort=effort)
    now = {f"old {k}": state for k, state in enumerate(states)}
    for row in found.table.to_dict("records"):
        wanted = {factor.name: factor.read(row[factor.name]) for factor in factors}
        if row["unit"] in now:
            assert all(factor.can_go(now[row["unit"]][factor.name], wanted[factor.name]) for factor in factors)
        now[row["unit"]] = wanted
    assert len(found.table) == n_variants
    assert found.summary()
