"""Hair beside the outline ripples, light on the subject does not: on light given as numbers."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from plain import NOISY, blurred, frame_of_light
from skimage.feature import structure_tensor, structure_tensor_eigenvalues

from inspector.inspect import inspect
from inspector.ripple import RIPPLED, SIGMA, WINDOW, in_stairs, rippled

SIZE = 200
X, Y = np.meshgrid(np.arange(SIZE) + 0.5, np.arange(SIZE) + 0.5)
LINE = np.stack([np.full(60, 100.0), np.arange(70.0, 130.0)], axis=1)
INWARD = np.tile((1.0, 0.0), (60, 1))


def ripples(light: NDArray[np.floating], slope: float = 2 * RIPPLED) -> bool:
    return rippled(light.astype(np.float32), LINE, INWARD, depth=8, slope=slope)


def fall(length: float) -> NDArray[np.float64]:
    """Light that falls inwards, towards larger x, over so many pixels."""
    return np.asarray(np.interp(X - 100, (0, length), (1.0, 0.02)))


@pytest.mark.parametrize("length", [6, 12, 30])
@pytest.mark.parametrize("noise", [0.0, 0.03])
def test_light_that_falls_evenly_does_not_ripple(length: float, noise: float) -> None:
    rng = np.random.default_rng(7)
    assert not ripples(fall(length) + rng.normal(0, noise, X.shape))


@pytest.mark.parametrize("pitch", [5, 8, 12])
def test_strands_before_the_backdrop_ripple(pitch: int) -> None:
    strands = np.where(Y % pitch < pitch / 3, 0.1, 1.0)
    assert ripples(blurred(np.where(X > 112, 0.02, np.where(X > 98, strands, 1.0)), 0.8))


def test_a_faint_ripple_is_none() -> None:
    assert not ripples(fall(12) * (1 + 0.02 * np.sin(2 * np.pi * Y / 8)))


@pytest.mark.parametrize(("outer", "inner", "depth"), [(92, 113, 8), (95, 110, 4), (98, 114, 8)])
@pytest.mark.parametrize("pitch", [5, 8])
def test_strands_that_stand_side_by_side_ripple(
    outer: int, inner: int, depth: float, pitch: int
) -> None:
    """Light changes along the edge alone: one way only, but not as it falls."""
    strands = np.where(Y % pitch < pitch / 4, 0.1, 1.0)
    backdrop = np.where(outer < X, strands, 1.0)
    light = blurred(np.where(inner < X, 0.02, backdrop), 0.8)
    assert rippled(light, LINE, INWARD, depth=depth, slope=2 * RIPPLED)


@pytest.mark.parametrize("points", [1, 2, 3])
def test_so_short_a_stretch_tells_nothing_of_a_bend(points: int) -> None:
    """What ripples around it stays hair: nothing is seen to change along one or two points."""
    strands = np.where(Y % 8 < 8 / 3, 0.1, 1.0)
    backdrop = np.where(X > 98, strands, 1.0)
    light = blurred(np.where(X > 112, 0.02, backdrop), 0.8)
    assert rippled(light, LINE[30:][:points], INWARD[:points], depth=8, slope=2 * RIPPLED)


@pytest.mark.parametrize("radius", [6, 8, 10])
@pytest.mark.parametrize("length", [3, 5, 8])
@pytest.mark.parametrize("side", [-1, 1])
def test_light_that_falls_evenly_around_a_bend_does_not_ripple(
    radius: int, length: float, side: int
) -> None:
    """Outwards or into an elbow: its slope turns with the edge."""
    turn = np.linspace(-1.2, 1.2, round(2.4 * radius))
    outward = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    depth = side * (np.hypot(X - 100, Y - 100) - radius)
    light = np.interp(depth, (0, length), (1.0, 0.02)).astype(np.float32)
    edge = 100 + radius * outward
    assert not rippled(light, edge, side * outward, depth=length / 2, slope=2 * RIPPLED)


def test_where_nothing_falls_nothing_is_told() -> None:
    assert not ripples(np.ones_like(X))


@pytest.mark.parametrize("angle", [0, 20, 70])
def test_the_slopes_are_the_eigenvalues_of_scikit_images_structure_tensor(angle: float) -> None:
    """A plane wave has no slope along its crests; two crossed ones have as much both ways."""
    turn = np.radians(angle)
    u, v = (X * np.cos(t) + Y * np.sin(t) for t in (turn, turn + np.pi / 2))
    wave, crossed = (0.5 + 0.2 * np.sin(0.5 * u), 0.5 + 0.2 * np.sin(0.5 * u) * np.sin(0.5 * v))
    assert not ripples(wave, 0.01)
    assert ripples(crossed, 0.01)
    quiet = blurred(crossed, SIGMA)
    # Its Sobel filter gives eight times the slope per pixel.
    tensor = structure_tensor(quiet, sigma=WINDOW, order="rc")  # type: ignore[no-untyped-call]
    _, least = structure_tensor_eigenvalues(tensor)  # type: ignore[no-untyped-call]
    along = float(np.sqrt(least[75:125, 100:110].mean())) / 8
    assert ripples(crossed, 0.9 * along)
    assert not ripples(crossed, 1.1 * along)


PLACE = np.stack(np.meshgrid(np.arange(900) - 449.5, np.arange(700) - 349.5))
DEPTH, AROUND = 200 - np.hypot(*PLACE), 200 * np.arctan2(*PLACE)
"""A ball's depth under its rim, and the way along that, pixels."""
STRETCH, DARK = 130, 2.0**-6


