"""The whole core in one function, and the record it makes."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from pathlib import PurePath
from typing import Any

import numpy as np
from numpy.typing import NDArray

from inspector.cast import with_cast
from inspector.clip import Clip
from inspector.edge import Edge, measure_edge
from inspector.exposure import Exposure, Window, measure_exposure
from inspector.frame import BAYER, Frame, four_channels
from inspector.levels import Levels, Under, measure_levels
from inspector.under import lay_under
from inspector.verdict import Limits, Reason, Verdict, judge
from inspector.zone_mask import zone_mask as full_mask
from inspector.zones import Zones, find_zones, find_zones_by_plate

SCHEMA = 1
EMPTY_AREA = 0.001
"""A frame whose subject covers less of the picture has nobody in it: a plate."""
Record = dict[str, Any]


class PlateError(ValueError):
    """Why a plate cannot be used for a frame, as a sentence."""


@dataclass(frozen=True, eq=False)
class Inspection:
    """All that is known of one frame, from its levels to its verdict."""

    frame: Frame
    levels: Levels
    zones: Zones
    edge: Edge
    exposure: Exposure
    verdict: Verdict
    limits: Limits


def inspect(
    frame: Frame,
    *,
    plate: Inspection | None = None,
    under: Frame | None = None,
    clip: Clip | None = None,
    look: str = "silhouette",
    limits: Limits | None = None,
) -> Inspection:
    """Measure and judge one frame.

    Parameters
    ----------
    plate : Inspection, optional
        The inspected frame of the same set with nobody in it.
    under : Frame, optional
        A frame of the same pose, one to three stops darker.
    clip : Clip, optional
        Clip levels known beforehand, as from other frames of the set.
    look : str
        ``silhouette`` or ``filled``: how dark the subject should be.
    limits : Limits, optional
        The defaults when left out.
    """
    limits = limits or Limits()
    levels = with_cast(measure_levels(frame, clip=clip))
    zones = _zones(levels, plate)
    if under is not None and zones.found:
        levels = lay_under(levels, zones, measure_levels(under, clip=levels.clip))
        zones = _zones(levels, plate)
    edge = measure_edge(levels, zones, hot_spot_area=limits.hot_spot_area)
    exposure = measure_exposure(
        levels,
        zones,
        edge,
        white_limit=limits.white_fraction,
        spill_limit=limits.spill_fraction,
        depth_limit=limits.depth_ev(look),
    )
    empty = zones.found and exposure.subject_area < EMPTY_AREA
    verdict = judge(zones, edge, exposure, limits=limits, look=look, is_plate=empty)
    return Inspection(frame, levels, zones, edge, exposure, verdict, limits)


def zone_mask(inspection: Inspection) -> NDArray[np.uint8]:
    """(H, W) uint8 zones of the whole picture as viewed: 0 surround, 1 backdrop, 2 subject."""
    i = inspection
    return full_mask(i.zones, i.levels, spilled=i.edge.spilled)


def _zones(levels: Levels, plate: Inspection | None) -> Zones:
    zones = find_zones(levels)
    if plate is None or not zones.found:
        return zones
    if plate.levels.ev.shape != levels.ev.shape:
        raise PlateError("the plate has another size; shoot it with the same camera and crop")
    if not plate.zones.found:
        raise PlateError("no white background was found on the plate; shoot it again, empty")
    return find_zones_by_plate(levels, zones, plate.levels, plate.zones)


def record(inspection: Inspection) -> Record:
    """The contract's record of a frame, ready for JSON."""
    i, x = inspection, inspection.exposure
    return {
        "schema": SCHEMA,
        "frame": _frame(i.frame),
        "clip": _clip(i.frame, i.levels.clip) | {"ceiling_ev": i.levels.ceiling_ev},
        "backdrop": {"found": i.zones.found} | _backdrop(x),
        "subject": _subject(x, i.edge),
        "edge": _edge(i.edge),
        "flare": {"veil_fraction": x.veil_fraction, "is": x.veil_is},
        "window": asdict(x.window),
        "under": _under(i.levels.under),
        "verdict": i.verdict.word,
        "reasons": [_reason(r) for r in i.verdict.reasons],
        "look": i.verdict.look,
        "plate": i.verdict.is_plate,
    }


