"""The simulator against closed forms, standards and general libraries."""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import ndimage
from scipy.stats import norm

from inspector.decode import decode
from inspector.frame import as_viewed
from inspector.simulate import (
    Backdrop,
    Camera,
    Lens,
    Light,
    Pose,
    Scene,
    Spill,
    Spot,
    Truth,
    render,
    shoot,
)
from inspector.simulate.backdrop import face
from inspector.simulate.camera import PATTERNS, nominal_aperture, photograph
from inspector.simulate.count import cell_fractions, saturated
from inspector.simulate.families import (
    BACKDROPS,
    CAMERAS,
    FIGURES,
    OTHER_SENSORS,
    borderline,
    random_scene,
)
from inspector.simulate.faults import DEFECTS
from inspector.simulate.geometry import cover, ellipse
from inspector.simulate.lens import blur_kernel, expose
from inspector.simulate.outline import cross, ramp_px, spill_runs, spilled, trace
from inspector.simulate.render import illuminate
from inspector.simulate.samples import evening, write_samples
from inspector.simulate.truth import hot_spots
from inspector.simulate.zones import find_fringe, label
from inspector.zones import BACKDROP, SUBJECT, SURROUND

SAMPLES = Path(__file__).parents[1] / "sample_frames"
SMALL = 0.15
LUNGE = Scene(
    "lunge",
    backdrop=Backdrop("rectangle", (0.5, 0.33), (0.9, 0.58)),
    poses=(Pose("lunge", (0.42, 0.6), 0.5),),
)
AKIMBO = Scene("akimbo", poses=(Pose("akimbo", (0.5, 0.7), 0.65),))


def flat(level: float, size: int = 400) -> np.ndarray:
    return np.full((size, size, 3), level, np.float32)


# Determinism


def test_same_arguments_give_the_same_frame_and_another_seed_another_noise() -> None:
    one, _ = render(LUNGE, seed=3, megapixels=SMALL)
    two = shoot(LUNGE, seed=3, megapixels=SMALL)
    other = shoot(LUNGE, seed=4, megapixels=SMALL)
    assert np.array_equal(one.mosaic, two.mosaic)
    assert np.mean(one.mosaic != other.mosaic) > 0.5


def test_the_command_writes_the_same_bytes_twice(tmp_path: Path) -> None:
    for folder in ("a", "b"):
        assert len(list(write_samples(tmp_path / folder, megapixels=0.06))) == 12
    files = sorted(p.relative_to(tmp_path / "a") for p in (tmp_path / "a").rglob("*.*"))
    assert len(files) == 12 + 12 + 1
    for name in files:
        assert (tmp_path / "a" / name).read_bytes() == (tmp_path / "b" / name).read_bytes()


@pytest.mark.parametrize("number", [1, 4, 5])
def test_the_committed_frames_are_what_the_simulator_makes(number: int) -> None:
    sample = evening()[number - 1]
    frame = decode(SAMPLES / f"{sample.scene.name}.dng")
    again = shoot(sample.scene, camera=sample.camera, seed=number, megapixels=0.7776)
    assert frame.size == again.size
    # Another processor may round a few sites differently.
    assert np.mean(frame.mosaic != again.mosaic) < 1e-3


def test_the_truth_file_tells_of_every_committed_frame() -> None:
    told = json.loads((SAMPLES / "truth.json").read_text())["frames"]
    assert [t["file"] for t in told] == sorted(p.name for p in SAMPLES.glob("*.dng"))
    passing = {t["file"][8:10] for t in told if t["verdict"] == "pass"}
    assert passing == {"01", "03", "04", "05"}
    assert sum(p.stat().st_size for p in SAMPLES.rglob("*.*")) < 20e6


# The sensor


