"""Sound turned into numbers, against the standards' tables, closed forms and textbook formulas."""

from __future__ import annotations

import math
import tempfile
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from doe.signals import bands, boxes, physics, safety
from doe.signals.decay import measure_decay
from doe.signals.distortion import measure_distortion
from doe.signals.files import open_recording
from doe.signals.impulse import frequency_response, impulse_from_sweep
from doe.signals.response import Response
from doe.signals.sweep import Sweep
from doe.signals.weighting import POLES_HZ, weighting_db, weighting_filter
from tests.published.cases import case, row
from tests.signals import sounds

Array = NDArray[np.float64]

TIMES = (0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 3.0)
FLOORS = (-40.0, -50.0, -60.0, -70.0)
FARINA = "Farina (2000), 108th AES Convention, preprint 5093"


def worst(
    check: str, source: str, published: Any, ours: Any, tolerance: float, origin: str = "published"
) -> dict[str, Any]:
    """One row for many figures: the pair that lies furthest apart."""
    a, b = np.asarray(published, dtype=float), np.asarray(ours, dtype=float)
    place = int(np.argmax(np.abs(a - b)))
    found = row(check, source, float(a[place]), float(b[place]), tolerance, origin)
    return found | {"check": f"{check} (worst of {len(a)})"}


def band_rows() -> list[dict[str, Any]]:
    """Exact mid frequencies, edges and names of octave and third-octave bands."""
    published = case("octave_band_frequencies")
    found = [row("octave ratio G", published.citation, published.value("octave ratio G"), bands.OCTAVE_RATIO, 5e-7)]
    for tolerance in (0.0051, 0.051):
        known = [
            item for item in published.known if item.what.startswith("third-octave") and item.tolerance == tolerance
        ]
        ours = [_mid_of(float(item.what.split()[-2])) for item in known]
        name = f"third-octave mid frequencies as printed, to {tolerance:g} Hz"
        found.append(worst(name, published.citation, [item.value for item in known], ours, tolerance))
    for kind, fraction in (("octave", 1), ("third", 3)):
        rows = published.data[published.data["band"] == kind]
        run = bands.bands_between(0.99 * rows["exact"].min(), 1.01 * rows["exact"].max(), fraction)
        for column, ours in (("exact", run.mid), ("lower", run.low), ("upper", run.high), ("nominal", run.nominal)):
            tolerance = 0.0 if column == "nominal" else 5.1e-7
            found.append(worst(f"{kind} bands: {column}", published.citation, rows[column], ours, tolerance, "derived"))
    return found


def _mid_of(nominal: float) -> float:
    run = bands.bands_between(10, 20_000, 3)
    return float(run.mid[run.nominal.index(nominal)])


def weighting_rows() -> list[dict[str, Any]]:
    """A and C weighting by the analogue formula and by the digital filter, against the table's one decimal."""
    published = case("a_weighting_table")
    exact = published.data["exact"].to_numpy()
    found = []
    for name in ("A", "C"):
        table = published.data[name].to_numpy()
        formula = weighting_db(exact, name)  # type: ignore[arg-type]
        # The table is rounded to 0.1 dB, so that an exact formula lies within 0.05 dB.
        found.append(
            worst(f"{name} weighting by formula, 10 Hz to 20 kHz (dB)", published.citation, table, formula, 0.05)
        )
        heard = exact <= 8000
        digital = _digital_db(name, 48_000, exact[heard])
        found.append(worst(f"{name} weighting by digital filter at 48 kHz, 10 Hz to 8 kHz (dB)", published.citation,
                           table[heard], digital, 0.1))  # fmt: skip
    found.append(row("A weighting: pole frequencies (Hz)", published.citation, published.value("pole frequencies (Hz)"),
                     list(POLES_HZ), 0.3, "from memory"))  # fmt: skip
    octaves = weighting_db(bands.bands_between(31, 8100, 1).mid, "A").round(1)
    levels = np.array([60, 62, 65, 63, 61, 58, 54, 49, 44])
    total = 10 * math.log10(float(np.sum(10 ** ((levels + octaves) / 10))))
    what = "worked total: octave levels 60,62,65,63,61,58,54,49,44 dB at 31.5..8000 Hz give LA (table weights)"
    found.append(row("A-weighted total of nine octave levels (dB)", published.citation, published.value(what), total, 1e-6,
                     "derived"))  # fmt: skip
    return found


