"""Frames to measure with: one scene of the sample set, as big as a real camera's."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from inspector.frame import Frame
from inspector.simulate.dng import write_dng
from inspector.simulate.render import shoot
from inspector.simulate.samples import evening

SCENE = "fencing-03-clean-silhouette"
"""Landscape, a clean edge; the longest outline of the sample set."""


@dataclass(frozen=True)
class Files:
    """One frame in two files; ``packed`` (lossless JPEG) is None where nothing can write it."""

    megapixels: float
    width: int
    height: int
    plain: Path
    packed: Path | None

    @property
    def mosaic_bytes(self) -> int:
        """Size of the mosaic in memory."""
        return 2 * self.width * self.height


def make_files(folder: Path, megapixels: float) -> Files:
    """Photograph the scene and write it, uncompressed and packed."""
    scene = next(sample.scene for sample in evening() if sample.scene.name == SCENE)
    frame = shoot(replace(scene, name="bench"), megapixels=megapixels, seed=1)
    height, width = frame.mosaic.shape
    plain = folder / f"plain-{megapixels:g}.dng"
    write_dng(plain, frame)
    return Files(megapixels, width, height, plain, _packed(folder, megapixels, frame))


def _packed(folder: Path, megapixels: float, frame: Frame) -> Path | None:
    try:
        import imagecodecs  # noqa: F401
    except ImportError:
        return None
    path = folder / f"packed-{megapixels:g}.dng"
    write_dng(path, frame, lossless_jpeg=True)
    return path
