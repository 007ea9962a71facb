"""An adopted plan: runs that are to be built, and those of them that are."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from doe.model.choices import Value
from doe.model.errors import DataError, listed
from doe.model.names import quoted, spelled_alike
from doe.model.records import Variant
from doe.model.wording import counted


@dataclass(frozen=True, slots=True)
class Run:
    """One run of a plan, as it is to be built.

    Attributes
    ----------
    settings : mapping of str to setting
        One entry per factor.
    variant : str
        Name of its variant; empty while it has none.
    block : int
        Group of runs that are read in one session.
    unit : str
        Label that the runs of one unit share; empty where any unit will do.
    kind : str
        Kind of point.
    """

    settings: Mapping[str, Value]
    variant: str = ""
    block: int = 1
    unit: str = ""
    kind: str = "run"


@dataclass(frozen=True, slots=True)
class AdoptedPlan:
    """A plan on record.

    Attributes
    ----------
    id : int
        Its lasting number.
    entry : int
        Entry of the journal that wrote this version.
    facts : mapping
        What it is: `headline`, `kind`, `model`, `seed` and whatever else was told, as plain data.
    runs : tuple of Run
        In run order, with the settings that their variants have now.
    variants : tuple of Variant
        The variant of each run.
    """

    id: int
    entry: int
    facts: Mapping[str, Any] = field(default_factory=dict)
    runs: tuple[Run, ...] = ()
    variants: tuple[Variant, ...] = ()

    @property
    def left(self) -> tuple[str, ...]:
        """Names of the runs that are not built yet."""
        return tuple(variant.name for variant in self.variants if variant.status == "planned")

    @property
    def is_open(self) -> bool:
        """Whether runs are left to build."""
        return bool(self.left)

    @property
    def headline(self) -> str:
        """What it is, and how far it is built, in one sentence."""
        done = len(self.runs) - len(self.left)
        title = str(self.facts.get("headline", "")).rstrip(".") or counted(len(self.runs), "run")
        return f"{title}: {done} of {len(self.runs)} built."

    def unit_of(self, run: Run) -> str:
        """Return the unit that a run is on once it is built, else the one it belongs on: where others of its label are."""
        own = next((variant for variant in self.variants if variant.name == run.variant), None)
        if own is not None and own.status == "built" and own.unit:
            return own.unit
        real = (
            variant.unit
            for other, variant in zip(self.runs, self.variants, strict=True)
            if run.unit and other.unit == run.unit and variant.status == "built" and variant.unit
        )
        return next(real, run.unit)


def none_adopted() -> DataError:
    """Return what is said where a plan is asked for and none is being built."""
    return DataError(
        "No plan is adopted, or the last one is built.", command="'fettle plan --runs COUNT --adopt' adopts one"
    )


def not_built(name: str, before: str) -> DataError:
    """Return what is said where a planned variant is treated as built; `before` is what it has to be built for."""
    return DataError(
        f"Variant '{name}' is only planned; mark it as built before {before}.",
        command=f"'fettle log --planned {quoted(name)}' does that",
    )


def find_planned(name: str, variants: Sequence[Variant]) -> Variant:
    """Return the planned variant of that name.

    Raises
    ------
    DataError
        If there is none, or it is built already.
    """
    meant = spelled_alike(name, [item.name for item in variants])
    found = next((item for item in variants if item.name in meant), None)
    open_ = [item.name for item in variants if item.status == "planned"]
    if found is not None and found.status == "planned":
        return found
    there = (
        (f"planned {'are' if len(open_) > 1 else 'is'} {listed(open_, 'and')}") if open_ else "no variant is planned"
    )
    what = f"Variant {found.name} is built already" if found is not None else f"There is no planned variant '{name}'"
    raise DataError(f"{what}; {there}.")


def same_as_planned(settings: Mapping[str, Value], unit: str | None, variants: Sequence[Variant]) -> Variant | None:
    """Return the first planned variant with these settings, meant for this unit or for any."""
    return next(
        (
            item
            for item in variants
            if item.status == "planned" and dict(item.settings) == dict(settings) and item.unit in (None, unit)
        ),
        None,
    )
