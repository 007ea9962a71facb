"""``fettle serve``: the bench in a browser."""

from __future__ import annotations

import argparse
import importlib
import sys
from argparse import Namespace
from pathlib import Path
from typing import Any

from doe.cli.chosen import project_path
from doe.cli.parser import Parser
from doe.cli.screen import is_colourful, say
from doe.model.errors import StoreError, UsageError

PORT = 8737


def build_serve() -> Parser:
    """Return the parser of ``fettle serve``."""
    parser = Parser(
        "fettle serve",
        "Open the bench in a browser: log, listen blind, see what moves it, pick the next change. Without a project in\n"
        "the folder the first page starts one. It answers on this machine only, unless --lan is given.",
        ["fettle serve", "fettle serve --lan", "fettle serve --port 8080 --project radio.duckdb"],
        run_serve,
    )
    parser.add_argument(
        "--port", type=_port, default=PORT, metavar="NUMBER", help=f"where to listen; {PORT} by default"
    )
    parser.add_argument(
        "--lan", action="store_true", help="let devices in the same network in; prints an access key and a QR code"
    )
    return parser


def run_serve(options: Namespace) -> None:
    """Serve the bench until it is stopped."""
    path = _project(options)
    # By name, since the two faces know nothing of each other: this command only starts the other one's process.
    server: Any = importlib.import_module("doe.web.serve")
    server.serve(path, port=options.port, is_lan=options.lan, say=_say_at_once, is_colourful=is_colourful())


def _say_at_once(text: str) -> None:
    say(text)
    sys.stdout.flush()


def _project(options: Namespace) -> Path | None:
    """Return the project that is meant; None where none was named and the folder holds none, or several."""
    if options.project:
        return project_path(options.project)
    try:
        return project_path(None)
    except (StoreError, UsageError):
        return None


def _port(text: str) -> int:
    if not text.isdecimal() or not 0 <= int(text[:6]) <= 65535:
        raise argparse.ArgumentTypeError(f"is '{text}'; it must be a whole number from 0 to 65535.")
    return int(text)
