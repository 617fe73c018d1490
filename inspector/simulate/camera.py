"""A sensor that writes a raw mosaic: filter array, white balance, noise, clipping, rounding."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from inspector.frame import BAYER, MONO, RGB, A, Frame, Shot, as_viewed

PATTERNS: dict[str, tuple[tuple[int, ...], ...]] = {
    "RGGB": ((0, 1), (2, 3)),
    "BGGR": ((3, 2), (1, 0)),
    "GRBG": ((1, 0), (3, 2)),
    "GBRG": ((2, 3), (0, 1)),
    "mono": ((0,),),
    "X-Trans": (
        (1, 1, 0, 1, 1, 2),
        (1, 1, 2, 1, 1, 0),
        (2, 0, 1, 0, 2, 1),
        (1, 1, 2, 1, 1, 0),
        (1, 1, 0, 1, 1, 2),
        (0, 2, 1, 2, 0, 1),
    ),
}
"""Index into the channels of each site; Bayer: R, G1, G2, B, G1 in the rows of R."""

_STOPS_THIRD = (
    "1 1.1 1.2 1.4 1.6 1.8 2 2.2 2.5 2.8 3.2 3.5 4 4.5 5 5.6 6.3 7.1 8 9 10 11 13 14 16 18 20 22"
    " 25 29 32"
)
F_NUMBERS = tuple(float(f) for f in _STOPS_THIRD.split())
"""Nominal f-numbers in thirds of a stop, as lenses are marked; f/1.0 first."""


@dataclass(frozen=True)
class Camera:
    """One camera as set for the evening.

    Attributes
    ----------
    name : str
        Unique camera model as the file states it.
    pattern : str
        A key of ``PATTERNS``.
    bits : int
        Of the analogue-digital converter.
    black : tuple of float
        Raw level of no light of R, G1, G2, B.
    clip : tuple of float
        Raw level at which R, G1, G2, B truly stop responding.
    stated_clip : float
        What the file claims instead.
    red_gain, blue_gain : float
        As-shot white-balance multipliers, green being 1.
    full_well_e : float
        Electrons at saturation at ISO 100; halved with every doubling of ISO.
    read_noise_e : float
        Electrons.
    clip_spread : float
        Standard deviation over the sites of the level at which they saturate, raw levels.
    coarse_steps : int
        Raw levels per step at the top of the range, as of a lossy compressed file; 1 is none.
    orientation : int
        Exif tag of the frame.
    """

    name: str = "Simulated camera"
    pattern: str = "RGGB"
    bits: int = 14
    black: tuple[float, float, float, float] = (512.0, 512.0, 512.0, 512.0)
    clip: tuple[float, float, float, float] = (16200.0, 15778.0, 15778.0, 16100.0)
    stated_clip: float = 16383.0
    red_gain: float = 2.1
    blue_gain: float = 1.6
    full_well_e: float = 50000.0
    read_noise_e: float = 3.0
    clip_spread: float = 3.0
    coarse_steps: int = 1
    iso: float = 100.0
    shutter_s: float = 1 / 125
    aperture_f: float = 8.0
    orientation: int = 1
    taken_at: str = "2024-11-15T19:30:00"

    @property
    def channels(self) -> tuple[str, ...]:
        """Names of the frame's channels."""
        return {"mono": MONO, "X-Trans": RGB}.get(self.pattern, BAYER)

    def per_channel(self, four: tuple[float, ...]) -> NDArray[np.float64]:
        """(C,) pick of R, G1, G2, B for this camera's channels."""
        r, g1, g2, b = four
        picks = {MONO: (g1,), RGB: (r, g1, b), BAYER: (r, g1, g2, b)}
        return np.array(picks[self.channels])

    @property
    def gains(self) -> NDArray[np.float64]:
        """(C,) white-balance multipliers divided by the smallest."""
        gains = self.per_channel((self.red_gain, 1.0, 1.0, self.blue_gain))
        return np.asarray(gains / gains.min())

    @property
    def ceiling_ev(self) -> float:
        """Highest stop that a frame of a neutral surface can still tell."""
        return float(np.log2(self.gains.max()))

    def exposed(self, ev: float, *, by: str = "light") -> Camera:
        """The camera set ``ev`` stops brighter by ``aperture``, ``shutter``, ``iso``; or as it is

        for ``light``, when only the flash power changed.
        """
        if by == "aperture":
            return replace(self, aperture_f=nominal_aperture(self.aperture_f, ev))
        if by == "shutter":
            return replace(self, shutter_s=self.shutter_s * 2**ev)
        if by == "iso":
            return replace(self, iso=self.iso * 2**ev)
        if by == "light":
            return self
        raise ValueError(f"exposure can change by light, aperture, shutter or iso, not by {by!r}")


