"""The lighting ratio: handbook tables, noise that is known, and a face that is there."""

from __future__ import annotations

import builtins
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import matplotlib as mpl
import numpy as np
import pytest
from click.testing import CliRunner, Result
from numpy.typing import NDArray
from skimage import data

from inspector.cheeks import find_cheeks
from inspector.cli import main
from inspector.clip import Clip
from inspector.frame import Frame
from inspector.levels import measure_clip, measure_levels
from inspector.ratio import LightingRatio, lighting_ratio
from inspector.report import ratiomap
from inspector.report.layout import SIZE
from inspector.simulate.camera import Camera, photograph
from inspector.simulate.dng import write_dng

SAMPLES = Path(__file__).parent.parent / "sample_frames"
PORTRAIT = SAMPLES / "fencing-12-lit-portrait.dng"
LIT, SHADOW = (450.0, 200.0), (150.0, 200.0)
CAMERA = Camera()
CLEAR = Clip(np.array(CAMERA.clip), np.ones(4, bool))


def halves(lit_ev: float, shadow_ev: float, *, seed: int = 1, camera: Camera = CAMERA) -> Frame:
    """The right half lit, the left in shadow, both neutral."""
    light = np.full((400, 600, 3), 2.0**shadow_ev, np.float32)
    light[:, 300:] = 2.0**lit_ev
    return photograph(light, camera=camera, seed=seed)


def read(frame: Frame, **options: Any) -> LightingRatio:
    return lighting_ratio(frame, CLEAR, lit=LIT, shadow=SHADOW, **options)


# The handbook's tables.


@pytest.mark.parametrize(("stops", "times"), [(1, 2), (2, 4), (3, 8), (0, 1)])
def test_stops_and_ratio_of_the_handbook(stops: float, times: float) -> None:
    # Lighting handbooks' table: 1 stop 2:1, 2 stops 4:1, 3 stops 8:1 (common practice).
    found = read(halves(-1, -1 - stops))
    assert found.stops == pytest.approx(stops, abs=0.01)
    assert found.times == pytest.approx(times, rel=0.01)
    assert found.state == "exact"


@pytest.mark.parametrize(("times", "over"), [(2, 0), (3, 1), (5, 2), (9, 3)])
def test_key_over_fill_where_the_fill_lights_both_sides(times: float, over: float) -> None:
    # (K + F) : F = R, so K over F is log2(R - 1): 2:1 0, 3:1 1, 5:1 2, 9:1 3 stops
    # (cinematographers' handbooks; common practice).
    found = read(halves(-1, -1 - np.log2(times)))
    assert found.key_over_fill_ev == pytest.approx(over, abs=0.03)
    assert found.stops == pytest.approx(np.log2(times), abs=0.01)


# Uncertainty.


def test_the_stated_uncertainty_holds_in_95_of_100_frames() -> None:
    noisy = replace(CAMERA, iso=6400.0)
    off, stated = [], []
    for seed in range(200):
        found = read(halves(-2, -4, seed=seed, camera=noisy), size=20)
        assert found.stops is not None
        assert found.error_ev is not None
        off.append(abs(found.stops - 2))
        stated.append(found.error_ev)
    share = np.mean(np.array(off) < np.array(stated))
    assert 0.9 <= share <= 0.99
    assert np.std(off) < np.mean(stated) < 0.1


def test_a_larger_patch_is_surer() -> None:
    frame = halves(-1, -5)
    small, large = read(frame, size=10), read(frame, size=100)
    assert small.error_ev is not None
    assert large.error_ev is not None
    assert large.error_ev == pytest.approx(small.error_ev / 10, rel=0.25)


# Points that cannot be read.


def test_a_clipped_point_is_at_least_and_warns() -> None:
    found = read(halves(2, -1))
    assert found.state == "at_least"
    assert found.stops == pytest.approx(1 + CAMERA.ceiling_ev, abs=0.05)
    assert found.error_ev is None
    assert found.warnings == ("the lit point is clipped in every channel; close down or move it",)


def test_green_alone_clipped_is_told_by_the_rest() -> None:
    found = read(halves(0.5, -1))
    assert found.state == "exact"
    assert found.stops == pytest.approx(1.5, abs=0.02)
    assert found.warnings == ()


def test_a_point_in_the_noise_warns() -> None:
    found = read(halves(-1, -13, camera=replace(CAMERA, read_noise_e=20.0)))
    assert found.state == "in_noise"
    assert found.warnings == ("the shadow point lies in the noise; open up or add light",)


def test_points_the_wrong_way_round() -> None:
    found = read(halves(-4, -1))
    assert found.stops == pytest.approx(-3, abs=0.01)
    assert found.key_over_fill_ev is None
    assert "wrong way round" in found.warnings[0]


# The face.


def hopper() -> NDArray[np.uint8]:
    """A portrait that matplotlib's wheel ships (public domain, from memory)."""
    path = Path(mpl.get_data_path()) / "sample_data" / "grace_hopper.jpg"
    return np.asarray(cv2.imread(str(path)), np.uint8)[..., ::-1]


def astronaut() -> NDArray[np.uint8]:
    """A portrait that scikit-image's wheel ships (NASA, public domain)."""
    picture: NDArray[np.uint8] = data.astronaut()  # type: ignore[no-untyped-call]
    return picture


