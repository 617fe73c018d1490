"""One inspected frame against the truth about it: the error of every figure."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

import numpy as np

from inspector.inspect import Inspection, zone_mask
from inspector.simulate.accuracy.overlap import boundary_f, overlap
from inspector.simulate.truth import Box, Truth
from inspector.simulate.window import SEARCH_EV
from inspector.zones import BACKDROP, SUBJECT

CLIPPED_SHARE = 0.0005
"""Part of a channel's sites that must be saturated before its clip level can be asked for."""
UNCLIPPED_SHARE = 0.00003
"""Below this nothing clips: a level that is measured all the same is mistaken."""
BOUNDARY_PX = 3
WINDOW_ERR = 1 / 6
"""A bound of the window that is off by more than the figure's own goal is wrong, stops."""
VEIL_ERR = 0.1
"""The same for the veil, as a part."""
DEEP_SPILL = 0.0045
"""Spill this deep, part of the long side, must be found from one frame."""
LEAST_SPILL = 0.002
"""A smaller part of the edge is no spill that could be asked for."""
NEAR_PX = 4
"""Boxes so near each other name the same place."""

FIGURES = (
    "clip", "white", "ev_p1", "ev_p50", "ev_p99", "depth", "veil", "ramp", "spill_fraction",
    "window_low", "window_high", "backdrop_iou", "subject_iou", "boundary_f",
)  # fmt: skip


@dataclass(frozen=True)
class Comparison:
    """How one frame's figures differ from the truth.

    Attributes
    ----------
    said, true : str
        The verdicts.
    near : bool
        A figure lies so near its limit that either verdict would do.
    errors : dict of str to float
        By the names of ``FIGURES``, as far as they apply: absolute differences, but parts of the
        truth for clip, veil and ramp; overlap and boundary F as they are.
    flags : dict of str to bool
        What held or not, as far as it was asked.
    """

    said: str
    true: str
    near: bool
    errors: dict[str, float]
    flags: dict[str, bool]

    @property
    def false_pass(self) -> bool:
        """Passed though it should warn."""
        return self.said == "pass" and self.true == "warn"

    @property
    def false_warn(self) -> bool:
        """Warned though it should pass."""
        return self.said == "warn" and self.true == "pass"

    @property
    def hangs_on_shallow_spill(self) -> bool:
        """Should warn, and for nothing but spill that is only possible in one frame."""
        return self.flags.get("shallow_spill_alone", False)


def compare(seen: Inspection, truth: Truth, *, near: bool, raised_ev: float = 0.0) -> Comparison:
    """Compare an inspection with the truth.

    Parameters
    ----------
    near : bool
        See ``Comparison``.
    raised_ev : float
        Stops by which an under frame raises the ceiling.
    """
    errors: dict[str, float] = {}
    flags = {"found": seen.zones.found == truth.found}
    _clip(seen, truth, errors, flags)
    if truth.found and seen.zones.found:
        _backdrop(seen, truth, truth.ceiling_ev + raised_ev, errors)
        _low_end(seen, truth, errors, flags)
        _zones(seen, truth, errors)
        if not truth.plate:
            _subject(seen, truth, errors, flags)
            _spill(seen, truth, errors, flags)
            _high_end(seen, truth, errors, flags)
        _islands(seen, truth, flags)
    return Comparison(seen.verdict.word, truth.verdict(), near, errors, flags)


def _clip(seen: Inspection, truth: Truth, errors: dict[str, float], flags: dict[str, bool]) -> None:
    level, stated = seen.levels.clip.level, seen.frame.stated_clip
    off = np.abs(level / truth.clip_levels - 1)
    clipped = truth.saturated >= CLIPPED_SHARE
    if clipped.any():
        errors["clip"] = float(off[clipped].max())
    if (truth.saturated < UNCLIPPED_SHARE).all():
        flags["clip_mistaken"] = bool((np.abs(level / stated - 1) > 0.002).any())


def _backdrop(seen: Inspection, truth: Truth, ceiling: float, errors: dict[str, float]) -> None:
    x = seen.exposure
    _add(errors, "white", x.white_fraction, truth.white_fraction)
    for name in ("ev_p1", "ev_p50", "ev_p99"):
        true = getattr(truth, name)
        _add(errors, name, getattr(x, name), None if true is None else min(true, ceiling))


