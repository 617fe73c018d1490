"""White light on the subject that joins the backdrop: told by the step in light along its border.

Where spill has washed a limb or a shoulder away, no dark outline is left to look across. But its
light and the backdrop's meet in a step, sharp as the lens lets it, while either changes slowly.
What such steps (``white_steps``) enclose together with the dark subject is subject.
"""

from __future__ import annotations

import cv2
import numpy as np

from inspector.arrays import (
    Floats,
    Mask,
    around,
    averaged,
    binned,
    disc,
    distance_to,
    without_specks,
)
from inspector.levels import Levels
from inspector.seam import goes_on, is_straight
from inspector.white_steps import find_steps, without_seams

LEAST_SCALE = 2
"""All widths hold for working pixels of so many sensor pixels or more. Those of a sensor without
colours may be single ones: light is averaged so far."""
REACH = 0.035
"""How far spill reaches from the dark subject, part of the long side."""
BELOW_CEILING_EV = 0.05
"""What is so near the ceiling, stops, or beyond it, counts as so bright."""
RIM_PX = 2
"""So near the backdrop's border light falls, working pixels."""
PLAIN_STEP_EV = 0.05
"""In the middle of a border its step is more than this, stops."""
BRUSH_PX = 2
"""What a disc of this radius does not reach past the borders is enclosed: a border fades where
spill begins."""
SAME_EV, BESIDE_PX = (0.03, 0.06), 30
"""An enclosed part as bright as the backdrop so near is a gap, stops and working pixels; with its
slope taken out and, lest that has followed a large part, with it left in."""
LEAST_ENCLOSED, LEAST_SHARED_PX, LEAST_SHARE = 0.6, 25, 0.3
"""So much of a part's border towards the backdrop is a step, so much of its border and of that
towards the backdrop is shared with the dark subject, working pixels and part."""
LIMB_ENCLOSED, LIMB_SHARED_PX = 0.8, 8
"""The same of a limb that is washed over from both sides, and dark only where it ends."""
MOST_AREA = 1 / 8
"""A larger part of the backdrop is backdrop."""
LEAST_DEPTH_PX = 7.1
"""Spill less deep in the middle, its blurred border included, is better seen in profiles, working
pixels."""
LEAST_CONTRAST = 12.0
"""Area times step of the least part that is told from noise, working pixels times stops."""
SHALLOW_EV, FALLEN_EV, LEAST_STILL_PX = 0.09, 0.1, 5.5
"""A step less than the first may be but the beginning of a fall: it counts where light within the
third is under the backdrop by no more than the step and the second, stops and working pixels."""
FALLS_PX, FALLS_TO_EV, LEAST_SLOW = (2.0, 4.0), -2.0, 0.4
"""Beyond spill light falls slowly: so far inside, working pixels, so much of the subject is over
this level, stops; beyond what only dims the backdrop, hair or a seam, next to nothing is."""
BRIGHTER_EV = 0.25
"""What is brighter than the backdrop by more, up a step as high, does not dim it, stops; but for a
straight step, as at a crease."""
MOST_LINES = 0.25
"""Light with more thin dark lines in it lies behind hair."""
STRAIGHT_PX = 1.2
"""A border that leaves a straight line by less, root mean square, may be a joint of the backdrop,
working pixels."""
BLADE_PX = 2
"""What is no wider than twice this, a blade or a strand, holds no spill, working pixels."""
ROUNDS = 3
"""Light may step on the subject, too: what lies between a lit part and the backdrop is judged once
that part is known."""
SUSPECT_EV, SUSPECT_PX = 0.045, 60
"""Where light changes by so many stops across so many joined pixels, it is looked into; less of
that there is along clean outlines and in noise."""