def _digital_db(name: str, rate: int, frequency: Array) -> Array:
    _, response = signal.sosfreqz(weighting_filter(rate, name), worN=frequency, fs=rate)  # type: ignore[arg-type]
    return np.asarray(20 * np.log10(np.abs(response)))


def exact_decay_rows() -> list[dict[str, Any]]:
    """Ideal decays without noise, against the closed forms."""
    published = case("room_acoustics_exponential_decay")
    found = []
    for t60 in published.data["T60"]:
        ours = measure_decay(sounds.impulse(sounds.decay(float(t60), carrier="one", length=2.0 * t60)))
        times, ratios = f"T60={t60}: EDT, T20, T30", f"T60={t60}: C50, C80 (dB), D50, Ts (s)"
        found.append(row(f"decay without noise, {times} (s)", published.citation, published.value(times),
                         [ours.edt_s, ours.t20_s, ours.t30_s], published.find(times).tolerance or 0.0, "derived"))  # fmt: skip
        found.append(row(f"decay without noise, {ratios}", published.citation, published.value(ratios),
                         [ours.c50_db, ours.c80_db, ours.d50, ours.centre_s],
                         published.find(ratios).tolerance or 0.0, "derived"))  # fmt: skip
    what = (
        "double slope exp(-k1 t)+0.01 exp(-k2 t), T1=0.4 s, T2=1.6 s: EDT, T20, T30 by least squares on the exact curve "
        "(10 us grid)"
    )
    double = sounds.impulse(sounds.decay(0.4, carrier="one", second=(0.01, 1.6), length=3.0, rate=96_000), 96_000)
    ours = measure_decay(double)
    found.append(row("two-slope decay without noise: EDT, T20, T30 (s)", published.citation, published.value(what),
                     [ours.edt_s, ours.t20_s, ours.t30_s], 0.001, "computed with numpy"))  # fmt: skip
    found.append(row("two-slope decay without noise: C50, C80 (dB), D50", published.citation,
                     published.value("same decay: C50, C80 (dB), D50 (closed form)"),
                     [ours.c50_db, ours.c80_db, ours.d50], 0.002, "derived"))  # fmt: skip
    assert ours.slopes is not None
    found.append(row("two-slope decay told apart: fast and slow time (s)", published.citation, [0.4, 1.6],
                     [ours.slopes.early_s, ours.slopes.late_s], 0.016, "derived"))  # fmt: skip
    return found


@cache
def noisy_decays() -> tuple[dict[str, Any], ...]:
    """Every decay time with every noise floor, in two carriers: what was measured, and its closed form."""
    found = []
    for t60 in TIMES:
        for floor in FLOORS:
            for seed, carrier in enumerate(("sign", "one")):
                h = sounds.decay(t60, floor, seed=seed, carrier=carrier)
                found.append({"t60": t60, "floor": floor, "ours": measure_decay(sounds.impulse(h)),
                              "truth": sounds.closed_form(t60)})  # fmt: skip
    return tuple(found)