@pytest.mark.parametrize(
    ("level", "mean", "spread", "clipped"),
    [(1.0, 0.95932, 0.05954, 0.5), (0.9, 0.89239, 0.08462, 0.1512)],
)
def test_noise_at_the_clip_is_a_clipped_normal(
    level: float, mean: float, spread: float, clipped: float
) -> None:
    """Foi et al., IEEE TIP 17(10), 2008; Foi, Signal Processing 89(12), 2009: a 0.01, b 0.0004."""
    camera = Camera(pattern="mono", full_well_e=100, read_noise_e=2, clip_spread=0)
    frame = photograph(flat(level, 700), camera=camera, seed=1)
    v = (frame.mosaic - frame.black[0]) / (camera.clip[1] - frame.black[0])
    assert v.mean() == pytest.approx(mean, abs=6e-4)
    assert v.std() == pytest.approx(spread, abs=6e-4)
    assert np.mean(v >= 0.99995) == pytest.approx(clipped, abs=4e-3)


def test_variance_grows_with_the_mean_as_electrons_do() -> None:
    """Photon transfer (EMVA 1288, release 4.0): slope of variance over mean is the gain."""
    camera = Camera(pattern="mono", full_well_e=20000, read_noise_e=4, iso=400)
    levels = np.array([0.1, 0.2, 0.4, 0.6])
    frames = [photograph(flat(v), camera=camera, seed=i).mosaic for i, v in enumerate(levels)]
    means, variances = [f.mean() for f in frames], [f.var() for f in frames]
    slope, floor = np.polyfit(np.array(means) - 512, variances, 1)
    gain = (15778 - 512) / (20000 * 100 / 400)
    assert slope == pytest.approx(gain, rel=0.03)
    assert floor == pytest.approx((4 * gain) ** 2 + 1 / 12, abs=0.05 * max(variances))


@pytest.mark.parametrize("pattern", sorted(PATTERNS))
def test_each_site_records_its_own_colour_divided_by_its_gain(pattern: str) -> None:
    light = np.empty((48, 72, 3), np.float32)
    light[:] = (0.5, 0.4, 0.3)
    camera = Camera(pattern=pattern, full_well_e=1e12, read_noise_e=0, clip_spread=0)
    frame = photograph(light, camera=camera, seed=0)
    colours = {"R": 0.5, "G": 0.4, "B": 0.3, "L": 0.4}
    gains = {"R": 2.1, "G": 1.0, "B": 1.6, "L": 1.0}
    for row in range(12):
        for column in range(12):
            c = frame.pattern[row % frame.pattern.shape[0], column % frame.pattern.shape[1]]
            name = frame.channels[c][0]
            clip = camera.per_channel(camera.clip)[c]
            expected = 512 + colours[name] / gains[name] * (clip - 512)
            assert frame.mosaic[row, column] == round(expected)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_the_picture_as_viewed_survives_every_orientation(orientation: int) -> None:
    light = np.random.default_rng(0).uniform(0.1, 0.9, (20, 32, 1)).astype(np.float32)
    camera = Camera(
        pattern="mono", full_well_e=1e12, read_noise_e=0, clip_spread=0, orientation=orientation
    )
    frame = photograph(np.repeat(light, 3, axis=2), camera=camera, seed=0)
    seen = (as_viewed(frame.mosaic, orientation) - 512.0) / (15778 - 512)
    assert frame.size == (32, 20)
    assert np.abs(seen - light[..., 0]).max() < 1e-4


def test_channels_saturate_at_their_own_level_under_the_stated_one() -> None:
    camera = Camera(clip_spread=4)
    frame = photograph(flat(3.0), camera=camera, seed=2)
    for c, clip in enumerate((16200, 15778, 15778, 16100)):
        row, column = np.argwhere(frame.pattern == c)[0]
        sites = frame.mosaic[row::2, column::2].astype(float)
        assert sites.mean() == pytest.approx(clip, abs=0.2)
        assert sites.std() == pytest.approx(4, rel=0.05)
    assert (frame.stated_clip == 16383).all()


