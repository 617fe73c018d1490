"""The clip map: what is right stays grey, marks lie where the measures say, nothing is cut off."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scenes import SCENES, make, run_along, warned, with_spill

from inspector.edge import HotSpot
from inspector.exposure import Window
from inspector.inspect import Inspection, record
from inspector.report import clipmap, figures, lettering, marks, panel, words
from inspector.report.layout import SIZE, arrange
from inspector.report.palette import BANDS, CANVAS, HOT, RGB, SHORT, SPILL
from inspector.verdict import Reason

LONG = "Turn the background down by a third of a stop, or flag its right side. "


def saturation(picture: NDArray[np.uint8]) -> NDArray[np.int32]:
    """Largest less smallest of red, green and blue: 0 on any grey."""
    return np.asarray(np.ptp(picture.astype(np.int32), axis=2))


def near(picture: NDArray[np.uint8], colour: RGB, *, within: int = 12) -> NDArray[np.bool_]:
    """True where a picture has about this colour."""
    apart = np.abs(picture.astype(int) - np.array(colour[::-1]))
    return np.asarray((apart <= within).all(axis=2))


def inner(inspection: Inspection) -> tuple[NDArray[np.uint8], marks.Place]:
    h, w = inspection.levels.ev.shape
    size = arrange(w, h).picture_size
    return clipmap.picture(inspection, size), marks.place(inspection, size)


@pytest.mark.parametrize("name", ["clean", "portrait", "plate", "possible_spill", "over_white"])
def test_a_passing_frame_holds_no_colour_at_all(name: str) -> None:
    assert saturation(clipmap.draw(SCENES[name]())).max() == 0


@pytest.mark.parametrize("name", ["misfire", "lit_portrait"])
def test_a_frame_without_a_background_has_no_coloured_picture(name: str) -> None:
    picture, _ = inner(SCENES[name]())
    assert saturation(picture).max() == 0


def test_only_the_short_part_of_a_background_takes_colour() -> None:
    i = SCENES["plate_short_corner"]()
    picture, _ = inner(i)
    coloured = saturation(picture) > 20
    h, w = coloured.shape
    ev = cv2.resize(i.levels.ev, (w, h), interpolation=cv2.INTER_AREA)
    assert not coloured[ev > 0.05].any()
    assert coloured[ev < -0.1].mean() > 0.97  # the rest are figures in ink


def test_bands_step_by_a_third_of_a_stop() -> None:
    for ev, k in ((-0.1, 0), (-0.5, 1), (-0.9, 2), (-1.2, 3), (-5.0, 6)):
        i = make(person=False, softbox=False, backdrop_ev=ev)
        picture, _ = inner(warned(i, Reason("background-short", ""), is_plate=True))
        middle = np.median(picture.reshape(-1, 3), axis=0)
        assert tuple(int(v) for v in middle[::-1]) == BANDS[k]


def test_a_band_keeps_off_the_subject_and_reaches_it() -> None:
    i = SCENES["evenly_short"]()
    picture, _ = inner(i)
    coloured = (saturation(picture) > 20).astype(np.uint8)
    h, w = coloured.shape
    subject = cv2.resize(i.zones.subject.astype(np.uint8), (w, h), interpolation=cv2.INTER_NEAREST)
    backdrop = cv2.resize(
        i.zones.backdrop.astype(np.uint8), (w, h), interpolation=cv2.INTER_NEAREST
    )
    four = np.ones((9, 9), np.uint8)
    foil_off = cv2.morphologyEx(subject, cv2.MORPH_OPEN, four)
    tag = np.zeros_like(subject)
    tag[-70:] = 1  # the figure between the legs
    assert not coloured[(cv2.erode(foil_off, four) > 0) & (tag == 0)].any()
    assert coloured[cv2.erode(backdrop, np.ones((5, 5), np.uint8)) > 0].mean() > 0.98


def test_a_spill_line_lies_on_the_points_of_its_run() -> None:
    i = SCENES["spill"]()
    picture, at = inner(i)
    violet = near(picture, SPILL.rgb)
    for run in i.edge.spill:
        drawn = np.rint(at(run.points) - 0.5).astype(int)
        on_line = violet[drawn[:, 1], drawn[:, 0]]
        assert on_line.mean() > 0.95 if run.sure else not on_line.any()


def test_ticks_point_inwards_as_far_as_the_light_went() -> None:
    base = make()
    outline = max(base.zones.outlines, key=len)
    run = run_along(base, 0.20, 0.24, depth=200.0)
    run = replace(run, depths=np.full(len(run.points), 200.0))
    i = warned(with_spill(base, run, fraction=0.04), Reason("spill", ""))
    picture, at = inner(i)
    violet = near(picture, SPILL.rgb)
    path = at(run.points)
    reach = [
        max((d for d in range(120) if _lit(violet, p + d * n)), default=0)
        for p, n in zip(path[10:-10], run.inward[10:-10], strict=True)
    ]
    assert len(outline) > 100
    assert max(reach) == pytest.approx(200 * at.zoom[0], abs=3)
    outside = [
        max((d for d in range(6, 30) if _lit(violet, p - d * n)), default=0)
        for p, n in zip(path[::25], run.inward[::25], strict=True)
    ]
    assert np.median(outside) == 0


def _lit(mask: NDArray[np.bool_], point: NDArray[np.float64]) -> bool:
    x, y = np.rint(point - 0.5).astype(int)
    return bool(0 <= y < mask.shape[0] and 0 <= x < mask.shape[1] and mask[y, x])


def test_spill_within_the_limit_stays_grey() -> None:
    base = make()
    i = with_spill(base, run_along(base, 0.2, 0.21, depth=20), fraction=0.004)
    assert saturation(clipmap.draw(i)).max() == 0


def test_a_ring_stands_around_each_island_that_warns() -> None:
    i = SCENES["hot_islands"]()
    picture, at = inner(i)
    ring = near(picture, HOT.rgb)
    for spot in i.edge.hot_spots:
        (x0, y0), (x1, y1) = at(np.array(spot.box, float).reshape(2, 2))
        middle = np.array([(x0 + x1) / 2, (y0 + y1) / 2])
        grown = ring[int(y0) - 16 : int(y1) + 17, int(x0) - 16 : int(x1) + 17]
        assert grown.any() == spot.warns
        assert not _lit(ring, middle)


def test_a_mere_glint_adds_no_colour() -> None:
    base = make()
    spots = (
        HotSpot((2950, 1500, 2962, 1512), 100, False, True),
        HotSpot((2900, 1900, 3000, 2000), 9000, False, False),
    )
    i = replace(base, edge=replace(base.edge, hot_spots=spots))
    assert saturation(clipmap.draw(i)).max() == 0


def test_paper_white_is_white_and_nothing_else_is() -> None:
    i = SCENES["clean"]()
    picture, _ = inner(i)
    h, w = picture.shape[:2]
    white = cv2.resize(i.levels.white, (w, h), interpolation=cv2.INTER_AREA)
    assert (picture[white == 1] > 250).mean() > 0.998  # the hairline along the edge is grey
    assert picture[white == 0].max() < 250


def test_a_silhouette_five_stops_down_still_reads_against_the_dark_room() -> None:
    picture, _ = inner(SCENES["clean"]())
    h, w = picture.shape[:2]
    subject, room = int(picture[h // 2, w // 2, 0]), int(picture[h // 2, 20, 0])
    assert 40 < room < subject < 120


def test_drawing_twice_gives_the_same_pixels() -> None:
    i = SCENES["everything"]()
    assert np.array_equal(clipmap.draw(i), clipmap.draw(i))


@pytest.mark.parametrize("name", sorted(SCENES))
def test_the_margins_stay_clear(name: str) -> None:
    i = SCENES[name]()
    picture = clipmap.draw(i)
    _assert_margins_clear(picture, i)


@given(
    path=st.text(min_size=1, max_size=200),
    advice=st.text(min_size=1, max_size=400),
    shape=st.sampled_from([(300, 200), (200, 300), (240, 240), (900, 40), (40, 900), (3, 2)]),
)
def test_no_text_leaves_its_panel(path: str, advice: str, shape: tuple[int, int]) -> None:
    i = make(width=shape[0], height=shape[1], scale=1, path=path)
    i = warned(i, Reason("subject-light", "", advice), look="filled")
    _assert_margins_clear(clipmap.draw(i), i)


def _assert_margins_clear(picture: NDArray[np.uint8], i: Inspection) -> None:
    h, w = i.levels.ev.shape
    layout = arrange(w, h)
    blank = picture.copy()
    x0, y0, x1, y1 = layout.picture
    blank[y0 - 1 : y1 + 1, x0 - 1 : x1 + 1] = CANVAS[0]
    for a, b, c, d in (layout.column, layout.advice, layout.name):
        blank[b:d, max(a - 3, 0) : c + 3] = CANVAS[0]
    assert (blank == CANVAS[0]).all()


@given(
    low=st.none() | st.floats(-20, 20),
    high=st.none() | st.floats(-20, 20),
    subject=st.none() | st.floats(-20, 20),
    low_is=st.sampled_from(["exact", "at_most", "at_least", None]),
)
def test_any_window_is_drawn_within_its_column(
    low: float | None, high: float | None, subject: float | None, low_is: str | None
) -> None:
    i = make(width=300, height=200, scale=1)
    window = Window(low, low_is, high, "exact", subject_high_ev=subject)
    i = replace(i, exposure=replace(i.exposure, window=window))
    _assert_margins_clear(clipmap.draw(i), i)


def test_the_verdict_is_as_high_as_promised() -> None:
    canvas = clipmap.draw(SCENES["clean"]())
    x0, y0, x1, _ = arrange(3, 2).column
    word = (canvas[y0 : y0 + 120, x0 + 112 : x1] > 128).any(axis=(1, 2))
    assert word.sum() >= 70
    figure = round(panel.FIGURE * lettering.CAP_HEIGHT)
    assert figure >= 40


def test_every_shape_of_frame_fits_and_keeps_its_proportions() -> None:
    for width, height in ((6000, 4000), (4000, 6000), (5000, 5000), (12000, 1000), (500, 9000)):
        layout = arrange(width, height)
        w, h = layout.picture_size
        assert w / h == pytest.approx(width / height, rel=0.03)
        for a, b, c, d in (layout.picture, layout.column, layout.advice, layout.name):
            assert 0 <= a < c <= SIZE[0]
            assert 0 <= b < d <= SIZE[1]
        assert layout.picture[2] < layout.column[0]


def test_words_are_rounded_against_the_frame() -> None:
    assert figures.share(0.99499) == "99.4 %"
    assert figures.share(0.99999) == "99.9 %"
    assert figures.share(1.0) == "100 %"
    assert figures.share(0.01001, up=True) == "1.1 %"
    assert figures.depth(3.999) == "3.9"
    assert figures.thirds(-1 / 3) == "−⅓"
    assert figures.thirds(-5 / 3) == "−1⅔"
    assert figures.thirds(2) == "+2"
    assert figures.signed(-0.04) == "0.0"
    assert figures.window(Window(0.4, "exact", -0.2, "exact")) == "none: +0.4 white, −0.2 clean"
    assert figures.window(Window(-0.9, "exact", 0.2, "at_most", 0.2)) == "−0.9 to +0.2 or less"
    assert (
        figures.window(Window(-0.9, "exact", 1.0, "at_most", 0.2)) == "−0.9 to +0.2, at most +1.0"
    )
    assert (
        figures.window(Window(-0.6, "exact", -0.4, "at_most", -0.7))
        == "none: −0.6 white, −0.7 clean"
    )
    assert figures.window(Window(-0.9, "at_most", None, None)) == "from −0.9 or less"


def test_the_window_ends_where_the_subject_turns_too_light() -> None:
    """At +1.2 stops the edge of this frame would pass, and the subject would not."""
    window = Window(-0.6, "exact", 4.0, "at_most", 3.7, subject_high_ev=1.1)
    assert figures.window(window) == "−0.6 to +1.1 (subject)"
    assert window.holds_today
    assert not replace(window, subject_high_ev=-0.5).holds_today
    assert replace(window, subject_high_ev=3.8).shown_high_ev == 3.7
    assert figures.window(replace(window, low_ev=-0.58, subject_high_ev=-0.56)) == "none"
    wider = replace(window, low_ev=-0.58, low_is="at_most", subject_high_ev=-0.56)
    assert figures.window(wider) == "−0.6 or less to −0.6 (subject)"
    light = Window(0.8, "exact", 4.0, "exact", subject_high_ev=-0.2)
    assert figures.window(light) == "none: +0.8 white, −0.2 dark"


@given(st.text(max_size=60))
def test_cleaned_text_holds_no_control_or_lone_surrogate(text: str) -> None:
    clean = lettering.clean(text + "\udc80\x1b[31m\u202e")
    clean.encode("utf-8")
    assert clean.isprintable()


@given(st.text(max_size=120), st.integers(60, 900))
def test_wrapped_lines_keep_within_the_room(text: str, room: int) -> None:
    for line in lettering.wrap(text, room, 30, 400):
        assert len(line) == 1 or lettering.width(line, 30, 400) <= room


def test_a_long_name_keeps_its_end() -> None:
    short = lettering.shorten("evening-" * 30 + "0042.dng", 300, 26, 400)
    assert short.endswith("0042.dng")
    assert lettering.width(short, 26, 400) <= 300


def test_writing_is_whole_or_not_at_all(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "fencer.jpg"
    clipmap.write(SCENES["clean"](), path)
    before = path.read_bytes()
    stored = cv2.imdecode(np.frombuffer(before, np.uint8), cv2.IMREAD_COLOR)
    assert stored is not None
    assert stored.shape == (SIZE[1], SIZE[0], 3)

    def full(self: Path, data: bytes) -> int:
        with self.open("wb") as half:
            half.write(data[:100])
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(OSError, match="No space"):
        clipmap.write(SCENES["spill"](), path)
    assert path.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["fencer.jpg"]


def test_the_legend_names_only_what_is_there() -> None:
    rows = {r.label: r for r in panel.rows(SCENES["plate_short_corner"]())}
    assert rows["Background"].marks == (SHORT,)
    assert not any(r.marks for name, r in rows.items() if name != "Background")
    assert not any(r.marks or r.quiet for r in panel.rows(SCENES["clean"]()))


@pytest.mark.parametrize("cast", [False, True])
def test_the_background_says_what_is_short(cast: bool) -> None:
    told = record(SCENES["plate_short_corner"]())
    told["backdrop"]["short_regions"][0]["shadow"] = cast
    note = words.rows(told)[0].note
    assert ("shadow" in note) == cast
    assert " short, " in note