def nominal_aperture(f_number: float, ev: float) -> float:
    """The marking nearest to an f-number opened by ``ev`` stops (thirds: f = 2^(k/6))."""
    third = round(6 * np.log2(f_number) - 3 * ev)
    return F_NUMBERS[third] if 0 <= third < len(F_NUMBERS) else float(2 ** (third / 6))


def photograph(
    light: NDArray[np.float32], *, camera: Camera, seed: int, path: str = "simulated.dng"
) -> Frame:
    """Record (H, W, 3) rendered light, as viewed, 1 at the white point, as a raw frame.

    A neutral surface at level r fills channel c to r / gain_c of its range, so green just
    saturates at 1. Noise follows variance = a y + b (Foi et al., IEEE TIP 17(10), 2008): shot
    noise of the electrons plus read noise, then each site's saturation, then rounding.
    """
    rng = np.random.default_rng((seed, 4242))
    turned = from_viewed(light, camera.orientation)
    tile = np.array(PATTERNS[camera.pattern], np.uint8)
    mosaic = np.empty(turned.shape[:2], np.uint16)
    for row in range(tile.shape[0]):
        for column in range(tile.shape[1]):
            sites = (slice(row, None, tile.shape[0]), slice(column, None, tile.shape[1]))
            channel = int(tile[row, column])
            plane = turned[(*sites, _light_channel(camera, channel))]
            mosaic[sites] = _read_out(plane, camera, channel, rng)
    return Frame(
        path=path,
        mosaic=mosaic,
        pattern=tile,
        channels=camera.channels,
        black=camera.per_channel(camera.black),
        stated_clip=np.full(len(camera.channels), camera.stated_clip),
        gains=camera.gains,
        orientation=camera.orientation,
        shot=Shot(camera.name, camera.iso, camera.shutter_s, camera.aperture_f, camera.taken_at),
    )


def from_viewed(array: NDArray[A], orientation: int) -> NDArray[A]:
    """Turn an (H, W, ...) array from the picture as viewed to sensor orientation (a view)."""
    # All orientations but the two quarter turns are their own inverse.
    return as_viewed(array, {6: 8, 8: 6}.get(orientation, orientation))


def _light_channel(camera: Camera, channel: int) -> int:
    """Which of red, green, blue a channel sees; a monochrome sensor sees green alone."""
    if camera.channels == MONO:
        return 1
    return (0, 1, 1, 2)[channel] if camera.channels == BAYER else channel


def _read_out(
    plane: NDArray[np.float32], camera: Camera, channel: int, rng: np.random.Generator
) -> NDArray[np.uint16]:
    black = float(camera.per_channel(camera.black)[channel])
    clip = float(camera.per_channel(camera.clip)[channel])
    well = camera.full_well_e * 100 / camera.iso
    level = plane * np.float32(1 / camera.gains[channel])
    spread = np.sqrt(np.maximum(level, 0) / well + (camera.read_noise_e / well) ** 2)
    level += spread * rng.standard_normal(level.shape, dtype=np.float32)
    raw = black + (clip - black) * level
    limit = np.float32(clip)
    if camera.clip_spread > 0:
        noise = rng.standard_normal(level.shape, dtype=np.float32)
        np.minimum(raw, limit + np.float32(camera.clip_spread) * noise, out=raw)
    else:
        np.minimum(raw, limit, out=raw)
    if camera.coarse_steps > 1:
        raw = _coarsen(raw, black, clip, camera.coarse_steps)
    return np.asarray(np.clip(np.rint(raw), 0, 2**camera.bits - 1), np.uint16)


def _coarsen(
    raw: NDArray[np.float32], black: float, clip: float, steps: int
) -> NDArray[np.float32]:
    """Round to steps that grow with the square root of the level, as lossy files do."""
    over = np.maximum(raw - black, 0) / (clip - black)
    step = np.maximum(1, np.rint(steps * np.sqrt(over)))
    return np.asarray(np.where(raw > black, black + np.rint((raw - black) / step) * step, raw))
