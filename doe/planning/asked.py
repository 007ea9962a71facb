"""A plan as it is asked for in words: what the command and the JSON interface make of the same request."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from doe.model.model_words import between_commas, read_model

if TYPE_CHECKING:
    from doe.planning.known import Judged
    from doe.planning.planning import Planning
    from doe.plans import Plan, PlanChoice

_SHAPE = ("kind", "blocks", "session_runs", "replicates", "centre", "units", "fold", "starts")


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked for.

    Attributes
    ----------
    runs : int or None
        Variants to build at most.
    hours : float or None
        Bench hours to spend at most.
    model : str or list of str or None
        A named model, or its terms.
    shape : mapping of str to object
        What was said of the plan's shape, as arguments of `doe.plan`.
    beside_log : bool
        Whether the plan complements the variants that are built.
    seed : int
        Of search and run order.
    """

    runs: int | None
    hours: float | None
    model: str | list[str] | None
    shape: Mapping[str, Any]
    beside_log: bool
    seed: int

    @property
    def named(self) -> tuple[str, ...]:
        """What is said of the plan itself, by the names of the arguments."""
        return (*self.shape, *(("model",) if self.model else ()))

    @property
    def is_open(self) -> bool:
        """Whether any plan will do, so that the adopted one is meant."""
        return not (self.named or self.runs is not None or self.hours is not None or self.beside_log)

    @property
    def is_comparison(self) -> bool:
        """Whether plans are to be compared: where hours are given, or runs alone."""
        return self.hours is not None or (self.runs is not None and not self.named)

    def made(
        self, project: Planning, judged: Judged, tell: Callable[[float, str], None] | None = None
    ) -> tuple[Plan, PlanChoice | None, str | list[str]]:
        """Compare plans, or make the one that is asked for.

        Returns
        -------
        Plan
        PlanChoice or None
            What it was chosen from.
        str or list of str
            The model that it was made for.

        Raises
        ------
        UsageError, DataError
            As `doe.plan` and `doe.choose_plan` do.
        """
        if self.is_comparison:
            choice = project.choose_plan(
                self.runs, self.hours, beside_log=self.beside_log, judged=judged, seed=self.seed, tell=tell
            )
            return choice.plan, choice, choice.model
        model = self.model or "main"
        made = project.plan(
            self.runs, model, beside_log=self.beside_log, judged=judged, seed=self.seed, tell=tell, **self.shape
        )
        return made, None, model


def asked_for(request: Any) -> Asked:
    """Read a request: an object with the attributes of ``fettle plan``, None where nothing was said.

    Raises
    ------
    UsageError
        If the model has no terms.
    """
    said = {name: getattr(request, name) for name in _SHAPE if getattr(request, name) is not None}
    if "fold" in said:
        said["fold"] = tuple(between_commas(said["fold"]))
    model = read_model(request.model, "model")
    return Asked(request.runs, request.hours, model, said, request.beside_log, request.seed)