def taken(picture: NDArray[np.uint8], *, ev: float = 0.0) -> Frame:
    """A photograph's own levels, made linear, as a raw frame."""
    light = 2.0**ev * ((picture.astype(float) / 255 + 0.055) / 1.055) ** 2.4  # IEC 61966-2-1
    height, width = (n // 4 * 4 for n in light.shape[:2])
    seen = np.asarray(light[:height, :width], np.float32)
    return photograph(seen, camera=CAMERA, seed=1)


@pytest.mark.parametrize("ev", [0.0, -4.0])
@pytest.mark.parametrize(
    ("picture", "left", "right"),
    [
        (astronaut(), (200, 140), (245, 140)),
        (astronaut()[:, ::-1], (267, 140), (312, 140)),
        (hopper(), (222, 242), (320, 242)),
    ],
)
def test_the_cheeks_of_a_face(
    picture: NDArray[np.uint8], left: tuple[int, int], right: tuple[int, int], ev: float
) -> None:
    # The places were read off the photographs by eye.
    found = find_cheeks(measure_levels(taken(picture, ev=ev)))
    assert found is not None
    assert found.sure
    reach = 0.2 * (found.face[2] - found.face[0])
    assert np.hypot(*np.subtract(found.left, left)) < reach
    assert np.hypot(*np.subtract(found.right, right)) < reach


def test_where_no_face_is_none_is_found() -> None:
    horse: NDArray[np.bool_] = data.horse()  # type: ignore[no-untyped-call]
    grey = np.repeat((horse[..., None] * 200 + 20).astype(np.uint8), 3, axis=2)
    assert find_cheeks(measure_levels(taken(grey))) is None


def test_two_faces_are_not_sure() -> None:
    head = astronaut()[:240, 100:320]
    found = find_cheeks(measure_levels(taken(np.hstack((head, head)))))
    assert found is not None
    assert not found.sure


# The command.


def run(*arguments: str | Path) -> Result:
    return CliRunner().invoke(main, ["ratio", *map(str, arguments)])


def test_the_command(tmp_path: Path) -> None:
    path = tmp_path / "halves.dng"
    write_dng(path, halves(-1, -3))
    result = run(path, "--lit", "450,200", "--shadow", "150,200")
    assert result.exit_code == 0
    assert result.stdout.startswith("halves.dng: 4.0:1, 2.0 stops ± 0.01; key +1.6 stops over")
    found = json.loads(run(path, "--lit", "450,200", "--shadow", "150,200", "--json").stdout)
    assert found["times"] == pytest.approx(4, rel=0.01)
    assert found["lit"]["ev"] == pytest.approx(-1, abs=0.1)  # the file overstates its clip
    swapped = run(path, "--lit", "150,200", "--shadow", "450,200")
    assert swapped.exit_code == 1
    assert "1:4.0, −2.0 stops" in swapped.stdout


def test_the_command_proposes_the_cheeks(tmp_path: Path) -> None:
    path = tmp_path / "portrait.dng"
    write_dng(path, taken(astronaut()))
    found = json.loads(run(path, "--face", "--json").stdout)
    assert found["warnings"] == []
    assert found["stops"] > 0
    clip = measure_clip(taken(astronaut()))
    again = lighting_ratio(
        taken(astronaut()), clip, lit=tuple(found["lit"]["at"]), shadow=tuple(found["shadow"]["at"])
    )
    assert found["stops"] == pytest.approx(again.stops, abs=0.1)


def test_a_profile_is_not_sure() -> None:
    result = run(PORTRAIT, "--face")
    assert result.exit_code in (1, 2)
    assert "not sure" in result.stderr or "no face is found" in result.stderr


def test_without_the_extra_two_points_still_work(monkeypatch: pytest.MonkeyPatch) -> None:
    real = builtins.__import__

    def no_skimage(name: str, *rest: Any, **more: Any) -> Any:
        if name.startswith("skimage"):
            raise ImportError(name)
        return real(name, *rest, **more)

    monkeypatch.setattr(builtins, "__import__", no_skimage)
    refused = run(PORTRAIT, "--face")
    assert refused.exit_code == 2
    assert "pip install 'inspector[face]'" in refused.stderr
    assert run(PORTRAIT, "--lit", "410,330", "--shadow", "250,330").exit_code == 0


@pytest.mark.parametrize(
    ("arguments", "status", "said"),
    [
        ((PORTRAIT,), 2, "give --lit X,Y and --shadow X,Y, or --face alone"),
        ((PORTRAIT, "--lit", "1,1"), 2, "give --lit X,Y and --shadow X,Y"),
        ((PORTRAIT, "--lit", "1,1", "--shadow", "2,2", "--face"), 2, "or --face alone"),
        ((PORTRAIT, "--lit", "9999,1", "--shadow", "2,2"), 2, "lies outside the picture"),
        ((PORTRAIT, "--lit", "a,b", "--shadow", "2,2"), 2, "give 2 numbers"),
        ((PORTRAIT, "--lit", "nan,1", "--shadow", "2,2"), 2, "give 2 numbers"),
        (("gone.dng", "--lit", "1,1", "--shadow", "2,2"), 3, "gone.dng: "),
    ],
)
def test_what_cannot_be_done_is_said_in_one_line(
    arguments: tuple[str | Path, ...], status: int, said: str
) -> None:
    result = run(*arguments)
    assert result.exit_code == status
    assert said in result.stderr
    assert "Traceback" not in result.output


def test_the_picture_shows_both_points(tmp_path: Path) -> None:
    picture = tmp_path / "ratio.png"
    run(PORTRAIT, "--lit", "430,250", "--shadow", "365,290", "--picture", picture)
    drawn = np.asarray(cv2.imread(str(picture)))
    assert drawn.shape == (SIZE[1], SIZE[0], 3)
    assert ratiomap.times(2.0) == "2.0:1"
    assert ratiomap.times(0.5) == "1:2.0"
    assert ratiomap.times(None) == "–"
