"""The accuracy table as Markdown, from many trials."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from inspector.simulate.accuracy.compare import Comparison
from inspector.simulate.accuracy.goals import (
    BRACKET_GOAL,
    COUNTS,
    LOOP_GOAL,
    MODES,
    ROWS,
    Count,
    Row,
)
from inspector.simulate.accuracy.trial import Trial

FAMILIES = ("figure", "backdrop", "defect", "camera")
MOST_LISTED = 40
"""So many frames are named in a list."""


def accuracy_table(trials: Sequence[Trial], *, seed: int) -> str:
    """The whole page."""
    head = _head(trials, seed)
    parts = [head, _verdicts(trials)]
    parts += [_figures(trials, mode) for mode in MODES]
    parts += [_bracket(trials), _loop(trials)]
    parts += [
        "## By family\n\nOne frame alone. Errors at the 95th percentile, overlaps at the 5th."
    ]
    parts += [_family(trials, family) for family in FAMILIES]
    return "\n\n".join(parts) + "\n"


def _head(trials: Sequence[Trial], seed: int) -> str:
    return f"""# How right the figures are

    python -m inspector.simulate.accuracy --seed {seed} --frames {len(trials)}

wrote this page: {len(trials)} random scenes of [the simulator](simulator.md), each photographed
and measured, and compared with its truth. The same seed gives the same page. The goals stand
beside the results, whether they are met or not.

