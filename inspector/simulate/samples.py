"""The fencing club's poster evening: twelve small frames and the truth about each.

A white room four metres wide, one big softbox as background, one camera on a tripod.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from inspector.frame import Frame
from inspector.simulate.camera import Camera
from inspector.simulate.dng import write_dng
from inspector.simulate.render import render
from inspector.simulate.scene import (
    Backdrop,
    Lens,
    Light,
    Pose,
    Scene,
    Spill,
    Spot,
    Surround,
)
from inspector.simulate.truth import Truth
from inspector.zones import BACKDROP, SUBJECT

MEGAPIXELS = 0.7776
"""1080 x 720: twelve uncompressed frames stay under 20 MB."""

CAMERA = Camera(shutter_s=1 / 160, aperture_f=8.0, iso=100.0)
TURNED = replace(CAMERA, orientation=8)

SOFTBOX = Backdrop(
    "rectangle", (0.5, 0.325), (0.93, 0.585), turn_deg=0.5, ev=0.75, falloff_ev=0.22,
    hot_ev=0.15, hot_radius=0.2, seams=2, seam_ev=0.06,
)  # fmt: skip
CLOSER = replace(SOFTBOX, kind="wall", seams=0, falloff_ev=0.18)
DARK = Light(
    front_ev=-5.3, wrap_ev=-4.3, wrap_width=0.004, rim_ev=-1.4, rim_width=0.0007, folds=0.22
)
STANDARD_LENS = Lens(blur_px=0.9, veil=0.005)
EN_GARDE = Pose("en-garde", (0.42, 0.632), 0.52)


@dataclass(frozen=True)
class Sample:
    """One frame of the evening: its scene, the camera as set, the minute it was taken."""

    scene: Scene
    camera: Camera
    minute: int


def _landscape(
    name: str,
    *poses: Pose,
    backdrop: Backdrop = SOFTBOX,
    light: Light = DARK,
    surround: Surround | None = None,
) -> Scene:
    """The whole softbox, the dark room around it."""
    return Scene(
        name,
        backdrop=backdrop,
        poses=poses,
        light=light,
        lens=STANDARD_LENS,
        surround=surround or Surround(-6.8),
    )


def _closer(name: str, *poses: Pose, light: Light = DARK, look: str = "silhouette") -> Scene:
    """The softbox fills the frame."""
    return Scene(name, backdrop=CLOSER, poses=poses, light=light, lens=STANDARD_LENS, look=look)


EVENING: dict[int, Scene] = {
    0: _landscape("empty-plate"),
    2: _landscape(
        "plate-short-corner",
        backdrop=replace(SOFTBOX, corner="bottom-left", corner_ev=1.9, corner_radius=0.2),
    ),
    9: _landscape("clean-silhouette", EN_GARDE),
    17: Scene(
        "profile-portrait",
        aspect=2 / 3,
        backdrop=replace(CLOSER, slope_ev=(0.1, -0.15)),
        poses=(Pose("profile", (0.31, 0.99), 1.45, hair=9),),
        light=replace(DARK, rim_ev=-1.1, rim_width=0.0009),
        lens=STANDARD_LENS,
    ),
    26: _landscape(
        "lunge-with-foil",
        Pose("lunge", (0.4, 0.6), 0.505),
        light=replace(
            DARK,
            glints=(
                Spot((0.6228, 0.2506), (0.0014, 0.0026), 1.2, 0.7, 5),
                Spot((0.428, 0.232), (0.0026, 0.0011), 1.6, 0.8, -30),
                Spot((0.568, 0.2545), (0.0024, 0.0012), 1.4, 0.8, -8),
            ),
        ),
    ),
    31: _closer(
        "spill-shoulder-and-mask",
        Pose("masked", (0.5, 0.72), 1.55),
        light=replace(
            DARK,
            spills=(
                Spill((0.695, 0.525), 0.07, 0.62, 0.018, 0.016, 0.04),
                Spill((0.41, 0.265), 0.06, 0.6, 0.013, 0.012, 0.02),
            ),
        ),
    ),
    40: _closer(
        "filled-with-white-panel",
        Pose("akimbo", (0.5, 0.84), 0.8, hair=8),
        light=replace(DARK, front_ev=-3.4, right_ev=-2.6, left_ev=-4.2, wrap_ev=-3.4),
        look="filled",
    ),
    48: _landscape(
        "left-wall-bouncing-in",
        Pose("standing", (0.47, 0.82), 0.78, hair=6),
        light=replace(DARK, front_ev=-4.5, left_ev=-1.8, wrap_ev=-3.8),
    ),
    55: _landscape(
        "flash-did-not-fire",
        EN_GARDE,
        backdrop=replace(SOFTBOX, ev=-7.4, hot_ev=0, falloff_ev=0.4),
        light=replace(DARK, front_ev=-8.2, wrap_ev=-10.5, rim_ev=-9.5),
        surround=Surround(-8.8),
    ),
    56: _landscape("background-short", EN_GARDE, backdrop=replace(SOFTBOX, ev=-0.62, hot_ev=0.1)),
    61: _landscape(
        "background-far-over",
        EN_GARDE,
        backdrop=replace(SOFTBOX, ev=2.25),
        light=replace(DARK, front_ev=-3.6, wrap_ev=-2.6, rim_ev=-0.5, rim_width=0.0008),
        surround=Surround(-5.2),
    ),
    74: Scene(
        "lit-portrait",
        aspect=2 / 3,
        backdrop=Backdrop("none", ev=-2.6, falloff_ev=0.5, peak=(0.5, 0.4)),
        poses=(Pose("profile", (0.32, 0.99), 1.4, hair=7),),
        light=Light(front_ev=-3.0, right_ev=-0.3, left_ev=-3.4, wrap_ev=-9, rim_ev=-9, folds=0.1),
        lens=STANDARD_LENS,
    ),
}
"""The scenes by the minute at which each is taken."""


def evening() -> tuple[Sample, ...]:
    """The twelve frames in the order in which they were taken."""
    return tuple(
        Sample(
            replace(scene, name=f"fencing-{i:02d}-{scene.name}", seed=20 + i),
            TURNED if scene.aspect < 1 else CAMERA,
            minute,
        )
        for i, (minute, scene) in enumerate(EVENING.items(), 1)
    )


def write_samples(folder: Path, *, megapixels: float = MEGAPIXELS) -> Iterator[tuple[Path, Truth]]:
    """Write the evening into a folder, frame by frame, and at the end ``truth.json``.

    The same bytes every time. Zone maps go to ``truth/<stem>.zones.png``, 8 bit, the size of
    the picture as viewed: 0 surround, 1 backdrop, 2 subject.
    """
    (folder / "truth").mkdir(parents=True, exist_ok=True)
    told = []
    for number, sample in enumerate(evening(), 1):
        camera = replace(sample.camera, taken_at=_clock(sample.minute))
        frame, truth = render(sample.scene, camera=camera, seed=number, megapixels=megapixels)
        path = folder / f"{sample.scene.name}.dng"
        write_dng(path, frame, bits=camera.bits)
        _write_zones(folder / "truth" / f"{path.stem}.zones.png", truth)
        told.append(describe(path.name, frame, truth))
        yield path, truth
    text = json.dumps({"schema": 1, "scenario": __doc__, "frames": told}, indent=1)
    _replace(folder / "truth.json", (text + "\n").encode())


def _clock(minute: int) -> str:
    return f"2024-11-15T{19 + (30 + minute) // 60:02d}:{(30 + minute) % 60:02d}:00"


def _write_zones(path: Path, truth: Truth) -> None:
    done, png = cv2.imencode(".png", truth.zones, [cv2.IMWRITE_PNG_COMPRESSION, 9])
    if not done:
        raise OSError(f"{path}: the zone map could not be encoded")
    _replace(path, png.tobytes())


def _replace(path: Path, content: bytes) -> None:
    part = path.with_name(f".{path.name}.part")
    part.write_bytes(content)
    part.replace(path)


def describe(name: str, frame: Frame, truth: Truth) -> dict[str, Any]:
    """The truth of one frame in the words of the record; stops with and without the ceiling."""
    width, height = frame.size
    stops = {"ev_p1": truth.ev_p1, "ev_p50": truth.ev_p50, "ev_p99": truth.ev_p99}
    return {
        "file": name,
        "zones": f"truth/{Path(name).stem}.zones.png",
        "frame": {"width": width, "height": height, "orientation": frame.orientation},
        "plate": truth.plate,
        "look": truth.look,
        "verdict": truth.verdict("silhouette"),
        "misses": truth.misses("silhouette"),
        "verdict_own_look": truth.verdict(),
        "misses_own_look": truth.misses(),
        "clip": {
            "levels": _by_channel(frame, truth.clip_levels),
            "saturated_fraction": _by_channel(frame, truth.saturated),
            "ceiling_ev": round(truth.ceiling_ev, 4),
        },
        "backdrop": {
            "found": truth.found,
            "area_fraction": _figure(float(np.mean(truth.zones == BACKDROP))),
            "white_fraction": _figure(truth.white_fraction),
            "blown_fraction": _figure(truth.blown_fraction),
            **{k: _figure(_under(v, truth.ceiling_ev)) for k, v in stops.items()},
            **{f"true_{k}": _figure(v) for k, v in stops.items()},
        },
        "subject": {
            "area_fraction": _figure(float(np.mean(truth.zones == SUBJECT))),
            "depth_ev": _figure(truth.depth_ev),
            "hot_spots": [
                {"box": s.box, "area_px": s.area_px, "warns": s.warns} for s in truth.hot_spots
            ],
        },
        "edge": {
            "length_px": _figure(truth.edge_length_px),
            "ramp_px": _figure(truth.ramp_px),
            "blur_px": truth.blur_px,
            "spill_fraction": _figure(truth.spill_fraction),
            "spill": [
                {"box": s.box, "length_px": _figure(s.length_px), "depth_px": _figure(s.depth_px)}
                for s in truth.spill
            ],
        },
        "flare": {"veil_fraction": _figure(truth.veil_fraction)},
        "window": {
            "low_ev": _figure(truth.window_low_ev),
            "high_ev": _figure(truth.window_high_ev),
        },
    }


def _by_channel(frame: Frame, values: np.typing.NDArray[np.float64]) -> dict[str, float | None]:
    return {n: _figure(float(v)) for n, v in zip(frame.channels, values, strict=True)}


def _under(value: float | None, ceiling: float) -> float | None:
    return None if value is None else min(value, ceiling)


def _figure(value: float | None) -> float | None:
    """Rounded to what the truth is good for."""
    return None if value is None else round(value, 5)


__all__ = ["CAMERA", "MEGAPIXELS", "Sample", "describe", "evening", "write_samples"]
