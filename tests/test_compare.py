"""Two frames of a pose: changes against the simulated light before noise and clip."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import colour
import cv2
import numpy as np
import pytest
from click.testing import CliRunner, Result
from numpy.typing import NDArray

from inspector.cli import main
from inspector.compare import AT_LEAST, AT_MOST, EXACT, UNKNOWN, Change, Comparison, compare, say
from inspector.frame import Frame
from inspector.pair import PairError
from inspector.report import changemap
from inspector.report.layout import SIZE
from inspector.report.palette import CHANGES
from inspector.shared_clip import shared_clips
from inspector.sides import facing, find_sides
from inspector.simulate.camera import Camera, photograph
from inspector.simulate.dng import write_dng
from inspector.simulate.families import random_scene
from inspector.simulate.render import illuminate
from inspector.simulate.samples import CAMERA, evening
from inspector.simulate.scene import Light, Scene

SAMPLES = Path(__file__).parent.parent / "sample_frames"
CLEAN = SAMPLES / "fencing-03-clean-silhouette.dng"
LUNGE = SAMPLES / "fencing-05-lunge-with-foil.dng"
PORTRAIT = SAMPLES / "fencing-12-lit-portrait.dng"
PX = (900, 600)
WITHIN = 0.05
"""Stops that a change may be off."""


def scene(figure: str = "akimbo", seed: int = 3) -> Scene:
    draw = random_scene(seed, figure=figure, backdrop="wall", defect="none", camera="clean")
    return replace(draw.scene, aspect=1.5, light=Light(front_ev=-5.4, wrap_ev=-4.5))


def lit(before: Scene, **light: float) -> Scene:
    return replace(before, light=replace(before.light, **light))  # type: ignore[arg-type]


def light_of(shown: Scene, ev: float = 0.0) -> NDArray[np.float32]:
    return illuminate(shown, size=PX, ev=ev).light


def shot(
    light: NDArray[np.float32], *, camera: Camera = CAMERA, seed: int = 1, path: str = "a.dng"
) -> Frame:
    return photograph(light, camera=camera, seed=seed, path=path)


def by_part(found: Comparison) -> dict[str, Change]:
    return {change.part: change for change in found.changes}


def truth(found: Comparison, light: NDArray[np.float32]) -> NDArray[np.float32]:
    """Stops of the noise-free light on the working picture's grid."""
    h, w = found.change.shape
    scale = found.pair.first.levels.scale
    green = light[: h * scale, : w * scale, 1].reshape(h, scale, w, scale).mean((1, 3))
    return np.asarray(np.log2(green), np.float32)


# Changes.


@pytest.mark.parametrize("figure", ["standing", "akimbo", "bust", "en-garde"])
@pytest.mark.parametrize("camera", ["clean", "noisy", "12-bit"])
def test_a_panel_at_the_right(figure: str, camera: str) -> None:
    out = scene(figure)
    brought_in = lit(out, right_ev=-4.0, front_ev=-5.2)
    sensor = random_scene(1, camera=camera).camera
    sensor = replace(sensor, orientation=1)
    before, after = light_of(out), light_of(brought_in)
    found = compare(shot(before, camera=sensor), shot(after, camera=sensor, seed=2))
    stops = truth(found, before), truth(found, after)
    changes = by_part(found)
    assert set(changes) >= {"left", "right", "front", "core", "rim", "background"}
    for part, mask in found.parts.items():
        if part not in changes:
            continue
        wanted = float(np.median(stops[1][mask]) - np.median(stops[0][mask]))
        assert changes[part].known == EXACT
        assert changes[part].light_ev == pytest.approx(wanted, abs=WITHIN), part
        assert changes[part].as_shot_ev == changes[part].light_ev
    assert changes["background"].light_ev == pytest.approx(0, abs=0.01)
    right, left = changes["right"].light_ev, changes["left"].light_ev
    assert right is not None
    assert left is not None
    assert right > left + 0.3


@pytest.mark.parametrize(("by", "ev"), [("aperture", -1.0), ("shutter", -2.0), ("iso", -1.0)])
def test_settings_are_taken_off_the_light_but_not_off_the_frame(by: str, ev: float) -> None:
    out = scene()
    before, after = light_of(out), light_of(lit(out, left_ev=-3.8), ev)
    found = compare(shot(before), shot(after, camera=CAMERA.exposed(ev, by=by), seed=2))
    assert found.settings_ev == pytest.approx(ev, abs=0.02)
    changes = by_part(found)
    stops = truth(found, before), truth(found, after)
    for part in ("left", "core"):
        mask = found.parts[part]
        as_shot = float(np.median(stops[1][mask]) - np.median(stops[0][mask]))
        assert changes[part].as_shot_ev == pytest.approx(as_shot, abs=WITHIN)
        assert changes[part].light_ev == pytest.approx(as_shot - ev, abs=WITHIN)
    assert changes["background"].light_ev == pytest.approx(0, abs=WITHIN)
    assert "the settings take" in found.sentence


