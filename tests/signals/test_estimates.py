"""Rough physics: what is told with each figure, and what is refused; figures are checked in `tests/published`."""

from __future__ import annotations

import inspect
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, special

from doe.model.errors import UsageError
from doe.signals import boxes, physics
from doe.signals.estimates import ESTIMATES, estimate, quantities_of
from tests.refusing import refused

GIVEN = {
    "helmholtz": {"volume_cm3": 1000, "radius_mm": 10, "length_mm": 50},
    "closed_box": {"fs_hz": 60, "qts": 0.45, "vas_l": 10, "volume_l": 5},
    "vented_box": {"fs_hz": 40, "qts": 0.38, "vas_l": 14, "volume_l": 10, "tuning_hz": 40, "vent_radius_mm": 20},
    "ring_cavity": {"rings": 9, "thickness_mm": 18, "diameter_mm": 90},
    "cavity_modes": {"depth_mm": 160, "width_mm": 90, "height_mm": 100},
    "cavity_decay": {"depth_mm": 84, "diameter_mm": 200, "stuffed_percent": 25},
    "leak": {"gap_mm": 0.1, "length_mm": 300, "depth_mm": 10, "volume_cm3": 1000},
}

PLAIN = {"vents", "qts", "box_q", "rings", "count", "absorption"}
"""Counts and ratios, which have no unit."""


@pytest.mark.parametrize("name", sorted(ESTIMATES))
def test_each_figure_tells_formula_source_and_trust(name):
    found = estimate(name, GIVEN[name])
    text = found.summary()
    assert math.isfinite(found.value)
    for figure in (found, *found.more):
        assert figure.formula and figure.source and (figure.trust or figure in found.more)
        assert f"Formula: {figure.formula}" in text
    assert f"Source: {found.source}." in text and f"Trust: {found.trust}" in text
    assert found.to_frame()["value"].tolist() == [found.value, *(more.value for more in found.more)]
    assert set(found.inputs) >= set(GIVEN[name]) - {"vent_radius_mm"}


@pytest.mark.parametrize("name", sorted(ESTIMATES))
def test_typed_text_is_read_as_numbers(name):
    typed = {word: str(number).replace(".", ",") for word, number in GIVEN[name].items()}
    assert estimate(name, typed).value == estimate(name, GIVEN[name]).value


def test_what_holds_nothing_is_as_good_as_left_out():
    bare = {"depth_mm": 84, "diameter_mm": 200}
    assert estimate("cavity_decay", {**bare, "width_mm": None, "absorption": math.nan}) == estimate(
        "cavity_decay", bare
    )
    with refused(UsageError, "cavity_decay needs depth_mm too."):
        estimate("cavity_decay", {**bare, "depth_mm": None})


@pytest.mark.parametrize("name", sorted(ESTIMATES))
def test_quantities_are_those_of_the_function_and_carry_their_unit(name):
    quantities = quantities_of(name)
    assert [quantity.name for quantity in quantities] == list(inspect.signature(ESTIMATES[name]).parameters)
    assert {quantity.name for quantity in quantities if quantity.is_needed} <= set(GIVEN[name])
    for quantity in quantities:
        assert quantity.about.endswith(".")  # each is told in a sentence of its own
        assert quantity.choices or quantity.unit or quantity.name in PLAIN
        assert (quantity.label == quantity.name.replace("_", " ")) == (not quantity.unit)
        assert quantity.default is None or not quantity.is_needed


