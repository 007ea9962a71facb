"""``fettle predict``: what settings that were not built yet should give, and what it takes to get there."""

from __future__ import annotations

from argparse import Namespace

from doe.cli.chosen import open_project
from doe.cli.parser import Parser, a_count, a_pair, once
from doe.cli.screen import print_json, say, titled


def build_predict() -> Parser:
    """Return the parser of ``fettle predict``."""
    parser = Parser(
        "fettle predict",
        "Predict what settings should give, built or not, beside the variant that they start from, and what it takes to get\n"
        "there. The interval of one build is wider, since builds differ by more than their settings.",
        ["fettle predict wool=20", "fettle predict vents=2 rings=9 --start 17"],
        run_predict,
    )
    add = parser.add_argument
    add("settings", nargs="*", type=a_pair, metavar="FACTOR=SETTING", help="what is to be otherwise")
    add("--start", metavar="VARIANT", help="variant whose other settings stay; the best one by default")
    add("--seed", type=a_count, default=1, metavar="NUMBER", help="of whatever is drawn at random; 1 by default")
    parser.json_option()
    return parser


def run_predict(options: Namespace) -> None:
    """Predict settings."""
    found = open_project(options.project).predict(once(options.settings), start=options.start, seed=options.seed)
    if options.json:
        print_json(found.to_tables())
    else:
        say(titled(found.summary()))
