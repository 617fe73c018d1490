"""Backdrop, subject and surround on pictures whose zones are drawn here."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
import sets
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from plain import NOISY, blurred, disc, frame_of_light, held, overlap
from scipy import ndimage

from inspector.frame import Frame
from inspector.inspect import inspect
from inspector.levels import Levels, measure_levels
from inspector.surface import find_surface
from inspector.zone_mask import zone_mask
from inspector.zones import (
    BACKDROP,
    SUBJECT,
    SURROUND,
    Zones,
    find_zones,
    find_zones_by_plate,
)

SIZE = (600, 400)
WALL, DARK = 2.0**0.5, 2.0**-5


def zones_of(frame: Frame) -> tuple[Levels, Zones]:
    levels = measure_levels(frame)
    return levels, find_zones(levels)


def mask_of(levels: Levels, zones: Zones) -> NDArray[np.uint8]:
    """(H, W) zones of the whole picture, nothing spilled."""
    return zone_mask(zones, levels, spilled=np.zeros(zones.label.shape, bool))


def picture(*, ball: NDArray[np.bool_], box: bool = True) -> tuple[Frame, NDArray[np.uint8]]:
    """A ball before a softbox, or before a wall, and its zones."""
    face = np.zeros(SIZE[::-1], bool)
    face[40:370, 60:540] = True
    if not box:
        face[:] = True
    light = np.where(ball & face, DARK, np.where(face, WALL, 2.0**-7))
    truth = np.where(ball & face, SUBJECT, np.where(face, BACKDROP, SURROUND))
    return frame_of_light(blurred(light), NOISY), truth.astype(np.uint8)


@pytest.mark.parametrize("box", [True, False])
def test_a_ball_before_a_softbox_or_a_wall(box: bool) -> None:
    frame, truth = picture(ball=disc(SIZE, (300, 200), 80), box=box)
    levels, zones = zones_of(frame)
    mask = mask_of(levels, zones)
    assert mask.shape == truth.shape
    assert mask.dtype == np.uint8
    backdrop, subject = overlap(mask, truth)
    assert backdrop > 0.99
    assert subject > 0.97


@settings(max_examples=30)
@given(
    x=st.integers(120, 480), y=st.integers(100, 300), radius=st.integers(20, 90), box=st.booleans()
)
def test_a_ball_is_found_wherever_it_is(x: int, y: int, radius: int, box: bool) -> None:
    frame, truth = picture(ball=disc(SIZE, (x, y), radius), box=box)
    levels, zones = zones_of(frame)
    backdrop, subject = overlap(mask_of(levels, zones), truth)
    assert backdrop > 0.97
    # Cells of two pixels along the outline are all that may differ.
    assert subject > 1 - 4 / radius


def test_a_subject_that_leaves_the_softbox_is_claimed_before_it_only() -> None:
    frame, truth = picture(ball=disc(SIZE, (300, 370), 90))
    levels, zones = zones_of(frame)
    mask = mask_of(levels, zones)
    assert (mask[375:, 250:350] == SURROUND).all()
    assert overlap(mask, truth)[1] > 0.95


def test_a_hole_through_the_subject_is_backdrop() -> None:
    ring = disc(SIZE, (300, 200), 90) & ~disc(SIZE, (300, 200), 30)
    frame, truth = picture(ball=ring)
    levels, zones = zones_of(frame)
    mask = mask_of(levels, zones)
    assert mask[200, 300] == BACKDROP
    assert zones.islands == ()
    assert overlap(mask, truth)[1] > 0.96


def test_soft_light_inside_the_subject_is_an_island_on_it() -> None:
    ball = disc(SIZE, (300, 200), 90)
    y, x = np.mgrid[0:400, 0:600] + 0.5
    glow = 1.2 * np.exp(-((x - 300) ** 2 + (y - 200) ** 2) / (2 * 14.0**2))
    light = np.where(ball, DARK + glow, WALL)
    levels, zones = zones_of(frame_of_light(blurred(light), NOISY))
    assert mask_of(levels, zones)[200, 300] == SUBJECT
    (island,) = zones.islands
    assert island.sure
    x0, y0, x1, y1 = island.box
    assert x0 <= 150 < x1
    assert y0 <= 100 < y1


@pytest.mark.parametrize("seam_ev", [0.1, 0.5])
def test_a_seam_of_the_diffuser_is_backdrop(seam_ev: float) -> None:
    light = np.full(SIZE[::-1], WALL)
    light[:, 296:304] *= 2**-seam_ev
    levels, zones = zones_of(frame_of_light(blurred(light), NOISY))
    assert (mask_of(levels, zones) == BACKDROP).mean() > 0.999


def gridded(lines_ev: float, *, every: int = 32, wide: int = 4) -> NDArray[np.float64]:
    """Light of a ball before a wall behind an egg-crate grid, whose lines are so much darker."""
    y, x = np.mgrid[0 : SIZE[1], 0 : SIZE[0]]
    lines = (x % every < wide) | (y % every < wide)
    light = np.where(lines, WALL * 2.0**-lines_ev, WALL)
    return np.where(disc(SIZE, (300, 200), 80), DARK, light)


@pytest.mark.parametrize("lines_ev", [0.3, 1.0, 2.5])
def test_a_grid_on_the_softbox_is_backdrop(lines_ev: float) -> None:
    levels, zones = zones_of(frame_of_light(blurred(gridded(lines_ev)), NOISY))
    assert zones.grid
    truth = np.where(disc(SIZE, (300, 200), 80), SUBJECT, BACKDROP).astype(np.uint8)
    backdrop, subject = overlap(mask_of(levels, zones), truth)
    assert backdrop > 0.99
    assert subject > 0.97
    # Dark lines count as what they are: they are no fringe, nor hair.
    assert zones.strands.mean() < 0.002
    assert not zones.fringe[:, :80].any()


@pytest.mark.parametrize("full_well_e", [NOISY.full_well_e, 60])
def test_crossing_seams_and_noise_are_no_grid(full_well_e: float) -> None:
    light = np.full(SIZE[::-1], 2.0**-0.5)  # under the ceiling, where noise shows
    light[198:202] *= 0.6
    light[:, 298:302] *= 0.6
    frame = frame_of_light(blurred(light), replace(NOISY, full_well_e=full_well_e))
    _, zones = zones_of(frame)
    assert zones.found
    assert not zones.grid


def test_a_ladder_beside_the_sitter_is_no_grid() -> None:
    """Its rungs fill all that is lit on one side of the sitter, but not the other side."""
    y, x = np.mgrid[0 : SIZE[1], 0 : SIZE[0]]
    body = np.hypot((x - 310) / 110, (y - 200) / 260) < 1
    rails = abs(abs(x - 130) - 40) < 4
    rungs = (abs(x - 130) < 40) & (y % 50 < 8)
    lit = (abs(x - 280) < 220) & (abs(y - 200) < 180)
    ladder = (rails | rungs) & lit
    light = np.where(body | ladder, DARK, np.where(lit, WALL, 2.0**-7))
    levels, zones = zones_of(frame_of_light(blurred(light), NOISY))
    assert not zones.grid
    assert (mask_of(levels, zones)[ladder] == BACKDROP).mean() < 0.01


def test_long_hair_all_over_the_softbox_is_no_grid() -> None:
    """Fifty-five strands that fan out from a head over a narrow softbox."""
    y, x = np.mgrid[0 : SIZE[1], 0 : SIZE[0]]
    rng = np.random.default_rng(4)
    strands = np.zeros(SIZE[::-1], np.uint8)
    for turn in np.linspace(-2.8, -0.3, 55):
        bend = rng.uniform(-0.6, 0.6)
        along = np.linspace(80, 400 * rng.uniform(0.5, 1), 40)
        way = turn + bend * (along - 80) / 250
        points = np.stack([300 + along * np.cos(way), 330 + along * np.sin(way)], axis=1)
        cv2.polylines(strands, [np.rint(points).astype(np.int32)], isClosed=False, color=1)
    head = np.hypot(x - 300, y - 330) < 90
    lit = abs(x - 300) < 180
    light = np.where(head, DARK, np.where(lit, WALL * 0.4**strands, 2.0**-7))
    _, zones = zones_of(frame_of_light(blurred(light), NOISY))
    assert zones.found
    assert not zones.grid
    assert zones.strands.mean() > 0.02


@pytest.mark.parametrize("every", [24, 64])
def test_a_grid_that_is_seen_from_aside_is_one(every: int) -> None:
    corners = np.array([[200, 200], [800, 200], [800, 600], [200, 600]], np.float32)
    seen = np.array([[0, 20], [600, -40], [620, 430], [-20, 380]], np.float32)
    around = np.pad(gridded(1.0, every=every), 200, mode="wrap")
    light = cv2.warpPerspective(around, cv2.getPerspectiveTransform(corners, seen), SIZE)
    _, zones = zones_of(frame_of_light(blurred(light), NOISY))
    assert zones.grid


def umbrella(drawn_in: float) -> NDArray[np.bool_]:
    """A shoot-through umbrella: its rim draws in between eight ribs, part of the radius."""
    y, x = np.mgrid[0 : SIZE[1], 0 : SIZE[0]] + 0.5
    angle = np.arctan2(y - 200, x - 300) % (np.pi / 4) - np.pi / 8
    side = np.cos(np.pi / 8) / np.cos(angle)  # the straight side of an octagon, of radius 1
    between = 1 - (angle / (np.pi / 8)) ** 2
    return np.asarray(np.hypot(x - 300, y - 200) < 180 * (side - drawn_in * between), bool)


@pytest.mark.parametrize("drawn_in", [0.0, 0.03, 0.06, 0.09])
def test_an_umbrella_that_draws_in_between_its_ribs_is_no_subject(drawn_in: float) -> None:
    face, ball = umbrella(drawn_in), disc(SIZE, (300, 200), 60)
    light = np.where(ball, DARK, np.where(face, WALL, 2.0**-7))
    levels, zones = zones_of(frame_of_light(blurred(light), NOISY))
    assert not (mask_of(levels, zones)[~disc(SIZE, (300, 200), 64)] == SUBJECT).any()


def test_fingers_over_the_rim_are_subject() -> None:
    """What reaches far into the face for its width stands before it, though it joins its rim."""
    fingers = np.zeros(SIZE[::-1], bool)
    for top in (150, 170, 190):
        fingers[top : top + 10, 500:540] = True
    frame, truth = picture(ball=fingers | disc(SIZE, (300, 200), 60))
    levels, zones = zones_of(frame)
    found = mask_of(levels, zones)[fingers]
    assert (found == SUBJECT).mean() > 0.8
    assert (truth[fingers] == SUBJECT).all()


def test_an_empty_softbox_has_no_subject() -> None:
    frame, truth = picture(ball=np.zeros(SIZE[::-1], bool))
    levels, zones = zones_of(frame)
    assert zones.outlines == ()
    assert not zones.subject.any()
    assert overlap(mask_of(levels, zones), truth)[0] > 0.99


@pytest.mark.parametrize("level", [2.0**-5, 2.0**-8, 0.0])
def test_a_dark_frame_has_no_backdrop(level: float) -> None:
    _, zones = zones_of(frame_of_light(np.full((200, 300), level), NOISY))
    assert not zones.found
    assert not zones.backdrop.any()
    assert not zones.subject.any()
    assert zones.outlines == ()


def test_a_small_lamp_is_no_backdrop() -> None:
    light = np.where(disc(SIZE, (300, 200), 15), WALL, 2.0**-7)
    assert not zones_of(frame_of_light(blurred(light), NOISY))[1].found


def test_a_noisy_picture_without_any_surface_is_no_backdrop() -> None:
    light = 2.0 ** np.random.default_rng(3).uniform(-8, 1, (200, 300))
    assert not zones_of(frame_of_light(light, NOISY))[1].found


@pytest.mark.parametrize("sigma", [0.6, 0.9, 1.5, 2.5])
def test_the_fringe_is_three_sigma_wide_on_both_sides_of_a_border(sigma: float) -> None:
    ball = disc(SIZE, (300, 200), 80)
    light = np.where(ball, DARK, 1.0)
    levels, zones = zones_of(frame_of_light(blurred(light, sigma), NOISY))
    away = np.abs(ndimage.distance_transform_edt(ball) - ndimage.distance_transform_edt(~ball))
    fringe = np.repeat(np.repeat(zones.fringe, levels.scale, 0), levels.scale, 1)
    # The working picture's pixels are two wide.
    assert fringe[away < 3 * sigma - 0.9].all()
    assert not fringe[away > 3 * sigma + 3].any()


def test_the_outline_lies_on_the_ball_with_the_subject_on_its_right() -> None:
    frame, _ = picture(ball=disc(SIZE, (300, 200), 80))
    _, zones = zones_of(frame)
    (line,) = zones.outlines
    away = np.hypot(*(line - [300, 200]).T) - 80
    # Half a stop over white some photosites clip along the border: two pixels are one cell.
    assert abs(away.mean()) < 0.5
    assert np.abs(away).max() < 1.5
    # Right of the way, y down: the cross product of the step and the way to the middle.
    step, inwards = np.diff(line, axis=0), ([300, 200] - line)[:-1]
    assert (step[:, 0] * inwards[:, 1] - step[:, 1] * inwards[:, 0] > 0).all()


@pytest.mark.parametrize("orientation", range(1, 9))
def test_zones_do_not_depend_on_how_the_camera_was_held(orientation: int) -> None:
    frame, _ = picture(ball=disc(SIZE, (250, 180), 70))
    upright, turned = zones_of(frame)[1], zones_of(held(frame, orientation))[1]
    np.testing.assert_array_equal(turned.label, upright.label)
    np.testing.assert_array_equal(turned.fringe, upright.fringe)
    lengths = [sum(map(len, zones.outlines)) for zones in (turned, upright)]
    assert lengths[0] == pytest.approx(lengths[1], abs=1)


def test_a_mask_covers_rows_and_columns_that_fill_no_cell() -> None:
    frame, _ = picture(ball=disc(SIZE, (300, 200), 80))
    odd = replace(frame, mosaic=np.ascontiguousarray(frame.mosaic[:-1, :-1]))
    levels, zones = zones_of(odd)
    assert mask_of(levels, zones).shape == (399, 599)


# With a plate


@pytest.mark.parametrize("shift", [(0, 0), (6, -4), (-8, 6)])
def test_a_shifted_plate_tells_the_zones(shift: tuple[int, int]) -> None:
    """The plate's softbox lies elsewhere by a few pixels: it is moved to fit."""
    frame, truth = picture(ball=disc(SIZE, (300, 330), 90))
    empty, _ = picture(ball=np.zeros(SIZE[::-1], bool))
    moved = np.roll(empty.mosaic, (-shift[1], -shift[0]), axis=(0, 1))
    plate, plate_zones = zones_of(replace(empty, mosaic=moved))
    levels = measure_levels(frame)
    zones = find_zones_by_plate(levels, find_zones(levels), plate, plate_zones)
    assert zones.plate_shift == pytest.approx(shift, abs=0.3)
    backdrop, subject = overlap(mask_of(levels, zones), truth)
    assert backdrop > 0.99
    assert subject > 0.97