@pytest.mark.parametrize(
    ("name", "given", "message"),
    [
        ("helmholz", {}, "estimate is 'helmholz'; it must be helmholtz, closed_box, vented_box, ring_cavity, cavity_modes, "
         "cavity_decay or leak. Did you mean 'helmholtz'?"),
        ("leak", {"gap_mm": 1}, "leak needs length_mm, depth_mm and volume_cm3 too."),
        ("leak", {"gap": 1}, "'gap' is no quantity of leak; it takes gap_mm, length_mm, depth_mm, volume_cm3 and "
         "temperature_c. Did you mean 'gap_mm'?"),
        ("helmholtz", {"volume_cm3": -1, "radius_mm": 1, "length_mm": 1}, "volume_cm3 is -1; it must be above 0."),
        ("helmholtz", {"volume_cm3": "x", "radius_mm": 1, "length_mm": 1}, "volume_cm3 is 'x'; it must be a number."),
        ("helmholtz", {**GIVEN["helmholtz"], "vents": 1.5}, "vents is 1.5; it must be a whole number."),
        ("helmholtz", {**GIVEN["helmholtz"], "inner_end": "fre"}, "inner_end is 'fre'; it must be flanged, free or none."),
        ("helmholtz", {**GIVEN["helmholtz"], "length_mm": -50}, "length_mm is -50; with its end corrections it must be above "
         "0."),
        ("helmholtz", {**GIVEN["helmholtz"], "temperature_c": 500}, "temperature_c is 500; it must be from -60 to 100."),
        ("ring_cavity", {"rings": 9, "thickness_mm": 18}, "Give diameter_mm of a round opening, or width_mm and height_mm of a "
         "rectangular one."),
        ("ring_cavity", {**GIVEN["ring_cavity"], "solids_cm3": 5000}, "solids_cm3 is 5000; it must be from 0 to below 1031."),
        ("cavity_decay", {**GIVEN["cavity_decay"], "width_mm": 90, "height_mm": 100}, "Give diameter_mm of a round opening, "
         "or width_mm and height_mm of a rectangular one."),
        ("cavity_decay", {**GIVEN["cavity_decay"], "stuffed_percent": 95.5}, "stuffed_percent is 95.5; it must be from 0 to "
         "95."),
        ("cavity_decay", {**GIVEN["cavity_decay"], "absorption": 1}, "absorption is 1.0; it must be above 0 and below 1."),
        ("cavity_modes", {**GIVEN["cavity_modes"], "count": 50}, "count is 50; it must be from 1 to 20."),
        ("vented_box", {**GIVEN["vented_box"], "vent_radius_mm": 2}, "vent_radius_mm is 2; a vent so narrow tunes lower than "
         "40 Hz even without length: make it wider."),
    ],
)  # fmt: skip
def test_what_cannot_be_estimated_is_refused(name, given, message):
    with refused(UsageError, message):
        estimate(name, given)


@given(st.floats(10, 1e5), st.floats(1, 100), st.floats(0, 500), st.integers(1, 8))
def test_more_vents_act_as_more_area(volume, radius, length, vents):
    """N vents far apart raise the resonance by sqrt(N)."""
    one = physics.helmholtz(volume, radius, length).value
    assert physics.helmholtz(volume, radius, length, vents=vents).value == pytest.approx(one * math.sqrt(vents))


def test_a_body_large_against_the_wavelength_is_said_to_be():
    assert "large against the wavelength" in physics.helmholtz(1000, 20, 1, vents=8).trust
    assert "large against the wavelength" not in physics.helmholtz(1000, 5, 50).trust


@given(st.floats(0.1, 2.0))
def test_the_peak_and_half_power_of_a_closed_box_are_those_of_its_response(q):
    """The second-order high-pass itself as the yardstick."""
    box = boxes.closed_box(50, q / 2, 30, 10)
    f3, peak = box.more[1].value, box.more[2].value

    def level(u):
        return 20 * np.log10(u**2 / np.sqrt((1 - u**2) ** 2 + (u / q) ** 2))

    assert level(f3 / box.more[0].value) == pytest.approx(-3.0103, abs=1e-4)
    assert peak == pytest.approx(max(0.0, float(level(np.geomspace(0.1, 1000, 200_000)).max())), abs=1e-3)


def test_the_lossless_vented_box_has_no_output_from_the_cone_alone_at_tuning():
    """Half power is told where the response itself is 3 dB down."""
    box = boxes.vented_box(40, 0.35, 20, 12, 45, box_q=7)
    level = boxes.vented_response_db(np.array([box.value]), 40, 0.35, 20 / 12, 45 / 40, 7)
    assert level[0] == pytest.approx(-3.0103, abs=1e-3)


