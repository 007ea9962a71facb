"""Charts as files: a page that opens offline, or a picture."""

from __future__ import annotations

import secrets
from collections.abc import Callable, Mapping
from contextlib import suppress
from html import escape
from pathlib import Path
from typing import Any

import plotly.graph_objects as go

from doe.charts import theme
from doe.charts.rows import Row
from doe.model.errors import FettleError, StoreError, UsageError, listed

_SECONDS = 60
_SCALE = 2
_NOWHERE = "http://127.0.0.1:9"


def write_figure(fig: go.Figure, path: str | Path, *, replace: bool = False) -> Path:
    """Write a chart to a file, whole or not at all.

    Parameters
    ----------
    fig : Figure
        Any chart of this package.
    path : str or Path
        Ends in ``.html`` (one page that opens offline), ``.png`` or ``.svg``.
    replace : bool
        Whether a file of that name may be overwritten.

    Returns
    -------
    Path
        The file written.

    Raises
    ------
    UsageError
        If the ending is another.
    FettleError
        If a picture is wanted and kaleido or a Chromium is not installed, or drawing it failed.
    StoreError
        If the file exists and may not be replaced, or its folder cannot be written.
    """
    path = Path(path)
    check_target(path, replace=replace)
    write_whole(path, _WRITERS[path.suffix.casefold()](fig), replace=replace)
    return path


def check_target(path: Path, *, replace: bool) -> None:
    """Refuse early, before anything is drawn or stored, a chart's file that could not be written.

    Raises
    ------
    UsageError
        If the ending is none of those that can be written.
    StoreError
        As for `check_free`.
    """
    if path.suffix.casefold() not in _WRITERS:
        raise UsageError(f"'{path.name}' must end in {listed(_WRITERS)}.")
    check_free(path, replace=replace)


def check_free(path: Path, *, replace: bool) -> None:
    """Refuse early, before anything is drawn, what could not be written.

    Raises
    ------
    StoreError
        If the file exists and may not be replaced, or is a folder.
    """
    if path.is_dir():
        raise StoreError(f"'{path}' is a folder; name a file in it.")
    if path.exists() and not replace:
        told = f"'{path}' exists already; give another name, or say that it may be replaced."
        raise StoreError(told, command="--replace says so")


def write_whole(path: Path, content: bytes, *, replace: bool) -> None:
    """Write a file so that a reader finds the old one or the new one, never a part; makes its folder.

    Raises
    ------
    StoreError
        If the folder cannot be written, or the file has appeared meanwhile and may not be replaced.
    """
    part = path.with_name(f".{path.name}.{secrets.token_hex(4)}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with part.open("xb") as file:  # a file of `tempfile` would be the user's alone, whatever the mask says
            file.write(content)
        check_free(path, replace=replace)
        part.replace(path)
    except StoreError:
        raise
    except OSError as err:
        raise StoreError(f"'{path}' cannot be written: {err.strerror or err}.") from err
    finally:
        with suppress(OSError):  # it is not there where all went well, or nothing did
            part.unlink()


def _page(fig: go.Figure) -> bytes:
    meta = fig.layout.meta or {}
    title, alt = escape(str(meta.get("title", "Chart"))), escape(str(meta.get("alt", "")))
    body = fig.to_html(
        full_html=False, include_plotlyjs=True, include_mathjax=False, div_id="chart", config=theme.config()
    )
    ground = fig.layout.paper_bgcolor or fig.layout.template.layout.paper_bgcolor
    widest = f"max-width:{meta.get('pixels', 860) * 1.3:.0f}px"
    style = f"body{{margin:0;background:{ground};font-variant-numeric:tabular-nums}}main{{{widest};margin:0 auto}}"
    return (
        f'<!doctype html>\n<html lang="en"><head><meta charset="utf-8"><title>{title}</title>'
        f'<meta name="viewport" content="width=device-width,initial-scale=1"><style>{style}</style></head>'
        f'<body><main role="img" aria-label="{alt}">{body}</main></body></html>\n'
    ).encode()


def _picture(kind: str) -> Callable[[go.Figure], bytes]:
    return lambda fig: _drawn(fig, {"format": kind, **_size(fig), "scale": _SCALE if kind == "png" else 1})


def _size(fig: go.Figure) -> dict[str, Any]:
    meta = fig.layout.meta or {}
    return {"width": int(meta.get("pixels", 860)), "height": int(fig.layout.height or 420)}


def _drawn(fig: go.Figure, options: Row) -> bytes:
    """Draw with kaleido and the Chromium at hand; MathJax is off and the proxy leads nowhere, so nothing is fetched."""
    wanted = "A picture needs kaleido and a Chromium"
    try:
        import kaleido  # type: ignore[import-untyped, unused-ignore] # optional, and slow to import
    except ImportError:
        raise FettleError(f'{wanted}; kaleido is missing: pip install "fettle-doe[export]".') from None
    from kaleido.errors import ChromeNotFoundError  # type: ignore[import-untyped, unused-ignore]

    setting = {"mathjax": False, "timeout": _SECONDS, "proxy_server": _NOWHERE, "enable_extensions": False}
    try:
        drawn: bytes = kaleido.calc_fig_sync(fig, dict(options), kopts=setting)
    except ChromeNotFoundError:
        raise FettleError(
            f"{wanted}; no Chromium was found: install one (or Chrome), or name it in BROWSER_PATH."
        ) from None
    except Exception as err:  # whatever the browser dies of, the user gets one sentence
        raise FettleError(f"The picture could not be drawn by the Chromium at hand: {_first_line(err)}.") from err
    return _described(drawn, fig) if options["format"] == "svg" else drawn


def _first_line(err: Exception) -> str:
    return (str(err).strip().splitlines() or [type(err).__name__])[0].rstrip(".")


def _described(svg: bytes, fig: go.Figure) -> bytes:
    """Put the text alternative into the picture, where screen readers look for it."""
    meta = fig.layout.meta or {}
    said = f"<title>{escape(str(meta.get('title', '')))}</title><desc>{escape(str(meta.get('alt', '')))}</desc>"
    start, mark, rest = svg.partition(b">")
    return start + b' role="img"' + mark + said.encode() + rest


_WRITERS: Mapping[str, Callable[[go.Figure], bytes]] = {
    ".html": _page,
    ".png": _picture("png"),
    ".svg": _picture("svg"),
}
