"""A simulator of set, lens and camera with known truth; the inspector itself never imports it."""

from inspector.simulate.camera import Camera
from inspector.simulate.render import render, shoot
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

__all__ = [
    "Backdrop",
    "Camera",
    "Lens",
    "Light",
    "Pose",
    "Scene",
    "Spill",
    "Spot",
    "Surround",
    "Truth",
    "render",
    "shoot",
]
