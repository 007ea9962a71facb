"""Floor 6: plotly figures of result objects; nothing is computed here."""

from doe.charts.export import write_figure
from doe.charts.figure import figure
from doe.charts.theme import COLOURS, config, template

__all__ = ["COLOURS", "config", "figure", "template", "write_figure"]
