"""The comparison with truth: its scores against general libraries, its table against counts."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import sets
from click.testing import CliRunner
from scipy.spatial import cKDTree
from skimage.draw import disk
from skimage.segmentation import find_boundaries

from inspector.inspect import Inspection
from inspector.simulate import Camera, Truth, render
from inspector.simulate.accuracy.__main__ import main
from inspector.simulate.accuracy.compare import FIGURES, Comparison, compare
from inspector.simulate.accuracy.loop import Loop
from inspector.simulate.accuracy.overlap import boundary, boundary_f, overlap
from inspector.simulate.accuracy.shoot import photographed
from inspector.simulate.accuracy.table import accuracy_table
from inspector.simulate.accuracy.trial import Trial
from inspector.simulate.truth import TrueSpill

FAMILIES = {"figure": "bust", "backdrop": "wall", "defect": "none", "camera": "clean"}


def discs(*radii: int) -> list[np.ndarray]:
    masks = []
    for radius in radii:
        mask = np.zeros((140, 140), bool)
        mask[disk((70, 70), radius + 0.5)] = True  # type: ignore[no-untyped-call]
        masks.append(mask)
    return masks


# Scores


def test_overlap_of_concentric_discs() -> None:
    """(50 / 51)^2 = 0.9612 of ideal discs; pixels cost a little."""
    assert overlap(*discs(50, 51)) == pytest.approx(0.9612, abs=0.004)
    assert overlap(*discs(50, 50)) == 1
    nothing = np.zeros((4, 4), bool)
    assert overlap(nothing, nothing) is None


def test_a_boundary_is_what_scikit_image_calls_the_inner_one() -> None:
    rng = np.random.default_rng(1)
    for mask in (*discs(30), rng.random((60, 80)) < 0.5):
        inner = find_boundaries(mask, connectivity=2, mode="inner")  # type: ignore[no-untyped-call]
        assert np.array_equal(boundary(mask), inner)


@pytest.mark.parametrize(("other", "tolerance"), [(41, 3), (44, 3), (43, 1), (60, 3)])
def test_boundary_f_against_a_search_for_the_nearest_point(other: int, tolerance: int) -> None:
    """F = 2 P R / (P + R) with P and R by scipy's k-d tree."""
    found, true = discs(40, other)
    found[20:30, 20:30] = True
    a, b = (np.argwhere(boundary(m)) for m in (found, true))
    precision = float((cKDTree(b).query(a)[0] <= tolerance).mean())
    recall = float((cKDTree(a).query(b)[0] <= tolerance).mean())
    f = 2 * precision * recall / (precision + recall) if precision + recall else 0.0
    assert boundary_f(found, true, tolerance_px=tolerance) == pytest.approx(f, abs=1e-9)


def test_boundary_f_at_its_ends() -> None:
    found, true = discs(40, 40)
    assert boundary_f(found, true, tolerance_px=1) == 1
    assert boundary_f(*discs(20, 60), tolerance_px=3) == 0
    assert boundary_f(np.zeros((9, 9), bool), np.ones((9, 9), bool), tolerance_px=3) is None


# One frame


def clean() -> tuple[Inspection, Truth]:
    return sets.seen(sets.CLEAN), sets.photographed(sets.CLEAN)[1]


def test_a_clean_frame_compares_well_in_every_figure() -> None:
    seen, truth = clean()
    result = compare(seen, truth, near=False)
    assert (result.said, result.true) == ("pass", "pass")
    assert set(result.errors) <= set(FIGURES)
    assert {"white", "ev_p50", "depth", "ramp", "spill_fraction", "window_low"} < set(result.errors)
    assert result.errors["white"] < 0.002
    assert result.errors["depth"] < 0.1
    assert result.errors["subject_iou"] > 0.95
    assert result.flags["found"]
    assert not result.flags["spill_false_alarm"]
    assert not result.flags["island_false_alarm"]


@pytest.mark.parametrize(
    ("figure", "field", "by"),
    [
        ("white", "white_fraction", -0.25),
        ("ev_p50", "ev_p50", -0.5),
        ("depth", "depth_ev", 0.75),
        ("spill_fraction", "spill_fraction", 0.125),
        ("window_low", "window_low_ev", -0.5),
    ],
)
def test_an_error_is_the_distance_from_the_truth(figure: str, field: str, by: float) -> None:
    seen, truth = clean()
    before = compare(seen, truth, near=False).errors[figure]
    moved = replace(truth, **{field: getattr(truth, field) + by})
    after = compare(seen, moved, near=False).errors[figure]
    assert abs(after - abs(by)) <= before + 1e-9