def unreadable(path: str, why: str, remedy: str | None = None) -> Record:
    """The record of a file that could not be decoded: every key there, nothing claimed."""
    reason = Reason("unreadable", why, remedy)
    no = dict.fromkeys
    return {
        "schema": SCHEMA,
        "frame": {"path": path, "width": 0, "height": 0, "orientation": 1}
        | no(("camera", "iso", "shutter_s", "aperture_f", "taken_at")),
        "clip": {"levels": no(BAYER), "source": "metadata", "ceiling_ev": None}
        | {"from": no(BAYER), "pile_ups": no(BAYER), "stated": no(BAYER)},
        "backdrop": {"found": False, "area_fraction": 0.0}
        | no(("white_fraction", "blown_fraction", "ev_p1", "ev_p50", "ev_p99"))
        | {"short_regions": []},
        "subject": {"found": False, "area_fraction": 0.0, "depth_ev": None, "hot_spots": []},
        "edge": {"length_px": 0.0, "ramp_px": None, "spill_fraction": None, "spill": []},
        "flare": {"veil_fraction": None, "is": None},
        "window": asdict(Window()),
        "under": None,
        "verdict": "unreadable",
        "reasons": [_reason(reason)],
        "look": None,
        "plate": False,
    }


def _frame(frame: Frame) -> Record:
    width, height = frame.size
    return {
        "path": frame.path,
        "width": width,
        "height": height,
        "orientation": frame.orientation,
        "camera": frame.shot.camera,
        "iso": frame.shot.iso,
        "shutter_s": frame.shot.shutter_s,
        "aperture_f": frame.shot.aperture_f,
        "taken_at": frame.shot.taken_at,
    }


def _clip(frame: Frame, clip: Clip) -> Record:
    columns = {
        "levels": clip.level.tolist(),
        "from": clip.origins,
        "pile_ups": clip.pile_ups,
        "stated": frame.stated_clip.tolist(),
    }
    told = {name: four_channels(frame.channels, values) for name, values in columns.items()}
    return told | {"source": clip.source}


def _backdrop(exposure: Exposure) -> Record:
    return {
        "area_fraction": exposure.backdrop_area,
        "white_fraction": exposure.white_fraction,
        "blown_fraction": exposure.blown_fraction,
        "ev_p1": exposure.ev_p1,
        "ev_p50": exposure.ev_p50,
        "ev_p99": exposure.ev_p99,
        "short_regions": [
            {
                "where": s.where,
                "box": list(s.box),
                "area_px": s.area_px,
                "ev": s.ev,
                "shadow": s.shadow,
            }
            for s in exposure.short_regions
        ],
    }


def _subject(exposure: Exposure, edge: Edge) -> Record:
    return {
        "found": exposure.subject_area > 0,
        "area_fraction": exposure.subject_area,
        "depth_ev": exposure.depth_ev,
        "hot_spots": [
            {"box": list(h.box), "area_px": h.area_px, "warns": h.warns, "sure": h.sure}
            for h in edge.hot_spots
        ],
    }


def _edge(edge: Edge) -> Record:
    return {
        "length_px": edge.length_px,
        "ramp_px": edge.ramp_px,
        "spill_fraction": edge.spill_fraction,
        "spill": [
            {
                "where": s.where,
                "box": list(s.box),
                "length_px": s.length_px,
                "depth_px": s.depth_px,
                "sure": s.sure,
            }
            for s in edge.spill
        ],
    }


def _under(under: Under | None) -> Record | None:
    if under is None:
        return None
    return {"frame": PurePath(under.levels.frame.path).name, "stops": under.stops}


def _reason(reason: Reason) -> Record:
    return {
        "code": reason.code,
        "text": reason.text,
        "advice": reason.advice,
        "value": reason.value,
        "limit": reason.limit,
    }
