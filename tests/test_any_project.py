"""Whatever a project is about, it is answered, or refused in a sentence."""

from __future__ import annotations

import html
import json
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import doe
from doe.model.errors import FettleError
from doe.model.plain import plain
from doe.model.setup import Setup
from doe.model.sums import made_up, sums
from doe.model.told import told_settling
from doe.sheets.report import report_page
from tests.strategies import examples, settings_for, setups

HOURS = 12.0
ODD = re.compile(r"\bnan\b|\binf\b|\bNone\b|\bNaT\b|\bTrue\b|\bFalse\b|\d[eE][+-]\d|\bnp\.|\barray\(|<class|\{\{|\}\}")
"""What shows through where a number is missing or was never put into words."""


def typed(setup: Setup) -> list[str]:
    """Return what was typed in, longest first: it may look as it likes."""
    texts = {setup.title, setup.question}
    for factor in setup.factors:
        texts |= {factor.name, factor.unit, factor.note, *factor.levels}
    for outcome in setup.outcomes:
        texts |= {outcome.name, outcome.unit, outcome.note, str(outcome.relative_to)}
    for item in (*setup.derived, *setup.limits, *setup.expectations):
        texts |= {str(getattr(item, field, "")) for field in ("name", "unit", "note", "rule", "expression")}
    return sorted((text for text in texts if text), key=len, reverse=True)


def logged(project: doe.Project, data: st.DataObject) -> None:
    """Log a few variants and readings; what is refused is refused."""
    setup = project.setup
    rules = sums(setup.factors, setup.limits, setup.derived)
    for number in range(data.draw(st.integers(0, 6))):
        drawn = data.draw(settings_for(setup.factors))
        settings = {name: round(value, 3) if isinstance(value, float) else value for name, value in drawn.items()}
        settings = made_up(settings, rules)
        try:
            project.log(settings, name=f"v{number}", new_unit=f"unit {number}")
        except FettleError:
            continue
        for outcome in setup.outcomes:
            for rater in ("Ann", "Bo")[: data.draw(st.integers(0, 2))]:
                read(project, f"v{number}", outcome, rater, data)


def read(project: doe.Project, variant: str, outcome: doe.Outcome, rater: str, data: st.DataObject) -> None:
    """Log one reading; what is refused is refused."""
    values: Any = round(data.draw(st.floats(-1e4, 1e4)), 3)
    versus = None
    if outcome.kind == "rated" and outcome.scale is not None:
        low, high = outcome.scale
        values = low + (high - low) * data.draw(st.sampled_from([0, 0.25, 0.5, 1]))
    if outcome.kind == "compared":
        values, versus = data.draw(st.sampled_from(["first", "second", "tie"])), f"v{data.draw(st.integers(0, 5))}"
    try:
        project.read(
            variant, {outcome.name: values}, rater=rater, versus=versus, session=data.draw(st.sampled_from("AB"))
        )
    except FettleError:
        return


def asked(project: doe.Project) -> Iterator[Callable[[], Any]]:
    """List what can be asked of any project."""
    for outcome in project.setup.outcomes:
        yield lambda name=outcome.name: project.analyse(name)
    yield project.recommend
    yield lambda: project.recommend(3, hours=HOURS)
    yield lambda: project.recommend(only="learn")
    yield project.settle
    yield project.tolerances
    yield project.plan_confirmation
    yield project.track
    yield project.predict


def odd(text: str, known: list[str]) -> list[str]:
    """Return what is odd in a text, with what stands around it; what was typed in is left out."""
    for word in known:
        text = text.replace(word, " ")
    return [text[max(0, found.start() - 80) : found.end() + 40] for found in ODD.finditer(text)]


@pytest.mark.slow
@examples(4)
@given(st.data(), setups(most_factors=3))
def test_every_project_is_answered_or_refused_in_words(data: st.DataObject, setup: Setup):
    """No fault of our own, no number that is none, nothing but words in a sentence, and no suggestion beyond the hours."""
    with TemporaryDirectory() as folder:
        try:
            project = doe.create(Path(folder) / "any.duckdb", setup)
        except FettleError as err:
            assert not odd(str(err), typed(setup))
            return
        logged(project, data)
        known = typed(project.setup)
        for ask in asked(project):
            try:
                result = ask()
            except FettleError as err:
                assert not odd(str(err), known)
                continue
            told = result.to_tables() if hasattr(result, "to_tables") else told_settling(result)
            json.dumps(plain(told), allow_nan=False)
            assert not odd(result.summary(), known)
        page = html.unescape(re.sub(r"(?s)<(script|style|svg)\b.*?</\1>|<[^>]*>", " ", report_page(project)))
        assert not odd(page, known)
        try:
            minutes = project.recommend(3, hours=HOURS).table["minutes"].astype(float)
        except FettleError:
            return
        assert np.isfinite(minutes).all()
        assert minutes.sum() <= 60 * HOURS + 1e-6
