"""Floor 6: reports and build sheets as single HTML files."""

from doe.sheets.build_sheet import build_sheet
from doe.sheets.printing import print_pdf
from doe.sheets.report import report

__all__ = ["build_sheet", "print_pdf", "report"]