def test_a_verdict_is_false_one_way_or_the_other() -> None:
    seen, truth = clean()
    short = compare(seen, replace(truth, white_fraction=0.9), near=False)
    assert short.false_pass
    assert not short.false_warn
    warned = compare(sets.seen(sets.SHORT), truth, near=False)
    assert warned.false_warn
    assert not warned.false_pass


@pytest.mark.parametrize(
    ("deep", "white", "hangs"), [(0.4, 1.0, True), (0.5, 1.0, False), (0.4, 0.9, False)]
)
def test_a_verdict_hangs_on_shallow_spill_if_on_nothing_else(
    deep: float, white: float, hangs: bool
) -> None:
    """0.45 % of the long side must be found from one frame."""
    seen, truth = clean()
    run = TrueSpill((10, 10, 20, 60), 60.0, deep / 100 * max(seen.frame.size))
    spilt = replace(truth, spill=(run,), spill_fraction=0.1, white_fraction=white)
    assert compare(seen, spilt, near=False).hangs_on_shallow_spill == hangs
    assert not compare(seen, truth, near=False).hangs_on_shallow_spill


def bounds(kind: str, said: float | None, true: float | None) -> dict[str, bool]:
    seen, truth = clean()
    window = replace(seen.exposure.window, high_ev=said, high_is=kind)
    seen = replace(seen, exposure=replace(seen.exposure, window=window))
    truth = replace(truth, window_high_ev=true, window_high_whole_ev=true)
    flags = compare(seen, truth, near=False).flags
    return {k.removeprefix("window_high_"): v for k, v in flags.items() if "window_high" in k}


@pytest.mark.parametrize(
    ("kind", "said", "true", "expected"),
    [
        ("at_most", 1.0, 0.5, {"missing": False, "bound": True}),
        ("at_most", 1.0, 1.5, {"missing": False, "bound": False}),
        ("at_most", 1.0, None, {"missing": False, "bound": False}),
        ("at_least", 1.0, 1.5, {"missing": False, "bound": True}),
        ("at_least", 1.0, 0.5, {"missing": False, "bound": False}),
        ("exact", 1.0, 0.5, {"missing": False}),
        ("exact", None, 0.5, {"missing": True}),
        ("exact", None, None, {"missing": False}),
    ],
)
def test_a_bound_holds_or_not(
    kind: str, said: float | None, true: float | None, expected: dict[str, bool]
) -> None:
    assert bounds(kind, said, true) == expected


def test_either_reading_of_white_that_has_crossed_is_right() -> None:
    """Its border past the tolerance, or the first whole pixel past it: half a pixel between."""
    seen, truth = clean()
    high = seen.exposure.window.high_ev
    assert high is not None
    for off, error in ((0.0, 0.0), (0.5, 0.25), (-0.5, 0.25)):
        between = replace(
            truth, window_high_ev=high + off - 0.25, window_high_whole_ev=high + off + 0.25
        )
        assert compare(seen, between, near=False).errors["window_high"] == pytest.approx(error)


def test_where_nothing_clips_the_stated_level_stands() -> None:
    """A frame 0.5 stop short cannot show that it would clip at 15,778 and not at 16,383:

    its stops are then log2(15266 / 15871) = -0.056 of what they are in truth.
    """
    scene = replace(sets.SHORT, backdrop=replace(sets.SHORT.backdrop, ev=-0.5, hot_ev=0.0))
    camera = Camera(clip=(15778.0,) * 4)
    told, real = (
        photographed(scene, camera, seed=1, megapixels=0.15)[1],
        render(scene, camera=camera, seed=1, megapixels=0.15)[1],
    )
    assert told.ev_p50 is not None
    assert real.ev_p50 is not None
    assert told.ev_p50 - real.ev_p50 == pytest.approx(np.log2(15266 / 15871), abs=0.002)
    assert np.all(told.clip_levels == 16383)


# The page


def result(said: str, true: str, *, near: bool = False, **errors: float) -> Comparison:
    return Comparison(said, true, near, errors, {"spill_found": said == true})


def trials() -> list[Trial]:
    """Four frames: right, a false pass, a false warn, and a borderline one that is wrong."""
    return [
        Trial(1, FAMILIES, result("pass", "pass", white=0.001, subject_iou=0.99)),
        Trial(
            2, FAMILIES | {"defect": "spill"}, result("pass", "warn", white=0.003, subject_iou=0.9),
            loop=Loop(("Close down",), passed=True, truly=True),
        ),
        Trial(
            3, FAMILIES, result("warn", "pass", white=0.002, subject_iou=0.97),
            loop=Loop(("Move",) * 3, passed=True, truly=False), bracket=(0.01, 0.02, 0.03),
        ),
        Trial(
            4, FAMILIES, result("warn", "pass", near=True, white=0.002),
            loop=Loop(("Frame",), passed=False, truly=False, set_aside=True),
        ),
    ]  # fmt: skip