@pytest.mark.parametrize(
    "camera",
    [
        Camera(clip=(15787.0,) * 4, clip_spread=s, coarse_steps=k)
        for s in (0.0, 12.0)
        for k in (1, 8)
    ],
)
def test_all_of_an_overexposed_sensor_is_saturated(camera: Camera) -> None:
    full = saturated(photograph(flat(4.0), camera=camera, seed=0), camera)
    assert full == pytest.approx(1, abs=0.003)
    assert saturated(photograph(flat(0.7), camera=camera, seed=0), camera) == pytest.approx(0)


def test_twelve_bits_and_coarse_steps_leave_gaps_in_the_levels() -> None:
    fine = Camera(pattern="mono", clip_spread=0, full_well_e=3000)
    coarse = replace(fine, coarse_steps=8)
    many, few = (
        len(np.unique(photograph(flat(0.8), camera=c, seed=0).mosaic)) for c in (fine, coarse)
    )
    assert few < many / 5
    twelve = Camera(bits=12, black=(128,) * 4, clip=(4000, 3950, 3950, 4010), stated_clip=4095)
    assert photograph(flat(4.0), camera=twelve, seed=0).mosaic.max() < 4095


# Exposure


def test_light_is_linear_in_exposure() -> None:
    size = LUNGE.size(SMALL)
    once, twice = (illuminate(LUNGE, size=size, ev=ev).light for ev in (0.0, 1.0))
    assert np.allclose(twice, 2 * once, rtol=1e-5)
    assert np.median(illuminate(LUNGE, size=size, ev=-0.5).light / once) == pytest.approx(
        2**-0.5, rel=1e-5
    )


@pytest.mark.parametrize("by", ["aperture", "shutter", "iso", "light"])
@pytest.mark.parametrize("ev", [-2.0, -1.0, 1 / 3, 1.0])
def test_tags_tell_the_change_of_exposure(by: str, ev: float) -> None:
    """APEX (ASA PH2.5-1960; Exif 2.3 annex C): Av = 2 log2 N, Tv = -log2 t, Sv = log2(S/3.125)."""
    plain, changed = (shoot(AKIMBO, ev=e, by=by, megapixels=0.05).shot for e in (0.0, ev))

    def brightness(shot: object) -> float:
        n, t, s = (getattr(shot, k) for k in ("aperture_f", "shutter_s", "iso"))
        return float(-2 * np.log2(n) + np.log2(t) + np.log2(s / 3.125))

    told = 0.0 if by == "light" else ev
    # Nominal f-numbers are off their exact series by up to 0.08 stop.
    assert brightness(changed) - brightness(plain) == pytest.approx(told, abs=0.1)


def test_apertures_are_marked_as_lenses_are() -> None:
    """Nominal f-numbers (ISO 517)."""
    assert [nominal_aperture(8.0, ev) for ev in (0, -1, -2, -3, 1, 1 / 3)] == [
        8.0, 11.0, 16.0, 22.0, 5.6, 7.1,
    ]  # fmt: skip
    with pytest.raises(ValueError, match="aperture, shutter or iso"):
        Camera().exposed(1.0, by="hope")


# The lens


@pytest.mark.parametrize("sigma", [0.6, 0.9, 1.0, 2.0, 3.5])
def test_an_edge_is_as_wide_as_a_gaussian_of_its_sigma(sigma: float) -> None:
    """10 to 90 % of a Gaussian edge is 2.563 sigma (scipy's norm.ppf)."""
    places, levels = [], []
    for phase in np.arange(0, 1, 1 / 16):
        x = np.arange(60) - (30 + phase)
        step = np.tile(norm.cdf(x / min(sigma, 0.8))[None, :, None], (9, 1, 3)).astype(np.float32)
        levels.append(expose(step, Lens(sigma, 0.0))[4, :, 1])
        places.append(x)
    x, profile = np.concatenate(places), np.concatenate(levels)
    order = np.argsort(x)
    rise = np.interp([0.1, 0.9], profile[order], x[order])
    assert rise[1] - rise[0] == pytest.approx((norm.ppf(0.9) - norm.ppf(0.1)) * sigma, rel=0.02)


