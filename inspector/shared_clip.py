"""Clip levels of frames of one camera: what one frame cannot show, another may."""

from __future__ import annotations

from collections.abc import Sequence

from inspector.clip import Clip
from inspector.frame import Frame
from inspector.levels import measure_clip


def shared_clips(frames: Sequence[Frame]) -> list[Clip]:
    """The clip levels of each frame, channels without a pile-up taken from frames that have one.

    Only frames of the same camera, ISO and channels teach each other.
    """
    own = [measure_clip(frame) for frame in frames]
    return [_taught(k, frames, own) for k in range(len(frames))]


def _taught(k: int, frames: Sequence[Frame], own: Sequence[Clip]) -> Clip:
    peers = [clip for f, clip in zip(frames, own, strict=True) if _alike(f, frames[k])]
    level, measured = own[k].level.copy(), own[k].measured.copy()
    for c in range(level.size):
        seen = [p.level[c] for p in peers if p.measured[c]]
        # Nothing responds above its clip, so the highest pile-up is the true one. A frame with a
        # pile-up in other channels knows how far off the stated level is.
        teachers = seen or [p.level[c] for p in peers if p.measured.any()]
        if teachers:
            level[c] = max(teachers)
        measured[c] = bool(seen)
    return Clip(level, measured)


def _alike(a: Frame, b: Frame) -> bool:
    return (a.shot.camera, a.shot.iso, a.channels) == (b.shot.camera, b.shot.iso, b.channels)