def noisy_decay_rows() -> list[dict[str, Any]]:
    """Decays of 0.05 to 3 s with noise floors of -40 to -70 dB: 2 %, 0.1 dB, 0.01 of the closed form."""
    source = case("room_acoustics_exponential_decay").citation
    found = []
    for name in ("EDT", "T20", "T30"):
        ours = [100 * getattr(item["ours"], f"{name.lower()}_s") / item["t60"] for item in noisy_decays()]
        found.append(worst(f"{name} of noisy decays, 0.05 to 3 s, floors -40 to -70 dB (%)", source, [100.0] * len(ours),
                           ours, 2.0, "derived"))  # fmt: skip
    d50 = [item["ours"].d50 for item in noisy_decays()]
    found.append(worst("D50 of noisy decays", source, [item["truth"]["D50"] for item in noisy_decays()], d50, 0.01,
                       "derived"))  # fmt: skip
    # At 0.05 s the energy after 50 ms lies 60 dB down: with a floor above -50 dB noise alone moves it by more than 0.1 dB.
    held = [item for item in noisy_decays() if item["t60"] > 0.05 or item["floor"] < -50]
    found.append(worst("C50 of noisy decays, 0.1 to 3 s, and 0.05 s with floors below -50 dB (dB)", source,
                       [item["truth"]["C50"] for item in held], [item["ours"].c50_db for item in held], 0.1,
                       "derived"))  # fmt: skip
    return found


@cache
def swept() -> dict[str, float]:
    """Worst errors of the sweep method: a known filter, and a cubic nonlinearity's third harmonic."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "sweep.wav"
        known = sounds.Filter()
        sounds.write_recording(path, through=known.apply, noise_db=-60.0)
        found = _response(path).within(20, 18_000)
        raw = float(np.max(np.abs(found.level - 20 * math.log10(0.25) - known.level(found.frequency))))
        sounds.write_recording(path, through=known.apply, noise_db=-40.0)
        noisy = _response(path).within(20, 18_000)
        truth = Response("truth", noisy.frequency, known.level(noisy.frequency) + 20 * math.log10(0.25)).smoothed(24)
        smoothed = float(np.max(np.abs(noisy.smoothed(24).level - truth.level)))
        return {"raw": raw, "smoothed": smoothed, "cubic": _cubic(path)}


def _response(path: Path) -> Response:
    return frequency_response(impulse_from_sweep(open_recording(path), 1, Sweep()))


def _cubic(path: Path) -> float:
    """Worst error in dB of the third harmonic of ``x + 0.1 x^3``, whose level is 0.025 A^2 / (1 + 0.075 A^2)."""
    amplitude, a = 0.5, 0.1

    def bend(x: Array) -> Array:
        fine = signal.resample_poly(x, 4, 1)  # four times the rate, so that no harmonic folds back
        return np.asarray(signal.resample_poly(fine + a * fine**3, 1, 4))

    sounds.write_recording(path, through=bend, noise_db=-70.0, amplitude=amplitude, subtype="FLOAT")
    found = measure_distortion(impulse_from_sweep(open_recording(path), 1, Sweep()))
    theory = 20 * math.log10(a * amplitude**2 / 4 / (1 + 0.75 * a * amplitude**2))
    inside = 3 * found.frequency <= 18_000
    return float(np.max(np.abs(found.of_order(3)[inside] - theory)))


def sweep_rows() -> list[dict[str, Any]]:
    """A known filter recovered over 20 Hz to 18 kHz; the third harmonic of a cubic nonlinearity."""
    errors = swept()
    return [
        row("sweep: known filter, noise 60 dB below the sweep, unsmoothed: worst error (dB)", FARINA, 0.0, errors["raw"],
            0.1, "closed form of the filter"),
        row("sweep: known filter, noise 40 dB below the sweep, 1/24 octave: worst error (dB)", FARINA, 0.0,
            errors["smoothed"], 0.1, "closed form of the filter"),
        row("sweep: third harmonic of a cubic nonlinearity: worst error (dB)", FARINA, 0.0, errors["cubic"], 0.5,
            "closed form: sin^3"),
    ]  # fmt: skip


def physics_rows() -> list[dict[str, Any]]:
    """Helmholtz resonances, closed boxes and the flattest vented box."""
    found = []
    published = case("helmholtz_resonator")
    data = published.data
    ours = [physics.helmholtz_frequency(r.V, math.pi * r.a**2, r.L_eff, r.c) for r in data.itertuples()]
    found.append(worst("Helmholtz resonances (Hz)", published.citation, data["f"], ours, 1e-9, "derived"))
    both = data[data["end"].str.startswith(("none", "flanged", "both"))]
    ends = {"none": ("none", "none"), "flan": ("flanged", "free"), "both": ("flanged", "flanged")}
    ours = [_helmholtz(r, *ends[r.end[:4]]) for r in both.itertuples()]
    found.append(worst("Helmholtz resonances with end corrections (Hz)", published.citation, both["f"], ours, 5e-5,
                       "derived"))  # fmt: skip
    boxes_case = case("closed_box_alignment")
    for place, r in enumerate(boxes_case.data.itertuples()):
        box = boxes.closed_box(r.fs, r.Qts, r.Vas, r.Vb)
        found.append(row(f"closed box {place + 1}: Qtc, fc, f3 (Hz), peak (dB)", boxes_case.citation,
                         [r.Qtc, r.fc, r.f3, r.peak_dB], [box.value, *(more.value for more in box.more)], 1e-9,
                         "derived"))  # fmt: skip
    one = boxes.closed_box(50, 0.5, 30, 10)
    found.append(row("closed box with Qtc = 1: peak (dB), f3/fc", boxes_case.citation,
                     boxes_case.value("Qtc = 1: peak (dB), f3/fc"), [one.more[2].value, one.more[1].value / one.more[0].value],
                     6e-5, "derived"))  # fmt: skip
    flat = boxes.vented_box(40, 1 / math.sqrt(4 + 2 * math.sqrt(2)), 10 * math.sqrt(2), 10, 40, box_q=1e12)
    found.append(row("vented box, Butterworth alignment: f3 (Hz), peak (dB)", "Small (1973), Table 1: B4 has h = 1, "
                     "alpha = sqrt(2), QT = 0.383, f3 = fs", [40.0, 0.0], [flat.value, flat.more[0].value], 0.005,
                     "from memory"))  # fmt: skip
    mode = physics.cavity_modes(1, diameter_mm=100, count=1).value
    found.append(row("round cavity, first cross mode: 2 pi f a / c", "Abramowitz & Stegun (1964), Table 9.5: j'(1,1)",
                     1.84118, 2 * math.pi * mode * 0.05 / physics.speed_of_sound(), 5e-6, "from memory"))  # fmt: skip
    return found


def _helmholtz(r: Any, inner: str, outer: str) -> float:
    """Our estimate at the case's own speed of sound: the resonance is proportional to it."""
    found = physics.helmholtz(1e6 * r.V, 1e3 * r.a, 1e3 * r.L, inner_end=inner, outer_end=outer)  # type: ignore[arg-type]
    return found.value * float(r.c) / physics.speed_of_sound()


