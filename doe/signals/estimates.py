"""The estimates by name, with the quantities that each needs, for whoever asks by words rather than by function."""

from __future__ import annotations

import inspect
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, get_args

from doe.model.errors import DataError, UsageError, did_you_mean, listed
from doe.model.given import as_mapping
from doe.model.numbers import is_missing, read_number
from doe.model.wording import capital, spaced
from doe.signals.boxes import closed_box, vented_box
from doe.signals.cavity_decay import cavity_decay
from doe.signals.physics import End, Estimate, cavity_modes, helmholtz, leak, ring_cavity

_UNITS = {"mm": "mm", "cm3": "cm3", "l": "l", "hz": "Hz", "c": "°C", "percent": "%"}
"""How the end of a quantity's name is written as a unit."""


@dataclass(frozen=True, slots=True)
class Quantity:
    """One quantity that an estimate takes.

    Attributes
    ----------
    name : str
        With its unit at the end: ``"radius_mm"``.
    about : str
        What it is, in a sentence.
    choices : tuple of str
        Words that it may be; empty for a number.
    is_whole : bool
        Whether it is a count.
    default : object
        Used when it is not given; None where it may stay open.
    is_needed : bool
        Whether it must be given.
    """

    name: str
    about: str
    choices: tuple[str, ...]
    is_whole: bool
    default: Any
    is_needed: bool

    @property
    def label(self) -> str:
        """Its name without the unit, as it is said."""
        return spaced(self.name.removesuffix(f"_{self._end}")) if self.unit else spaced(self.name)

    @property
    def unit(self) -> str:
        """Its unit; empty for a plain number or a word."""
        return _UNITS.get(self._end, "")

    @property
    def _end(self) -> str:
        return self.name.rpartition("_")[2]


ESTIMATES: Mapping[str, Callable[..., Estimate]] = {
    "helmholtz": helmholtz,
    "closed_box": closed_box,
    "vented_box": vented_box,
    "ring_cavity": ring_cavity,
    "cavity_modes": cavity_modes,
    "cavity_decay": cavity_decay,
    "leak": leak,
}
"""Every estimate by name."""


def about(name: str) -> str:
    """Return what an estimate works out, in a sentence.

    Raises
    ------
    UsageError
        If there is no such estimate.
    """
    return capital(_told(name).partition("\n")[0].removeprefix("Estimate "))


def quantities_of(name: str) -> tuple[Quantity, ...]:
    """Return what an estimate takes, in order.

    Raises
    ------
    UsageError
        If there is no such estimate.
    """
    told = dict(_parameters(_told(name)))
    parameters = inspect.signature(_function(name)).parameters.values()
    return tuple(
        Quantity(
            name=parameter.name,
            about=told[parameter.name],
            choices=get_args(End) if parameter.annotation == "End" else (),
            is_whole=parameter.annotation == "int",
            default=None if parameter.default is parameter.empty else parameter.default,
            is_needed=parameter.default is parameter.empty,
        )
        for parameter in parameters
    )


def offered() -> list[dict[str, Any]]:
    """List the estimates and what each takes, as plain data."""
    return [
        {
            "estimate": name,
            "what": about(name),
            "quantities": [
                {key: getattr(item, key) for key in ("name", "about", "unit", "choices", "is_needed", "default")}
                for item in quantities_of(name)
            ],
        }
        for name in ESTIMATES
    ]


def estimate(name: str, given: Mapping[str, Any]) -> Estimate:
    """Compute an estimate from quantities by name; typed text is read as numbers.

    Parameters
    ----------
    name : str
        Such as ``"helmholtz"``; `doe.signals.estimates.ESTIMATES` names all, ``fettle estimate`` lists them.
    given : mapping of str to float or str
        Quantity -> value in the unit that its name ends in, such as ``volume_cm3``; None, as good as left out.

    Returns
    -------
    Estimate
        Its ``value`` in ``unit``, with the ``formula``, its ``source`` and how far to ``trust`` it.

    Raises
    ------
    UsageError
        If the estimate or a quantity is unknown (the message suggests the nearest), missing, or not allowed.
    """
    known = {quantity.name: quantity for quantity in quantities_of(name)}
    given = as_mapping("given", given)
    for word in given:
        if word not in known:
            raise UsageError(
                f"'{word}' is no quantity of {name}; it takes {listed(known, 'and')}.{did_you_mean(word, known)}"
            )
    given = {word: value for word, value in given.items() if not is_missing(value)}
    missing = [quantity.name for quantity in known.values() if quantity.is_needed and quantity.name not in given]
    if missing:
        raise UsageError(f"{name} needs {listed(missing, 'and')} too.")
    return _function(name)(**{word: _read(known[word], value) for word, value in given.items()})


def _function(name: str) -> Callable[..., Estimate]:
    if not isinstance(name, str) or name not in ESTIMATES:
        raise UsageError(f"estimate is '{name}'; it must be {listed(ESTIMATES)}.{did_you_mean(name, ESTIMATES)}")
    return ESTIMATES[name]


def _read(quantity: Quantity, value: Any) -> Any:
    if quantity.choices:
        return str(value).strip()
    try:
        number = read_number(value, quantity.name)
    except DataError as err:
        raise UsageError(str(err)) from err
    if not quantity.is_whole:
        return number
    if number != int(number):
        raise UsageError(f"{quantity.name} is {number:g}; it must be a whole number.")
    return int(number)


def _told(name: str) -> str:
    return inspect.getdoc(_function(name)) or ""


def _parameters(told: str) -> Iterator[tuple[str, str]]:
    """Read what a docstring says of each parameter."""
    section = told.partition("Parameters\n----------\n")[2].partition("\n\n")[0]
    for entry in re.split(r"\n(?=\w)", section):
        head, *lines = entry.splitlines()
        yield head.partition(" : ")[0], " ".join(line.strip() for line in lines)
