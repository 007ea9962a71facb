"""Plans: which runs to make before anything is built, and what they will be able to tell."""

from doe.plans.catalogue import KINDS
from doe.plans.choose import PlanChoice, choose
from doe.plans.make import judge, plan
from doe.plans.precision import detectable, half_width, power
from doe.plans.result import Plan

__all__ = ["KINDS", "Plan", "PlanChoice", "choose", "detectable", "half_width", "judge", "plan", "power"]
