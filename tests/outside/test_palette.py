"""The palette against published colour science.

Colour-blind eyes: G. M. Machado, M. M. Oliveira and L. A. F. Fernandes, "A physiologically-based
model for simulation of color vision deficiency", IEEE TVCG 15(6), 2009, severity 1.0, as in
colour-science. Differences: CIEDE2000 (CIE 142-2001), as in colour-science. Contrast: WCAG 2.1,
relative luminance and contrast ratio, with 3:1 for graphics and large text, 4.5:1 for text.
"""

from __future__ import annotations

from itertools import combinations

import colour
import numpy as np
import pytest
from numpy.typing import NDArray

from inspector.report.palette import (
    BANDS,
    BRIGHT,
    CANVAS,
    INK,
    MARKS,
    MAYBE,
    PLAIN,
    PROOF_BLACK,
    QUIET,
    RGB,
    SHORT,
    WARN,
)

EYES = ("normal", "Protanomaly", "Deuteranomaly", "Tritanomaly")
D65 = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
CLASSES = {m.name: (m.rgb,) for m in MARKS if m is not SHORT} | {
    "short": BANDS,
    "no colour": (MAYBE.rgb,),
}


def lab(rgb: RGB, eye: str) -> NDArray[np.float64]:
    linear = colour.models.eotf_sRGB(np.array(rgb) / 255)
    if eye != "normal":
        with colour.utilities.suppress_warnings(colour_usage_warnings=True):
            linear = np.clip(colour.matrix_cvd_Machado2009(eye, 1.0) @ linear, 0, 1)
    xyz = colour.RGB_to_XYZ(linear, "sRGB", apply_cctf_decoding=False)
    return np.asarray(colour.XYZ_to_Lab(xyz, D65))


def difference(a: RGB, b: RGB, eye: str) -> float:
    return float(colour.delta_E(lab(a, eye), lab(b, eye), method="CIE 2000"))


def luminance(rgb: RGB) -> float:
    s = np.array(rgb) / 255
    linear = np.where(s <= 0.03928, s / 12.92, ((s + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def contrast(a: RGB, b: RGB) -> float:
    low, high = sorted((luminance(a), luminance(b)))
    return (high + 0.05) / (low + 0.05)


def test_the_formulas_give_their_published_values() -> None:
    # Sharma, Wu and Dalal, "The CIEDE2000 color-difference formula", 2005, table 1, pair 1.
    pair = np.array([50, 2.6772, -79.7751]), np.array([50, 0, -82.7485])
    assert colour.delta_E(*pair, method="CIE 2000") == pytest.approx(2.0425, abs=1e-4)
    # WCAG techniques: #777777 on white just fails 4.5, #767676 just passes.
    assert contrast((119,) * 3, (255,) * 3) == pytest.approx(4.478, abs=1e-3)
    assert contrast((118,) * 3, (255,) * 3) == pytest.approx(4.542, abs=1e-3)


@pytest.mark.parametrize("eye", EYES)
def test_classes_keep_20_apart(eye: str) -> None:
    for (_, ones), (_, others) in combinations(CLASSES.items(), 2):
        for a in ones:
            for b in others:
                assert difference(a, b, eye) >= 20, (a, b)


@pytest.mark.parametrize("eye", EYES)
def test_neighbouring_bands_step_in_lightness_and_never_turn_back(eye: str) -> None:
    lightness = [lab(c, eye)[0] for c in BANDS]
    assert (np.diff(lightness) < -5).all()


def test_each_line_stands_clear_of_its_own_ground_or_its_casing() -> None:
    dark, white = (PROOF_BLACK,) * 3, (255, 255, 255)
    for mark in MARKS:
        for ground in (dark, white):
            seen = max(contrast(mark.rgb, ground), contrast(mark.casing, ground))
            assert seen >= 3, mark.name
        assert contrast(mark.rgb, mark.casing) >= 3, mark.name


def test_swatches_and_words_read_on_the_canvas() -> None:
    for c in (WARN, *(m.rgb for m in MARKS)):
        assert contrast(c, CANVAS) >= 3
    for text in (BRIGHT, PLAIN, QUIET):
        assert contrast(text, CANVAS) >= 4.5


def test_figures_read_on_their_plates() -> None:
    from inspector.report.marks import _on_band

    for k, ground in enumerate(BANDS):
        assert contrast(_on_band(k).colour, ground) >= 4.5
    assert contrast(INK, (236, 236, 236)) >= 7


def test_no_red_for_what_is_blown_and_no_blue_for_what_is_dark() -> None:
    for rgb in (*BANDS, *(m.rgb for m in MARKS)):
        _, a, b = lab(rgb, "normal")
        hue = float(np.degrees(np.arctan2(b, a))) % 360
        assert 50 < hue < 330, "red"
        assert not 220 < hue < 300, "blue"