def safety_rows() -> list[dict[str, Any]]:
    """Weekly and daily exposure times."""
    published = case("safe_listening_limits")
    weekly = published.data[published.data["unit"] == "h/week"]
    daily = published.data[published.data["unit"] == "h/day"]
    dose = "NIOSH dose (per cent) of 4 h at 88 dBA + 2 h at 91 dBA"
    return [
        worst("H.870 hours a week by level", published.citation, weekly["time"],
              [safety.weekly_hours(level) for level in weekly["level"]], 1e-9, "derived"),
        row("H.870 hours a week at 75 dB(A), sensitive", published.citation, 40, safety.weekly_hours(75, "sensitive"), 1e-9),
        worst("NIOSH hours a day by level", published.citation, daily["time"],
              [safety.daily_hours(level) for level in daily["level"]], 1e-9),
        row("NIOSH dose (%)", published.citation, published.value(dose), 100 * safety.daily_dose({88: 4, 91: 2}), 1e-9,
            "derived"),
    ]  # fmt: skip


def rows() -> list[dict[str, Any]]:
    """Every check of sound and of rough physics."""
    return [
        *band_rows(),
        *weighting_rows(),
        *exact_decay_rows(),
        *noisy_decay_rows(),
        *sweep_rows(),
        *physics_rows(),
        *safety_rows(),
    ]
