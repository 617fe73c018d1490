"""``python -m inspector.simulate.jobs OUT_FOLDER``: frames for the jobs beside checking.

An empty set and its bracket, a panel brought in, a room with one wall flagged at a time, and an
evening in which the flash misfires once and then sags. The same bytes every time.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import click

from inspector.simulate.camera import Camera
from inspector.simulate.dng import write_dng
from inspector.simulate.render import shoot
from inspector.simulate.samples import CAMERA, CLOSER, DARK, SOFTBOX, STANDARD_LENS
from inspector.simulate.scene import Light, Pose, Scene, Surround

MEGAPIXELS = 0.5
EVENING_MEGAPIXELS = 0.12
FRAMES = 30
"""Frames of the evening."""
MISFIRE, SAGS_FROM, SAG_EV = 9, 13, 0.45
"""The frame without flash; the frame from which the flash sags, and by how many stops in all."""
BLACK_EV = -4.1
"""What black cloth leaves of a white wall's light: 0.05 of 0.85."""
WALLS = {"left": "left_ev", "right": "right_ev", "ceiling": "top_ev"}

BRIGHT = replace(SOFTBOX, ev=2.0, falloff_ev=0.8, slope_ev=(0.5, 0.0))
OUT = Light(front_ev=-5.4, wrap_ev=-4.4, wrap_width=0.004, rim_ev=-1.4, rim_width=0.0007)
PANEL = replace(OUT, right_ev=-4.2, front_ev=-5.3)
ROOM = replace(DARK, front_ev=-5.6, left_ev=-3.4, right_ev=-4.6, top_ev=-4.2)


def _scene(name: str, *poses: Pose, light: Light = DARK, closer: bool = False) -> Scene:
    return Scene(
        name,
        backdrop=CLOSER if closer else SOFTBOX,
        surround=Surround(-6.8),
        poses=poses,
        light=light,
        lens=STANDARD_LENS,
        seed=31,
    )


def frames() -> Iterator[tuple[str, Scene, Camera, float, float]]:
    """Name, scene, camera, exposure change in stops and megapixels of each frame."""
    plate = replace(_scene("plate"), backdrop=BRIGHT)
    yield "plate", plate, CAMERA, 0.0, MEGAPIXELS
    yield "plate-three-stops-down", plate, CAMERA.exposed(-3, by="aperture"), -3.0, MEGAPIXELS
    akimbo = Pose("akimbo", (0.5, 0.84), 0.8, hair=8)
    for name, light in (("panel-out", OUT), ("panel-in", PANEL)):
        yield name, _scene(name, akimbo, light=light, closer=True), CAMERA, 0.0, MEGAPIXELS
    room = _scene("room-open", Pose("standing", (0.47, 0.82), 0.78, hair=6), light=ROOM)
    yield "room-open", room, CAMERA, 0.0, MEGAPIXELS
    for wall, key in WALLS.items():
        black = replace(ROOM, **{key: getattr(ROOM, key) + BLACK_EV})
        yield f"room-{wall}-black", replace(room, light=black), CAMERA, 0.0, MEGAPIXELS
    yield from _evening()


def _evening() -> Iterator[tuple[str, Scene, Camera, float, float]]:
    """On guard, frame after frame; the flash fails once and later loses power bit by bit."""
    for number in range(1, FRAMES + 1):
        aside = 0.004 * (number % 3 - 1)
        scene = _scene("evening", Pose("en-garde", (0.42 + aside, 0.632), 0.52))
        sagged = max(number - SAGS_FROM, 0) / (FRAMES - SAGS_FROM)
        ev = -5.0 if number == MISFIRE else -SAG_EV * sagged
        minute, second = divmod(20 * number, 60)
        camera = replace(CAMERA, taken_at=f"2024-11-15T20:{minute:02d}:{second:02d}")
        yield f"evening/{number:04d}", scene, camera, ev, EVENING_MEGAPIXELS


def write_frames(folder: Path) -> Iterator[Path]:
    """Write them all; the name of each as it is done."""
    (folder / "evening").mkdir(parents=True, exist_ok=True)
    for seed, (name, scene, camera, ev, megapixels) in enumerate(frames()):
        path = folder / f"{name}.dng"
        frame = shoot(scene, camera=camera, seed=seed, ev=ev, megapixels=megapixels)
        write_dng(path, frame, bits=camera.bits)
        yield path


@click.command(help=__doc__)
@click.argument("out_folder", type=click.Path(file_okay=False, path_type=Path))
def main(out_folder: Path) -> None:
    """Write the frames and say how many."""
    written = list(write_frames(out_folder))
    click.echo(f"{out_folder}: {len(written)} frames")


if __name__ == "__main__":
    main()
