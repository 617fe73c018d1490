"""The empty set: against simulated truth, and against light that was changed by hand."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from click.testing import CliRunner, Result
from numpy.typing import NDArray

from inspector.bracket import BracketError
from inspector.cli import main
from inspector.decode import decode
from inspector.frame import Frame
from inspector.plate import Plate, inspect_plate
from inspector.report import platemap
from inspector.report.layout import SIZE
from inspector.simulate.camera import photograph
from inspector.simulate.dng import write_dng
from inspector.simulate.families import BACKDROPS, random_scene
from inspector.simulate.render import illuminate, render
from inspector.simulate.samples import CAMERA, evening
from inspector.simulate.scene import Backdrop, Pose, Scene
from inspector.strays import LIGHT, LINE, MARK, OBJECT, what

SAMPLES = Path(__file__).parent.parent / "sample_frames"
EMPTY = SAMPLES / "fencing-01-empty-plate.dng"
SHORT = SAMPLES / "fencing-02-plate-short-corner.dng"
SIZE_PX = (900, 600)


def over(scene: Scene, ev: float) -> Scene:
    return replace(scene, backdrop=replace(scene.backdrop, ev=scene.backdrop.ev + ev))


def photo(light: NDArray[np.float32], *, seed: int = 1) -> Frame:
    return photograph(light, camera=CAMERA, seed=seed)


def empty_light(*, ev: float = 0.75, seams: int = 0) -> NDArray[np.float32]:
    softbox = evening()[0].scene.backdrop
    scene = Scene(backdrop=replace(softbox, ev=ev, seams=seams, seam_ev=0.1))
    return illuminate(scene, size=SIZE_PX).light


# Over white, with a bracket.


@pytest.mark.parametrize("backdrop", BACKDROPS)
@pytest.mark.parametrize("camera", ["low-clip", "high-clip", "noisy"])
def test_a_bracket_tells_how_far_over_white_without_a_ceiling(backdrop: str, camera: str) -> None:
    draw = random_scene(5, figure="nobody", backdrop=backdrop, defect="none", camera=camera)
    scene = over(draw.scene, 1.5)
    frame, truth = render(scene, camera=draw.camera, seed=1, megapixels=0.5)
    darker, _ = render(scene, camera=draw.camera, seed=2, ev=-3, by="aperture", megapixels=0.5)
    plate = inspect_plate(frame, bracket=darker)
    assert truth.ev_p1 is not None
    assert truth.ev_p1 > truth.ceiling_ev  # one frame alone could not tell
    wanted = (truth.ev_p1, truth.ev_p50, truth.ev_p99)
    assert [plate.over_ev[p] for p in (1, 50, 99)] == pytest.approx(wanted, abs=0.05)
    assert truth.window_low_ev is not None
    assert plate.spare_ev == pytest.approx(-truth.window_low_ev, abs=0.05)
    assert plate.spare_is == "exact"
    assert plate.ready


def test_without_a_bracket_it_is_at_least_the_ceiling() -> None:
    plate = inspect_plate(photo(empty_light(ev=2.5)))
    assert plate.at_ceiling(plate.over_ev[50])
    assert plate.spare_is == "at_least"
    assert plate.spare_ev == pytest.approx(plate.ceiling_ev, abs=0.05)
    assert "at least" in plate.advice


def test_a_bracket_by_flash_power_is_read_from_the_light() -> None:
    # The tags are alike; the dim parts that both frames can tell show two stops.
    camera = replace(CAMERA, full_well_e=80000)
    light = empty_light(ev=2.0)
    light = np.maximum(light, np.float32(2.0**-3))  # a room that is not black
    frame = photograph(light, camera=camera, seed=1)
    darker = photograph(light / np.float32(4), camera=camera, seed=2)
    plate = inspect_plate(frame, bracket=darker)
    assert plate.bracket is not None
    assert plate.bracket.source == "light"
    assert plate.bracket.light_changed
    assert plate.bracket.stops == pytest.approx(2.0, abs=0.02)
    middle = float(np.log2(np.median(light[200:400, 300:600, 1])))
    assert plate.over_ev[50] == pytest.approx(middle, abs=0.2)


def test_with_flash_a_longer_shutter_brightens_nothing() -> None:
    light = empty_light(ev=2.0)
    frame = photo(light)
    darker = photograph(
        light / np.float32(8), camera=replace(CAMERA, aperture_f=22.0, shutter_s=1 / 20), seed=2
    )
    plate = inspect_plate(frame, bracket=darker, flash=True)
    assert plate.bracket is not None
    assert plate.bracket.settings_ev == pytest.approx(3.0, abs=0.01)


def test_a_bracket_that_is_none_is_refused_with_the_remedy() -> None:
    frame = photo(empty_light())
    with pytest.raises(BracketError, match="take it one to four stops darker"):
        inspect_plate(frame, bracket=photo(empty_light(), seed=2))
    small = photograph(np.ones((300, 500, 3), np.float32), camera=CAMERA, seed=1)
    with pytest.raises(BracketError, match="another size"):
        inspect_plate(frame, bracket=small)


# White, weakest, evenness.


def test_the_sample_plates() -> None:
    good, short = (inspect_plate(decode(path)) for path in (EMPTY, SHORT))
    assert good.ready
    assert good.advice == "Call the talent"
    assert good.strays == short.strays == ()
    assert not short.ready
    assert short.weakest is not None
    assert short.weakest.where == "lower left"
    assert "lower left" in short.advice


def test_evenness_is_that_of_a_wedge_of_known_slope() -> None:
    # One stop from left to right, so that 98 % of it lie 0.98 stop apart.
    wall = Backdrop("wall", ev=0.0, falloff_ev=0.0, slope_ev=(1.0, 0.0))
    plate = inspect_plate(photo(illuminate(Scene(backdrop=wall), size=SIZE_PX).light))
    assert plate.evenness_ev == pytest.approx(0.98, abs=0.03)
    assert plate.weakest is not None
    assert plate.weakest.where == "left"
    assert plate.weakest.ev == pytest.approx(-0.5, abs=0.05)


@pytest.mark.parametrize("ev", [-0.4, -1.0])
def test_the_lack_is_what_power_must_make_up(ev: float) -> None:
    wall = Backdrop("wall", ev=ev, falloff_ev=0.0)
    light = illuminate(Scene(backdrop=wall), size=SIZE_PX).light
    plate = inspect_plate(photo(light))
    assert plate.spare_ev == pytest.approx(ev, abs=0.05)
    assert plate.advice.startswith("Raise the background light by")
    raised = photo(light * np.float32(2 ** -(plate.spare_ev or 0) * 1.02), seed=2)
    assert inspect_plate(raised).ready


def test_taking_the_spare_power_off_still_passes_and_more_does_not() -> None:
    light = empty_light(ev=1.9)
    plate = inspect_plate(photo(light), bracket=_stopped_down(light))
    assert plate.spare_ev is not None
    for more, ready in ((0.05, True), (-0.1, False)):
        lower = light * np.float32(2.0 ** -(plate.spare_ev - more))
        assert inspect_plate(photo(lower, seed=3)).ready == ready


def _stopped_down(light: NDArray[np.float32]) -> Frame:
    return photograph(light / np.float32(8), camera=replace(CAMERA, aperture_f=22.0), seed=9)


# The box.


def test_the_box_in_which_the_subject_will_stand() -> None:
    frame = decode(EMPTY)
    inside = inspect_plate(frame, box=(300, 60, 780, 640))
    assert inside.stand is not None
    assert inside.stand.filled
    assert inside.ready
    below = inspect_plate(frame, box=(300, 360, 780, 720))
    assert below.stand is not None
    assert below.stand.background == pytest.approx((664 - 360) / 360, abs=0.01)
    assert below.stand.missing == "bottom"
    assert not below.ready
    assert "at the bottom" in below.advice
    with pytest.raises(ValueError, match="does not lie in the picture"):
        inspect_plate(frame, box=(0, 0, 2000, 10))


# What should not be there.


def kinds(plate: Plate) -> list[str]:
    return [stray.kind for stray in plate.strays]


def test_a_chair_left_on_the_set_is_an_object() -> None:
    scene = replace(evening()[0].scene, poses=(Pose("chair", (0.3, 0.62), 0.3),))
    frame, _ = render(scene, camera=CAMERA, megapixels=0.5)
    plate = inspect_plate(frame)
    assert kinds(plate) == [OBJECT]
    assert not plate.ready
    assert plate.advice == "Take out what stands before the background at the lower left"


@pytest.mark.parametrize(("ev", "is_panel"), [(-1.0, True), (-2.5, False)])
def test_a_dim_panel_is_to_be_lit_and_a_dark_thing_to_be_taken_out(
    ev: float, is_panel: bool
) -> None:
    light = empty_light()
    y, x = np.nonzero(light[..., 1] > 0.9)
    rows = slice(y.min(), y.min() + np.ptp(y) // 3)
    light[rows, x.min() + 2 * np.ptp(x) // 3 : x.max() + 1] *= np.float32(2.0 ** (ev - 0.75))
    plate = inspect_plate(photo(light))
    assert not plate.ready
    assert plate.advice.startswith("Turn the light towards the upper right") is is_panel
    assert plate.advice.startswith("Take out what stands") is not is_panel
    if is_panel:
        assert plate.weakest is not None
        assert plate.weakest.where == "upper right"
        assert plate.weakest.ev == pytest.approx(ev, abs=0.3)


@pytest.mark.parametrize("bracketed", [True, False])
def test_seams_are_lines_once_they_can_be_seen(bracketed: bool) -> None:
    light = empty_light(ev=2.0, seams=2)
    plate = inspect_plate(photo(light), bracket=_stopped_down(light) if bracketed else None)
    assert kinds(plate) == ([LINE, LINE] if bracketed else [])
    assert not any(stray.matters for stray in plate.strays)
    assert plate.ready
    for stray in plate.strays:
        assert "goes white with the rest" in what(stray)


def test_dust_is_a_mark_and_matters_where_it_is_not_white() -> None:
    light = empty_light(ev=0.3)
    spots = ((300, 200, 0.8), (620, 330, 0.15))
    for x, y, depth in spots:
        light *= np.exp2(-depth * blob(x, y, 5))[..., None]
    plate = inspect_plate(photo(light))
    found = sorted((s.box[0], s.kind, s.matters) for s in plate.strays)
    assert [(kind, matters) for _, kind, matters in found] == [(MARK, True), (MARK, False)]
    for (x, y, _), stray in zip(spots, sorted(plate.strays, key=lambda s: s.box), strict=True):
        x0, y0, x1, y1 = stray.box
        assert x0 <= x < x1
        assert y0 <= y < y1


def test_light_on_the_floor_beside_the_softbox() -> None:
    light = empty_light()
    assert inspect_plate(photo(light)).strays == ()
    light[585:597, 500:700] = 0.6
    plate = inspect_plate(photo(light))
    assert kinds(plate) == [LIGHT]
    assert not plate.ready
    assert plate.advice == "Flag the light that falls beside the background at the bottom"


def test_an_even_background_has_no_strays() -> None:
    for seed in range(6):
        draw = random_scene(seed, figure="nobody", defect="none")
        scene = replace(draw.scene, backdrop=replace(draw.scene.backdrop, seams=0))
        frame, _ = render(scene, camera=draw.camera, seed=seed, megapixels=0.5)
        assert inspect_plate(frame).strays == ()


def blob(x: float, y: float, sigma: float) -> NDArray[np.float32]:
    columns, rows = np.arange(SIZE_PX[0]), np.arange(SIZE_PX[1])[:, None]
    away = (columns - x) ** 2 + (rows - y) ** 2
    return np.asarray(np.exp(-away / (2 * sigma**2)), np.float32)


# No plate at all.


@pytest.mark.parametrize(
    ("name", "word"), [("09-flash-did-not-fire", "flash"), ("12-lit-portrait", "background")]
)
def test_a_frame_without_a_white_background_is_never_ready(name: str, word: str) -> None:
    plate = inspect_plate(decode(SAMPLES / f"fencing-{name}.dng"))
    assert not plate.ready
    assert word in plate.advice.lower()


# Picture and command.


def test_the_picture_draws_contours_only_where_the_light_is_known() -> None:
    light = empty_light(ev=2.0)
    blind, seen = (
        platemap.picture(inspect_plate(photo(light), bracket=b), (900, 600))
        for b in (None, _stopped_down(light))
    )
    grey = np.array(platemap.CONTOUR, np.int16)
    on_line = [
        int((np.abs(p.astype(np.int16) - grey).max(axis=2) < 30).sum()) for p in (blind, seen)
    ]
    assert on_line[1] > on_line[0] + 500


@pytest.mark.parametrize("name", ["01-empty-plate", "02-plate-short-corner", "12-lit-portrait"])
def test_the_picture_has_the_size_of_every_other(name: str) -> None:
    canvas = platemap.draw(inspect_plate(decode(SAMPLES / f"fencing-{name}.dng")))
    assert canvas.shape == (SIZE[1], SIZE[0], 3)


def run(*arguments: str | Path) -> Result:
    return CliRunner().invoke(main, ["plate", *map(str, arguments)])


def test_the_command_says_the_answer_first(tmp_path: Path) -> None:
    picture = tmp_path / "plate.jpg"
    result = run(SHORT, "--picture", picture)
    assert result.exit_code == 1
    assert result.stdout.startswith(f"{SHORT.name}: Turn the light towards the lower left")
    assert np.asarray(cv2.imread(str(picture))).shape == (SIZE[1], SIZE[0], 3)
    assert run(EMPTY, "--box", "300,40,780,640").exit_code == 0


def test_the_command_prints_one_object_a_frame() -> None:
    result = run("--json", EMPTY, SHORT)
    found = [json.loads(line) for line in result.stdout.splitlines()]
    assert [f["ready"] for f in found] == [True, False]
    assert found[1]["weakest"]["where"] == "lower left"
    assert set(found[0]["over_ev"]) == {"p1", "p5", "p50", "p95", "p99"}


def test_the_command_takes_a_bracket(tmp_path: Path) -> None:
    light = empty_light(ev=2.0)
    paths = [tmp_path / "empty.dng", tmp_path / "darker.dng"]
    for path, frame in zip(paths, (photo(light), _stopped_down(light)), strict=True):
        write_dng(path, frame)
    result = run("--json", "--bracket", paths[1], paths[0])
    found = json.loads(result.stdout)
    assert result.exit_code == 0
    assert found["bracket"]["stops"] == pytest.approx(3, abs=0.02)
    assert found["spare_is"] == "exact"


@pytest.mark.parametrize(
    ("arguments", "status", "said"),
    [
        (("no.dng",), 3, "no.dng: "),
        ((SAMPLES / "truth.json",), 3, "not a raw frame"),
        ((EMPTY, SHORT, "--bracket", SHORT), 2, "name one at a time"),
        ((EMPTY, "--bracket", SHORT), 1, "take it one to four stops darker"),
        ((EMPTY, "--box", "1,2,3"), 2, "give 4 numbers"),
        ((EMPTY, "--box", "0,0,5000,9"), 2, "does not lie in the picture"),
        ((EMPTY, "--picture", SAMPLES / "x.jpg"), 2, "among the frames"),
        ((EMPTY, "--picture", "x.gif"), 2, "choose such a name"),
    ],
)
def test_what_cannot_be_done_is_said_in_one_line(
    arguments: tuple[str | Path, ...], status: int, said: str
) -> None:
    result = run(*arguments)
    assert result.exit_code == status
    assert said in result.stderr
    assert "Traceback" not in result.output
