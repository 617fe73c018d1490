"""A frame and the truth about it, as far as the frame's own levels can tell."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from inspector.frame import Frame
from inspector.simulate.accuracy.compare import CLIPPED_SHARE
from inspector.simulate.camera import Camera, photograph
from inspector.simulate.count import saturated
from inspector.simulate.families import borderline
from inspector.simulate.render import illuminate, truth_of
from inspector.simulate.scene import Scene
from inspector.simulate.truth import Truth


def photographed(
    scene: Scene, camera: Camera, *, seed: int, megapixels: float, ev: float = 0.0
) -> tuple[Frame, Truth, bool]:
    """A frame, the truth about it as far as its levels tell, and whether it is borderline.

    Where nothing clips, a frame cannot show where it would: the clip level that the file states
    then stands by definition, and the truth is counted from there.
    """
    layers = illuminate(scene, size=scene.size(megapixels), ev=ev)
    frame = photograph(layers.light, camera=camera, seed=seed, path=f"{scene.name}.dng")
    if saturated(frame, camera).max() >= CLIPPED_SHARE:
        truth = truth_of(scene, layers, frame, camera)
        return frame, truth, borderline(truth)
    told = replace(camera, clip=(camera.stated_clip,) * 4)
    spans = [np.subtract(c.clip, c.black)[[0, 1, 3]].astype(np.float32) for c in (camera, told)]
    layers = replace(layers, light=layers.light * (spans[0] / spans[1]))
    truth = truth_of(scene, layers, frame, told)
    truth = replace(truth, saturated=saturated(frame, camera))
    return frame, truth, borderline(truth)
