"""The subject's edge: length, ramp, spill and hot spots, on edges drawn here and photographed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import sets
from hypothesis import given, settings
from hypothesis import strategies as st
from plain import NOISY, blurred, disc, frame_of_light, held
from scipy.special import ndtri

from inspector.across import Across
from inspector.arrays import Mask, Points
from inspector.edge import Edge, SpillRun, measure_edge, tolerance_px
from inspector.frame import Frame
from inspector.levels import measure_levels
from inspector.simulate import Light, Scene, Spill, Spot
from inspector.under import lay_under
from inspector.zones import find_zones

SIZE = (600, 400)
WALL, DARK = 2.0**0.3, 2.0**-5
LIMIT = 0.0002
BALL = disc(SIZE, (300, 200), 90)


def edge_of(frame: Frame) -> Edge:
    levels = measure_levels(frame)
    return measure_edge(levels, find_zones(levels), hot_spot_area=LIMIT)


def headroom_of(frame: Frame) -> Points:
    headroom = edge_of(frame).headroom
    assert headroom is not None
    return headroom.ev


def ball(sigma: float = 0.9) -> Frame:
    return frame_of_light(blurred(np.where(BALL, DARK, WALL), sigma), NOISY)


@pytest.mark.parametrize(("side", "px"), [(1080, 3), (3000, 3), (6000, 6), (8256, 8.256)])
def test_tolerance_is_three_pixels_or_a_thousandth_of_the_long_side(side: int, px: float) -> None:
    assert tolerance_px((side, side // 2)) == pytest.approx(px)
    assert tolerance_px((side // 2, side)) == pytest.approx(px)


def test_the_length_of_a_balls_edge_is_its_circumference() -> None:
    assert edge_of(ball()).length_px == pytest.approx(2 * np.pi * 90, rel=0.02)


@pytest.mark.parametrize("thick", [1.5, 3.0, 5.0])
def test_strands_and_foils_are_no_length_of_edge(thick: float) -> None:
    """Six of them stick out of the ball by half its radius; three sigma of the blur are 2.7 px."""
    y, x = np.mgrid[: SIZE[1], : SIZE[0]] + 0.5
    light = np.where(BALL, DARK, WALL)
    for turn in np.radians(np.arange(10, 370, 60)):
        along = (x - 300) * np.cos(turn) + (y - 200) * np.sin(turn)
        aside = (y - 200) * np.cos(turn) - (x - 300) * np.sin(turn)
        light[(along > 0) & (along < 135) & (np.abs(aside) < thick / 2)] = DARK
    edge = edge_of(frame_of_light(blurred(light, 0.9), NOISY))
    assert edge.length_px == pytest.approx(2 * np.pi * 90, rel=0.08)


def test_a_clean_ball_does_not_spill() -> None:
    edge = edge_of(ball())
    assert edge.spill_fraction == 0
    assert edge.spill == ()
    assert edge.hot_spots == ()
    assert edge.headroom is not None
    assert (edge.headroom.ev > 0).all()


def test_the_ramp_grows_with_the_blur() -> None:
    ramps = [edge_of(ball(sigma)).ramp_px for sigma in (0.7, 1.2, 2.0, 3.0)]
    assert all(ramp is not None for ramp in ramps)
    assert sorted(ramps, key=float) == ramps  # type: ignore[arg-type]


@pytest.mark.parametrize("ev", [-1.7, -0.5, 0.3, 1.5])
def test_the_ramp_is_that_of_a_gaussian_edge_at_any_exposure(ev: float) -> None:
    """10 to 90 % of a Gaussian edge is 2.563 sigma; of what white cuts off only the rest counts."""
    wall, sigma = 2.0**ev, 1.5
    noisy = replace(NOISY, full_well_e=800)
    seen = edge_of(frame_of_light(blurred(np.where(BALL, DARK, wall), sigma), noisy)).ramp_px
    top = min(1.0, wall)
    ends = [(top - DARK) * share / (wall - DARK) for share in (0.1, 0.9)]
    assert seen == pytest.approx(sigma * (ndtri(ends[1]) - ndtri(ends[0])), rel=0.12)


@pytest.mark.parametrize("ev", [0.0, 0.5, 1.5])
@pytest.mark.parametrize("sigma", [0.6, 0.8, 1.2])
def test_a_wavy_outline_does_not_lengthen_a_sharp_ramp(sigma: float, ev: float) -> None:
    """Drawn four times as fine: a Gaussian edge in closed form, with the photosite's own width."""
    y, x = np.mgrid[0 : 4 * SIZE[1], 0 : 4 * SIZE[0]] + 0.5
    angle = np.arctan2(y - 2 * SIZE[1], x - 2 * SIZE[0])
    wavy = np.hypot(x - 2 * SIZE[0], y - 2 * SIZE[1]) < 4 * (90 + 2 * np.sin(9 * angle))
    fine = blurred(np.where(wavy, DARK, 2.0**ev), 4 * sigma)
    light = fine.reshape(SIZE[1], 4, SIZE[0], 4).mean(axis=(1, 3))
    ends = [(1 - DARK) * share / (2.0**ev - DARK) for share in (0.1, 0.9)]
    true = np.sqrt(sigma**2 + 1 / 12) * (ndtri(ends[1]) - ndtri(ends[0]))
    # Far over white all of the ramp lies within a photosite.
    assert edge_of(frame_of_light(light, NOISY)).ramp_px == pytest.approx(
        true, rel=0.05 if ev < 1 else 0.1
    )


