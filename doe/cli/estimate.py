"""``fettle estimate``: rough physics for choosing factors and checking sense."""

from __future__ import annotations

from argparse import Namespace
from typing import TYPE_CHECKING

from doe.cli.parser import Parser, a_pair, once
from doe.cli.screen import heading, print_json, say, table, titled
from doe.model.wording import cell_text

if TYPE_CHECKING:
    from doe.signals.estimates import Quantity


def build_estimate() -> Parser:
    """Return the parser of ``fettle estimate``."""
    parser = Parser(
        "fettle estimate",
        "Work a figure out before anything is built: what a resonator, a box, a cavity or a gap should do by theory,\n"
        "with the formula, its source and how far to trust it. Without a name the estimates are listed, with a name alone\n"
        "what it takes. Needs no project.",
        [
            "fettle estimate",
            "fettle estimate helmholtz",
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
    """List the estimates, say what one takes, or work it out."""
    from doe.signals.estimates import estimate, offered, quantities_of

    if options.name is not None and options.values:
        found = estimate(options.name, once(options.values))
        if options.json:
            print_json(found.to_tables())
        else:
            say(titled(found.summary()))
        return
    names = {quantity.name for quantity in quantities_of(options.name)} if options.name is not None else set()
    if options.json:
        listed = offered()
        print_json(next(row for row in listed if row["estimate"] == options.name) if names else listed)
    elif names:
        say(_taken(options.name))
    else:
        say(_list())


def _taken(name: str) -> str:
    """Say what one estimate takes, and how it is typed."""
    from doe.signals.estimates import about, quantities_of

    quantities = quantities_of(name)
    rows = [(item.name, item.unit, _left_out(item), item.about) for item in quantities]
    typed = " ".join(f"{item.name}=" for item in quantities if item.is_needed)
    return (
        f"{heading(f'{name}: {about(name)}')}\n\n{table(('quantity', 'unit', 'left out', 'what it is'), rows)}\n\n"
        f"Typed: fettle estimate {name} {typed}"
    )


def _list() -> str:
    from doe.signals.estimates import ESTIMATES, about, quantities_of

    parts = []
    for name in ESTIMATES:
        quantities = quantities_of(name)
        needed = " ".join(item.name for item in quantities if item.is_needed)
        open_ones = ", ".join(_with_default(item) for item in quantities if not item.is_needed)
        lines = [f"{heading(name)}: {about(name)}", f"  from {needed}"]
        parts.append("\n".join([*lines, *([f"  and if known {open_ones}"] if open_ones else [])]))
    return "\n".join(parts)


def _left_out(quantity: Quantity) -> str:
    """Say what it is when it is left out."""
    if quantity.is_needed:
        return "is needed"
    return "open" if quantity.default is None else str(cell_text(quantity.default))


def _with_default(quantity: Quantity) -> str:
    return quantity.name if quantity.default is None else f"{quantity.name} ({_left_out(quantity)})"