def test_with_flash_the_shutter_changes_nothing() -> None:
    light = light_of(scene())
    slower = replace(CAMERA, shutter_s=1 / 40)
    frames = shot(light), shot(light, camera=slower, seed=2)
    changes = by_part(compare(*frames, flash=True))
    assert changes["core"].light_ev == pytest.approx(0, abs=0.02)
    assert compare(*frames).settings_ev == pytest.approx(2, abs=0.01)


def test_more_power_is_one_sentence_about_all_of_it() -> None:
    light = light_of(scene())
    found = compare(shot(light), shot(light * np.float32(2**-0.6), seed=2))
    for change in found.changes:
        assert change.light_ev == pytest.approx(-0.6, abs=WITHIN), change.part
    assert found.sentence == (
        "The whole subject went down 0.6 stops and the background went down 0.6 stops"
    )


def test_a_background_over_the_ceiling_is_at_least() -> None:
    shown = scene()
    bright = replace(shown, backdrop=replace(shown.backdrop, ev=2.5))
    low, high = shot(light_of(shown)), shot(light_of(bright), seed=2)
    assert by_part(compare(low, high))["background"].known == AT_LEAST
    assert by_part(compare(high, low))["background"].known == AT_MOST
    both = by_part(compare(high, shot(light_of(bright), seed=3)))["background"]
    assert (both.known, both.light_ev) == (UNKNOWN, None)


def test_the_map_holds_the_change_of_every_place() -> None:
    out = scene("bust")
    before, after = light_of(out), light_of(lit(out, right_ev=-3.5), -1)
    found = compare(shot(before), shot(after, camera=CAMERA.exposed(-1, by="aperture"), seed=2))
    wanted = truth(found, after) - truth(found, before) + 1
    core = found.pair.core & np.isfinite(found.change)
    off = np.abs(found.change - wanted)[core]
    assert np.percentile(off, 95) < 0.12
    assert np.isnan(found.change[found.pair.first.zones.fringe & ~found.pair.core]).all()


def test_the_files_may_not_tell_the_settings() -> None:
    light = light_of(scene())
    frames = [
        replace(f, shot=replace(f.shot, aperture_f=None))
        for f in (shot(light), shot(light, seed=2))
    ]
    found = compare(*frames)
    assert not found.settings_known
    assert by_part(found)["core"].light_ev == pytest.approx(0, abs=0.02)


# Laid on each other.


@pytest.mark.parametrize("step", [(0.006, -0.003), (-0.01, 0.0)])
def test_a_subject_that_moved_a_little_is_followed(step: tuple[float, float]) -> None:
    out = scene("standing")
    panel = lit(out, right_ev=-4.0)
    here, aside = light_of(panel), light_of(panel.moved(*step))
    found = compare(shot(light_of(out)), shot(aside, seed=2))
    assert found.pair.shift == pytest.approx((step[0] * PX[0], step[1] * PX[0]), abs=0.6)
    still = compare(shot(light_of(out)), shot(here, seed=2))
    for part in ("left", "right", "core"):
        moved, stood = by_part(found)[part].light_ev, by_part(still)[part].light_ev
        assert moved == pytest.approx(stood, abs=0.04)


@pytest.mark.parametrize("other", ["standing", "salute"])
def test_another_pose_is_refused_with_the_remedy(other: str) -> None:
    frames = shot(light_of(scene("akimbo"))), shot(light_of(scene(other)), path="b.dng")
    with pytest.raises(PairError, match=r"b\.dng: the pose differs too much .* held still"):
        compare(*frames)


def test_a_subject_too_far_aside_is_refused() -> None:
    out = scene("standing")
    with pytest.raises(PairError, match="pose differs"):
        compare(shot(light_of(out)), shot(light_of(out.moved(0.05, 0)), seed=2))


def test_frames_of_other_size_or_without_a_background_are_refused() -> None:
    light = light_of(scene())
    with pytest.raises(PairError, match="another size"):
        compare(shot(light), shot(light[:500]))
    with pytest.raises(PairError, match="no white background"):
        compare(shot(light), shot(light * np.float32(2**-8)))


def test_a_clip_level_seen_in_one_frame_serves_the_other() -> None:
    light = light_of(scene())
    clips = shared_clips((shot(light), shot(light * np.float32(0.25), seed=2)))
    for clip in clips:
        assert clip.level[1:3] == pytest.approx(CAMERA.clip[1:3], rel=0.002)


# Sides.


def test_a_bar_faces_as_a_round_column_does() -> None:
    # The inflation of a bar is half a cylinder: x over the radius is the sine of the angle.
    bar = np.zeros((240, 320), bool)
    bar[:, 100:220] = True
    nx, ny = facing(bar)
    for part in (-0.8, -0.5, 0.0, 0.3, 0.7):
        assert nx[120, round(159.5 + 60 * part)] == pytest.approx(part, abs=0.05)
    assert np.abs(ny[120, 110:210]).max() < 0.02


