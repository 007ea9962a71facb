"""Run the app: on this machine only, or for the phones in the same network."""

from __future__ import annotations

import secrets
import socket
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import FrameType
from typing import Any

import segno
import uvicorn

from doe.model.errors import StoreError
from doe.web.app import create_app
from doe.web.settings import LOOPBACK, Settings

_ALPHABET = "abcdefghjkmnpqrstuvwxyz23456789"
_KEY_PARTS = 3
_BLACK_ON_WHITE, _AS_BEFORE = "\033[38;5;16;48;5;231m", "\033[0m"
"""By their places in the table of 256 colours, which no theme of a terminal moves, as it does the first sixteen."""

_SHARES_PORTS = sys.platform == "win32"
"""Whether an address that may be used again may also be taken from a program that listens there."""


def serve(
    project: Path | None,
    *,
    port: int,
    is_lan: bool,
    say: Callable[[str], None],
    is_colourful: bool = False,
    folder: Path | None = None,
) -> None:
    """Serve a project until the process is stopped.

    Parameters
    ----------
    project : Path or None
        The project file; without one the first page starts one.
    port : int
        Where to listen.
    is_lan : bool
        Whether others in the network may come, with a key.
    say : callable
        Prints a line.
    is_colourful : bool
        Whether colours reach who reads these lines, so that the QR code may set its own.
    folder : Path, optional
        Where new projects are made; that of the project by default.

    Raises
    ------
    StoreError
        If the project cannot be opened, or the port is taken.
    """
    settings = Settings(folder=folder or (project.parent if project is not None else Path()))
    listening = _listening("0.0.0.0" if is_lan else "127.0.0.1", port)
    port = listening.getsockname()[1]
    if is_lan:
        host = lan_address()
        settings = replace(
            settings,
            key=new_key(),
            hosts=(*LOOPBACK, host, socket.gethostname().casefold()),
            address=f"http://{host}:{port}",
        )
    app = create_app(project, settings)
    for line in greeting(settings, port, is_colourful=is_colourful):
        say(line)
    server = _Server(
        uvicorn.Config(
            app,
            log_level="warning",
            server_header=False,
            proxy_headers=False,  # an address that a caller may choose must not pass for another
            timeout_graceful_shutdown=2,
        )
    )
    server.run(sockets=[listening])


class _Server(uvicorn.Server):
    """Tells the streams of open pages when it is to stop; they would be cut off, each with a traceback, two seconds later."""

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        app: Any = self.config.app
        app.state.is_closing = True
        super().handle_exit(sig, frame)


def _listening(host: str, port: int) -> socket.socket:
    made = socket.socket()
    if not _SHARES_PORTS:  # a server that has just stopped holds its port for a while
        made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        made.bind((host, port))
        made.listen(128)  # who comes before the server is up waits instead of being turned away
    except OSError as err:
        made.close()
        raise StoreError(
            f"Port {port} cannot be used ({(err.strerror or str(err)).lower()}); choose another with --port NUMBER."
        ) from err
    return made


def new_key() -> str:
    """Return an access key that can be typed on a phone: three words of four letters and digits, 59 bits."""
    return "-".join("".join(secrets.choice(_ALPHABET) for _ in range(4)) for _ in range(_KEY_PARTS))


def lan_address() -> str:
    """Return the address under which others in the network reach this machine; nothing is sent to find out."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # RFC 5737: an address that nobody has
            return str(probe.getsockname()[0])
        except OSError:
            return "127.0.0.1"


def greeting(settings: Settings, port: int, *, is_colourful: bool = False) -> list[str]:
    """Return what is printed at the start: where to go, and with which key."""
    if not settings.key:
        return [f"Open http://127.0.0.1:{port} in a browser; Ctrl-C stops."]
    link = f"{settings.address}/enter?key={settings.key}"
    return [
        f"Open {settings.address} on a device in the same network.",
        f"Access key: {settings.key}",
        "Or scan this, which holds the key:",
        terminal_code(link, is_colourful=is_colourful),
        "The connection is not encrypted: use it in a network that you trust. Ctrl-C stops.",
    ]


def terminal_code(text: str, *, is_colourful: bool = False) -> str:
    """Return a QR code as text, two rows of it in each line, with the four modules of margin that ISO/IEC 18004 asks for.

    With colours it is black on white on every terminal. Without, its light modules are drawn, as if on a dark terminal.
    """
    light, dark, dark_below, dark_above = " █▄▀" if is_colourful else "█ ▀▄"
    rows = [[bool(module) for module in row] for row in segno.make(text, error="l").matrix_iter(border=4)]
    rows.append([False] * len(rows[0]))  # every such code has an odd number of them
    blocks = {(False, False): light, (True, True): dark, (False, True): dark_below, (True, False): dark_above}
    lines = [
        "".join(map(blocks.__getitem__, zip(*pair, strict=True))) for pair in zip(rows[::2], rows[1::2], strict=True)
    ]
    return "\n".join(f"{_BLACK_ON_WHITE}{line}{_AS_BEFORE}" if is_colourful else line for line in lines)
