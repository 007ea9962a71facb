"""Charts of names and levels as long as people make them, drawn by Chromium: no letter leaves its chart or covers another."""

from __future__ import annotations

from functools import cache

import numpy as np
import pandas as pd
import pytest

from doe.advise import recommend
from doe.charts import canvas, figure, write_figure
from doe.fit import analyse
from doe.model.effort import Effort
from doe.model.factor import Factor
from doe.model.outcome import Outcome
from doe.plans import plan

pytestmark = [pytest.mark.browser, pytest.mark.slow]
pytest.importorskip("playwright.sync_api")

DEPTH = "tiefe_des_resonanzkörpers_hinter_der_lautsprechermembran_mm"
LAYER = "épaisseur_de_la_couche_amortissante_côté_intérieur_du_caisso"
HOLES = "número_de_agujeros_traseros_taladrados_en_la_caja_de_abedul"
LINER = "liner"
LEVELS = [
    "Birkensperrholz, zweimal geölt und zwischengeschliffen, Körnung 320",
    "Buche massiv, gedämpft, ungeschliffen, Jahrgang 2019",
    "papier de verre très fin, collé à l'intérieur",
    "Filz grau 5 mm",
    "Überzug aus Wollfilz mit Naturkautschukrücken, 8 mm, anthrazit",
    "cork",
    "none",
    "Ñandú feather mat",
]
FACTORS = (
    Factor(DEPTH, low=20, high=90, step=5, unit="mm", minutes=20),
    Factor(LAYER, low=0, high=60, step=5, unit="% der Fläche", minutes=8),
    Factor(HOLES, kind="count", low=0, high=6, way="up", minutes=12),
    Factor(LINER, kind="categorical", levels=LEVELS, minutes=25),
)
CLEAR = Outcome(
    "sprachverständlichkeit_im_hinteren_teil_des_großen_saales", unit="Prozentpunkte über alles", goal="hit", target=0, worst=6,
    matters=1.0,
)  # fmt: skip
RATTLE = Outcome(
    "größe_der_störung_durch_das_mitschwingen_der_rückwand_links", kind="rated", scale=(1, 7), goal="lower", best=1, worst=6,
    matters=0.5,
)  # fmt: skip
CHARTS = ["effects", "levels", "interaction", "timeline", "candidates", "front", "worth", "precision", "correlations",
          "prediction"]  # fmt: skip

BESIDE_ITSELF = """() => {
    const whole = document.getElementById("chart").getBoundingClientRect(), found = [];
    const texts = [...document.querySelectorAll("#chart svg text")].filter(text => text.textContent.trim());
    const boxes = texts.map(text => text.getBoundingClientRect());
    const slanted = text => +(/rotate\\(([-\\d.]+)/.exec(text.getAttribute("transform"))?.[1] ?? 0) % 90 !== 0;
    const short = text => text.textContent.slice(0, 30);
    boxes.forEach((box, i) => {
        const out = Math.max(whole.left - box.left, box.right - whole.right, whole.top - box.top, box.bottom - whole.bottom);
        if (out > 1) found.push(`out: ${short(texts[i])}`);
        boxes.slice(0, i).forEach((other, j) => {
            if (slanted(texts[i]) || slanted(texts[j])) return;
            const across = Math.min(box.right, other.right) - Math.max(box.left, other.left);
            const down = Math.min(box.bottom, other.bottom) - Math.max(box.top, other.top);
            if (across > 2 && down > 4) found.push(`covers: ${short(texts[i])} / ${short(texts[j])}`);
        });
    });
    return found;
}"""
"""A line of text is a few pixels taller than its letters, so lines that touch do not cover each other; boxes around slanted
lines say nothing of their letters."""


@cache
def results():
    """A log of 24 variants whose truth stands in `_log`, what was made of it, and a plan."""
    log = _log()
    effects = analyse(log, FACTORS, CLEAR)
    effort = Effort(new_unit_minutes=100, session_minutes=10, reading_minutes=5)
    return effects, recommend(log, FACTORS, [CLEAR, RATTLE], effort=effort, count=2), plan(FACTORS, runs=14)


def _log() -> pd.DataFrame:
    rng, rows = np.random.default_rng(3), []
    for place in range(24):
        settings = {DEPTH: 20 + 5 * int(rng.integers(0, 15)), LAYER: 5 * int(rng.integers(0, 13)),
                    HOLES: int(rng.integers(0, 7)), LINER: LEVELS[rng.integers(0, 8)]}  # fmt: skip
        depth, layer = (settings[DEPTH] - 55) / 35, (settings[LAYER] - 30) / 30
        name = f"Prototyp Nummer {place + 1}, überarbeitet am Dienstag abend" if place % 3 == 0 else str(place + 1)
        for rater in ("Annemarie von Hohenstein-Wittelsbach", "Bo"):
            value = {CLEAR.name: 2 + 2.2 * depth + 1.5 * depth * layer + rng.normal(0, 0.3),
                     RATTLE.name: float(np.clip(4 - 1.5 * layer + rng.normal(0, 0.4), 1, 7))}  # fmt: skip
            rows += [{"variant": name, "session": f"s{place // 6}", "rater": rater, "order": place, **settings,
                      "outcome": outcome, "value": value[outcome]} for outcome in value]  # fmt: skip
    return pd.DataFrame(rows)


@pytest.mark.parametrize("width", canvas.PIXELS)
@pytest.mark.parametrize("what", CHARTS)
def test_no_letter_leaves_its_chart_or_covers_another(browser, tmp_path, what, width):
    effects, advice, made = results()
    result = effects if what in CHARTS[:4] else advice if what in CHARTS[4:7] else made
    path = write_figure(figure(result, what, width=width), tmp_path / "chart.html")
    page = browser.new_page(viewport={"width": canvas.PIXELS[width], "height": 900})
    page.goto(path.as_uri())
    page.wait_for_selector("#chart svg text")
    page.wait_for_timeout(300)
    assert page.evaluate(BESIDE_ITSELF) == []
    page.close()