def test_a_plate_of_other_light_tells_the_zones_too() -> None:
    frame, truth = picture(ball=disc(SIZE, (300, 200), 90))
    face = picture(ball=np.zeros(SIZE[::-1], bool))[1] == BACKDROP
    light = np.where(face, WALL * 2**-0.7, 2.0**-7)
    plate, plate_zones = zones_of(frame_of_light(blurred(light), NOISY))
    levels = measure_levels(frame)
    zones = find_zones_by_plate(levels, find_zones(levels), plate, plate_zones)
    assert overlap(mask_of(levels, zones), truth)[1] > 0.97


@pytest.mark.parametrize(
    ("plate_ev", "change_ev"), [(1.9, -1.0), (1.9, -1.4), (1.9, -1.8), (-0.4, 2.2)]
)
@pytest.mark.parametrize("sloping_ev", [0.0, 0.9])
def test_power_changed_since_the_plate(
    plate_ev: float, change_ev: float, sloping_ev: float
) -> None:
    """Common practice: a plate with stops to spare says how much power can come off; then the
    plate tells only that the backdrop was at least so bright, and the frame its level. Or power is
    raised, and the frame tells only that it is at least so bright."""
    x = np.linspace(-0.5, 0.5, SIZE[0])[None, :] * sloping_ev
    face = picture(ball=np.zeros(SIZE[::-1], bool))[1] == BACKDROP
    ball = disc(SIZE, (300, 330), 90)
    level = 2.0 ** (plate_ev + x) * np.ones(SIZE[::-1])
    empty = np.where(face, level, 2.0**-7)
    plate, plate_zones = zones_of(frame_of_light(blurred(empty), NOISY))
    light = np.where(ball & face, DARK, empty * 2.0**change_ev)
    levels, alone = zones_of(frame_of_light(blurred(light), NOISY))
    zones = find_zones_by_plate(levels, alone, plate, plate_zones)
    truth = np.where(ball & face, SUBJECT, np.where(face, BACKDROP, SURROUND)).astype(np.uint8)
    backdrop, subject = overlap(mask_of(levels, zones), truth)
    assert backdrop > 0.99
    assert subject > 0.97
    every = np.s_[:: levels.scale, :: levels.scale]
    inner = ndimage.binary_erosion(truth == BACKDROP, iterations=6)[every]
    told = np.minimum(np.stack([zones.backdrop_ev, np.log2(light[every])]), levels.ceiling_ev)
    off = (told[0] - told[1])[inner]
    assert np.abs(off).max() < 0.1
    assert np.abs(np.median(off)) < 0.02


