"""Scenes of the fencing club's evening for the tests of the core, each photographed once."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

from inspector.frame import Frame
from inspector.inspect import Inspection, inspect
from inspector.simulate import (
    Backdrop,
    Camera,
    Light,
    Pose,
    Scene,
    Spill,
    Spot,
    Surround,
    Truth,
    render,
)

SOFTBOX = Backdrop("rectangle", (0.5, 0.33), (0.9, 0.58))
CLEAN = Scene("clean", backdrop=SOFTBOX, poses=(Pose("akimbo", (0.5, 0.7), 0.6),))
WALL = replace(CLEAN, name="wall", backdrop=Backdrop("wall"))
PLATE = replace(CLEAN, name="plate", poses=())
SHORT = replace(CLEAN, name="short", backdrop=replace(SOFTBOX, ev=-0.4))
SHORT_CORNER = replace(
    CLEAN, name="short corner", backdrop=replace(SOFTBOX, corner="top-left", corner_ev=2.0)
)
SPILT = replace(
    CLEAN, name="spilt", light=Light(spills=(Spill((0.58, 0.3), 0.09, 0.7, 0.016, 0.012),))
)
HOT = replace(CLEAN, name="hot", light=Light(islands=(Spot((0.5, 0.36), (0.03, 0.02), 0.6, 1.6),)))
LIT = replace(CLEAN, name="lit", light=Light(front_ev=-1.5))
FILLED = replace(CLEAN, name="filled", light=Light(front_ev=-2.2))
NO_BACKDROP = replace(
    CLEAN, name="no backdrop", backdrop=Backdrop("none", ev=-4), light=Light(front_ev=-1)
)
MISFIRE = replace(CLEAN, name="misfire", backdrop=replace(SOFTBOX, ev=-7), surround=Surround(-9))
MEGAPIXELS = 0.5


@lru_cache(maxsize=24)
def photographed(
    scene: Scene, camera: Camera | None = None, *, ev: float = 0.0
) -> tuple[Frame, Truth]:
    """A frame of half a megapixel and the truth about it."""
    return render(scene, camera=camera, seed=1, ev=ev, megapixels=MEGAPIXELS)


@lru_cache(maxsize=24)
def seen(
    scene: Scene, camera: Camera | None = None, *, ev: float = 0.0, look: str = "silhouette"
) -> Inspection:
    """The same frame, inspected."""
    return inspect(photographed(scene, camera, ev=ev)[0], look=look)
