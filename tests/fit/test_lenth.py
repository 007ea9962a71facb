from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from doe.fit.lenth import lenth
from tests.published.cases import case


@pytest.mark.parametrize(
    ("effects", "pse"),
    [
        (
            [1.0, -1.1, 1.2, 1.3, 1.4, 5.0, -5.0],
            1.8,
        ),  # first 1.95, and 5 is beyond 4.9; the middle of the rest is 1.2
        ([0.0, 0.0, 0.0, 4.0, 5.0], 0.0),  # where most do nothing at all, whatever does stands out
    ],
)
def test_margins_by_hand(effects: list[float], pse: float):
    """1.5 times the middle of what is below 2.5 times 1.5 times the middle; t with a third of their number."""
    margins, count = lenth(np.array(effects)), len(effects)
    assert margins.pse == pytest.approx(pse)
    assert margins.margin == pytest.approx(pse * stats.t.ppf(0.975, count / 3))
    assert margins.simultaneous == pytest.approx(pse * stats.t.ppf((1 + 0.95 ** (1 / count)) / 2, count / 3))


@pytest.mark.published
@pytest.mark.parametrize("name", ["filtration_2_4", "process_2_4", "bicycle_2_7_4", "reactor_2_5_1_half"])
def test_margins_of_published_effect_lists(name: str):
    """Lenth (1989), Technometrics 31, 469-473, on the effect lists of the cited cases; figures computed with scipy 1.17."""
    published = case("lenth_pse_collection")
    effects = published.data.loc[published.data["list"] == name, "effect"].to_numpy(dtype=float)
    known = next(item for item in published.known if item.what.startswith(f"{name}: m, s0, PSE"))
    margins = lenth(effects)
    assert len(effects) == known.value[0]
    assert margins.pse == pytest.approx(known.value[2], abs=1e-9)
    assert margins.margin == pytest.approx(known.value[3], abs=1e-5)
    assert margins.simultaneous == pytest.approx(known.value[4], abs=1e-4)