@pytest.mark.parametrize("variance", [0.05, 0.3, 1.0, 9.0])
def test_the_blur_kernel_has_its_variance(variance: float) -> None:
    kernel = blur_kernel(variance)
    x = np.arange(len(kernel)) - len(kernel) // 2
    assert kernel.sum() == pytest.approx(1)
    assert (kernel * x**2).sum() == pytest.approx(variance, rel=1e-3)


@pytest.mark.parametrize("sigma", [0.5, 0.6, 0.9, 1.2, 2.0])
def test_a_slanted_edge_of_the_scene_has_its_lens_blur(sigma: float) -> None:
    """Edge spread by the slanted-edge method of ISO 12233: pixels sorted along the normal."""
    box = Backdrop("rectangle", (0.5, 0.333), (0.5, 0.4), turn_deg=5, ev=0, falloff_ev=0)
    scene = Scene("edge", backdrop=box, lens=Lens(sigma, 0.0))
    scene = replace(scene, surround=replace(scene.surround, ev=-12, stand=False))
    size = scene.size(0.5)
    light = illuminate(scene, size=size).light[..., 1]
    unit, turn = max(size), np.deg2rad(5)
    y, x = np.mgrid[: size[1], : size[0]] + 0.5
    away = (x / unit - 0.5) * np.cos(turn) + (y / unit - 0.333) * np.sin(turn) + 0.25
    along = (y / unit - 0.333) * np.cos(turn) - (x / unit - 0.5) * np.sin(turn)
    near = (np.abs(away * unit) < 12) & (np.abs(along) < 0.12)
    place = np.round(away[near] * unit * 8).astype(int)
    bins = np.arange(-80, 81)
    profile = ndimage.mean(light[near], place, bins)
    rise = np.interp([0.1, 0.5, 0.9], profile / profile[-1], bins / 8)
    assert rise[2] - rise[0] == pytest.approx(2.563 * sigma, rel=0.03)
    assert rise[1] == pytest.approx(0, abs=0.25)


def test_veil_is_the_glare_of_a_black_patch_in_a_bright_field() -> None:
    """Veiling glare index of ISO 9358:1994: image of a black area over its bright field."""
    light = np.ones((300, 450, 3), np.float32)
    light[140:160, 215:235] = 0
    seen = expose(light, Lens(1.0, 0.02))[..., 1]
    assert seen[150, 225] / seen[20, 20] == pytest.approx(0.02, rel=0.03)


# The truth


def disc(size: int, radius: float) -> tuple[np.ndarray, np.ndarray]:
    shape = (ellipse((0.5, 0.5), (radius / size, radius / size)),)
    figure = cover([shape], (size, size), sigma=0.8)
    return figure, label(figure, np.ones_like(figure))


def test_coverage_is_the_area_of_the_shape() -> None:
    figure, _ = disc(300, 90)
    # Polygons are drawn with their own border of half a sample, an eighth of a pixel.
    assert figure.sum() == pytest.approx(np.pi * 90.125**2, rel=2e-3)


def test_the_outline_of_a_disc_is_its_circumference_and_points_to_its_middle() -> None:
    figure, zones = disc(300, 90)
    outline = trace(zones, figure, blur_px=0.8)
    out = outline.points - 150
    assert outline.length_px == pytest.approx(2 * np.pi * 90, rel=0.01)
    assert np.abs(np.hypot(*out.T) - 90.1).max() < 0.25
    inward = -(out * outline.inward).sum(axis=1) / np.hypot(*out.T)
    assert inward.min() > 0.99


