import re
import subprocess
import sys

import numpy as np
import pytest

from doe.charts import figure
from doe.charts.figure import CHARTS
from doe.model.errors import UsageError
from doe.signals.decay import measure_decay
from doe.signals.response import Response
from doe.signals.waterfall import measure_waterfall
from tests.charts import radio
from tests.signals import sounds


def whole(message: str) -> str:
    return f"^{re.escape(message)}$"


def test_first_chart_is_drawn_when_none_is_named():
    assert figure(radio.effects()).layout.meta["kind"] == "effects"
    assert figure(radio.advice()).layout.meta["kind"] == "candidates"


def test_unknown_chart_is_refused_with_the_near_name():
    said = "what is 'level'; it must be effects, levels, interaction, timeline or normal. Did you mean 'levels'?"
    with pytest.raises(UsageError, match=whole(said)):
        figure(radio.effects(), "level")
    with pytest.raises(UsageError, match=whole("what is '['levels']'; it must be candidates, worth or front.")):
        figure(radio.advice(), ["levels"])


def test_unknown_option_is_refused_with_the_near_name():
    said = "Chart worth has no option 'witdh'; it may have width and order. Did you mean 'width'?"
    with pytest.raises(UsageError, match=whole(said)):
        figure(radio.advice(), "worth", witdh="narrow")


def test_what_is_no_result_is_refused():
    with pytest.raises(
        UsageError,
        match=whole(
            "result is a dict; it must be Effects, Advice, Plan, Route, Track, Rehearsal, Response, Decay or Waterfall."
        ),
    ):
        figure({})


def test_results_are_known_under_their_real_names():
    """Charts know result classes by name; a renamed class would fall out silently."""
    results = (radio.effects(), radio.advice(), radio.plan(), radio.route(), radio.track(), radio.rehearsal())
    assert {type(result).__name__ for result in results} == set(CHARTS)


def test_every_chart_of_a_plan_is_drawn_by_name():
    plan = radio.plan()
    kinds = [figure(plan, what).layout.meta["kind"] for what in (None, "correlations", "prediction")]
    assert kinds == ["precision", "correlations", "prediction"]
    assert figure(radio.route()).layout.meta["kind"] == "route"


def test_what_comes_from_recordings_is_drawn_too():
    """One curve, or several in a list; known under the real names of their classes."""
    curve = Response("12", np.geomspace(20, 20_000, 50), np.zeros(50))
    assert figure(curve).layout.meta["kind"] == figure([curve, curve], "response").layout.meta["kind"] == "response"
    impulse = sounds.impulse(sounds.decay(0.3, -60))
    assert figure(measure_decay(impulse)).layout.meta["kind"] == "decay"
    assert figure(measure_waterfall(impulse, 100, 8000, slices=5)).layout.meta["kind"] == "waterfall"
    with pytest.raises(UsageError, match="result is a list; it must be Effects"):
        figure([radio.effects()])
    with pytest.raises(UsageError, match="result is 3; it must be Effects"):
        figure(3)


def test_drawing_never_changes_the_result():
    before = radio.effects().table.copy()
    figure(radio.effects())
    assert radio.effects().table.equals(before)


def test_importing_charts_imports_no_engine():
    """A page that only needs colours does not wait for scipy."""
    code = "import sys, doe.charts; print(sorted({'scipy', 'statsmodels', 'sklearn', 'duckdb', 'doe.fit'} & set(sys.modules)))"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "[]"


def test_a_factor_that_has_no_levels_is_refused():
    """A typo in the name gave a chart without anything in it."""
    with pytest.raises(UsageError, match=r"^factors names 'wol'; there are .*wool.*\. Did you mean 'wool'\?$"):
        figure(radio.effects(), "levels", factors=["wol"])
    assert "wool" in figure(radio.effects(), "levels", factors="wool").layout.meta["alt"]