def test_an_under_frame_tells_what_a_plate_at_the_ceiling_cannot() -> None:
    """The backdrop slopes from 1.3 to 2.4 stops over white: plate and frame are at the ceiling."""
    face = picture(ball=np.zeros(SIZE[::-1], bool))[1] == BACKDROP
    ball = disc(SIZE, (300, 330), 90)
    stops = np.tile(np.linspace(1.3, 2.4, SIZE[0]), (SIZE[1], 1))
    empty = np.where(face, 2.0**stops, 2.0**-7)
    light = blurred(np.where(ball & face, DARK, empty))
    plate = inspect(frame_of_light(blurred(empty), NOISY))
    under = frame_of_light(light / 8, NOISY, seed=2)
    seen = inspect(frame_of_light(light, NOISY), plate=plate, under=under)
    every = np.s_[:: seen.levels.scale, :: seen.levels.scale]
    inner = ndimage.binary_erosion(face, iterations=6)[every]
    off = (seen.zones.backdrop_ev - stops[every])[inner]
    assert np.abs(off).max() < 0.1
    assert seen.exposure.ev_p99 == pytest.approx(2.28, abs=0.03)


def test_a_photographed_fencer() -> None:
    frame, truth = sets.photographed(sets.CLEAN)
    levels, zones = zones_of(frame)
    backdrop, subject = overlap(mask_of(levels, zones), truth.zones)
    assert backdrop > 0.97
    assert subject > 0.97