def find_washed(levels: Levels, backdrop: Mask, subject: Mask, backdrop_ev: Floats) -> Mask:
    """(h, w) True where the backdrop is white light on the subject.

    Parameters
    ----------
    backdrop, subject : ndarray, bool
        (h, w) zones of the working picture.
    backdrop_ev : ndarray, float32
        (h, w) stops of the backdrop, carried on behind the subject.
    """
    by = -(-LEAST_SCALE // levels.scale)
    # At the ceiling light is no less than that, and a step up to it no lower than it looks.
    most, white = np.float32(levels.ceiling_ev - BELOW_CEILING_EV), levels.white
    ev, surface = (np.minimum(picture, most) for picture in (levels.ev, backdrop_ev))
    if by == 1:
        return _find(ev, backdrop, subject, white > 0.5, surface)
    ev, surface = (averaged(picture, by) for picture in (ev, surface))
    white, lit, dark = (binned(part.astype(np.float32), by) for part in (white, backdrop, subject))
    found = _find(ev, lit > 0.5, dark >= 0.5, white > 0.5, surface)
    return _enlarged(found, by, backdrop.shape) & backdrop


def _find(ev: Floats, backdrop: Mask, subject: Mask, told: Mask, backdrop_ev: Floats) -> Mask:
    """The same on pictures whose pixels are large enough; ``told`` is what is white."""
    found = np.zeros(backdrop.shape, bool)
    told = told & _shrunk(backdrop, RIM_PX)
    from_subject = distance_to(subject)
    reach = REACH * max(backdrop.shape)
    light, lines = without_seams(ev - backdrop_ev, told)
    box = _suspect(light, told & (from_subject < reach), margin=round(reach) + BESIDE_PX)
    if box is None:
        return found
    light, told = light[box], told[box]
    away = np.asarray(from_subject[box], np.float32)
    border = find_steps(light, told)
    inside = backdrop[box] & ~_grown(border > 0, 1)
    open_backdrop = _open(light, ev[box], told, backdrop[box], inside)
    enclosed = backdrop[box] & ~open_backdrop & ~_grown(~(backdrop | subject)[box], RIM_PX + 1)
    body = subject[box] & _grown(_shrunk(subject[box], BLADE_PX), BLADE_PX + 1)
    lit = ev[box] > FALLS_TO_EV
    lines, smooth = lines[box], told & ~lines[box]
    fallen = np.where(told, -light, (backdrop_ev - ev)[box])
    seen = np.where(told, light, np.nan).astype(np.float32)
    for _ in range(ROUNDS):
        parts = _lit_parts(
            enclosed & ~found[box],
            border,
            away=away,
            fallen=fallen,
            backdrop=backdrop[box],
            subject=body,
            lit=lit,
        )
        parts = _without_joints(_without_hair(parts, lines, smooth), border, seen)
        if not parts.any():
            break
        found[box] |= parts
        body |= parts
    # The step runs down the middle of its border.
    return found & ~_grown(backdrop & ~found, 1)


def _without_hair(parts: Mask, lines: Mask, smooth: Mask) -> Mask:
    """(h, w) the parts in whose light no more than a few thin lines run."""
    _, label = cv2.connectedComponents(parts.astype(np.uint8), connectivity=4)
    of_lines, of_all = (np.bincount(label[m], minlength=label.max() + 1) for m in (lines, smooth))
    keep = of_lines <= MOST_LINES * (of_lines + of_all)
    keep[0] = False
    return np.asarray(keep[label], bool)


def _without_joints(parts: Mask, border: Floats, light: Floats) -> Mask:
    """(h, w) the parts but those whose step is straight and goes on beyond them in the backdrop.

    Between the joint of two softboxes and the subject, one of them is dimmer than the other.
    """
    count, label = cv2.connectedComponents(parts.astype(np.uint8), connectivity=4)
    of_border = np.where(border > 0, cv2.dilate(label.astype(np.float32), disc(2)), 0)
    keep = np.arange(count) > 0
    for k in range(1, count):
        ends = np.argwhere(of_border == k)[:, ::-1].astype(np.float64)
        keep[k] = len(ends) < 2 or not (is_straight(ends, STRAIGHT_PX) and goes_on(light, ends))
    return np.asarray(keep[label], bool)


def _suspect(light: Floats, near: Mask, *, margin: int) -> tuple[slice, slice] | None:
    """Rows and columns around where light changes fast near the subject; None where it does not."""
    suspect = np.zeros(near.shape, bool)
    for dy, dx in ((0, 4), (4, 0), (3, 3), (3, -3)):
        one, other = _apart(dy, dx)
        changes = np.abs(light[one] - light[other]) > SUSPECT_EV
        suspect[one] |= changes & near[one] & near[other]
    suspect = without_specks(suspect, SUSPECT_PX)
    if not suspect.any():
        return None
    x, y, w, h = cv2.boundingRect(suspect.astype(np.uint8))
    return np.s_[max(0, y - margin) : y + h + margin, max(0, x - margin) : x + w + margin]


def _apart(dy: int, dx: int) -> tuple[tuple[slice, slice], tuple[slice, slice]]:
    """Two views of an array, one ``dy`` down and ``dx`` to the right of the other."""
    rows = slice(None, -dy or None), slice(dy, None)
    columns = slice(max(0, -dx), -dx if dx > 0 else None), slice(max(0, dx), dx if dx < 0 else None)
    return (rows[0], columns[0]), (rows[1], columns[1])


def _lit_parts(
    enclosed: Mask,
    border: Floats,
    *,
    away: Floats,
    fallen: Floats,
    backdrop: Mask,
    subject: Mask,
    lit: Mask,
) -> Mask:
    """(h, w) True on the enclosed parts that are white light on the subject.

    ``border`` holds the stops of the steps, ``fallen`` those by which light is under the
    backdrop's, ``lit`` is where it is not yet dark.
    """
    found = np.zeros(backdrop.shape, bool)
    _, label, stats, _ = cv2.connectedComponentsWithStats(enclosed.astype(np.uint8), connectivity=4)
    for k in np.flatnonzero(stats[1:, cv2.CC_STAT_AREA] >= LEAST_SHARED_PX) + 1:
        box = around(stats[k], round(FALLS_PX[1]) + 1)
        part = label[box] == k
        beside = (cv2.dilate(part.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0) & ~part
        shared = int((beside & subject[box]).sum())
        towards = beside & backdrop[box] & ~subject[box]
        edge = towards & _grown(part & _grown(border[box] > 0, 1), 1)
        steps = border[box][_grown(edge, 2) & (border[box] > 0)]
        if not _belongs(int(edge.sum()), int(towards.sum()), shared):
            continue
        step = float(np.median(steps)) if steps.size else 0.0
        deep = np.median(away[box][edge]) >= LEAST_DEPTH_PX
        plain = step >= max(PLAIN_STEP_EV, LEAST_CONTRAST / stats[k, cv2.CC_STAT_AREA])
        plain &= step >= SHALLOW_EV or _stays(fallen[box] < step + FALLEN_EV, edge)
        ends = np.argwhere(edge)[:, ::-1].astype(np.float64)
        over = -float(np.median(fallen[box][part]))
        brighter = min(step, over) > BRIGHTER_EV and not is_straight(ends, STRAIGHT_PX)
        if deep and plain and (brighter or _falls_slowly(part, subject[box], lit[box])):
            found[box] |= part
    return found


def _stays(still: Mask, edge: Mask) -> bool:
    """Whether around half of a part's ``edge`` or more light is ``still`` so bright for so far."""
    off = cv2.distanceTransform(still.astype(np.uint8), cv2.DIST_L2, 5)
    return bool(np.median(off[edge]) >= LEAST_STILL_PX)


def _belongs(edge: int, towards: int, shared: int) -> bool:
    """Whether a part is the subject's, by pixels of its border.

    ``towards`` the backdrop, of which ``edge`` is a step, and ``shared`` with the dark subject.
    """
    beside = shared >= max(LEAST_SHARED_PX, LEAST_SHARE * towards)
    limb = shared >= LIMB_SHARED_PX and edge >= LIMB_ENCLOSED * towards
    return edge >= max(LEAST_SHARED_PX, LEAST_ENCLOSED * towards) and (beside or limb)


def _falls_slowly(part: Mask, subject: Mask, lit: Mask) -> bool:
    """Whether light falls slowly from a part into the subject."""
    off = distance_to(part)
    inside = subject & (off > FALLS_PX[0]) & (off <= FALLS_PX[1])
    return bool(inside.any() and lit[inside].mean() >= LEAST_SLOW)


def _open(light: Floats, ev: Floats, told: Mask, backdrop: Mask, inside: Mask) -> Mask:
    """(h, w) True where the backdrop is open: what a brush reaches from its middle, and gaps."""
    core = _shrunk(inside, BRUSH_PX)
    _, label, stats, _ = cv2.connectedComponentsWithStats(core.astype(np.uint8), connectivity=4)
    keep = stats[:, cv2.CC_STAT_AREA] > MOST_AREA * np.count_nonzero(core)
    _, pieces = cv2.connectedComponents(backdrop.astype(np.uint8), connectivity=4)
    for piece in np.unique(pieces[core]):
        own = np.unique(label[core & (pieces == piece)])
        keep[own[np.argmax(stats[own, cv2.CC_STAT_AREA])]] = True
    for k in np.flatnonzero(~keep[1:]) + 1:
        box = around(stats[k], BESIDE_PX)
        part = told[box] & (label[box] == k)
        beside = told[box] & keep[label[box]] & (label[box] > 0)
        if part.any() and beside.any():
            keep[k] = all(
                abs(np.median(one[box][part]) - np.median(one[box][beside])) < most
                for one, most in zip((light, ev), SAME_EV, strict=True)
            )
    keep[0] = False
    return _grown(keep[label], BRUSH_PX + 1) & inside


def _enlarged(mask: Mask, by: int, shape: tuple[int, ...]) -> Mask:
    """A mask of squares of ``by`` pixels in the pixels of a picture of ``shape``."""
    whole = np.kron(mask, np.ones((by, by), bool))
    rest = [(0, n - m) for n, m in zip(shape, whole.shape, strict=True)]
    return np.pad(whole, rest)


def _grown(mask: Mask, pixels: int) -> Mask:
    return cv2.dilate(mask.astype(np.uint8), disc(pixels)) > 0


def _shrunk(mask: Mask, pixels: int) -> Mask:
    return cv2.erode(mask.astype(np.uint8), disc(pixels)) > 0
