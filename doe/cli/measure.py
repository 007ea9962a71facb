"""``fettle measure``: takes of a variant turned into readings."""

from __future__ import annotations

from argparse import Namespace
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from doe.cli.chosen import open_project
from doe.cli.parser import Parser, a_count, a_number, a_time, one_of
from doe.cli.screen import note, print_json, say, stored
from doe.model.errors import UsageError

if TYPE_CHECKING:
    from doe.measuring import Measurements
    from doe.measuring.results import OutcomeMeasured

_MODES = ("sweep", "again", "recipes", "kept")
_BELONGS = {
    "sweep": ("from_hz", "to_hz", "seconds", "rate", "replace"),
    "again": ("outcome", "dry_run", "json"),
    "recipes": ("json",),
    "kept": ("plot", "plot_what", "outcome", "replace"),
    "": ("outcome", "session", "rater", "when", "note", "dry_run", "json", "plot", "plot_what", "replace"),
}
"""Which options go with which way of use."""


def build_measure() -> Parser:
    """Return the parser of ``fettle measure``."""
    parser = Parser(
        "fettle measure",
        "Measure a variant from recordings or curves, one file for each take: put up anew, measured again. Every outcome\n"
        "with a recipe (from = ... in its definition) gets a reading per take, and the files are kept with the project.\n"
        "--sweep writes the sound to be played and recorded; start quiet, and never play it on the ears.",
        [
            "fettle measure --sweep sweep.wav",
            "fettle measure 12 take1.wav take2.wav --session Tuesday",
            "fettle measure 12 take1.wav --outcome bass --dry-run --plot bass.html",
            "fettle measure --again",
            "fettle measure --kept 12 14 --plot responses.html",
            "fettle measure --recipes band_level",
        ],
        run_measure,
    )
    add = parser.add_argument
    add("variant", nargs="?", metavar="VARIANT", help="what was measured")
    add("files", nargs="*", metavar="FILE", help="one file for each take; with --again further variants")
    add("--outcome", action="append", metavar="NAME", help="measure this one; may be repeated; all with a recipe")
    add("--session", metavar="NAME", help="the sitting; a new name makes a new session")
    add("--rater", metavar="NAME", help="who or what measured, such as the microphone")
    add("--when", type=a_time, metavar="TIME", help="when, as 2026-03-03 or 2026-03-03 19:30; now")
    add("--note", help="free text")
    add("--dry-run", action="store_true", help="compute and show, and store nothing")
    add("--again", action="store_true", help="recompute from the kept files what has another recipe by now")
    add("--recipes", nargs="?", const="", metavar="NAME", help="list the recipes, or the keys of one")
    _sweep_options(parser)
    _plot_options(parser)
    parser.json_option()
    return parser


def _sweep_options(parser: Parser) -> None:
    add = parser.add_argument
    add("--sweep", metavar="FILE", help="write the sweep to be played to a .wav file")
    add("--from-hz", type=a_number, metavar="HZ", help="where the sweep begins; 20")
    add("--to-hz", type=a_number, metavar="HZ", help="where the sweep ends; 20000")
    add("--seconds", type=a_number, help="how long it lasts; 10")
    add("--rate", type=a_count, metavar="HZ", help="its sample rate; 48000")
    add("--replace", action="store_true", help="let --sweep or --plot overwrite a file")


def _plot_options(parser: Parser) -> None:
    add = parser.add_argument
    add("--plot", metavar="FILE", help="draw the files to a .html, .png or .svg file")
    add("--plot-what", type=one_of(("response", "decay", "waterfall")), metavar="WHAT",
        help="response, decay or waterfall; response by default")  # fmt: skip
    add("--kept", nargs="+", metavar="VARIANT", help="with --plot: draw what was kept of these variants too")


def run_measure(options: Namespace) -> None:
    """Measure, or do one of the things around it."""
    mode = _mode(options)
    _check_options(options, mode)
    if mode == "again":
        _again(options)
    elif mode in ("sweep", "recipes", "kept"):
        from doe.cli import measure_aids

        {"sweep": measure_aids.sweep, "recipes": measure_aids.recipes, "kept": measure_aids.draw}[mode](options)
    else:
        _measure(options)