def test_a_backdrop_that_slopes_is_followed_beyond_a_body_across_it() -> None:
    """A body from the top of the face to its foot parts it; light falls by stops from side to
    side, so the darker part is told by where the slope of the brighter one leads."""
    x = np.arange(SIZE[0])[None, :]
    slope = 2.0 ** (0.9 - 2.5 * np.clip((520 - x) / 480, 0, 1))
    light = np.where(np.abs(x - 330) < 45, DARK, slope) * np.ones((SIZE[1], 1))
    light[:40], light[370:], light[:, :60], light[:, 540:] = (2.0**-7,) * 4
    found = find_surface(measure_levels(frame_of_light(blurred(light), NOISY)).ev)
    assert found is not None
    assert found[1][30:175, 40:135].mean() > 0.97


@pytest.mark.parametrize("root", [0.0, 6.0])
def test_loose_hair_is_left_out_though_its_roots_do_not_show(root: float) -> None:
    """Lines thinner than the fringe that start a few pixels off the head count as hair."""
    head = disc(SIZE, (300, 230), 90)
    face = np.zeros(SIZE[::-1], bool)
    face[30:370, 60:540] = True
    light = np.where(head, DARK, np.where(face, 2.0**0.15, 2.0**-7))
    away = np.arange(90 + root, 180, 0.25)
    for turn in np.linspace(-2.7, -0.4, 14):
        x, y = 300 + away * np.cos(turn), 230 + away * np.sin(turn)
        inside = y > 40
        light[y[inside].astype(int), x[inside].astype(int)] = 2.0**-1.5
    levels, zones = zones_of(frame_of_light(blurred(light), NOISY))
    counted = zones.backdrop & ~zones.fringe
    assert (levels.white < 0.5)[zones.backdrop].mean() > 0.006
    assert levels.white[counted].mean() > 0.998


