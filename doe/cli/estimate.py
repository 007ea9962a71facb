"""``fettle estimate``: rough physics for choosing factors and checking sense."""

from __future__ import annotations

from argparse import Namespace
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from doe.cli.parser import Parser, a_pair
from doe.cli.screen import heading, print_json, say, titled
from doe.model.errors import UsageError
from doe.model.wording import cell_text

if TYPE_CHECKING:
    from doe.signals.estimates import Quantity
    from doe.signals.physics import Estimate


def build_estimate() -> Parser:
    """Return the parser of ``fettle estimate``."""
    parser = Parser(
        "fettle estimate",
        "Work a figure out before anything is built: what a resonator, a box, a cavity or a gap should do by theory,\n"
        "with the formula, its source and how far to trust it. Without a name the estimates are listed. Needs no project.",
        [
            "fettle estimate",
            "fettle estimate helmholtz volume_cm3=1000 radius_mm=10 length_mm=50",
            "fettle estimate closed_box fs_hz=60 qts=0.4 vas_l=12 volume_l=5",
        ],
        run_estimate,
    )
    parser.add_argument("name", nargs="?", metavar="NAME", help="which estimate; without it all are listed")
    parser.add_argument("values", nargs="*", type=a_pair, metavar="QUANTITY=VALUE", help="what it is worked out from")
    parser.json_option()
    return parser


def run_estimate(options: Namespace) -> None:
    """List the estimates, or work one out."""
    if options.name is None:
        _list(options)
        return
    from doe.signals.estimates import estimate

    given: dict[str, Any] = {}
    for name, value in options.values:
        if name in given:
            raise UsageError(f"{name} is given twice, as {given[name]} and {value}; give it once.")
        given[name] = value
    found = estimate(options.name, given)
    if options.json:
        print_json(_as_table(found))
    else:
        say(titled(found.summary()))


def _as_table(found: Estimate) -> dict[str, Any]:
    own = {name: getattr(found, name) for name in ("name", "value", "unit", "formula", "source", "trust", "inputs")}
    return {**own, "more": [_as_table(other) for other in found.more]}


def _list(options: Namespace) -> None:
    from doe.signals.estimates import ESTIMATES, quantities_of

    names = [(name, _first_line(function), quantities_of(name)) for name, function in ESTIMATES.items()]
    if options.json:
        print_json(
            [
                {
                    "estimate": name,
                    "what": what,
                    "quantities": [
                        {"name": item.name, "is_needed": item.is_needed, "default": item.default} for item in quantities
                    ],
                }
                for name, what, quantities in names
            ]
        )
        return
    parts = []
    for name, what, quantities in names:
        needed = " ".join(item.name for item in quantities if item.is_needed)
        open_ones = ", ".join(_with_default(item) for item in quantities if not item.is_needed)
        lines = [f"{heading(name)}: {what}", f"  from {needed}"]
        parts.append("\n".join([*lines, *([f"  and if known {open_ones}"] if open_ones else [])]))
    say("\n".join(parts))


def _first_line(function: Callable[..., Estimate]) -> str:
    return str(function.__doc__).strip().splitlines()[0]


def _with_default(quantity: Quantity) -> str:
    if quantity.default is None:
        return str(quantity.name)
    shown = cell_text(quantity.default)
    return f"{quantity.name} ({shown})"