@pytest.mark.parametrize("share", [0.3, 0.4])
def test_spill_on_less_than_half_the_outline_leaves_the_ramp_that_of_the_rest(share: float) -> None:
    """Most of a ball's edge is a Gaussian's; onto the rest light falls over a hundred pixels."""
    x, y = np.meshgrid(np.arange(SIZE[0]) + 0.5 - 300, np.arange(SIZE[1]) + 0.5 - 200)
    inside = 150 - np.hypot(x, y)
    lit = np.where(np.abs(np.arctan2(x, -y)) < np.pi * share, WALL * np.exp(-inside / 40), DARK)
    edge = edge_of(frame_of_light(blurred(np.where(inside > 0, lit, WALL), 1.2), NOISY))
    part = ndtri(0.9 / WALL) - ndtri(0.1 / WALL)  # of its fall, as far as it lies under white
    assert edge.ramp_px == pytest.approx(1.2 * part, rel=0.07)


def test_another_limb_beside_does_not_lengthen_the_ramp() -> None:
    both = BALL | disc(SIZE, (300, 200 + 2 * 90 + 15), 90)
    beside = edge_of(frame_of_light(blurred(np.where(both, DARK, WALL)), NOISY)).ramp_px
    assert beside == pytest.approx(edge_of(ball()).ramp_px, rel=0.1)


def test_the_core_is_the_subject_less_its_ramp() -> None:
    frame = ball(2.0)
    levels = measure_levels(frame)
    zones = find_zones(levels)
    edge = measure_edge(levels, zones, hot_spot_area=LIMIT)
    assert not edge.core[~zones.subject].any()
    core = np.repeat(np.repeat(edge.core, levels.scale, 0), levels.scale, 1)
    # Ten sigma inside all is core; within the ramp nothing is.
    assert core[disc(SIZE, (300, 200), 70)].all()
    assert edge.ramp_px is not None
    assert not core[~disc(SIZE, (300, 200), 92 - edge.ramp_px)].any()


def test_a_frame_without_a_subject_has_no_edge() -> None:
    edge = edge_of(frame_of_light(np.full(SIZE[::-1], WALL), NOISY))
    assert (edge.length_px, edge.ramp_px, edge.spill_fraction) == (0, None, None)
    assert edge.spill == ()
    assert edge.headroom is None
    assert not edge.core.any()


