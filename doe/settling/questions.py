"""What a project can be asked on the way from its best variant to a version that stays."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from doe.model.change import find_variant
from doe.model.errors import DataError, FettleError, UsageError, listed, there_are
from doe.model.given import check_names, check_whole
from doe.model.listening import PreparedSession
from doe.model.settled import SettledVersion
from doe.model.setup import Setup
from doe.settling.raters import who_should_read
from doe.store import Entry, ProjectFile

if TYPE_CHECKING:
    import pandas as pd

    from doe.advise.confirm import Confirmation
    from doe.advise.confirm_size import ConfirmationPlan
    from doe.advise.equivalents import Equivalents
    from doe.advise.tolerance import Tolerances
    from doe.fit.effects import Effects


class Settling:
    """The part of a project that settles: permanent equivalents, tolerances, confirmation and versions."""

    file: ProjectFile

    if TYPE_CHECKING:

        @property
        def setup(self) -> Setup:
            """The definitions."""

        def readings(self) -> pd.DataFrame:
            """One row per reading."""

        def units(self) -> pd.DataFrame:
            """One row per unit."""

    def settle(
        self,
        variant: str | Mapping[str, object] | None = None,
        *,
        without: str | None = None,
        to: object = None,
        through: str | None = None,
        hold: Sequence[str] = (),
        count: int = 3,
        seed: int = 1,
    ) -> Equivalents:
        """Find the permanent equivalent of a variant; see `doe.settle`.

        Raises
        ------
        UsageError, DataError
            As `doe.settle`.
        """
        from doe.advise.settle import settle
        from doe.advise.standin import choose_stand_in

        setup = self.setup
        choose_stand_in(setup.factors, setup.derived, without, to, through, hold)  # told before the best is looked for
        variant = variant if variant is not None else self._meant(None, seed)[0]
        return settle(
            self.readings(),
            setup.factors,
            setup.outcomes,
            variant,
            without=without,
            to=to,
            through=through,
            hold=hold,
            units=self.units(),
            effort=setup.effort,
            limits=setup.limits,
            derived=setup.derived,
            count=count,
            seed=seed,
        )

    def tolerances(
        self,
        variant: str | Mapping[str, object] | None = None,
        *,
        probability: float = 0.9,
        through: str | None = None,
        seed: int = 1,
    ) -> Tolerances:
        """Work out how far each setting may drift; see `doe.advise.tolerance.tolerances`.

        Parameters
        ----------
        variant : str or mapping, optional
            The variant, or settings; by default the best variant.
        probability : float
            With which all outcomes stay as promised.
        through : str, optional
            Predict through this derived quantity in the place of its parts.
        seed : int

        Raises
        ------
        UsageError
            If a name or the probability is wrong.
        DataError
            If nothing limits a drift, or there is no best variant.
        """
        import numpy as np

        from doe.advise.tolerance import N_DRAWS, tolerances

        settings = self._meant(variant, seed)[1]
        rng = np.random.default_rng(seed)
        draws = [(item.outcome, item.posterior(N_DRAWS, rng)) for item in self._analyses(through, seed)]
        setup = self.setup
        return tolerances(
            draws,
            setup.factors,
            settings,
            probability=probability,
            limits=setup.limits,
            derived=setup.derived,
            seed=seed,
        )

    def plan_confirmation(
        self, variant: str | Mapping[str, object] | None = None, *, risk: float = 0.1, seed: int = 1
    ) -> ConfirmationPlan:
        """Work out how many fresh builds and readings would confirm; see `doe.advise.confirm_size.size_confirmation`.

        Raises
        ------
        UsageError
            If a name or the risk is wrong.
        DataError
            If no outcome says what matters.
        """
        from doe.advise.confirm_size import scatter_of, size_confirmation
        from doe.advise.effort import bought_levels, new_unit_cost
        from doe.advise.log import read_log

        setup = self.setup
        settings = self._meant(variant, seed)[1]
        readings = self.readings()
        log = read_log(readings, setup.factors, self.units())
        bought = bought_levels(setup.factors, list(log.variants.values()))
        cost = new_unit_cost(setup.factors, settings, setup.effort, bought)
        scatters = {item.outcome.name: scatter_of(item) for item in self._analyses(None, seed)}
        plan = size_confirmation(
            scatters, setup.outcomes, effort=setup.effort, build_minutes=cost.minutes, raters=log.raters, risk=risk
        )
        return replace(plan, notes=(*plan.notes, *who_should_read(readings, setup.outcomes, plan.table["outcome"])))

    def prepare_confirmation(
        self,
        builds: Sequence[str],
        raters: Sequence[str],
        *,
        beside: Sequence[str] = (),
        rounds: int = 1,
        name: str = "confirmation",
    ) -> tuple[PreparedSession, Entry]:
        """Prepare a blind session of fresh builds, beside something that was judged before.

        Raises
        ------
        UsageError, DataError
            If no outcome is rated, or a name is unknown or taken; nothing is stored then.
        """
        from doe.settling.sessions import confirmation_session

        builds, raters, beside = (
            check_names(what, names) for what, names in (("builds", builds), ("raters", raters), ("beside", beside))
        )
        session = confirmation_session(name, self.setup.outcomes, self.file.variants(), builds, beside, raters, rounds)
        return session, self.file.prepare_session(session)

    def confirm(self, builds: Sequence[str], *, through: str | None = None, seed: int = 1) -> Confirmation:
        """Judge fresh builds by what the log before them promised; see `doe.advise.confirm.confirm`.

        Parameters
        ----------
        builds : sequence of str
            The fresh builds, all with the same settings.
        through : str, optional
            Promise through this derived quantity in the place of its parts.
        seed : int

        Raises
        ------
        UsageError, DataError
            If the builds are unknown, differ, or nothing else was read.
        """
        from doe.advise.confirm import confirm

        known = self.file.variants()
        builds = [find_variant(name, known).name for name in check_names("builds", builds)]
        setup = self.setup
        readings = self.readings()
        terms = self._terms(through, readings[~readings["variant"].astype(str).isin(list(builds))])
        return confirm(readings, setup.factors, setup.outcomes, builds, derived=setup.derived, terms=terms, seed=seed)

    def keep_version(
        self,
        name: str,
        variant: str | None = None,
        *,
        builds: Sequence[str] = (),
        through: str | None = None,
        note: str = "",
        seed: int = 1,
    ) -> tuple[SettledVersion, Entry]:
        """Settle a version: freeze a variant with what is known of it.

        Parameters
        ----------
        name : str
            Label of the version.
        variant : str, optional
            By default the first of `builds`, else the best variant.
        builds : sequence of str
            Fresh builds that confirm it.
        through : str, optional
            Predict through this derived quantity.
        note : str
        seed : int

        Raises
        ------
        UsageError, DataError
            If a name is unknown or taken; nothing is stored then.
        """
        from doe.settling.evidence import evidence

        chosen = variant or (builds[0] if builds else None)
        label, settings = self._meant(chosen, seed)
        confirmation = self.confirm(builds, through=through, seed=seed) if builds else None
        if confirmation is not None and dict(confirmation.settings) != dict(settings):
            raise DataError(
                f"Variant {label} has other settings than the builds {listed(builds, 'and')} that should confirm it."
            )
        analyses = self._analyses(through, seed)
        try:
            room = self.tolerances(settings, through=through, seed=seed)
        except DataError:  # nothing limits a drift
            room = None
        known = evidence(analyses, settings, room, confirmation, through or "", len(self.readings()))
        entry = self.file.settle_version(SettledVersion(0, name, label, {}, evidence=known, note=note))
        return self.file.settled_versions()[-1], entry

    def versions(self) -> list[SettledVersion]:
        """Return the settled versions, oldest first."""
        return self.file.settled_versions()

    def version(self, number: int | None = None) -> SettledVersion:
        """Return a settled version, the newest by default.

        Raises
        ------
        UsageError
            If there is none of that number.
        DataError
            If nothing is settled yet.
        """
        found = self.versions()
        if not found:
            raise DataError(
                "Nothing is settled yet.", command="'fettle settle keep VARIANT --name NAME' settles a version"
            )
        if number is None:
            return found[-1]
        number = check_whole("number", number, 1)
        for item in found:
            if item.number == number:
                return item
        raise UsageError(f"There is no version {number}; {there_are([item.number for item in found])}.")

    def compare_versions(self, first: int, second: int, *, seed: int = 1) -> pd.DataFrame:
        """Compare two versions outcome by outcome; see `doe.advise.compare.compare`.

        Raises
        ------
        UsageError, DataError
            If there is no such version.
        """
        from doe.advise.compare import compare

        one, two = (self._now(self.version(number)) for number in (first, second))
        return compare(self._analyses(None, seed), one, two, seed=seed)

    def _now(self, version: SettledVersion) -> tuple[str, dict[str, Any]]:
        """Return variant and settings of a version for the factors that there are now; what came later is as it was built.

        Raises
        ------
        DataError
            If a setting is no longer allowed.
        """
        built = {item.name: item.settings for item in self.file.variants()}.get(version.variant, {})
        settings = {**built, **version.settings}
        return version.variant, {item.name: item.read(settings.get(item.name)) for item in self.setup.factors}

    def _meant(self, variant: str | Mapping[str, object] | None, seed: int) -> tuple[str, dict[str, Any]]:
        """Return name and settings of what is meant, the best variant by default."""
        setup = self.setup
        if isinstance(variant, Mapping):
            return "", {factor.name: factor.read(variant.get(factor.name)) for factor in setup.factors}
        if variant is None:
            readings = self.readings()
            best = self.recommend(seed=seed).best if len(readings) else {}  # type: ignore[attr-defined]
            if not best.get("variant"):
                raise DataError(
                    "No variant is known to be the best yet, since none has been read; name the one that is meant.",
                    command="write its number behind the command",
                )
            variant = str(best["variant"])
        found = find_variant(variant, self.file.variants())
        if found.is_reference:
            raise UsageError(f"Variant '{found.name}' is a reference object, which has no settings; name one that has.")
        return found.name, dict(found.settings)

    def _terms(self, through: str | None, readings: pd.DataFrame) -> list[str] | None:
        """Return the terms that put a quantity in the place of its parts; None without one."""
        if through is None:
            return None
        from doe.advise.routes import terms_through
        from doe.advise.standin import unknown_quantity

        setup = self.setup
        known = {quantity.name: quantity for quantity in setup.derived}
        if through not in known:
            raise unknown_quantity(through, list(known))
        return terms_through(readings, setup.factors, known[through])

    def _analyses(self, through: str | None, seed: int) -> list[Effects]:
        """Analyse every outcome that can be analysed.

        Raises
        ------
        DataError
            If none can.
        """
        from doe.fit import analyse

        setup, readings = self.setup, self.readings()
        terms = self._terms(through, readings)
        found, refusals = [], []
        for outcome in setup.outcomes:
            try:
                effects = analyse(readings, setup.factors, outcome, terms, derived=setup.derived, seed=seed)
                effects.fitted_basis()
                found.append(effects)
            except FettleError as err:
                refusals.append(DataError(str(err), command=err.command))
        if not found:
            nothing = DataError("This project has no outcomes yet.", command="'fettle outcome add' defines one")
            raise refusals[0] if refusals else nothing
        return found