def _zones(seen: Inspection, truth: Truth, errors: dict[str, float]) -> None:
    mask = zone_mask(seen)
    scores = {"backdrop_iou": overlap(mask == BACKDROP, truth.zones == BACKDROP)}
    if not truth.plate:
        found, true = mask == SUBJECT, truth.zones == SUBJECT
        scores["subject_iou"] = overlap(found, true)
        scores["boundary_f"] = boundary_f(found, true, tolerance_px=BOUNDARY_PX)
    errors |= {name: score for name, score in scores.items() if score is not None}


def _subject(
    seen: Inspection, truth: Truth, errors: dict[str, float], flags: dict[str, bool]
) -> None:
    x, ramp = seen.exposure, seen.edge.ramp_px
    _add(errors, "depth", x.depth_ev, truth.depth_ev)
    if ramp is not None and truth.ramp_px:
        errors["ramp"] = abs(ramp / truth.ramp_px - 1)
    if x.veil_fraction is None or not truth.veil_fraction:
        return
    if x.veil_is == "exact":
        errors["veil"] = abs(x.veil_fraction / truth.veil_fraction - 1)
    else:
        flags["veil_bound"] = truth.veil_fraction <= x.veil_fraction * (1 + VEIL_ERR)


def _spill(
    seen: Inspection, truth: Truth, errors: dict[str, float], flags: dict[str, bool]
) -> None:
    _add(errors, "spill_fraction", seen.edge.spill_fraction, truth.spill_fraction)
    sure = [run.box for run in seen.edge.spill if run.sure]
    deepest = max((run.depth_px for run in truth.spill), default=0.0)
    share = truth.spill_fraction or 0.0
    if share >= LEAST_SPILL:
        found = any(_meet(box, run.box) for box in sure for run in truth.spill)
        flags["spill_found"] = found
        deep = deepest > DEEP_SPILL * max(seen.frame.size)
        if deep:
            flags["deep_spill_found"] = found
        flags["shallow_spill_alone"] = not deep and truth.misses() == ("edge.spill_fraction",)
    if not truth.spill:
        flags["spill_false_alarm"] = bool(sure)


def _islands(seen: Inspection, truth: Truth, flags: dict[str, bool]) -> None:
    warned = [spot.box for spot in seen.edge.hot_spots if spot.warns]
    true = [spot.box for spot in truth.hot_spots if spot.warns]
    if true:
        listed = [spot.box for spot in seen.edge.hot_spots]
        flags["island_found"] = all(any(_meet(a, b) for a in warned) for b in true)
        flags["island_listed"] = all(any(_meet(a, b) for a in listed) for b in true)
    any_true = [spot.box for spot in truth.hot_spots]
    flags["island_false_alarm"] = any(not any(_meet(a, b) for b in any_true) for a in warned)


def _low_end(
    seen: Inspection, truth: Truth, errors: dict[str, float], flags: dict[str, bool]
) -> None:
    window, true = seen.exposure.window, truth.window_low_ev
    if true is not None:
        _end("window_low", window.low_ev, window.low_is, (true, true), errors, flags)


def _high_end(
    seen: Inspection, truth: Truth, errors: dict[str, float], flags: dict[str, bool]
) -> None:
    """The high end against the two readings of "crossed": none means further than was searched."""
    window = seen.exposure.window
    least, most = truth.window_high_ev, truth.window_high_whole_ev
    true = (SEARCH_EV if least is None else least, inf if most is None else most)
    _end("window_high", window.high_ev, window.high_is, true, errors, flags)


def _end(
    name: str,
    said: float | None,
    kind: str | None,
    true: tuple[float, float],
    errors: dict[str, float],
    flags: dict[str, bool],
) -> None:
    """One end of the window against the range in which the true one lies."""
    least, most = true
    flags[f"{name}_missing"] = said is None and least < SEARCH_EV
    if said is None:
        return
    if kind == "exact":
        errors[name] = max(0.0, least - said, said - most)
    elif kind == "at_most":
        flags[f"{name}_bound"] = least <= said + WINDOW_ERR
    else:
        flags[f"{name}_bound"] = most >= said - WINDOW_ERR


def _add(errors: dict[str, float], name: str, said: float | None, true: float | None) -> None:
    if said is not None and true is not None:
        errors[name] = abs(said - true)


def _meet(a: Box, b: Box) -> bool:
    return (
        a[0] < b[2] + NEAR_PX
        and b[0] < a[2] + NEAR_PX
        and a[1] < b[3] + NEAR_PX
        and b[1] < a[3] + NEAR_PX
    )