def test_a_frame_without_a_backdrop_has_no_edge() -> None:
    edge = sets.seen(sets.MISFIRE).edge
    assert (edge.length_px, edge.ramp_px, edge.spill_fraction) == (0, None, None)


@pytest.mark.parametrize("orientation", range(2, 9))
def test_the_edge_does_not_depend_on_how_the_camera_was_held(orientation: int) -> None:
    frame, _ = sets.photographed(sets.SPILT)
    upright, turned = sets.seen(sets.SPILT).edge, edge_of(held(frame, orientation))
    assert turned.length_px == pytest.approx(upright.length_px, rel=0.01)
    assert turned.ramp_px == pytest.approx(upright.ramp_px, rel=0.05)
    assert turned.spill_fraction == pytest.approx(upright.spill_fraction, abs=0.02)
    assert [s.where for s in turned.spill if s.sure] == [s.where for s in upright.spill if s.sure]


@pytest.mark.parametrize("scene", [sets.CLEAN, sets.WALL, sets.SHORT, sets.LIT, sets.FILLED])
def test_length_and_ramp_of_photographed_edges(scene: Scene) -> None:
    edge, (_, truth) = sets.seen(scene).edge, sets.photographed(scene)
    assert edge.length_px == pytest.approx(truth.edge_length_px, rel=0.06)
    assert edge.ramp_px == pytest.approx(truth.ramp_px, rel=0.2)
    assert edge.spill_fraction == truth.spill_fraction == 0


def test_spill_is_found_where_it_is_and_as_deep() -> None:
    edge, (_, truth) = sets.seen(sets.SPILT).edge, sets.photographed(sets.SPILT)
    run, told = edge.spill[0], max(truth.spill, key=lambda s: s.length_px)
    assert run.sure
    x0, y0, x1, y1 = run.box
    assert x0 < told.box[2]
    assert told.box[0] < x1
    assert y0 < told.box[3]
    assert told.box[1] < y1
    assert edge.spill_fraction is not None
    assert edge.spill_fraction > 0.05
    assert 0.3 * told.depth_px < run.depth_px < 2 * told.depth_px
    assert run.points.shape == run.inward.shape
    assert len(run.depths) == len(run.points)


@pytest.mark.parametrize("depth", [0.012, 0.016, 0.024])
@pytest.mark.parametrize("ramp", [0.01, 0.02])
def test_deep_spill_is_never_taken_for_a_clean_edge(depth: float, ramp: float) -> None:
    light = Light(spills=(Spill((0.58, 0.3), 0.09, 0.7, depth, ramp),))
    i = sets.seen(replace(sets.CLEAN, light=light))
    assert "spill" in [r.code for r in i.verdict.reasons]


@pytest.mark.parametrize("gap", [20, 40])
def test_spill_is_found_across_a_gap_before_a_thicker_limb(gap: int) -> None:
    """Light that falls slowly onto one side of the gap; the other side is clean."""
    x, y = np.meshgrid(np.arange(SIZE[0]) + 0.5, np.arange(SIZE[1]) + 0.5)
    body = (np.abs(x - 240) < 60) & (y > 60)
    arm = (x > 300 + gap) & (x < 390 + gap) & (y > 60)
    lit = 2.0**0.3 / (1 + np.exp((x - 312 - gap) / 4))
    light = np.where(body, 2.0**-6, np.where(arm, np.maximum(lit, 2.0**-6), 2.0**0.3))
    runs = [r for r in edge_of(frame_of_light(blurred(light, 1.0), NOISY)).spill if r.sure]
    assert all(abs(r.points[:, 0].mean() - 310 - gap) < 4 for r in runs)
    assert sum(r.length_px for r in runs) > 250


