from __future__ import annotations

import pytest

from doe.fit.lenth import lenth
from tests.published.cases import case

pytestmark = pytest.mark.published


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