@pytest.mark.parametrize("tuning", [0.6, 1.0, 1.5])
def test_the_vented_response_is_that_of_its_circuit(tuning):
    """Small (1973), figure 2: the driver in series with the air of the box, its vent and its leaks side by side.

    What is radiated compresses the air of the box; with the driver's compliance for unit it is ``Vb / Vas``.
    """
    f, fs, q, alpha, box_q = np.geomspace(5, 2000, 60), 40.0, 0.35, 1.7, 5.0
    s, w, wb = 2j * np.pi * f, 2 * np.pi * fs, 2 * np.pi * fs * tuning
    air, mass = 1 / alpha, 1 / w**2
    driver = 1 / (q * w) + s * mass + 1 / s
    box = 1 / (s * air + wb**2 * air / s + wb * air / box_q)
    wanted = 20 * np.log10(np.abs(mass * s**2 * air * box / (driver + box)))
    assert boxes.vented_response_db(f, fs, q, alpha, tuning, box_q) == pytest.approx(wanted, abs=1e-9)


def test_a_vent_of_the_told_length_has_the_tuning():
    """Back through the Helmholtz formula."""
    length = boxes.vented_box(40, 0.38, 14, 10, 40, vent_radius_mm=20).more[1].value
    assert physics.helmholtz(10_000, 20, length, inner_end="flanged", outer_end="free").value == pytest.approx(40)


def test_rings_add_up():
    """One ring more adds what it says."""
    nine, ten = (physics.ring_cavity(n, 18, diameter_mm=90, solids_cm3=60) for n in (9, 10))
    assert ten.value - nine.value == pytest.approx(nine.more[0].value)
    assert physics.ring_cavity(2, 10, width_mm=50, height_mm=40).value == pytest.approx(40.0)


def test_rectangular_modes_are_in_order_and_the_first_is_half_a_wave_long():
    found = physics.cavity_modes(500, width_mm=200, height_mm=300)
    values = [found.value, *(more.value for more in found.more)]
    assert values == sorted(values)
    assert found.name == "Cavity mode (0,0,1)"
    assert found.value == pytest.approx(physics.speed_of_sound() / 2 / 0.5)


def test_no_mode_of_a_long_or_a_flat_cavity_is_left_out():
    """A pipe has all its harmonics, ``k c / (2 d)``; a shallow round one the zeros of J' in order (general library: scipy)."""
    for sizes in ({"width_mm": 20, "height_mm": 20}, {"diameter_mm": 20}):
        pipe = physics.cavity_modes(1000, **sizes, count=20).to_frame()["value"]
        assert pipe.tolist() == pytest.approx([k * physics.speed_of_sound() / 2 for k in range(1, 21)])
    flat = physics.cavity_modes(5, diameter_mm=200, count=20).to_frame()["value"]
    zeros = np.sort(np.concatenate([special.jnp_zeros(m, 30) for m in range(30)]))[:20]
    assert flat.tolist() == pytest.approx(physics.speed_of_sound() / (2 * np.pi * 0.1) * zeros)


def test_the_resistance_of_a_gap_is_that_of_plane_flow():
    """``u(y) = dp/dx y (h - y) / (2 eta)`` integrated over the gap (general library: scipy)."""
    h, w, d, eta = 1e-4, 0.3, 0.01, 1.82e-5
    flow, _ = integrate.quad(lambda y: y * (h - y) / (2 * eta * d) * w, 0, h)
    assert physics.leak(0.1, 300, 10, 1000).more[0].value == pytest.approx(1 / flow, rel=1e-9)


def test_a_leak_empties_the_air_spring_of_its_body():
    """``2 pi f R C = 1`` with the spring of air that keeps its heat: ``C = V / (1.4 p)``, p of the standard atmosphere."""
    found = physics.leak(0.1, 300, 10, 1000)
    spring = 1e-3 / (1.4 * 101_325)
    assert 2 * np.pi * found.value * found.more[0].value * spring == pytest.approx(1.0)


@pytest.mark.parametrize(("radius", "is_said"), [(0.5, True), (10, False), (40, True)])
def test_a_vent_out_of_proportion_is_said_to_be(radius, is_said):
    """Below 1 mm, or beyond a quarter of the edge of a cube of the same air, here 100 mm."""
    assert ("very small or very large" in physics.helmholtz(1000, radius, 50).trust) == is_said


def test_a_wide_gap_is_said_to_act_as_a_vent():
    assert "acts as a vent" in physics.leak(2, 300, 10, 1000).trust
    assert "acts as a vent" not in physics.leak(0.05, 300, 10, 1000).trust