def _mode(options: Namespace) -> str:
    """Return which way of use is meant; files with kept takes beside them are measured.

    Raises
    ------
    UsageError
        If it is not clear.
    """
    given = [mode for mode in _MODES if _is_given(options, mode)]
    if "kept" in given and options.variant is not None and len(given) == 1:
        given = []
    if len(given) > 1:
        raise UsageError(f"--{given[1]} does not go with --{given[0]}; give one of them.")
    if given:
        return given[0]
    if options.variant is None:
        raise UsageError("fettle measure needs VARIANT and FILE, or one of --sweep, --again and --recipes.")
    if not options.files:
        raise UsageError(f"fettle measure {options.variant} needs FILE too: one for each take.")
    return ""


def _is_given(options: Namespace, name: str) -> bool:
    value = getattr(options, name)
    return value is not None and value is not False  # 0 is given, too


def _check_options(options: Namespace, mode: str) -> None:
    """Refuse what would be ignored.

    Raises
    ------
    UsageError
        Naming the first option that does not go with the others.
    """
    every = dict.fromkeys(name for names in _BELONGS.values() for name in names)
    for name in every:
        if name not in _BELONGS[mode] and _is_given(options, name):
            raise UsageError(f"--{name.replace('_', '-')} does not go with {_told(mode, options)}.")
    if mode in ("sweep", "recipes") and options.variant is not None:
        raise UsageError(f"fettle measure --{mode} does not know what to do with '{options.variant}'.")
    if options.plot is None:
        lonely = [name for name in ("plot_what", "kept") if getattr(options, name) is not None]
        lonely += ["replace"] if options.replace and mode != "sweep" else []
        if lonely:
            raise UsageError(f"--{lonely[0].replace('_', '-')} needs --plot FILE.")


def _told(mode: str, options: Namespace) -> str:
    return f"--{mode}" if mode else f"files of variant {options.variant}; it belongs to --sweep"


def _measure(options: Namespace) -> None:
    project = open_project(options.project)
    if options.plot:
        from doe.cli import measure_aids

        measure_aids.check_plot(options)
    done = project.measure(
        options.variant,
        options.files,
        options.outcome or (),
        session=options.session,
        rater=options.rater,
        when=options.when,
        note=options.note or "",
        dry_run=options.dry_run,
    )
    if options.json:
        print_json(_as_tables(done))
    elif done.entry is None:
        say(f"Not stored: {done.summary()}")
    else:
        stored(f"Stored: {done.summary()}", done.entry)
    tell(done.warnings, done.notes)
    if done.is_new_session:
        from doe.cli.read import warn_of_near_names

        warn_of_near_names(project, str(options.session))
    if options.plot:
        measure_aids.draw(options)


def _again(options: Namespace) -> None:
    project = open_project(options.project)
    variants = [options.variant, *options.files] if options.variant is not None else []
    done = project.measure_again(variants, options.outcome or (), dry_run=options.dry_run)
    if options.json:
        print_json({"entry": done.entry.id if done.entry else None, "changes": done.to_frame()})
    elif done.entry is not None:
        stored(done.summary(), done.entry)
    else:
        say(("Not stored:\n" if done.changes else "") + done.summary())
    tell(done.warnings, done.notes)


def tell(warnings: Sequence[str], notes: Sequence[str] = ()) -> None:
    """Print what is to be said beside the answer."""
    for text in warnings:
        note(f"Warning: {text}")
    for text in notes:
        note(f"Note: {text}")


def _as_tables(done: Measurements) -> dict[str, Any]:
    return {
        "entry": done.entry.id if done.entry else None,
        "variant": done.variant,
        "measured": [_as_table(item) for item in done.measured],
        "warnings": done.warnings,
        "notes": done.notes,
    }


def _as_table(item: OutcomeMeasured) -> dict[str, Any]:
    made = item.measured
    return {
        "outcome": item.outcome.name,
        "recipe": made.recipe,
        "version": made.version,
        "unit": made.unit or item.outcome.unit,
        "values": made.values,
        "files": made.files,
        "readings": item.readings,
        "mean": made.mean,
        "scatter": made.scatter,
        "average": made.average,
        "settings": made.settings,
        "warnings": made.warnings,
        "notes": made.notes,
    }
