"""OpenCV's labels, distances, smoothing and filling, as the core calls them, against scipy and
scikit-image.

scipy.ndimage: label, distance_transform_edt, gaussian_filter, sobel; skimage.measure: label,
perimeter; skimage.morphology: convex_hull_image.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from numpy.typing import NDArray
from plain import NOISY, blurred, disc, frame_of_light
from scipy import ndimage
from skimage import draw, measure, morphology

from inspector.edge import measure_edge
from inspector.exposure import short_regions
from inspector.face import backdrop_face
from inspector.levels import measure_levels
from inspector.outline import read
from inspector.surface import continue_smoothly, slope
from inspector.zones import find_zones

PICTURES = arrays(np.float32, (9, 13), elements=st.floats(-8, 2, width=32))


@given(picture=PICTURES)
def test_slope_is_sobels(picture: NDArray[np.float32]) -> None:
    """Both kernels sum to eight on a slope of one a pixel."""
    dx, dy = (ndimage.sobel(picture.astype(float), axis=k, mode="nearest") / 8 for k in (1, 0))
    np.testing.assert_allclose(slope(picture), np.hypot(dx, dy), atol=1e-4)


@given(
    picture=PICTURES,
    at=arrays(np.float64, (7, 2), elements=st.floats(-3, 16, allow_subnormal=False)),
)
def test_a_bilinear_reading_is_that_of_scipy(
    picture: NDArray[np.float32], at: NDArray[np.float64]
) -> None:
    """Pixel i spans [i, i + 1), so its middle is at i + 0.5; OpenCV's steps are 1/32 pixel."""
    x, y = np.round((at - 0.5) * 32).T / 32
    expected = ndimage.map_coordinates(picture.astype(float), [y, x], order=1, mode="nearest")
    np.testing.assert_allclose(read(picture, np.column_stack([x, y]) + 0.5), expected, atol=1e-3)


def test_a_long_line_is_read_in_one_go() -> None:
    """More points than OpenCV's remap takes at once."""
    picture = np.arange(40, dtype=np.float32).reshape(5, 8)
    at = np.tile([[3.5, 2.5]], (70_000, 1))
    assert (read(picture, at) == picture[2, 3]).all()


@pytest.mark.parametrize("sigma", [2.0, 6.0, 20.0])
def test_a_surface_known_everywhere_continues_as_itself(sigma: float) -> None:
    """Normalised convolution with a full mask is a plain Gaussian (scipy's)."""
    y, x = np.mgrid[0:120, 0:160]
    ev = np.asarray(0.3 * np.sin(x / 40) + y / 200, np.float32)
    found = continue_smoothly(ev, np.ones(ev.shape, bool), sigma / 160 * 4)
    expected = ndimage.gaussian_filter(ev.astype(float), sigma, mode="nearest")
    inner = slice(30, -30)
    np.testing.assert_allclose(found[inner, inner], expected[inner, inner], atol=0.06)


def test_a_surface_continues_over_a_gap() -> None:
    """Knutsson and Westin, 1993: a plane with a hole is a plane, by its neighbours."""
    y, x = np.mgrid[0:120, 0:160]
    ev = np.asarray(0.002 * x - 0.001 * y, np.float32)
    mask = np.ones(ev.shape, bool)
    mask[50:70, 70:90] = False
    found = continue_smoothly(np.where(mask, ev, -8).astype(np.float32), mask, 0.06)
    np.testing.assert_allclose(found[50:70, 70:90], ev[50:70, 70:90], atol=0.02)


def test_short_regions_are_scipys_components() -> None:
    """Eight neighbours join: two patches that touch at a corner are one."""
    light = np.full((400, 600), 1.3)
    for y, x in ((60, 60), (100, 100), (200, 300), (300, 500)):
        light[y : y + 40, x : x + 40] = 0.8
    levels = measure_levels(frame_of_light(light, NOISY))
    everywhere = np.ones(levels.ev.shape, bool)
    regions = short_regions(levels, everywhere, ~everywhere)
    label, count = ndimage.label(levels.white < 0.5, structure=np.ones((3, 3)))
    areas = np.bincount(label.ravel())[1:] * levels.scale**2
    assert count == 3
    assert [r.area_px for r in regions] == sorted(areas.tolist(), reverse=True)
    assert {r.box for r in regions} == {
        (60, 60, 140, 140),
        (300, 200, 340, 240),
        (500, 300, 540, 340),
    }


def test_diagonal_pixels_are_one_component_of_eight_neighbours_only() -> None:
    """scipy's own default is four neighbours: two components."""
    pixels = np.array([[1, 0], [0, 1]])
    assert ndimage.label(pixels)[1] == 2
    assert ndimage.label(pixels, structure=np.ones((3, 3)))[1] == 1
    joined = measure.label(pixels, connectivity=2)  # type: ignore[no-untyped-call]
    assert joined.max() == 1


def test_the_core_keeps_its_distance_by_scipys_exact_transform() -> None:
    """The core is the subject more than a ramp from the backdrop."""
    ball = disc((600, 400), (300, 200), 90)
    levels = measure_levels(frame_of_light(blurred(np.where(ball, 2.0**-5, 1.3)), NOISY))
    zones = find_zones(levels)
    edge = measure_edge(levels, zones, hot_spot_area=2e-4)
    away = ndimage.distance_transform_edt(~zones.backdrop) * levels.scale
    assert edge.ramp_px is not None
    expected = zones.subject & ~zones.fringe & (away > edge.ramp_px)
    # OpenCV's 5 x 5 mask is within some percent of the exact distance.
    assert np.count_nonzero(edge.core ^ expected) <= 0.02 * np.count_nonzero(expected)


@pytest.mark.parametrize(
    "corners",
    [
        [(20, 20), (20, 180), (130, 180), (130, 20)],
        [(30, 10), (15, 150), (120, 190), (140, 40)],
    ],
)
def test_the_face_of_a_convex_backdrop_is_its_convex_hull(corners: list[tuple[int, int]]) -> None:
    """With a subject cut out of its middle, and one of its sides."""
    face = draw.polygon2mask((150, 200), np.array(corners))  # type: ignore[no-untyped-call]
    backdrop = face & ~disc((200, 150), (100, 90), 25)
    hull = morphology.convex_hull_image(backdrop)  # type: ignore[no-untyped-call]
    found = backdrop_face(np.asarray(backdrop, bool))
    assert np.count_nonzero(found ^ hull) < 0.02 * np.count_nonzero(hull)


def test_the_length_of_an_outline_is_scikit_images_perimeter() -> None:
    """`perimeter_crofton` of the subject, four directions."""
    shape = disc((600, 400), (250, 200), 70) | disc((600, 400), (330, 200), 60)
    levels = measure_levels(frame_of_light(blurred(np.where(shape, 2.0**-5, 1.0)), NOISY))
    lines = find_zones(levels).outlines
    length = sum(float(np.hypot(*np.diff(line, axis=0).T).sum()) for line in lines)
    perimeter = measure.perimeter_crofton(shape, 4)  # type: ignore[no-untyped-call]
    assert length == pytest.approx(perimeter, rel=0.02)
