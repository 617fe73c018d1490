"""The audit of a room: simulated rooms whose every wall is known."""

from __future__ import annotations

import json
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np
import pytest
from click.testing import CliRunner, Result
from numpy.typing import NDArray

from inspector.cli import main
from inspector.frame import Frame
from inspector.pair import PairError
from inspector.report import roommap
from inspector.report.layout import SIZE
from inspector.report.palette import LIGHT
from inspector.room import ALL, Audit, RoomError, audit
from inspector.simulate.camera import Camera, photograph
from inspector.simulate.dng import write_dng
from inspector.simulate.families import random_scene
from inspector.simulate.render import illuminate
from inspector.simulate.samples import CAMERA
from inspector.simulate.scene import Scene

PX = (900, 600)
BLACK_EV = float(np.log2(0.05 / 0.85))
"""What black cloth leaves of a white wall's light."""
WALLS = {"left": "left_ev", "right": "right_ev", "ceiling": "top_ev"}
POINTS = 0.02
"""How far a share may be off: two points of a hundred."""
Light = NDArray[np.float32]


def room_scene(figure: str, seed: int, **walls: float) -> Scene:
    draw = random_scene(seed, figure=figure, backdrop="wall", defect="none")
    return replace(draw.scene, aspect=1.5, light=replace(draw.scene.light, **walls))  # type: ignore[arg-type]


def flagged(scene: Scene, wall: str) -> Scene:
    key = WALLS[wall]
    light = {key: getattr(scene.light, key) + BLACK_EV}
    return replace(scene, light=replace(scene.light, **light))


def light_of(scene: Scene, ev: float = 0.0) -> Light:
    return illuminate(scene, size=PX, ev=ev).light


def shot(light: Light, *, camera: Camera = CAMERA, seed: int = 1, path: str = "x.dng") -> Frame:
    return photograph(light, camera=camera, seed=seed, path=path)


def true_share(found: Audit, light: Light, without: Light, part: str) -> float:
    """One less the ratio of what falls on a part with and without the flag, noise-free."""
    mask = found.parts[part]
    (h, w), scale = mask.shape, found.open.levels.scale
    means = [
        x[: h * scale, : w * scale, 1].reshape(h, scale, w, scale).mean((1, 3))[mask].mean()
        for x in (light, without)
    ]
    return float(1 - means[1] / means[0])


# Shares.


@pytest.mark.parametrize("figure", ["standing", "akimbo", "bust", "masked"])
@pytest.mark.parametrize("seed", [1, 2])
def test_each_share_is_right_within_two_points_and_the_ranking_always(
    figure: str, seed: int
) -> None:
    rng = np.random.default_rng((seed, len(figure)))
    walls = {key: float(rng.uniform(-5.5, -3.2)) for key in (*WALLS.values(), "front_ev")}
    scene = room_scene(figure, seed, **walls)
    ev = (0.0, -2 / 3)[seed % 2]
    camera = replace(random_scene(seed).camera, orientation=1)
    whole = light_of(scene)
    without = {wall: light_of(flagged(scene, wall)) for wall in WALLS}
    frames = {
        wall: shot(light * np.float32(2**ev), camera=camera.exposed(ev, by="aperture"), seed=k)
        for k, (wall, light) in enumerate(without.items())
    }
    found = audit(shot(whole, camera=camera, seed=9), frames)
    truth = {w: true_share(found, whole, without[w], ALL) for w in WALLS}
    for surface in found.surfaces:
        for part, share in surface.shares.items():
            wanted = true_share(found, whole, without[surface.name], part)
            assert share.fraction == pytest.approx(wanted, abs=POINTS), (surface.name, part)
            assert share.win_ev == pytest.approx(-np.log2(1 - wanted), abs=0.05)
    order = [surface.name for surface in found.surfaces]
    for one, other in pairwise(order):
        doubt = max(s.shares[ALL].error for s in found.surfaces)
        assert truth[one] > truth[other] - doubt
    assert found.rest[ALL] == pytest.approx(1 - sum(truth.values()), abs=3 * POINTS)


def ball(walls: dict[str, float], *, backdrop: float = 1.5, ambient: float = 0.01) -> Light:
    """A grey ball before a lit wall; each wall lights it by Lambert's cosine from its side."""
    y, x = np.mgrid[0 : PX[1], 0 : PX[0]].astype(float)
    nx, ny = (x - 450) / 150, (y - 300) / 150
    inside = nx**2 + ny**2 < 1
    toward = {"left": -nx, "right": nx, "ceiling": -ny}
    on_ball = ambient + sum(level * np.clip(toward[wall], 0, None) for wall, level in walls.items())
    light = cv2.GaussianBlur(np.where(inside, on_ball, backdrop), (0, 0), 0.9)
    return np.repeat(np.asarray(light, np.float32)[..., None], 3, axis=2)