def test_the_page_counts_verdicts_with_borderline_frames_apart() -> None:
    page = accuracy_table(trials(), seed=9)
    assert "| One frame alone | 3 | 1 of 3 (33.3 %) | 1 | 1 | 1 | 0 of 1 (0.0 %) |" in page
    assert "2 (bust, wall, spill, clean: pass), 3 (bust, wall, none, clean: warn)" in page
    assert "--seed 9 --frames 4" in page


def test_the_page_counts_apart_what_one_frame_cannot_tell() -> None:
    first, second, *others = trials()
    shallow = replace(second.alone, flags={"shallow_spill_alone": True})
    page = accuracy_table([first, replace(second, alone=shallow), *others], seed=9)
    assert "| One frame alone | 3 | 1 of 3 (33.3 %) | 1 | 1 | 1 | 0 of 1 (0.0 %) |" in page
    assert "| One frame alone | 2 | 1 of 2 (50.0 %) |" in page


def test_the_page_gives_median_tail_goal_and_the_worst_frames() -> None:
    """Percentiles of 1, 2, 2, 3 thousandths with linear interpolation: 2, and 2.85 at the 95th."""
    page = accuracy_table(trials(), seed=9)
    line = next(row for row in page.splitlines() if row.startswith("| white fraction"))
    assert line == (
        "| white fraction | 4 | 0.0020 | 0.0028 | 0.002 | **no** | "
        "2 (0.0030), 4 (0.0020), 3 (0.0020) |"
    )
    overlap_line = next(row for row in page.splitlines() if "overlap, no spill" in row)
    assert overlap_line.startswith("| subject, overlap, no spill | 2 | 0.980 | 0.971 (5th) |")
    assert " | yes | 3 (0.970), 1 (0.990) |" in overlap_line
    assert "| frames with any spill found | 4 | 1 of 4 (25.0 %) |  |  | 2, 3, 4 |" in page


def test_the_page_counts_spill_with_and_without_borderline_frames() -> None:
    """Errors of 0.01 and, on the borderline frame, 0.2: with it 0.1905 at the 95th percentile."""
    clear, _, _, near = (replace(t, alone=replace(t.alone, errors={})) for t in trials())
    given = [
        replace(t, alone=replace(t.alone, errors={"spill_fraction": error}))
        for t, error in ((clear, 0.01), (near, 0.2))
    ]
    page = accuracy_table(given, seed=9)
    both = "| spill fraction | 2 | 0.105 | 0.191 | 0.03 | **no** | 4 (0.200), 1 (0.010) |"
    assert both in page
    assert "| spill fraction, clear frames | 1 | 0.010 | 0.010 | 0.03 | yes | 1 (0.010) |" in page
    assert "| frames with any spill found | 2 | 1 of 2 (50.0 %) |  |  | 4 |" in page
    assert "| the same, clear frames | 1 | 1 of 1 (100.0 %) |  |  |  |" in page


def test_the_page_names_under_frames_that_were_refused() -> None:
    refused = replace(trials()[0], refused="it has another size")
    assert "Under frames refused: 1 (it has another size)." in accuracy_table([refused], seed=9)


def test_the_page_tells_what_came_of_the_advice() -> None:
    page = accuracy_table(trials(), seed=9)
    assert "4 frames 2 warned" in page
    assert "After one step 1 of 2 (50.0 %)" in page
    assert "at most two 1 of 2 (50.0 %) (goal 95 %: not met)" in page
    assert "1 of those that passed in the end should not have" in page
    assert "Not passed after two steps: 3 (bust, none)." in page


def test_the_command_gives_the_same_page_again_and_takes_up_a_run(tmp_path: Path) -> None:
    pages = []
    for name, count in (("a", 2), ("b", 1), ("b", 2)):
        keep, out = tmp_path / f"{name}.jsonl", tmp_path / f"{name}.md"
        args = ["--seed", "3", "--frames", str(count), "--out", str(out), "--keep", str(keep)]
        run = CliRunner().invoke(main, args, catch_exceptions=False)
        assert run.exit_code == 0
        pages.append(out.read_text(encoding="utf-8"))
    assert pages[0] == pages[2]
    lines = (tmp_path / "b.jsonl").read_text(encoding="utf-8").splitlines()
    assert [json.loads(line)["seed"] for line in lines] == [300000, 300001]
