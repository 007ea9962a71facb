"""Floor 6: reports and build sheets as single HTML files."""

from doe.sheets.report import report

__all__ = ["report"]