def test_a_grey_ball_under_lamberts_law() -> None:
    # Written down from Lambert's cosine law alone; nothing of the simulated figures is in it.
    walls = {"left": 0.06, "right": 0.03, "ceiling": 0.04}
    whole = ball(walls)
    without = {name: ball(walls | {name: 0.0}) for name in walls}
    frames = {name: shot(light, seed=k) for k, (name, light) in enumerate(without.items())}
    found = audit(shot(whole, seed=9), frames)
    assert [s.name for s in found.surfaces] == ["left", "ceiling", "right"]
    for surface in found.surfaces:
        for part, share in surface.shares.items():
            wanted = true_share(found, whole, without[surface.name], part)
            assert share.fraction == pytest.approx(wanted, abs=POINTS)
    left = found.surfaces[0].shares
    assert left["left"].fraction > 0.7
    assert left["right"].fraction == pytest.approx(0, abs=POINTS)


def test_the_uncertainty_covers_what_noise_does() -> None:
    noisy = replace(CAMERA, iso=6400.0)
    walls = {"left": 0.02, "right": 0.015}
    whole, without = ball(walls), ball({"left": 0.0, "right": 0.015})
    inside = []
    for seed in range(20):
        frames = {"left": shot(without, camera=noisy, seed=seed)}
        found = audit(shot(whole, camera=noisy, seed=100 + seed), frames)
        share = found.surfaces[0].shares[ALL]
        inside.append(abs(share.fraction - true_share(found, whole, without, ALL)) < share.error)
    assert np.mean(inside) >= 0.85


def test_two_walls_alike_are_not_told_apart() -> None:
    walls = {"left": 0.05, "right": 0.05}
    frames = {n: shot(ball(walls | {n: 0.0}), seed=k) for k, n in enumerate(walls)}
    noisy = {n: replace(f) for n, f in frames.items()}
    found = audit(shot(ball(walls), seed=9), noisy)
    assert found.tied == 2
    assert "cannot tell apart" in found.sentence


# What a flag wins.


def test_depth_and_window_with_the_first_flag_are_those_of_its_own_frame() -> None:
    scene = room_scene("akimbo", 4, left_ev=-3.2, right_ev=-5.5, front_ev=-6.0)
    ev = -1.0
    camera = CAMERA.exposed(ev, by="aperture")
    frame = shot(light_of(flagged(scene, "left"), ev), camera=camera, seed=2)
    found = audit(shot(light_of(scene)), {"left": frame})
    alone = audit(shot(light_of(flagged(scene, "left")), seed=3), {"left": frame})
    best = found.surfaces[0]
    assert best.settings_ev == pytest.approx(ev, abs=0.01)
    assert best.depth_ev == pytest.approx(alone.open.exposure.depth_ev, abs=0.1)
    window, wanted = best.window, alone.open.exposure.window
    assert window.low_ev == pytest.approx(wanted.low_ev, abs=0.1)
    assert f"{best.depth_ev:.1f} stops under white" in found.sentence


def test_all_flags_together_leave_the_rest() -> None:
    walls = {"left": 0.05, "right": 0.03}
    frames = {n: shot(ball(walls | {n: 0.0}), seed=k) for k, n in enumerate(walls)}
    found = audit(shot(ball(walls), seed=9), frames)
    dark = audit(shot(ball({"left": 0.0, "right": 0.0}), seed=5), frames)
    assert found.depth_ev == pytest.approx(dark.open.exposure.depth_ev, abs=0.1)


# Frames that do not fit.


def test_a_flash_that_strays_a_little_is_taken_off() -> None:
    walls = {"left": 0.05, "right": 0.03}
    whole, without = ball(walls, backdrop=0.8), ball(walls | {"left": 0.0}, backdrop=0.8)
    found = audit(shot(whole), {"left": shot(without * np.float32(2**0.08), seed=2)})
    (surface,) = found.surfaces
    assert surface.light_ev == pytest.approx(0.08, abs=0.01)
    wanted = true_share(found, whole, without, ALL)
    assert surface.shares[ALL].fraction == pytest.approx(wanted, abs=POINTS)
    assert surface.shares[ALL].error > 0.01  # and the doubt is stated


def test_light_that_was_changed_is_refused_with_the_remedy() -> None:
    walls = {"left": 0.05}
    brighter = ball({"left": 0.0}, backdrop=0.8) * np.float32(2**0.5)
    with pytest.raises(RoomError, match=r"y\.dng: the background is 0\.5 stops over .* again"):
        audit(shot(ball(walls, backdrop=0.8)), {"left": shot(brighter, seed=2, path="y.dng")})


