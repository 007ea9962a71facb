"""Plans: which runs to make before anything is built, and what they will be able to tell."""

from doe.plans.catalogue import KINDS
from doe.plans.choose import PlanChoice, choose
from doe.plans.make import judge, plan
from doe.plans.precision import detectable, half_width, power
from doe.plans.result import Plan

choose_plan, judge_plan = choose, judge
"""Their names in `doe`, where "choose" and "judge" alone would not say what."""

__all__ = [
    "KINDS",
    "Plan",
    "PlanChoice",
    "choose",
    "choose_plan",
    "detectable",
    "half_width",
    "judge",
    "judge_plan",
    "plan",
    "power",
]