Most frames have about one megapixel, one in sixteen has eight; one in twenty comes from a sensor
without a Bayer filter. A plate is shifted by up to 1 % of the long side. An under frame is one to
three stops darker, its subject up to 0.25 % of the long side elsewhere. Where nothing clips in a
frame, the clip level that its file states stands, and the truth is counted from there. White has
crossed the edge by more than the tolerance when its border has, or, half a pixel deeper, when the
first pixel wholly past it is white; a high end of the window between the two counts as right.
A frame is *borderline* where a figure lies so near its limit, or the high end of its window so near
zero (0.05 stop), that the truth itself could go either way; those are counted apart, of spill
once with the others and once without.
`random_scene(N)` of `inspector.simulate.families` draws frame N again."""


def _verdicts(trials: Sequence[Trial]) -> str:
    lines = [
        "## Verdicts",
        "",
        "Goal: 99 % agree.",
        "",
        "| | clear frames | agree | false pass | false warn | borderline frames | agree |",
        "|---|---|---|---|---|---|---|",
    ]
    for mode, title in MODES.items():
        each = [c for _, c in _compared(trials, mode)]
        clear, near = [c for c in each if not c.near], [c for c in each if c.near]
        lines.append(
            f"| {title} | {len(clear)} | {_share(_agree(clear), len(clear))} "
            f"| {sum(c.false_pass for c in clear)} | {sum(c.false_warn for c in clear)} "
            f"| {len(near)} | {_share(_agree(near), len(near))} |"
        )
    lines += ["", *_told(trials), *_wrong(trials)]
    return "\n".join(lines)


def _told(trials: Sequence[Trial]) -> list[str]:
    """The clear frames again, less those whose verdict hangs on what one frame cannot tell."""
    lines = [
        "Spill no deeper than 0.45 % of the long side is only *possible* in a single frame "
        "([what it cannot tell](measuring.md#what-a-single-frame-cannot-tell)). "
        "Clear frames less those that should warn for such spill and nothing else:",
        "",
        "| | frames | agree |",
        "|---|---|---|",
    ]
    for mode, title in MODES.items():
        if mode != "under":
            clear = [c for _, c in _compared(trials, mode) if not c.near]
            rest = [c for c in clear if not c.hangs_on_shallow_spill]
            lines.append(f"| {title} | {len(rest)} | {_share(_agree(rest), len(rest))} |")
    return [*lines, ""]


def _wrong(trials: Sequence[Trial]) -> list[str]:
    """The clear frames whose verdict is wrong, by name."""
    listed = []
    for mode, title in MODES.items():
        wrong = [
            f"{t.seed} ({', '.join(t.families.values())}: {c.said})"
            for t, c in _compared(trials, mode)
            if c.said != c.true and not c.near
        ]
        if wrong:
            listed.append(f"- {title}: {_listed(wrong)}")
    return ["Wrong on clear frames, by number, family and verdict:", "", *listed] if listed else []


def _figures(trials: Sequence[Trial], mode: str) -> str:
    lines = [
        f"## {MODES[mode]}",
        "",
        "Errors are absolute differences from the truth, or parts of it.",
        "",
        "| figure | frames | median | 95th percentile | goal | met | worst frames |",
        "|---|---|---|---|---|---|---|",
    ]
    lines += [line for row in ROWS if (line := _figure(trials, mode, row))]
    lines += ["", "| | frames | count | goal | met | frames |", "|---|---|---|---|---|---|"]
    lines += [line for count in COUNTS if (line := _count(trials, mode, count))]
    refused = [f"{t.seed} ({t.refused})" for t in trials if mode == "under" and t.refused]
    if refused:
        lines += ["", f"Under frames refused: {_listed(refused)}."]
    return "\n".join(lines)


def _figure(trials: Sequence[Trial], mode: str, row: Row) -> str | None:
    found = [
        (c.errors[row.name], t.seed)
        for t, c in _compared(trials, mode)
        if row.name in c.errors and (row.only is None or row.only(t))
    ]
    if not found:
        return None
    values = np.array([value for value, _ in found])
    middle, tail = np.percentile(values, (50, 5 if row.overlap else 95)).tolist()
    goal, met = _goal(row, mode, middle, tail)
    worst = sorted(found, reverse=not row.overlap)[:3]
    named = ", ".join(f"{number} ({value:{row.form}})" for value, number in worst)
    at = f"{tail:{row.form}}{' (5th)' if row.overlap else ''}"
    return f"| {row.title} | {len(found)} | {middle:{row.form}} | {at} | {goal} | {met} | {named} |"


def _goal(row: Row, mode: str, middle: float, tail: float) -> tuple[str, str]:
    goal = row.goal.get(mode)
    if goal is None:
        return "", ""
    if not row.overlap:
        return f"{goal:.3g}", _met(tail <= goal)
    if row.low_goal is None:
        return f"median {goal:g}", _met(middle >= goal)
    met = middle >= goal and tail >= row.low_goal
    return f"median {goal:g}, 5th {row.low_goal:g}", _met(met)


def _count(trials: Sequence[Trial], mode: str, count: Count) -> str | None:
    asked = [
        (c.flags[count.name], t.seed)
        for t, c in _compared(trials, mode)
        if count.name in c.flags and (count.only is None or count.only(t))
    ]
    if not asked:
        return None
    held = sum(flag for flag, _ in asked)
    goal, text, met = count.goal.get(mode), "", ""
    if goal is not None:
        part = held / len(asked)
        text = f"{'at most' if count.bad else 'at least'} {goal:.0%}".replace("%", " %")
        met = _met(part <= goal if count.bad else part >= goal)
    wrong = [str(number) for flag, number in asked if flag == count.bad]
    return (
        f"| {count.title} | {len(asked)} | {_share(held, len(asked))} | {text} | {met} "
        f"| {_listed(wrong, 8)} |"
    )


def _bracket(trials: Sequence[Trial]) -> str:
    found = [(max(t.bracket), t.seed) for t in trials if t.bracket]
    text = "## An empty set with a bracket\n\n"
    if not found:
        return f"{text}No empty set was drawn."
    middle, tail = np.percentile([value for value, _ in found], (50, 95)).tolist()
    met = "met" if tail <= BRACKET_GOAL else "not met"
    worst, number = max(found)
    return (
        f"{text}Of each of {len(found)} empty sets the largest error of the 1st, 5th, 50th, 95th "
        f"and 99th percentile of its stops over white, without a ceiling: median {middle:.3f}, "
        f"95th percentile {tail:.3f} stop (goal {BRACKET_GOAL:g}: {met}); "
        f"worst {worst:.3f} (frame {number})."
    )


def _loop(trials: Sequence[Trial]) -> str:
    loops = [(t.loop, t) for t in trials if t.loop is not None and not t.loop.set_aside]
    aside = sum(t.loop is not None and t.loop.set_aside for t in trials)
    text = "## The advice, followed\n\n"
    if not loops:
        return f"{text}No frame warned."
    total = len(loops)
    passed = {n: sum(x.passed and x.steps <= n for x, _ in loops) for n in (1, 2)}
    false = sum(x.passed and not x.truly for x, _ in loops)
    failed = [
        f"{t.seed} ({t.families['figure']}, {t.families['defect']})"
        for x, t in loops
        if not x.passed or x.steps > 2
    ]
    met = "met" if passed[2] >= LOOP_GOAL * total else "not met"
    text += (
        f"Of {len(trials)} frames {total} warned and were to be mended. The advice was followed in "
        "the simulator (exposure, light turned, subject moved, side flagged, and so on), the scene "
        f"photographed and judged again. After one step {_share(passed[1], total)} passed, after "
        f"at most two {_share(passed[2], total)} (goal {100 * LOOP_GOAL:g} %: {met}). {false} of "
        f"those that passed in the end should not have. {aside} more had no white background and "
        "were to be left out of the set."
    )
    return f"{text}\n\nNot passed after two steps: {_listed(failed)}." if failed else text


FAMILY_FIGURES = (
    ("white", "white"), ("ev_p50", "backdrop"), ("depth", "depth"), ("spill_fraction", "spill"),
    ("window_low", "low end"), ("window_high", "high end"), ("subject_iou", "subject overlap"),
    ("boundary_f", "boundary F"),
)  # fmt: skip


def _family(trials: Sequence[Trial], family: str) -> str:
    heads = " | ".join(title for _, title in FAMILY_FIGURES)
    lines = [
        f"### {family.capitalize()}",
        "",
        f"| | frames | borderline | false pass | false warn | {heads} |",
        "|---" * (5 + len(FAMILY_FIGURES)) + "|",
    ]
    for name in sorted({t.families[family] for t in trials}):
        each = [t.alone for t in trials if t.families[family] == name]
        clear = [c for c in each if not c.near]
        cells = [str(len(each)), str(len(each) - len(clear))]
        cells += [str(sum(c.false_pass for c in clear)), str(sum(c.false_warn for c in clear))]
        cells += [_tail(each, figure) for figure, _ in FAMILY_FIGURES]
        lines.append(f"| {name} | {' | '.join(cells)} |")
    return "\n".join(lines)


def _tail(each: Iterable[Comparison], name: str) -> str:
    values = [c.errors[name] for c in each if name in c.errors]
    if not values:
        return ""
    is_overlap = any(row.overlap for row in ROWS if row.name == name)
    return f"{float(np.percentile(values, 5 if is_overlap else 95)):.3f}"


def _compared(trials: Sequence[Trial], mode: str) -> list[tuple[Trial, Comparison]]:
    return [(t, c) for t in trials if (c := getattr(t, mode)) is not None]


def _agree(each: Sequence[Comparison]) -> int:
    return sum(c.said == c.true for c in each)


def _share(part: int, whole: int) -> str:
    return f"{part} of {whole} ({100 * part / whole:.1f} %)" if whole else "0 of 0"


def _met(met: bool) -> str:
    return "yes" if met else "**no**"


def _listed(names: Sequence[str], most: int = MOST_LISTED) -> str:
    more = len(names) - most
    return ", ".join(names[:most]) + (f" and {more} more" if more > 0 else "")