def test_another_pose_is_refused_and_a_small_step_is_followed() -> None:
    scene = room_scene("standing", 4, left_ev=-3.2, front_ev=-6.0)
    away, near = scene.moved(0.06, 0), scene.moved(0.006, 0.003)
    with pytest.raises(PairError, match="pose differs"):
        audit(shot(light_of(scene)), {"left": shot(light_of(flagged(away, "left")), seed=2)})
    still, moved = (
        audit(shot(light_of(scene)), {"left": shot(light_of(flagged(s, "left")), seed=2)})
        for s in (scene, near)
    )
    shares = [found.surfaces[0].shares[ALL].fraction for found in (still, moved)]
    assert shares[0] == pytest.approx(shares[1], abs=POINTS)


def test_a_flag_that_does_nothing_is_no_cause() -> None:
    scene = room_scene("akimbo", 4, left_ev=-12.0, front_ev=-5.0)
    found = audit(shot(light_of(scene)), {"left": shot(light_of(flagged(scene, "left")), seed=2)})
    assert found.surfaces[0].shares[ALL].fraction == pytest.approx(0, abs=0.005)


# Picture and command.


@pytest.fixture
def frames(tmp_path: Path) -> dict[str, Path]:
    walls = {"left": 0.06, "right": 0.03, "ceiling": 0.02}
    lights = {"open": ball(walls)} | {n: ball(walls | {n: 0.0}) for n in walls}
    paths = {}
    for k, (name, light) in enumerate(lights.items()):
        paths[name] = tmp_path / f"{name}.dng"
        write_dng(paths[name], shot(light, seed=k))
    return paths


def run(*arguments: str | Path) -> Result:
    return CliRunner().invoke(main, ["room", *map(str, arguments)])


def options(frames: dict[str, Path]) -> list[str]:
    flags = [f"--flag={n}={p}" for n, p in frames.items() if n != "open"]
    return ["--open", str(frames["open"]), *flags]


def test_the_command(frames: dict[str, Path], tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    picture = tmp_path / "out" / "room.jpg"
    result = run(*options(frames), "--picture", picture)
    assert result.exit_code == 0
    assert result.stdout.startswith("open.dng: Flag left first: it sends")
    assert "with all of these flags" in result.stdout
    assert np.asarray(cv2.imread(str(picture))).shape == (SIZE[1], SIZE[0], 3)
    found = json.loads(run(*options(frames), "--json").stdout)
    assert [s["name"] for s in found["measured"]["surfaces"]] == ["left", "right", "ceiling"]
    assert found["foretold"] is None


def test_measured_beside_foretold(frames: dict[str, Path]) -> None:
    result = run(*options(frames), "--plan", "4x5x2.6")
    assert "left: measured" in result.stdout
    assert "foretold" in result.stdout


def test_the_bars_are_as_long_as_the_shares() -> None:
    walls = {"left": 0.06, "right": 0.02}
    shots = {n: shot(ball(walls | {n: 0.0}), seed=k) for k, n in enumerate(walls)}
    found = audit(shot(ball(walls), seed=9), shots)
    canvas = roommap.draw(found)
    assert canvas.shape == (SIZE[1], SIZE[0], 3)
    green = np.array(LIGHT.rgb[::-1], int)
    bar = (np.abs(canvas.astype(int) - green).max(axis=2) < 8).sum(axis=1).max()
    share = found.surfaces[0].shares[ALL].fraction
    assert bar == pytest.approx(420 * share, abs=6)


@pytest.mark.parametrize(
    ("arguments", "status", "said"),
    [
        ((), 2, "give --open and --flag to measure, --plan to foretell"),
        (("--open", "a.dng"), 2, "at least one --flag"),
        (("--open", "a.dng", "--flag", "left"), 2, "as left=FRAME"),
        (("--open", "a.dng", "--flag", "left=b.dng", "--flag", "left=c.dng"), 2, "named twice"),
        (("--open", "gone.dng", "--flag", "left=b.dng"), 3, "gone.dng: "),
        (("--plan", "4x5"), 2, "give 3 lengths"),
        (("--plan", "4x5x2.6", "--picture", "x.jpg"), 2, "--picture draws what was measured"),
        (("--plan", "4x5x2.6", "--distance", "9"), 2, "move it nearer"),
        (("--plan", "4x5x2.6", "--wall", "85"), 2, "parts of 1"),
    ],
)
def test_what_cannot_be_done_is_said_in_one_line(
    arguments: tuple[str, ...], status: int, said: str
) -> None:
    result = run(*arguments)
    assert result.exit_code == status
    assert said in result.stderr
    assert "Traceback" not in result.output