def test_spill_on_part_of_a_disc_is_found_as_long_and_as_deep_as_it_is() -> None:
    figure, zones = disc(300, 90)
    outline = trace(zones, figure, blur_px=0.8)
    y, x = np.mgrid[:300, :300] + 0.5 - 150
    from_edge = 90 - np.hypot(x, y)
    quarter = (x > 0) & (y < 0)
    level = np.where(from_edge < 0, 2.0, 0.02)
    level = np.where(quarter & (from_edge >= 0), 2.0 * np.exp(-from_edge / 12), level)
    light = np.repeat(level[..., None], 3, axis=2).astype(np.float32)
    crossing = cross(light, outline)
    assert spilled(outline, crossing.headroom_ev) == pytest.approx(0.25, abs=0.015)
    (run,) = spill_runs(outline, crossing)
    assert np.median(crossing.depth_px[run]) == pytest.approx(12 * np.log(2 / 0.98), abs=0.8)
    # Exposed so much darker that white lies just at the tolerance, the spill is gone.
    spare = -(3 / 12 - np.log(2 / 0.98)) / np.log(2)
    assert spilled(outline, crossing.headroom_ev, ev=-spare - 0.06) < 0.02
    assert spilled(outline, crossing.headroom_ev, ev=-spare + 0.06) > 0.23


def test_the_ramp_of_a_blurred_disc_is_that_of_a_gaussian() -> None:
    figure, zones = disc(300, 90)
    outline = trace(zones, figure, blur_px=1.5)
    light = np.repeat((1 - figure)[..., None], 3, axis=2)
    ramp = ramp_px(np.ascontiguousarray(expose(light, Lens(1.5, 0.0))[..., 1]), outline)
    assert ramp == pytest.approx(2.563 * 1.5, rel=0.04)


def test_islands_are_those_that_scipy_labels() -> None:
    zones = np.full((60, 80), SUBJECT, np.uint8)
    zones[:, :10] = BACKDROP
    light = np.zeros((60, 80), np.float32)
    light[:, :14] = 1.5
    light[20:24, 40:47] = 1.0
    light[40, 60] = 0.99
    labels, count = ndimage.label(light >= 0.98)
    joined = set(labels[:, :10].ravel())
    expected = sorted(
        (int((labels == k).sum()) for k in range(1, count + 1) if k not in joined), reverse=True
    )
    found = hot_spots(light, zones)
    assert [island.area_px for island in found] == expected == [28, 1]
    assert found[0].box == (40, 20, 47, 24)
    assert [island.warns for island in found] == [True, True]


def test_holes_between_arm_and_body_are_backdrop() -> None:
    _, truth = render(AKIMBO, megapixels=SMALL)
    pieces, count = ndimage.label(truth.zones == BACKDROP)
    sizes = sorted(np.bincount(pieces.ravel())[1:], reverse=True)
    assert count >= 3
    assert sizes[2] > 60


def test_the_subject_before_the_dark_room_is_surround() -> None:
    scene = replace(LUNGE, poses=(Pose("en-garde", (0.06, 0.6), 0.5),))
    _, truth = render(scene, megapixels=SMALL)
    layers = illuminate(scene, size=scene.size(SMALL))
    outside = (layers.figure > 0.9) & (layers.face < 0.1)
    assert outside.sum() > 100
    assert (truth.zones[outside] == SURROUND).all()
    assert (truth.zones[(layers.figure > 0.9) & (layers.face > 0.9)] == SUBJECT).all()
    assert (truth.zones[(layers.figure < 0.1) & (layers.face > 0.9)] == BACKDROP).all()


def test_the_fringe_is_three_sigma_on_both_sides() -> None:
    zones = np.full((40, 60), BACKDROP, np.uint8)
    zones[:, 30:] = SUBJECT
    fringe = find_fringe(zones, np.zeros((40, 60), np.float32), 2.0)
    columns = np.flatnonzero(fringe[20])
    assert (columns.min(), columns.max()) == (24, 36)