@pytest.mark.parametrize("hour", [12, 3, 6, 9])
def test_spill_is_one_run_wherever_on_a_closed_outline_it_lies(hour: int) -> None:
    """Light that falls slowly onto a sixth of a ball: no end of its outline cuts it in two."""
    x, y = np.meshgrid(np.arange(SIZE[0]) + 0.5 - 300, np.arange(SIZE[1]) + 0.5 - 200)
    inside = 120 - np.hypot(x, y)
    towards = (np.arctan2(x, -y) - hour * np.pi / 6 + np.pi) % (2 * np.pi) - np.pi
    lit = np.where(np.abs(towards) < np.pi / 6, WALL / (1 + np.exp((inside - 9) / 3)), DARK)
    edge = edge_of(frame_of_light(blurred(np.where(inside > 0, lit, WALL)), NOISY))
    (run,) = (r for r in edge.spill if r.sure)
    assert run.where == f"{hour} o'clock"
    assert run.length_px == pytest.approx(120 * np.pi / 3, rel=0.12)


def thin_limb(level: float, fade: float) -> Edge:
    """The edge of a post 40 pixels wide, lit from the left, before a wall over the ceiling."""
    x, y = np.meshgrid(np.arange(SIZE[0]) + 0.5, np.arange(SIZE[1]) + 0.5)
    lit = DARK + level * np.exp(-np.maximum(x - 280, 0) / fade)
    post = (np.abs(x - 300) < 20) & (y > 60)
    return edge_of(frame_of_light(blurred(np.where(post, lit, 2.0**1.5), 1.0), NOISY))


@pytest.mark.parametrize("fade", [25.0, 40.0])
def test_white_that_falls_too_slowly_for_a_thin_limb_is_spill(fade: float) -> None:
    """To the limb's middle it has not fallen by two stops: that is as slow as one can see."""
    runs = [run for run in thin_limb(1.4, fade).spill if run.sure]
    # White to fade times the logarithm of 1.4, on one of the two long sides.
    assert sum(run.length_px for run in runs) == pytest.approx(340, rel=0.1)
    assert all(run.points[:, 0].mean() < 300 for run in runs)


@pytest.mark.parametrize("level", [0.5, 0.7])
@pytest.mark.parametrize("fade", [10.0, 40.0])
def test_a_lit_rim_under_white_on_a_thin_limb_is_no_spill(level: float, fade: float) -> None:
    assert thin_limb(level, fade).spill_fraction == 0


@pytest.mark.parametrize("rim_ev", [-3.0, -1.5, -0.6])
@pytest.mark.parametrize("width", [0.0003, 0.0008])
def test_a_narrow_bright_rim_is_no_spill(rim_ev: float, width: float) -> None:
    i = sets.seen(replace(sets.CLEAN, light=Light(rim_ev=rim_ev, rim_width=width)))
    assert i.edge.spill_fraction == 0


@pytest.mark.parametrize("wrap_ev", [-5.0, -3.5])
def test_light_that_wraps_round_limbs_is_no_spill(wrap_ev: float) -> None:
    i = sets.seen(replace(sets.CLEAN, light=Light(wrap_ev=wrap_ev, wrap_width=0.005)))
    assert i.edge.spill_fraction == 0


def glowing(level: float, fade: float, wall: float, sigma: float = 0.9) -> Frame:
    """A ball whose light starts at ``level`` on its edge and fades by e in ``fade`` pixels."""
    x, y = np.meshgrid(np.arange(SIZE[0]) + 0.5 - 300, np.arange(SIZE[1]) + 0.5 - 200)
    inside = 150 - np.hypot(x, y)
    light = np.where(inside > 0, DARK + level * np.exp(-np.maximum(inside, 0) / fade), wall)
    return frame_of_light(blurred(light, sigma), NOISY)


