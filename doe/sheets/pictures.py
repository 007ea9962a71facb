"""Charts as parts of a page: both drawings as JSON that may stand inside a script element."""

from __future__ import annotations

import json
from typing import Any

from plotly.offline import get_plotlyjs

from doe.charts import figure, theme
from doe.model.patience import checkpoint
from doe.sheets.contexts import Picture


def picture(identity: str, result: object, what: str, **options: Any) -> Picture:
    """Draw a chart wide and narrow.

    Parameters
    ----------
    identity : str
        id of the element.
    result : Effects or Advice
        What is drawn.
    what : str
        Name of the chart.
    **options
        Passed to it.
    """
    checkpoint()
    wide = figure(result, what, width="wide", **options)
    narrow = figure(result, what, width="narrow", **options)
    bare = theme.untitled(wide)
    meta = wide.layout.meta
    return Picture(
        identity, meta["title"], meta["alt"], _json(bare), _json(theme.untitled(narrow)), int(bare.layout.height)
    )


def embedded(value: object) -> str:
    """Write a value as JSON that cannot end the script element it stands in."""
    text = json.dumps(value, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace("\u2028", "\\u2028").replace("\u2029", "\\u2029")


def page_settings() -> str:
    """Return the palette and the chart options as JSON for the page's script."""
    return embedded(
        {"colours": {ground: dict(names) for ground, names in theme.COLOURS.items()}, "config": theme.config()}
    )


def chart_library() -> str:
    """Return the script that draws the charts, from the installed package: nothing is fetched from outside."""
    return str(get_plotlyjs())


def css_palette() -> str:
    """Return the palette as CSS: light, and dark where the reader prefers it."""
    dark = theme.css_variables("dark")
    fonts = f"--sans:{theme.SANS};--serif:{theme.SERIF};"
    return (
        f":root{{color-scheme:light dark;{theme.css_variables('light')}{fonts}}}\n"
        f"@media screen and (prefers-color-scheme:dark){{:root{{{dark}}}}}\n"
    )


def _json(fig: Any) -> str:
    return embedded(json.loads(fig.to_json()))