def test_a_line_far_from_anyone_is_no_hair() -> None:
    face = np.zeros(SIZE[::-1], bool)
    face[30:370, 60:540] = True
    light = np.where(disc(SIZE, (180, 250), 60), DARK, np.where(face, 2.0**0.15, 2.0**-7))
    light[100:300, 430:432] = 2.0**-0.7
    levels, zones = zones_of(frame_of_light(blurred(light), NOISY))
    line = np.zeros(zones.fringe.shape, bool)
    line[110 // levels.scale : 290 // levels.scale, 430 // levels.scale] = True
    assert not zones.fringe[line].any()


def test_the_fainter_end_of_loose_hair_is_left_out_but_no_seam() -> None:
    """A line that hangs on the head and grows fainter; one as faint by itself is counted."""
    face = np.zeros(SIZE[::-1], bool)
    face[30:370, 60:540] = True
    light = np.where(disc(SIZE, (180, 250), 60), DARK, np.where(face, 2.0**0.05, 2.0**-7))
    light[240:243, 238:290] = 2.0**-1.0
    light[240:243, 290:360] = 2.0**-0.25
    light[100:103, 238:360] = 2.0**-0.25
    levels, zones = zones_of(frame_of_light(blurred(light), NOISY))
    faint, alone = (slice(y // levels.scale, y // levels.scale + 1) for y in (241, 101))
    along = slice(300 // levels.scale, 350 // levels.scale)
    assert levels.white[alone, along].max() < 1
    assert zones.fringe[faint, along].all()
    assert not zones.fringe[alone, along].any()


@pytest.mark.parametrize(("end", "is_hair"), [(274, True), (520, False)])
def test_a_faint_line_that_hangs_on_the_head_is_hair_where_it_soon_ends(
    end: int, is_hair: bool
) -> None:
    """A seam goes on across the face."""
    face = np.zeros(SIZE[::-1], bool)
    face[30:370, 60:540] = True
    light = np.where(disc(SIZE, (180, 250), 60), DARK, np.where(face, 2.0**0.05, 2.0**-7))
    light[240:243, 238:end] = 2.0**-0.3
    levels, zones = zones_of(frame_of_light(blurred(light), NOISY))
    line = np.s_[241 // levels.scale, 252 // levels.scale : 266 // levels.scale]
    assert levels.white[line].max() < 1
    assert zones.fringe[line].all() == is_hair


@pytest.mark.parametrize("wall_ev", [-0.5, 0.4])
def test_the_mask_ends_where_the_subject_begins_though_its_rim_is_lit(wall_ev: float) -> None:
    """Light that wraps round a ball moves the place where light is halfway inwards."""
    radius, centre = 120.0, (300.3, 199.6)
    x, y = np.meshgrid(np.arange(600) + 0.5 - centre[0], np.arange(400) + 0.5 - centre[1])
    depth = radius - np.hypot(x, y)
    cover = np.clip(depth + 0.5, 0, 1)
    lit = 2.0**wall_ev * (0.02 + 0.45 * np.exp(-np.maximum(depth, 0) / 3))
    light = cover * lit + (1 - cover) * 2.0**wall_ev
    mask = mask_of(*zones_of(frame_of_light(blurred(light, 1.2), NOISY)))
    found = np.sqrt(np.count_nonzero(mask == SUBJECT) / np.pi)
    assert found == pytest.approx(radius, abs=0.2)