def test_a_white_jacket_under_a_brighter_wall_is_white_across_the_edge() -> None:
    """The right half of a ball is white to its middle; an under frame tells it from the wall."""
    x = np.meshgrid(np.arange(SIZE[0]) + 0.5, np.arange(SIZE[1]) + 0.5)[0]
    light = blurred(np.where(BALL, np.where(x > 300, 2.0**0.4, DARK), 2.0**2.5))
    levels = measure_levels(frame_of_light(light, NOISY))
    under = measure_levels(frame_of_light(light / 2**2.5, NOISY))
    joined = lay_under(levels, find_zones(levels), under)
    edge = measure_edge(joined, find_zones(joined), hot_spot_area=0.0002)
    assert edge.spill_fraction == pytest.approx(0.5, abs=0.05)
    assert edge.spill[0].sure
    assert edge.spill[0].where == "3 o'clock"


@pytest.mark.parametrize("wall", [2.0**0.3, 2.0**0.8, 2.0**1.8])
@pytest.mark.parametrize("level", [0.3, 0.5, 0.65, 0.75])
@pytest.mark.parametrize("fade", [8.0, 25.0])
def test_a_lit_rim_under_white_is_no_spill_however_slowly_it_fades(
    wall: float, level: float, fade: float
) -> None:
    """Grazing light on cloth and skin (common practice): never near white."""
    assert edge_of(glowing(level, fade, wall)).spill_fraction == 0


@pytest.mark.parametrize(("level", "fade"), [(0.5, 25.0), (0.75, 8.0), (0.75, 25.0)])
def test_a_lit_rim_under_white_is_no_spill_in_a_soft_picture(level: float, fade: float) -> None:
    """A blur that spreads the clean fall to 0.6 over as far as spill does in a sharp picture."""
    assert edge_of(glowing(level, fade, 2.0**0.3, sigma=2.8)).spill_fraction == 0


def barely_soft(deep: float, soft: float, *, half_angle: float) -> tuple[SpillRun, ...]:
    """Sure runs where light a little dimmer than the wall lies on an arc of a ball, so deep."""
    x, y = np.meshgrid(np.arange(SIZE[0]) + 0.5 - 300, np.arange(SIZE[1]) + 0.5 - 200)
    inside = 120 - np.hypot(x, y)
    lit = np.maximum(2.0 ** (0.5 - 0.08) / (1 + np.exp((inside - deep) / soft)), DARK)
    ball = np.where(np.abs(np.arctan2(x, -y)) < half_angle, lit, DARK)
    light = blurred(np.where(inside > 0, ball, 2.0**0.5), 1.0)
    return tuple(run for run in edge_of(frame_of_light(light, NOISY)).spill if run.sure)


@pytest.mark.parametrize("deep", [18, 24, 30])
@pytest.mark.parametrize(("soft", "found"), [(0.9, 0.33), (1.2, 0.55), (1.6, 0.6)])
def test_deep_spill_that_ends_hardly_softer_than_a_clean_edge_is_found(
    deep: float, soft: float, found: float
) -> None:
    """It starts to fall as sharply; so much of the arc of 240 px at least shows its soft end."""
    runs = barely_soft(deep, soft, half_angle=1.0)
    assert sum(run.length_px for run in runs) > found * 240
    assert all(run.depth_px == pytest.approx(deep, abs=2) for run in runs)


def test_a_short_stretch_of_such_light_may_be_a_rim() -> None:
    """An arc of 60 px, of which some 40 show that they end softly."""
    assert barely_soft(24, 1.2, half_angle=0.25) == ()


