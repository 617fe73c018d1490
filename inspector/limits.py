"""The limits that a frame must keep to pass: their defaults, and how they are set otherwise."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from typing import Any

LOOKS = ("silhouette", "filled")


class LimitsError(ValueError):
    """Limits that cannot be used; the message is one sentence with the remedy."""


def _limit(default: float, meaning: str, greatest: float) -> Any:
    return field(default=default, metadata={"meaning": meaning, "greatest": greatest})


@dataclass(frozen=True)
class Limits:
    """What a frame must reach to pass. Depths are common practice, the rest our choice."""

    white_fraction: float = _limit(
        0.995, "least part of the backdrop that is paper white", greatest=1.0
    )
    spill_fraction: float = _limit(
        0.01, "greatest part of the edge over which white spills", greatest=1.0
    )
    hot_spot_area: float = _limit(
        0.0002, "greatest hot spot, part of the picture's area", greatest=1.0
    )
    silhouette_depth_ev: float = _limit(
        4.0, "least depth of a silhouette, stops under white", greatest=20.0
    )
    filled_depth_ev: float = _limit(
        2.0, "least depth of a filled subject, stops under white", greatest=20.0
    )

    def depth_ev(self, look: str) -> float:
        """The depth that a look asks for, stops under white."""
        return self.filled_depth_ev if look == "filled" else self.silhouette_depth_ev


def meanings() -> dict[str, tuple[float, str]]:
    """Default and meaning of every limit, by name."""
    return {f.name: (getattr(Limits(), f.name), f.metadata["meaning"]) for f in fields(Limits)}


def read_limits(path: Path) -> Limits:
    """Limits from the table ``[limits]`` of a TOML file; what it leaves out keeps its default.

    Raises
    ------
    LimitsError
        If the file cannot be read, is not TOML, or sets something else.
    """
    try:
        document = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise LimitsError(f"{path}: cannot be read ({error.strerror}); check the name") from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise LimitsError(f"{path}: not a TOML file ({error}); mend that line") from error
    table = document.pop("limits", {})
    if document or not isinstance(table, dict):
        other = ", ".join(document) or "limits = ..."
        raise LimitsError(f"{path}: has {other}; only a table [limits] belongs there")
    try:
        return with_limits(Limits(), table)
    except LimitsError as error:
        raise LimitsError(f"{path}: {error}") from error


def with_limits(limits: Limits, changes: Mapping[str, object]) -> Limits:
    """The same limits but for some.

    Raises
    ------
    LimitsError
        If a name is unknown or a value is no number in its range.
    """
    greatest: dict[str, float] = {f.name: f.metadata["greatest"] for f in fields(Limits)}
    unknown = ", ".join(changes.keys() - greatest.keys())
    if unknown:
        raise LimitsError(f"no limit is called {unknown}; there are {', '.join(greatest)}")
    return replace(limits, **{n: _number(n, v, greatest[n]) for n, v in changes.items()})


def _number(name: str, value: object, greatest: float) -> float:
    # A comparison with NaN is false, so NaN is refused too.
    if isinstance(value, int | float) and not isinstance(value, bool) and 0 <= value <= greatest:
        return float(value)
    raise LimitsError(f"{name} is {value!r}; give a number from 0 to {greatest:g}")