def hair(seed: int, count: int) -> NDArray[np.bool_]:
    """Strands that stand out from a stretch of the rim, each its own way."""
    rng = np.random.default_rng(seed)
    covered = np.zeros(DEPTH.shape, bool)
    roots, lengths = rng.uniform(-STRETCH, STRETCH, count), 20 * rng.uniform(0.3, 1, count)
    for root, length, slant in zip(roots, lengths, rng.normal(0, 0.3, count), strict=True):
        strand = np.abs(AROUND - root + slant * DEPTH) < 0.8
        covered |= strand & (-length < DEPTH) & (DEPTH <= 0)
    return covered


def test_a_slow_fall_onto_the_subject_is_sure_spill() -> None:
    spill = np.maximum(2.0**0.4 * np.interp(DEPTH, (8, 40), (1.0, 0.0)), DARK)
    lit = np.where(np.abs(AROUND) < STRETCH, spill, DARK)
    light = blurred(np.where(DEPTH > 0, lit, 2.0**0.5), 1.0)
    runs = inspect(frame_of_light(light, NOISY)).edge.spill
    assert sum(run.length_px for run in runs if run.sure) == pytest.approx(2 * STRETCH, rel=0.1)


@pytest.mark.parametrize("seed", [1, 3, 4])
def test_as_slow_a_fall_into_dense_hair_is_not(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    light = blurred(np.where((DEPTH > 0) | hair(seed, 220), DARK, 2.0**0.9), 1.6)
    frame = frame_of_light(light, NOISY)
    runs = inspect(frame).edge.spill
    assert runs
    assert not any(run.sure for run in runs)
    monkeypatch.setattr("inspector.doubt.rippled", lambda *_, **__: False)
    assert any(run.sure for run in inspect(frame).edge.spill)


def lying_hair(seed: int, count: int, dim: float) -> NDArray[np.float64]:
    """Part of the light that strands let through which lie along a stretch of the rim."""
    rng = np.random.default_rng(seed)
    through = np.ones(DEPTH.shape)
    roots, outer = rng.uniform(-STRETCH, STRETCH, count), rng.uniform(2, 14, count)
    slants, lengths = rng.uniform(-0.12, 0.12, count), rng.uniform(60, 200, count)
    for root, out, slant, length in zip(roots, outer, slants, lengths, strict=True):
        strand = np.abs(DEPTH + out + slant * (AROUND - root)) < 0.6
        through[strand & (np.abs(AROUND - root) < length / 2) & (DEPTH <= 0)] *= 1 - dim
    return through


@pytest.mark.parametrize(
    ("seed", "count", "dim"), [(2, 30, 0.5), (4, 30, 0.5), (2, 40, 0.35), (4, 40, 0.35)]
)
def test_nor_is_light_that_falls_into_hair_along_the_edge(
    seed: int, count: int, dim: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    light = blurred(np.where(DEPTH > 0, DARK, 2.0**0.9 * lying_hair(seed, count, dim)), 1.2)
    frame = frame_of_light(light, NOISY)
    runs = inspect(frame).edge.spill
    assert runs
    assert not any(run.sure for run in runs)
    monkeypatch.setattr("inspector.doubt.in_stairs", lambda *_, **__: np.zeros(1))
    assert sum(run.length_px for run in inspect(frame).edge.spill if run.sure) > 50


def fur(seed: int, count: int) -> NDArray[np.float64]:
    """Part of the light that short hairs let through which stand close along a stretch."""
    rng = np.random.default_rng(seed)
    through = np.ones(DEPTH.shape)
    roots, lengths = rng.uniform(-STRETCH, STRETCH, count), rng.uniform(3, 14, count)
    for root, length, slant in zip(roots, lengths, rng.normal(0, 0.35, count), strict=True):
        hair = (np.abs(AROUND - root + slant * DEPTH) < 0.6) & (-length < DEPTH) & (DEPTH <= 0)
        through[hair] *= 0.5
    return through


@pytest.mark.parametrize(("seed", "count"), [(3, 250), (3, 350), (5, 350), (6, 350)])
def test_nor_is_light_that_falls_into_fur(
    seed: int, count: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    light = blurred(np.where(DEPTH > 0, DARK, 2.0**0.9 * fur(seed, count)), 1.1)
    frame = frame_of_light(light, NOISY)
    runs = inspect(frame).edge.spill
    assert runs
    assert not any(run.sure for run in runs)
    monkeypatch.setattr("inspector.ripple.AMONG_STRANDS", 1.0)
    assert sum(run.length_px for run in inspect(frame).edge.spill if run.sure) > 30


@pytest.mark.parametrize("sigma", [1.0, 2.0, 4.0])
def test_light_that_falls_in_one_piece_has_no_stairs(sigma: float) -> None:
    light = blurred(np.where(X > 104, 0.02, 1.0), sigma).astype(np.float32)
    assert in_stairs(light, LINE, INWARD, depth=8, unit=1.0) == pytest.approx(0, abs=0.01)


@pytest.mark.parametrize("count", [2, 3])
def test_stairs_are_counted(count: int) -> None:
    """Each further stair of the same height adds as much again: closed form."""
    light = 1 - sum(blurred(np.where(94 + 8 * i < X, 0.9 / count, 0), 0.9) for i in range(count))
    found = in_stairs(np.asarray(light, np.float32), LINE, INWARD, depth=16, unit=1.0)
    assert found == pytest.approx(count - 1, abs=0.05)