@pytest.mark.parametrize("deep", [12, 16, 25])
@pytest.mark.parametrize("dimmer_ev", [0.1, 0.14, 0.2])
def test_white_light_dimmer_than_the_wall_is_spill_however_sharply_it_ends(
    dimmer_ev: float, deep: float
) -> None:
    """A ring of the ball is lit: only that its border runs along with the dark tells it."""
    x, y = np.meshgrid(np.arange(SIZE[0]) + 0.5 - 300, np.arange(SIZE[1]) + 0.5 - 200)
    inside = 120 - np.hypot(x, y)
    ring = np.where(inside < deep, 2.0 ** (0.5 - dimmer_ev), DARK)
    edge = edge_of(frame_of_light(blurred(np.where(inside > 0, ring, 2.0**0.5), 1.0), NOISY))
    assert edge.spill_fraction is not None
    assert edge.spill_fraction > 0.4
    assert edge.spill[0].depth_px == pytest.approx(deep, abs=1.0)


@pytest.mark.parametrize(
    ("wall_ev", "thickest", "fade"),
    [(0.85, 0.4, 2.0), (1.1, 0.4, 2.0), (0.85, 0.25, 4.0), (1.1, 0.25, 4.0)],
)
def test_hair_that_thins_outwards_is_no_sure_spill(
    wall_ev: float, thickest: float, fade: float
) -> None:
    """The wall's light ends far before the edge, which is nearly as sharp as a clean one."""
    x, y = np.meshgrid(np.arange(SIZE[0]) + 0.5 - 300, np.arange(SIZE[1]) + 0.5 - 200)
    outside, hair = np.hypot(x, y) - 100, np.abs(np.arctan2(y, x)) < 0.45
    shade = 1 - thickest * np.clip(1 - outside / 9, 0, 1)
    light = np.where(outside > 0, np.where(hair, shade, 1) * 2.0**wall_ev, DARK)
    edge_light = (1 - thickest) * 2.0**wall_ev * (1 + outside / fade)
    light = np.where(hair & (outside < 0) & (outside > -fade), edge_light, light)
    edge = edge_of(frame_of_light(blurred(light, 1.1), NOISY))
    assert edge.spill_fraction == 0
    assert sum(run.length_px for run in edge.spill) > 40


@pytest.mark.parametrize("fade", [15.0, 25.0])
def test_the_ramp_of_a_glowing_edge_ends_where_its_light_has_fallen_to_a_tenth(
    fade: float,
) -> None:
    """0.6 exp(-u / fade), far inside the blurred step, above a core that is its median."""
    inside = 150 - np.hypot(*np.mgrid[-150:151, -150:151])
    core = np.median(DARK + 0.6 * np.exp(-inside[inside > 8] / fade))
    tenth = core + 0.1 * (1 - core)
    ramp = edge_of(glowing(0.6, fade, 2.0**0.5)).ramp_px
    assert ramp == pytest.approx(fade * np.log(0.6 / (tenth - DARK)), rel=0.1)


def test_a_hot_island_is_counted_in_the_frames_own_pixels() -> None:
    edge, (_, truth) = sets.seen(sets.HOT).edge, sets.photographed(sets.HOT)
    (spot,), (told,) = edge.hot_spots, truth.hot_spots
    assert (spot.warns, spot.sure) == (True, True)
    assert spot.area_px == pytest.approx(told.area_px, rel=0.1)
    assert np.abs(np.subtract(spot.box, told.box)).max() <= 4


def test_a_glint_is_listed_and_does_not_warn() -> None:
    """0.02 % of half a megapixel is 100 pixels."""
    light = Light(glints=(Spot((0.5, 0.36), (0.004, 0.004), 2.5, 0.5),))
    i = sets.seen(replace(sets.CLEAN, light=light))
    (spot,) = i.edge.hot_spots
    assert 4 <= spot.area_px < 100
    assert not spot.warns
    assert i.verdict.word == "pass"


@settings(max_examples=12)
@given(ev=st.floats(0.1, 1.5))
def test_headroom_shrinks_as_the_exposure_grows(ev: float) -> None:
    """Light is linear: a stop more leaves a stop less."""
    before = headroom_of(ball())
    light = blurred(np.where(BALL, DARK, WALL)) * 2**ev
    after = headroom_of(frame_of_light(light, NOISY))
    assert np.median(before) - np.median(after) == pytest.approx(ev, abs=0.25)


