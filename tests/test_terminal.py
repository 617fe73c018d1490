"""The terminal's lines."""

from __future__ import annotations

import io

import pytest
from judges import told

from inspector.terminal import (
    Progress,
    cells,
    fit,
    has_shapes,
    name_width,
    plain,
    progress_text,
    tally,
    verdict_line,
    wants_colour,
)


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def line(verdict: str, **parts: object) -> str:
    record = told("/evening/fencer.dng", verdict)
    for group, figures in parts.items():
        assert isinstance(figures, dict)
        record[group] = record[group] | figures
    return verdict_line(record, width=12, colour=False)


def test_the_line_has_verdict_figures_and_advice() -> None:
    text = line("warn", backdrop={"white_fraction": 0.9312}, edge={"spill_fraction": 0.0416})
    assert text.startswith("▲ warn")
    for part in (
        "fencer.dng",
        "background 93.1 % white",
        "edge 4.2 % spill",
        "subject 5.0 stops",
        "do that",
    ):
        assert part in text


def test_lines_are_aligned() -> None:
    columns = {
        line("pass").index("background"),
        line("warn").index("background"),
        verdict_line(told("/e/決闘.dng", "pass"), width=12, colour=False).index("background") + 2,
    }
    assert len(columns) == 1


@pytest.mark.parametrize(
    ("fraction", "shown"),
    [(1.0, "100.0 %"), (0.9999, "99.9 %"), (0.995, "99.5 %"), (0.9949, "99.4 %"), (0.0, "0.0 %")],
)
def test_nearly_white_is_not_shown_as_white(fraction: float, shown: str) -> None:
    assert f"background {shown} white" in line("warn", backdrop={"white_fraction": fraction})


@pytest.mark.parametrize(
    ("fraction", "shown"), [(0.2311, "23.2 %"), (0.1, "10.0 %"), (0.00004, "0.1 %"), (1.0, "100 %")]
)
def test_spill_is_rounded_up_as_on_the_clip_map(fraction: float, shown: str) -> None:
    assert f"edge {shown} spill" in line("warn", edge={"spill_fraction": fraction})


def test_what_was_not_measured_is_not_shown_as_good() -> None:
    text = line("warn", edge={"spill_fraction": None}, backdrop={"white_fraction": None})
    assert "clean" not in text
    assert "background ?" in text
    assert "background not found" in line("warn", backdrop={"found": False})
    assert "subject" not in line("warn", subject={"depth_ev": None})


def test_unreadable_frames_say_why_and_what_to_do() -> None:
    text = line("unreadable")
    assert "told so; do that" in text
    assert "background" not in text


def test_colour_is_for_terminals_without_no_color(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("NO_COLOR", raising=False)
    assert wants_colour(Terminal())
    assert not wants_colour(io.StringIO())
    monkeypatch.setenv("NO_COLOR", "1")  # any value that is not empty: no-color.org
    assert not wants_colour(Terminal())
    monkeypatch.setenv("NO_COLOR", "")
    assert wants_colour(Terminal())
    record = told("/evening/a.dng", "pass")
    assert "\x1b[" in verdict_line(record, width=9, colour=True)
    assert "\x1b" not in verdict_line(record, width=9, colour=False)


def test_shapes_give_way_where_the_encoding_lacks_them() -> None:
    assert has_shapes(io.TextIOWrapper(io.BytesIO(), encoding="utf-8"))
    assert not has_shapes(io.TextIOWrapper(io.BytesIO(), encoding="cp1252"))
    marks = [
        verdict_line(told("a.dng", verdict), width=5, colour=False, shapes=False)[0]
        for verdict in ("pass", "warn", "unreadable")
    ]
    assert len(set(marks)) == 3
    assert "".join(marks).isascii()


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("Grüße 決闘.dng", "Grüße 決闘.dng"),
        ("a\nb\tc", "a\\nb\\tc"),
        ("\x1b]0;title\x07", "\\x1b]0;title\\x07"),
        ("\udcff", "\\udcff"),
        ("\u202e", "\\u202e"),
        ("<b>&amp;", "<b>&amp;"),
    ],
)
def test_control_characters_are_shown_as_escapes(name: str, shown: str) -> None:
    assert plain(name) == shown


def test_widths_are_counted_in_cells() -> None:
    # Wide and combining characters: Unicode Standard Annex 11, East Asian Width.
    assert (cells("abc"), cells("決闘"), cells("e\u0301")) == (3, 4, 1)
    assert fit("fencer_0042.dng", 20) == "fencer_0042.dng"
    assert fit("fencing-06-spill-shoulder.dng", 15) == "fencing…der.dng"
    for width in range(3, 12):
        assert cells(fit("決闘決闘決闘決闘", width)) <= width
    assert name_width(["/a/bb.dng", "/long/c.dng"]) == 6
    assert name_width(["x" * 200]) == name_width([])


def test_tally() -> None:
    assert tally([]) == "0 frames"
    assert tally(["pass"]) == "1 frame: 1 pass"
    assert tally(["warn", "pass", "pass", "unreadable"]) == "4 frames: 2 pass, 1 warn, 1 unreadable"


def test_progress_of_a_long_run() -> None:
    assert progress_text(120, 340, 30.0) == "120 of 340 frames, 4.0 a second, 55 s left"
    assert progress_text(10, 1000, 5.0) == "10 of 1000 frames, 2.0 a second, 8 min 15 s left"
    times = iter([0.0, 2.0])
    terminal = Terminal()
    progress = Progress(100, terminal, lambda: next(times))
    progress.show(4)
    assert terminal.getvalue() == "4 of 100 frames, 2.0 a second, 48 s left"
    progress.clear()
    assert terminal.getvalue().endswith("\r\x1b[K")


@pytest.mark.parametrize(("stream", "total"), [(io.StringIO(), 100), (Terminal(), 2)])
def test_no_progress_into_pipes_or_for_a_few_frames(stream: io.StringIO, total: int) -> None:
    progress = Progress(total, stream, lambda: 0.0)
    progress.show(1)
    progress.clear()
    assert stream.getvalue() == ""
