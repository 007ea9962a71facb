import itertools

import numpy as np
import plotly.graph_objects as go
import pytest

from doe.charts import theme

TEXT = ("ink", "soft", "mark", "good", "wait", "data")
GROUNDS = ("paper", "sheet", "band")

# Machado, Oliveira & Fernandes 2009, IEEE TVCG 15(6), 1291-1298, doi:10.1109/TVCG.2009.113: matrices for severity 1.0 as
# published beside the paper; they act on linear RGB.
EYES = {
    "usual": np.eye(3),
    "protan": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "deutan": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "tritan": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
}


def linear(colour: str) -> np.ndarray:
    """IEC 61966-2-1: sRGB to linear light."""
    value = np.array([int(colour[place : place + 2], 16) for place in (1, 3, 5)]) / 255
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def contrast(first: str, second: str) -> float:
    """WCAG 2.2, definition of contrast ratio."""
    lights = sorted(float(linear(colour) @ [0.2126, 0.7152, 0.0722]) for colour in (first, second))
    return (lights[1] + 0.05) / (lights[0] + 0.05)


def lab(light: np.ndarray) -> np.ndarray:
    """CIE 1976 L*a*b* of linear sRGB under D65 (CIE 15:2004; matrix of IEC 61966-2-1)."""
    matrix = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    ratio = matrix @ light / (matrix @ np.ones(3))
    f = np.where(ratio > 216 / 24389, np.cbrt(ratio), (24389 / 27 * ratio + 16) / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def test_contrast_of_black_on_white_is_21():
    """WCAG 2.2: the largest possible ratio."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)


@pytest.mark.parametrize("ground", ["light", "dark"])
@pytest.mark.parametrize("name", TEXT)
def test_text_colours_can_be_read_on_every_ground(ground, name):
    """WCAG 2.2, 1.4.3 (AA): 4.5:1 for text."""
    named = theme.COLOURS[ground]
    assert min(contrast(named[name], named[under]) for under in GROUNDS) >= 4.5


@pytest.mark.parametrize("ground", ["light", "dark"])
def test_series_colours_can_be_seen_on_the_sheet(ground):
    """WCAG 2.2, 1.4.11 (AA): 3:1 for graphical objects."""
    named = theme.COLOURS[ground]
    assert min(contrast(named[name], named["sheet"]) for name in theme.SERIES) >= 3.0


@pytest.mark.parametrize("ground", ["light", "dark"])
@pytest.mark.parametrize("eye", list(EYES))
def test_series_colours_stay_apart_to_every_eye(ground, eye):
    """Each pair at least 25 L*a*b* units apart, also to colour-blind eyes."""
    seen = [lab(np.clip(np.asarray(EYES[eye]) @ linear(theme.COLOURS[ground][name]), 0, 1)) for name in theme.SERIES]
    assert min(float(np.linalg.norm(a - b)) for a, b in itertools.combinations(seen, 2)) >= 25


@pytest.mark.parametrize("ground", ["light", "dark"])
def test_no_two_colours_of_a_ground_are_alike(ground):
    """Else a colour could not be exchanged by name for the other ground."""
    assert len(set(theme.COLOURS[ground].values())) == len(theme.COLOURS[ground])


def test_both_grounds_have_the_same_names():
    assert list(theme.COLOURS["light"]) == list(theme.COLOURS["dark"])


def test_template_uses_the_colours_of_its_ground():
    assert theme.template().layout.font.color == theme.COLOURS["light"]["ink"]
    assert theme.template(dark=True).layout.paper_bgcolor == theme.COLOURS["dark"]["sheet"]


def test_recolour_exchanges_palette_colours_and_nothing_else():
    """Traces, template and styled text change; a colour that is not of the palette and the data stay."""
    fig = go.Figure(layout={"template": theme.template(), "title": {"text": '<span style="color:#535e68">a</span>'}})
    fig.add_scatter(x=[1.5], y=[2.5], marker={"color": theme.colour("data")}, line={"color": "#123456"})
    dark = theme.recolour(fig)
    assert dark.data[0].marker.color == theme.COLOURS["dark"]["data"]
    assert dark.data[0].line.color == "#123456"
    assert dark.layout.title.text == f'<span style="color:{theme.COLOURS["dark"]["soft"]}">a</span>'
    assert dark.layout.template.layout.font.color == theme.COLOURS["dark"]["ink"]
    assert (dark.data[0].x[0], dark.data[0].y[0]) == (1.5, 2.5)
    assert theme.recolour(dark, dark=False) == fig


def test_config_fetches_nothing_and_shows_no_logo():
    assert theme.config()["displaylogo"] is False
    assert not [value for value in theme.config().values() if "http" in str(value)]


def test_css_variables_hold_the_whole_palette():
    css = theme.css_variables("dark")
    assert all(f"--{name}:{value};" in css for name, value in theme.COLOURS["dark"].items())
