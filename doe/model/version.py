"""Which version this is."""

from __future__ import annotations


def version() -> str:
    """Return the installed version; a source tree that is not installed has none."""
    from importlib import metadata  # takes a moment that few commands need

    try:
        return metadata.version("fettle-doe")
    except metadata.PackageNotFoundError:
        return "unreleased"
