"""Tuning of resonant builds against the closed forms of the trade.

60/sqrt(m d) and 50/sqrt(m d): Cox and D'Antonio, Acoustic Absorbers and Diffusers, 7.9 and 7.10.
Helmholtz: f0 = (c/2 pi) sqrt(S/(l' V)), end corrections 0.85 r (flanged); perforated panel
f0 = (c/2 pi) sqrt(eps/(t' D)).
"""

import numpy as np
import pytest

from materials.build import Build
from materials.layers import AirGap, Cloth, Layer, Membrane, Perforated, Porous, Slotted
from materials.made import packaged_builds
from materials.resonators import (
    SealedResonator,
    membrane_resonance,
    perforated_resonance,
    slotted_resonance,
)
from materials.tuning import TOLERANCE, resonant, tuning


def box(*layers: Layer) -> Build:
    return Build("own", "own", layers, locally_reacting=True)


@pytest.mark.parametrize(("mass", "depth"), [(3.3, 0.09), (7.0, 0.15), (2.2, 0.05), (10.0, 0.2)])
def test_sheet_on_air_peaks_at_the_mass_spring_rule(mass: float, depth: float) -> None:
    """The rule's 60 is rounded (c sqrt(rho) / 2 pi is 59.8), air at 20 degrees: within 2 %."""
    found = tuning(box(Membrane(mass, loss=100.0), AirGap(depth)))
    assert found is not None
    assert found.peak == pytest.approx(membrane_resonance(mass, depth), rel=0.02)
    assert found.low < found.peak < found.high
    # Heavier and deeper by a tenth: 1/sqrt(1.1 x 1.1); lighter and shallower: 1/sqrt(0.9 x 0.9).
    assert found.lowest_peak == pytest.approx(found.peak / (1.0 + TOLERANCE), rel=0.02)
    assert found.highest_peak == pytest.approx(found.peak / (1.0 - TOLERANCE), rel=0.02)


def test_width_at_half_the_peak_is_that_of_a_damped_spring() -> None:
    """At normal incidence alpha = 4 r / ((r + 1)^2 + x^2) with x = w m/Z0 - cot(k d), so half the
    peak is where |x| = r + 1, found here on a fine grid. All angles together, 1/cos in place of 1,
    are wider by some tens of per cent, never narrower."""
    mass, depth, loss, z0, c = 5.0, 0.1, 200.0, 413.3, 343.2
    found = tuning(box(Membrane(mass, loss=loss), AirGap(depth)))
    assert found is not None
    f = np.linspace(20.0, 300.0, 200_001)
    omega = 2.0 * np.pi * f
    x = omega * mass / z0 - 1.0 / np.tan(omega * depth / c)
    inside = f[np.abs(x) <= loss / z0 + 1.0]
    normal = inside[-1] / inside[0]
    assert normal * 0.98 < found.high / found.low < 1.5 * normal


def test_sealed_box_peaks_at_its_resonance() -> None:
    """60 litres, neck of 100 mm across and 40 mm long: 56 Hz by hand, within 2 % (friction in the
    neck adds mass). A box 10 % off in volume and radius by the same formula."""
    boxed = SealedResonator("a", "a", 0.06, 0.05, 0.04, resistance=5.0)
    by_hand = 343.2 / (2 * np.pi) * np.sqrt(np.pi * 0.05**2 / ((0.04 + 1.7 * 0.05) * 0.06))
    found = tuning(boxed)
    assert found is not None
    assert found.peak == pytest.approx(by_hand, rel=0.02)
    for way, off in ((1.1, found.lowest_peak), (0.9, found.highest_peak)):
        radius = (2.0 - way) * 0.05
        other = np.pi * radius**2 / ((0.04 + 1.7 * radius) * way * 0.06)
        assert off == pytest.approx(343.2 / (2 * np.pi) * np.sqrt(other), rel=0.02)


def test_holes_and_slots_peak_at_theirs() -> None:
    """Within 6 %: mass of the viscous layer and of the cloth's flow lower the peak a little."""
    holes = tuning(box(Perforated(0.004, 0.0055, 0.014, resistance=150.0), AirGap(0.1)))
    slots = tuning(box(Slotted(0.018, 0.003, 0.03, resistance=150.0), AirGap(0.1)))
    assert holes is not None
    assert slots is not None
    assert holes.peak == pytest.approx(perforated_resonance(0.014, 0.004, 0.00275, 0.1), rel=0.06)
    assert slots.peak == pytest.approx(slotted_resonance(0.03, 0.018, 0.003, 0.1), rel=0.06)


def test_what_is_no_resonator_has_no_tuning() -> None:
    for key in ("board_50", "two_boards_frame", "corner_triangle_600", "corner_triangle_600_foil"):
        assert not resonant(packaged_builds()[key])
        assert tuning(packaged_builds()[key]) is None
    assert tuning(box(Cloth(400.0), AirGap(0.1))) is None
    # A fifth open over wool is a broad absorber: no half-peak within three octaves.
    broad = Build("b", "b", (Perforated(0.0125, 0.015, 0.196), Porous(0.1, 7000.0)))
    assert resonant(broad)
    assert tuning(broad) is None


def test_words_say_peak_width_and_warning() -> None:
    found = tuning(packaged_builds()["sealed_box_56"])
    assert found is not None
    text = found.in_words()
    assert text.startswith(f"tuned to {found.peak:.0f} Hz, works from {found.low:.0f} to ")
    assert "10 % off" in text
    assert text.endswith("measure before you close the box")
