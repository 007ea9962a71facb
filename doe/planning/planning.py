"""The part of a project that plans: which runs, adopted or not, and the order to build them in."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from doe.model.change import Change
from doe.model.errors import DataError
from doe.model.given import check_frame
from doe.model.planned import AdoptedPlan, find_planned, none_adopted, same_as_planned
from doe.model.records import Variant
from doe.model.setup import Setup, check_factors
from doe.planning.adopted import facts_of, frame_of, left_of, model_of, name_in, outcome_of, runs_of
from doe.planning.known import Judged, judged_by
from doe.store import Entry, ProjectFile

if TYPE_CHECKING:
    import pandas as pd

    from doe.advise.route import Route
    from doe.fit.effects import Effects
    from doe.plans import Plan, PlanChoice

Tell = Callable[[float, str], None]


class Planning:
    """Plans, routes, and what is kept of them; `Project` is one."""

    file: ProjectFile

    if TYPE_CHECKING:

        @property
        def setup(self) -> Setup:
            """The definitions."""

        def variants(self) -> pd.DataFrame:
            """One row per variant."""

        def units(self) -> pd.DataFrame:
            """One row per unit."""

        def analyse(self, outcome: str, terms: str | Sequence[str] | None = None, seed: int = 1) -> Effects:
            """Analyse one outcome."""

    def judged_by(
        self,
        outcome: str | None = None,
        scatter: float | None = None,
        matters: float | None = None,
        tell: Tell | None = None,
    ) -> Judged:
        """Return the scatter known so far, which plans are judged by; see `doe.planning.known.judged_by`.

        Raises
        ------
        UsageError
            If there is no outcome of that name, or it compares two variants.
        """
        outcomes = self.setup.outcomes
        names = [item.name for item in outcomes]

        def analyse(name: str) -> Effects:
            if tell is not None:
                tell(names.index(name) / len(names), f"what the log says of {name}")
            return self.analyse(name)

        return judged_by(outcomes, analyse, outcome, scatter, matters)

    def plan(
        self,
        runs: int | None = None,
        model: str | Sequence[str] = "main",
        *,
        beside_log: bool = False,
        judged: Judged | None = None,
        **options: Any,
    ) -> Plan:
        """Plan runs for this project's factors and limits.

        Parameters
        ----------
        runs, model
            As for `doe.plan`.
        beside_log : bool
            Whether the plan complements the variants that are built.
        judged : Judged, optional
            Scatter and smallest difference that matters; by default what the log says.
        **options
            Further arguments of `doe.plan`, such as ``kind="fraction"`` or ``blocks=2``.

        Raises
        ------
        UsageError, DataError
            As `doe.plan` does.
        """
        from doe.plans import plan

        return plan(self.setup.factors, runs, model, **self._given(beside_log, judged), **options)

    def choose_plan(
        self,
        runs: int | None = None,
        hours: float | None = None,
        *,
        beside_log: bool = False,
        judged: Judged | None = None,
        seed: int = 1,
        tell: Tell | None = None,
    ) -> PlanChoice:
        """Compare the plans that fit so many runs or bench hours, and recommend one.

        Parameters
        ----------
        runs, hours, seed, tell
            As for `doe.choose_plan`.
        beside_log, judged
            As for `plan`.

        Raises
        ------
        UsageError, DataError
            As `doe.choose_plan` does.
        """
        from doe.plans import choose

        effort, units = self.setup.effort, self.file.units()
        return choose(
            self.setup.factors, runs=runs, hours=hours, effort=effort, units=units, seed=seed, tell=tell,
            **self._given(beside_log, judged),
        )  # fmt: skip

    def judge_plan(
        self,
        table: pd.DataFrame,
        model: str | Sequence[str] = "main",
        *,
        beside_log: bool = False,
        judged: Judged | None = None,
    ) -> Plan:
        """Judge runs that were edited, in the order given.

        Raises
        ------
        UsageError, DataError
            As `doe.judge_plan` does.
        """
        from doe.plans import judge

        check_frame("table", table, "run")
        own = set(map(name_in, table["variant"])) if "variant" in table.columns else set()
        return judge(table, self.setup.factors, model, **self._given(beside_log, judged, own))

    def adopted(self) -> tuple[AdoptedPlan, pd.DataFrame] | None:
        """Return the plan that is being built, and its runs as a table with `variant` and `status`; None without one."""
        plan = self.file.adopted_plan()
        return None if plan is None else (plan, frame_of(plan, self.setup.factors))

    def adopted_outcome(self) -> str | None:
        """Return the outcome that the plan being built is judged by; None without such a plan, or if it names none."""
        plan = self.file.adopted_plan()
        return None if plan is None else outcome_of(plan, self.setup.outcomes)

    def review_plan(self, judged: Judged | None = None) -> Plan:
        """Return the plan that is being built as it stands: its table says `variant` and `status`, its headline how far it is.

        Raises
        ------
        DataError
            If no plan is being built.
        UsageError
            If its runs can no longer estimate its model.
        """
        found = self.adopted()
        if found is None:
            raise none_adopted()
        plan, table = found
        known = judged if judged is not None else self.judged_by(outcome_of(plan, self.setup.outcomes))
        beside = bool(plan.facts.get("beside_log"))
        model = model_of(plan, self.setup, self._built(plan))
        made = self.judge_plan(table, model, beside_log=beside, judged=known)
        return replace(made, table=table, headline=plan.headline, kind=str(plan.facts.get("kind", made.kind)))

    def adopt(self, made: Plan, model: str | Sequence[str] = "main", outcome: str = "") -> Entry:
        """Keep a plan: its runs become planned variants, which count for nothing until they are built.

        Parameters
        ----------
        made : Plan
            What `plan`, `choose_plan` or `judge_plan` returned.
        model : str or sequence of str
            That it was made for.
        outcome : str
            That it was judged by.

        Raises
        ------
        DataError
            If another plan is being built.
        """
        table = made.table.drop(columns="variant", errors="ignore")
        return self.file.adopt_plan(facts_of(made, model, outcome), runs_of(table, self.setup.factors))

    def edit_plan(self, table: pd.DataFrame, judged: Judged | None = None) -> tuple[Entry, Plan]:
        """Change the plan that is being built to an edited table of its runs.

        Parameters
        ----------
        table : DataFrame
            All runs in order, as `adopted` gives them: a row that names its variant changes it, one without is a new run, and
            a planned variant without a row is taken out.
        judged : Judged, optional
            Scatter and smallest difference that matters; by default what the log says.

        Returns
        -------
        Entry, Plan
            What takes it back, and the plan as it is now.

        Raises
        ------
        DataError
            If no plan is being built, or what is built already would change.
        UsageError
            If the runs cannot estimate the plan's model.
        """
        plan = self.file.adopted_plan()
        if plan is None:
            raise none_adopted()
        known = judged if judged is not None else self.judged_by(outcome_of(plan, self.setup.outcomes))
        check_frame("table", table, "run")
        model = model_of(plan, self.setup, self._built(plan), table)
        made = self.judge_plan(table, model, beside_log=bool(plan.facts.get("beside_log")), judged=known)
        own = plan.facts.get("model", "main")  # what came or went since may go or come back
        entry = self.file.edit_plan(facts_of(made, own, known.outcome), runs_of(table, self.setup.factors))
        return entry, made

    def _built(self, plan: AdoptedPlan) -> list[Variant]:
        """Return what is built beside a plan that complements it."""
        beside = self.file.variants() if plan.facts.get("beside_log") else []
        return [variant for variant in beside if variant.status == "built"]

    def abandon_plan(self) -> Entry:
        """Give up the plan that is being built; what is built of it stays.

        Raises
        ------
        DataError
            If no plan is being built.
        """
        return self.file.abandon_plan()

    def route(self, table: pd.DataFrame | None = None, **options: Any) -> Route:
        """Order what is planned, on the units at hand, in the fewest bench minutes.

        Parameters
        ----------
        table : DataFrame, optional
            Settings to build, one column per factor; by default every planned variant, those of the adopted plan first.
        **options
            Further arguments of `doe.route`: `shuffle`, `new_units`, `seconds`, `seed`, `tell`.

        Raises
        ------
        DataError
            If nothing is planned, or a setting is not allowed.
        UsageError
            As `doe.route` does.
        """
        from doe.advise.route import route

        wanted = self._planned() if table is None else table
        return route(wanted, self.setup.factors, units=self.file.units(), effort=self.setup.effort, **options)

    def _planned(self) -> pd.DataFrame:
        """Return everything planned: the adopted plan's runs, then single planned variants."""
        import pandas as pd

        adopted = self.adopted()
        parts = [left_of(adopted[1])] if adopted is not None else []
        known = set(parts[0]["variant"]) if parts else set()
        others = self.variants()
        others = others[(others["status"] == "planned") & ~others["variant"].isin(known)]
        if len(others):
            parts.append(others[["variant", "unit", *(factor.name for factor in self.setup.factors)]])
        if not parts:
            raise DataError(
                "Nothing is planned: adopt a plan first, or give a table of settings.",
                command="'fettle plan --runs COUNT --adopt' adopts one",
            )
        table = pd.concat(parts, ignore_index=True)
        if "block" in table.columns:
            table["block"] = table["block"].fillna(table["block"].max())
        return table.drop(columns=["order", "status", "kind"], errors="ignore")

    def _given(self, beside_log: bool, judged: Judged | None, own: Collection[str] = ()) -> dict[str, Any]:
        """Return what of the project every plan depends on; a plan's `own` variants do not stand beside it."""
        setup, known = self.setup, judged if judged is not None else self.judged_by()
        check_factors(setup)
        variants = self.variants()
        names = ["variant", *(factor.name for factor in setup.factors)]
        is_beside = (variants["status"] == "built") & ~variants["variant"].isin(list(own))
        built = variants[is_beside][names] if beside_log else None
        return {
            "limits": setup.limits, "derived": setup.derived, "existing": built, "scatter": known.scatter,
            "matters": known.matters,
        }  # fmt: skip

    @staticmethod
    def _planned_as(change: Change, planned: str | None, name: str | None, known: Sequence[Variant]) -> str | None:
        """Return the planned variant that a build is: the one named, or the first with its settings where none is."""
        if planned is not None:
            return find_planned(planned, known).name
        found = same_as_planned(change.settings, change.unit, known) if name is None else None
        return found.name if found is not None else None