def test_cells_are_counted_as_one_by_one() -> None:
    frame, truth = render(
        replace(AKIMBO, backdrop=Backdrop(ev=0.05, falloff_ev=0.3)),
        camera=Camera(orientation=8),
        megapixels=0.03,
    )
    camera = Camera(orientation=8)
    where = as_viewed((truth.zones == BACKDROP) & ~truth.fringe, 6)
    white, total = 0, 0
    for row in range(0, frame.mosaic.shape[0] - 1, 2):
        for column in range(0, frame.mosaic.shape[1] - 1, 2):
            if not where[row : row + 2, column : column + 2].all():
                continue
            total += 1
            levels = [
                (frame.mosaic[row + dy, column + dx] - 512)
                / (camera.clip[frame.pattern[dy, dx]] - 512)
                * frame.gains[frame.pattern[dy, dx]]
                for dy in (0, 1)
                for dx in (0, 1)
            ]
            white += min(levels) >= 0.98
    counted = cell_fractions(frame, camera, (truth.zones == BACKDROP) & ~truth.fringe)
    assert 0.02 < white / total < 0.98
    assert counted[0] == pytest.approx(white / total, abs=1e-9)
    assert truth.white_fraction == counted[0]


def test_the_true_window_is_where_renderings_begin_and_cease_to_pass() -> None:
    scene = replace(
        LUNGE,
        light=Light(front_ev=-6.5, spills=(Spill((0.55, 0.365), 0.05, -0.6, 0.006, 0.02),)),
    )
    _, truth = render(scene, megapixels=SMALL)
    low, high = truth.window_low_ev, truth.window_high_ev
    assert low is not None
    assert high is not None
    for ev, missed in (
        (low - 0.06, "backdrop.white_fraction"),
        (high + 0.06, "edge.spill_fraction"),
    ):
        assert missed in render(scene, ev=ev, megapixels=SMALL)[1].misses()
    whole = truth.window_high_whole_ev
    assert whole is not None
    assert 0 < whole - high < 0.5
    for ev in (low + 0.06, high - 0.06):
        again = render(scene, ev=ev, megapixels=SMALL)[1].misses()
        assert not {"backdrop.white_fraction", "edge.spill_fraction"} & set(again)


def test_the_subject_moves_and_the_camera_pans() -> None:
    scene = replace(LUNGE, light=Light(islands=(Spot((0.42, 0.35), (0.02, 0.015), 1.5),)))
    step = 12 / max(scene.size(SMALL))
    plain, moved, panned = (
        render(s, megapixels=SMALL)[1].zones
        for s in (scene, scene.moved(step, 0.0), scene.panned(step, 0.0))
    )
    box = face(scene.backdrop, scene.extent)
    assert np.allclose(face(scene.panned(step, 0).backdrop, scene.extent) - box, (step, 0))
    # Round-off in a turned face aside, everything lies twelve pixels further right.
    assert np.mean(panned[:, 12:] != plain[:, :-12]) < 1e-3
    assert np.mean((moved == SUBJECT)[:, 12:] != (plain == SUBJECT)[:, :-12]) < 1e-3
    assert np.array_equal(moved > SURROUND, plain > SURROUND)
    assert not (render(scene.emptied(), megapixels=SMALL)[1].zones == SUBJECT).any()


@pytest.mark.parametrize("sensor", OTHER_SENSORS)
def test_other_sensors_tell_the_same_truth(sensor: str) -> None:
    draw = random_scene(3, figure="akimbo", backdrop="wall", defect="none", camera=sensor)
    frame, truth = render(draw.scene, camera=draw.camera, megapixels=SMALL)
    assert truth.verdict() == "pass"
    assert len(truth.clip_levels) == len(frame.channels) == {"x-trans": 3, "mono": 1}[sensor]
    assert truth.ceiling_ev == pytest.approx(np.log2(frame.gains.max()))


