"""Clip levels remembered over a set: a frame with little clipping profits from its neighbours.

The level belongs to the converter and its gain, so frames teach each other only within one
`Setting`. A record holds all that the memory learns from.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

Record = dict[str, Any]
Levels = tuple[float | None, ...]
"""A raw level for each of `NAMES`, None where there is none."""

NAMES = ("R", "G1", "G2", "B")
KEPT = 9
"""Latest pile-ups of a channel that are kept."""
LEAST = 3
"""Frames that must agree before their level is taken for that of another."""
ESTABLISHED = 5
"""Frames that must agree before their level goes before a frame's own pile-up."""
AGREE = 0.001
"""Pile-ups agree within this part of their level; it is also how well one is measured."""
DIFFER = 0.005
"""A pile-up that is off by more is not of the same level."""


@dataclass(frozen=True)
class Setting:
    """All that a clip level depends on: the converter, its gain, its depth.

    ``size`` is that of the mosaic, the longer side first, since a file of reduced size is
    converted otherwise; ``stated`` the level in the metadata, which changes with the bit depth.
    """

    camera: str | None
    iso: float | None
    size: tuple[int, int]
    stated: Levels


@dataclass(frozen=True)
class ClipMemory:
    """The latest pile-ups that frames of each setting have shown, the newest last."""

    seen: Mapping[Setting, tuple[Levels, ...]] = field(default_factory=dict)

    def with_frame(self, record: Record) -> ClipMemory:
        """The memory with one more frame's own pile-ups."""
        levels = pile_ups_in(record)
        if not any(levels):
            return self
        setting = setting_in(record)
        kept = (*self.seen.get(setting, ()), levels)[-KEPT:]
        return ClipMemory({**self.seen, setting: kept})

    def recalled(self, setting: Setting, own: Levels) -> Levels:
        """Levels that a frame takes from its neighbours, None where its own stand.

        A channel takes one if it shows no pile-up ``own``, or one that lies under a well
        established level: an unclipped, very even wall looks like that once in a thousand.
        Nothing is taken where another channel shows that the frame's levels are others.
        """
        taken: list[float | None] = []
        for channel, mine in enumerate(own):
            level, agreeing = self._level(setting, channel)
            if level is None or mine is None:
                taken.append(level)
            elif abs(mine - level) <= DIFFER * level:
                taken.append(None)
            elif mine < level and agreeing >= ESTABLISHED:
                taken.append(level)
            else:
                return (None,) * len(own)
        return tuple(taken)

    def moves(self, record: Record) -> bool:
        """Whether the frame of a record would be judged by other levels than it was."""
        if not self.seen or "pile_ups" not in record["clip"]:
            return False
        taken = self.recalled(setting_in(record), pile_ups_in(record))
        used = record["clip"]["levels"]
        return any(
            level is not None and abs(level - used[name]) > AGREE * level
            for name, level in zip(NAMES, taken, strict=True)
        )

    def _level(self, setting: Setting, channel: int) -> tuple[float | None, int]:
        """The level on which the frames agree, None if they do not, and how many agree.

        Of five frames one may be off. Nothing responds above its clip, so of two middle ones the
        higher is right.
        """
        seen = [levels[channel] for levels in self.seen.get(setting, ())]
        levels = [level for level in seen if level is not None]
        if not levels:
            return None, 0
        level = sorted(levels)[len(levels) // 2]
        agreeing = sum(abs(other - level) <= AGREE * level for other in levels)
        off = len(levels) - agreeing
        return (level if agreeing >= LEAST and off <= len(levels) // 5 else None), agreeing


def setting_in(record: Record) -> Setting:
    """The setting of a record's frame."""
    frame, stated = record["frame"], record["clip"]["stated"]
    size = sorted((frame["width"], frame["height"]), reverse=True)
    levels = tuple(stated[name] for name in NAMES)
    return Setting(frame["camera"], frame["iso"], (size[0], size[1]), levels)


def pile_ups_in(record: Record) -> Levels:
    """The pile-ups that a record's frame shows; none in a record of an earlier version."""
    seen = record["clip"].get("pile_ups", {})
    return tuple(seen.get(name) for name in NAMES)
