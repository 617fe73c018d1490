"""A live page for the tests: a report folder with clip maps, a feed, and the server's parts."""

from __future__ import annotations

import queue
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from judges import told

from inspector.clip_memory import Levels
from inspector.files import Stamp, stamp_of
from inspector.page.app import Parts
from inspector.page.feed import Feed
from inspector.page.points import Point
from inspector.page.serve import LivePage
from inspector.record import MAPS, Row
from inspector.report.layout import SIZE, arrange

FRAME = (1080, 720)
"""Width and height of the frames told of."""
PICTURE, AROUND = 200, 20
"""Grey levels of a made-up clip map: the picture, and what is around it."""


def clip_map(report: Path, name: str) -> str:
    """Write a made-up clip map; its name in the report folder."""
    whole = np.full((SIZE[1], SIZE[0], 3), AROUND, np.uint8)
    x0, y0, x1, y1 = arrange(*FRAME).picture
    whole[y0:y1, x0:x1] = PICTURE
    (report / MAPS).mkdir(parents=True, exist_ok=True)
    cv2.imwrite(str(report / MAPS / f"{name}.jpg"), whole)
    return f"{MAPS}/{name}.jpg"


def row(
    path: Path | str,
    verdict: str = "pass",
    *,
    plate: bool = False,
    picture: str | None = None,
    stamp: Stamp | None = None,
) -> Row:
    """What is stored of a frame."""
    record = told(str(path), verdict, plate=plate)
    record["frame"] |= {"width": FRAME[0], "height": FRAME[1]}
    return Row(str(path), stamp or stamp_of(path) or Stamp(1, 2), record, picture)


class NoReader:
    """Stands in for the process that reads points."""

    def read(
        self, path: str, stamp: Stamp, points: Sequence[Point], levels: Levels | None
    ) -> dict[str, Any]:
        return {"points": list(points), "ratio": None}


def parts(report: Path, *rows: Row, asked: list[str] | None = None) -> Parts:
    """The server's parts over a feed with these rows; ``asked`` takes the wishes for a plate."""
    feed = Feed("evening")
    for each in rows:
        feed.add(each)
    wishes: list[str] = [] if asked is None else asked
    return Parts(feed, report, NoReader(), wishes.append)


def live(report: Path, **options: Any) -> LivePage:
    """A real server on the loopback address."""
    return LivePage(report, queue.SimpleQueue(), name="evening", **options)


def keys(feed: Feed) -> list[str]:
    """The keys of the frames on the page, oldest first."""
    import json

    [whole] = feed.messages(None)
    return [frame["key"] for frame in json.loads(whole.data)["frames"]]