def test_depth_and_veil_are_the_same_levels_seen_from_white_and_from_the_backdrop() -> None:
    _, truth = render(AKIMBO, megapixels=SMALL)
    assert truth.depth_ev is not None
    assert truth.ev_p50 is not None
    assert truth.veil_fraction == pytest.approx(2 ** -(truth.depth_ev + truth.ev_p50))
    assert truth.veil_fraction == pytest.approx(0.03, abs=0.02)


def test_an_island_warns_and_a_glint_does_not() -> None:
    island, glint = (Spot((0.42, 0.35), radii, 1.5) for radii in ((0.02, 0.015), (0.002, 0.001)))
    for light, warns in ((Light(islands=(island,)), True), (Light(glints=(glint,)), False)):
        scene = replace(LUNGE, light=light)
        _, truth = render(scene, megapixels=1)
        assert [s.warns for s in truth.hot_spots] == [warns]
        assert ("subject.hot_spots" in truth.misses()) is warns


# The families


@pytest.mark.parametrize("defect", DEFECTS)
def test_each_defect_shows_in_the_truth(defect: str) -> None:
    expected = {
        "evenly-short": "backdrop.white_fraction",
        "short-corner": "backdrop.white_fraction",
        "sloping": "backdrop.white_fraction",
        "misfire": "backdrop.found",
        "no-backdrop": "backdrop.found",
        "spill": "edge.spill_fraction",
        "island": "subject.hot_spots",
        "bounce": "subject.depth_ev",
    }.get(defect)
    for seed in range(3):
        draw = random_scene(seed, figure="akimbo", backdrop="wall", defect=defect)
        _, truth = render(draw.scene, camera=draw.camera, seed=seed, megapixels=0.4)
        if borderline(truth) or defect in ("shallow-spill", "over-white"):
            continue
        assert truth.misses() == (() if expected is None else (expected,)), draw


@pytest.mark.parametrize("figure", FIGURES)
def test_every_figure_stands_before_every_backdrop(figure: str) -> None:
    for backdrop in BACKDROPS:
        draw = random_scene(7, figure=figure, backdrop=backdrop, defect="none")
        assert draw == random_scene(7, figure=figure, backdrop=backdrop, defect="none")
        _, truth = render(draw.scene, camera=draw.camera, megapixels=0.1)
        subject = float(np.mean(truth.zones == SUBJECT))
        assert truth.found
        assert (subject > 0.01) == (figure != "nobody")
        assert truth.plate == (figure == "nobody")
        assert np.mean(truth.zones == BACKDROP) > 0.05


@pytest.mark.parametrize("family", CAMERAS)
def test_cameras_differ_as_their_family_says(family: str) -> None:
    for seed in range(8):
        camera = random_scene(seed, camera=family).camera
        top = 2**camera.bits - 1
        assert max(camera.clip) + 3 * camera.clip_spread < top
        assert (camera.stated_clip < min(camera.clip)) == (family == "high-clip")
        assert (camera.iso >= 1600) == (family == "noisy")
        assert (camera.bits == 12) == (family == "12-bit")


def test_the_inspector_itself_never_imports_the_simulator() -> None:
    code = (
        "import sys, inspector.inspect, inspector.decode, inspector.cli;"
        "assert not [m for m in sys.modules if m.startswith('inspector.simulate')]"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


def test_the_example_of_the_documentation_runs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = (Path(__file__).parents[1] / "docs" / "simulator.md").read_text()
    lines = page.split("## Scenes of your own")[1].splitlines()
    monkeypatch.chdir(tmp_path)
    names: dict[str, object] = {}
    exec("\n".join(line[4:] for line in lines if line.startswith("    ")), names)
    assert decode(tmp_path / "shoulder.dng").size == (1248, 832)
    truth = names["truth"]
    assert isinstance(truth, Truth)
    assert truth.misses() == ("edge.spill_fraction",)