def holed_ball(side: int, dimmer_ev: float = 0.0) -> Frame:
    """A ball with a square hole, through which light is dimmer than the wall."""
    hole = np.zeros_like(BALL)
    hole[200 - side // 2 : 200 + side // 2, 298 - side // 2 : 298 + side // 2] = True
    light = np.where(hole, WALL * 2**-dimmer_ev, np.where(BALL, DARK, WALL))
    return frame_of_light(blurred(light, 0.9), NOISY)


def let_the_hole_spill(around: float, monkeypatch: pytest.MonkeyPatch) -> None:
    """Sure spill along such a part of its outline, whatever found it there."""

    def spilling(across: Across, *_: object, **__: object) -> tuple[tuple[SpillRun, ...], Mask]:
        x, y = across.outline.points.T
        places = np.flatnonzero((abs(x - 298) < 25) & (abs(y - 200) < 25))
        span = slice(places[0], places[0] + round(around * len(places)))
        points, inward = across.outline.points[span], across.outline.inward[span]
        length, box = float(across.outline.step[span].sum()), (275, 175, 321, 225)
        depths = np.full(len(points), 4.0)
        run = SpillRun("12 o'clock", box, length, 4.0, True, points, depths, inward, span)
        return (run,), np.zeros(len(x), bool)

    monkeypatch.setattr("inspector.edge.find_spill", spilling)
    monkeypatch.setattr("inspector.doubt.rippled", lambda *_, **__: False)


def test_a_large_gap_that_spills_all_around_is_no_light_on_the_subject(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Open by its level, which is a third of a stop off."""
    let_the_hole_spill(1.0, monkeypatch)
    edge = edge_of(holed_ball(32, 0.33))
    assert edge.spill
    assert [spot.sure for spot in edge.hot_spots] == [False]


@pytest.mark.parametrize(("around", "is_light"), [(1.0, True), (0.8, True), (0.3, False)])
def test_a_small_hole_that_seems_to_spill_all_around_is_light_on_the_subject(
    around: float, is_light: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A hole's edge spills along a part of it, as others do."""
    levels = measure_levels(holed_ball(14))
    zones = find_zones(levels)
    clean = measure_edge(levels, zones, hot_spot_area=LIMIT)
    assert clean.hot_spots == ()
    assert clean.headroom is not None
    let_the_hole_spill(around, monkeypatch)
    edge = measure_edge(levels, zones, hot_spot_area=LIMIT)
    assert edge.headroom is not None
    assert bool(edge.spill) is (edge.spill_fraction != 0) is (not is_light)
    assert bool(edge.hot_spots) is is_light
    if is_light:
        [spot] = edge.hot_spots
        assert (spot.sure, spot.warns) == (True, True)
        assert spot.area_px == pytest.approx(14 * 14, rel=0.3)
        assert np.isinf(edge.headroom.ev).sum() > np.isinf(clean.headroom.ev).sum()


@pytest.mark.parametrize(("sigma", "creeps"), [(1.5, False), (8.0, True)])
def test_light_that_falls_slowly_all_around_creeps_over_the_edge(
    sigma: float, creeps: bool
) -> None:
    """White ends where the blurred step, 1.8 stops over, falls to 0.98: 5.1 px in for 8 px.

    The Gaussian's quantile is scipy's.
    """
    size, over = (900, 600), 2.0**1.8
    light = blurred(np.where(disc(size, (450, 300), 150), 2.0**-6, over), sigma)
    depth = sigma * ndtri(1 - 0.98 / over)
    levels = measure_levels(frame_of_light(light, NOISY))
    zones = find_zones(levels)
    edge = measure_edge(levels, zones, hot_spot_area=0.0002)
    assert (depth > 3) == creeps
    assert edge.spill_fraction is not None
    assert (edge.spill_fraction > 0.9) == creeps