def test_sides_of_a_ball() -> None:
    y, x = np.mgrid[0:240, 0:320]
    ball = np.hypot(x - 160, y - 120) < 80
    sides = find_sides(ball, ball)
    for mask, at in ((sides.left, (120, 86)), (sides.right, (120, 234)), (sides.top, (46, 160))):
        assert mask[at]
    assert sides.front[120, 160]
    assert not any(mask[194, 160] for mask in sides.named().values())  # faces down
    assert sides.left.sum() == pytest.approx(sides.right.sum(), rel=0.03)


def test_what_the_border_cuts_goes_on_beyond_it() -> None:
    bar = np.zeros((240, 320), bool)
    bar[60:, 100:220] = True
    sides = find_sides(bar, bar)
    assert sides.front[239, 160]
    assert sides.left[239, 105]


# Words.


def change(part: str, light: float | None, *, before: float = -5.0, known: str = EXACT) -> Change:
    return Change(part, before, None, light, light, known)


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        (
            (change("left", 0.8, before=-6), change("right", 0.02), change("background", 0.0)),
            "The shadow side (left) came up 0.8 stops, the right side stayed as it was and "
            "the background stayed as it was",
        ),
        (
            (change("front", -0.5), change("background", None, known=UNKNOWN)),
            "The whole subject went down 0.5 stops and the background is over what either frame "
            "can tell",
        ),
        (
            (change("background", 0.4, known=AT_LEAST),),
            "The background came up at least 0.4 stops",
        ),
    ],
)
def test_the_sentence(changes: tuple[Change, ...], sentence: str) -> None:
    assert say(changes, 0.0) == sentence


# Picture and command.


@pytest.mark.parametrize("eye", ["normal", "Protanomaly", "Deuteranomaly", "Tritanomaly"])
def test_the_palette_rises_in_lightness_to_every_eye(eye: str) -> None:
    # Machado, Oliveira and Fernandes, IEEE TVCG 15(6), 2009, as in colour-science; CIE 1976 L*.
    linear = colour.models.eotf_sRGB(np.array(CHANGES) / 255)
    if eye != "normal":
        with colour.utilities.suppress_warnings(colour_usage_warnings=True):
            linear = np.clip(linear @ colour.matrix_cvd_Machado2009(eye, 1.0).T, 0, 1)
    xyz = colour.RGB_to_XYZ(linear, "sRGB", apply_cctf_decoding=False)
    lightness = colour.XYZ_to_Lab(xyz)[:, 0]
    assert (np.diff(lightness) > 3).all()


@pytest.mark.parametrize("figure", ["akimbo", "profile"])
def test_the_picture_is_lighter_where_light_was_gained(figure: str) -> None:
    number = {"akimbo": 7, "profile": 4}[figure]
    sample = evening()[number - 1]
    panel = replace(sample.scene, light=replace(sample.scene.light, right_ev=-1.0))
    size = sample.scene.size(0.5)
    frames = [
        photograph(illuminate(s, size=size).light, camera=sample.camera, seed=k)
        for k, s in enumerate((sample.scene, panel))
    ]
    gained, lost = compare(*frames), compare(*frames[::-1])
    right = gained.parts["right"]
    h, w = right.shape
    pictures = [changemap.picture(found, (w, h)).mean(axis=2) for found in (gained, lost)]
    assert np.median(pictures[0][right]) > 160 > 120 > np.median(pictures[1][right])
    for found in (gained, lost):
        assert changemap.draw(found).shape == (SIZE[1], SIZE[0], 3)


def run(*arguments: str | Path) -> Result:
    return CliRunner().invoke(main, ["compare", *map(str, arguments)])


@pytest.fixture
def pair(tmp_path: Path) -> tuple[Path, Path]:
    out = scene()
    paths = tmp_path / "panel-out.dng", tmp_path / "panel-in.dng"
    for k, (path, shown) in enumerate(zip(paths, (out, lit(out, right_ev=-4.0)), strict=True)):
        write_dng(path, shot(light_of(shown), seed=k))
    return paths


def test_the_command(pair: tuple[Path, Path], tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    picture = tmp_path / "out" / "panel.png"
    result = run(*pair, "--picture", picture)
    assert result.exit_code == 0
    assert result.stdout.startswith("panel-out.dng to panel-in.dng: The right side came up")
    assert "Background" in result.stdout
    assert np.asarray(cv2.imread(str(picture))).shape == (SIZE[1], SIZE[0], 3)
    found = json.loads(run("--json", *pair).stdout)
    assert [c["part"] for c in found["changes"]][-1] == "background"
    assert found["settings_ev"] == 0


@pytest.mark.parametrize(
    ("arguments", "status", "said"),
    [
        ((CLEAN, "gone.dng"), 3, "gone.dng: "),
        (
            (CLEAN, PORTRAIT),
            1,
            "no white background",
        ),
        (
            (
                CLEAN,
                LUNGE,
            ),
            1,
            "held still",
        ),
        ((CLEAN,), 2, "AFTER"),
    ],
)
def test_what_cannot_be_done_is_said_in_one_line(
    arguments: tuple[str | Path, ...], status: int, said: str
) -> None:
    result = run(*arguments)
    assert result.exit_code == status
    assert said in result.stderr
    assert "Traceback" not in result.output
