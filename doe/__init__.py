"""Fettle: find out which change moves what in a prototype, and what to change next.

Names are imported when they are first used, so that ``import doe`` costs next to nothing.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from doe.advise import Advice as Advice
    from doe.advise import recommend as recommend
    from doe.advise.route import Route as Route
    from doe.advise.route import route as route
    from doe.advise.settle import settle as settle
    from doe.charts import figure as figure
    from doe.fit import Effects as Effects
    from doe.fit import analyse as analyse
    from doe.model.effort import Effort as Effort
    from doe.model.errors import DataError as DataError
    from doe.model.errors import FettleError as FettleError
    from doe.model.errors import FitError as FitError
    from doe.model.errors import ImportProblems as ImportProblems
    from doe.model.errors import StoreError as StoreError
    from doe.model.errors import UsageError as UsageError
    from doe.model.expectation import Expectation as Expectation
    from doe.model.factor import Factor as Factor
    from doe.model.limit import Derived as Derived
    from doe.model.limit import Limit as Limit
    from doe.model.outcome import Outcome as Outcome
    from doe.model.records import Reading as Reading
    from doe.model.records import Session as Session
    from doe.model.records import Unit as Unit
    from doe.model.records import Variant as Variant
    from doe.model.setup import Setup as Setup
    from doe.plans import Plan as Plan
    from doe.plans import PlanChoice as PlanChoice
    from doe.plans import choose_plan as choose_plan
    from doe.plans import judge_plan as judge_plan
    from doe.plans import plan as plan
    from doe.project import Project as Project
    from doe.project import create as create
    from doe.project import open as open
    from doe.sheets import report as report
    from doe.signals.estimates import estimate as estimate

_HOMES = {
    "Advice": "doe.advise",
    "DataError": "doe.model.errors",
    "Derived": "doe.model.limit",
    "Effects": "doe.fit",
    "Effort": "doe.model.effort",
    "Expectation": "doe.model.expectation",
    "Factor": "doe.model.factor",
    "FettleError": "doe.model.errors",
    "FitError": "doe.model.errors",
    "ImportProblems": "doe.model.errors",
    "Limit": "doe.model.limit",
    "Outcome": "doe.model.outcome",
    "Plan": "doe.plans",
    "PlanChoice": "doe.plans",
    "Project": "doe.project",
    "Reading": "doe.model.records",
    "Route": "doe.advise.route",
    "Session": "doe.model.records",
    "Setup": "doe.model.setup",
    "StoreError": "doe.model.errors",
    "Unit": "doe.model.records",
    "UsageError": "doe.model.errors",
    "Variant": "doe.model.records",
    "analyse": "doe.fit",
    "choose_plan": "doe.plans",
    "create": "doe.project",
    "estimate": "doe.signals.estimates",
    "figure": "doe.charts",
    "judge_plan": "doe.plans",
    "open": "doe.project",
    "plan": "doe.plans",
    "recommend": "doe.advise",
    "report": "doe.sheets",
    "route": "doe.advise.route",
    "settle": "doe.advise.settle",
}

__all__ = [
    "Advice",
    "DataError",
    "Derived",
    "Effects",
    "Effort",
    "Expectation",
    "Factor",
    "FettleError",
    "FitError",
    "ImportProblems",
    "Limit",
    "Outcome",
    "Plan",
    "PlanChoice",
    "Project",
    "Reading",
    "Route",
    "Session",
    "Setup",
    "StoreError",
    "Unit",
    "UsageError",
    "Variant",
    "analyse",
    "choose_plan",
    "create",
    "estimate",
    "figure",
    "judge_plan",
    "open",
    "plan",
    "recommend",
    "report",
    "route",
    "settle",
]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'doe' has no attribute '{name}'")
    value = getattr(importlib.import_module(_HOMES[name]), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
