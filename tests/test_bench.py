"""The measuring of speed: that it measures and says what it should. No time is asserted."""

from __future__ import annotations

import json
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

from inspector.bench import goals, routes, table
from inspector.bench import run as run_module
from inspector.bench.frames import make_files
from inspector.bench.probes import STAGES
from inspector.bench.routes import Timed
from inspector.bench.run import Bench, Result
from inspector.cli import main
from inspector.decode import decode

ROUTES = {"unpack", "whole", "half", "development"}


def result(megapixels: float = 33.0, **changes: Any) -> Result:
    """Figures that lie exactly on every goal."""
    times = {"unpack": 1.0, "whole": 2.2, "half": 1.5 * 2.2, "development": 7 * 2.2}
    timed = {name: Timed(s, 2 * s) for name, s in times.items()}
    size = round(megapixels * 2e6)
    made = Result(
        megapixels,
        width=round(megapixels * 1e3),
        height=1000,
        mosaic_bytes=size,
        routes=timed,
        packed={},
        copy=Timed(0.5, 1.0),
        stages=dict.fromkeys(STAGES, megapixels / 33),
        peak_bytes=3 * size,
        close_to_verdict_s=0.4,
        frames_a_second=4.0,
    )
    return replace(made, **changes)


def test_goals_are_met_at_their_limits_and_not_beyond() -> None:
    on = Bench(2, 5, (), (result(24.0), result(), result(66.0)))
    assert [goal.met for goal in goals.goals(on)] == [True] * 7
    slow = {name: Timed(t.least_s, t.median_s) for name, t in result().routes.items()}
    slow["whole"] = Timed(2.21, 4.0)
    beyond = result(
        routes=slow, peak_bytes=198_000_001, close_to_verdict_s=0.41, frames_a_second=3.9
    )
    more = result(66.0, stages=dict.fromkeys(STAGES, 2.01))
    assert [goal.met for goal in goals.goals(Bench(2, 5, (), (beyond, more)))] == [False] * 7


def test_what_was_not_measured_is_not_met() -> None:
    one = Bench(2, 5, (), (result(12.0),))
    assert [goal.met for goal in goals.goals(one)] == [None] * 7
    assert [goal.met for goal in goals.goals(Bench(2, 5, (), (result(peak_bytes=None),)))][
        -1
    ] is None
    assert "not measured" in table.as_text(one)


def test_the_table_has_a_column_for_each_size() -> None:
    text = table.as_text(Bench(2, 5, (1.0, 2.0), (result(24.0), result())))
    lines = text.splitlines()
    assert "load 1.0, 2.0" in lines[0]
    (head,) = [line for line in lines if "Mpx" in line]
    assert head.split() == ["24", "Mpx", "33", "Mpx"]
    (whole,) = [line for line in lines if line.startswith("  whole frame  ")]
    assert whole.split()[-2:] == ["2.20", "2.20"]
    assert "inspector[bench]" in text  # nothing was packed
    assert len({len(line) for line in [head, whole]}) == 1


def test_routes_are_timed_in_turn() -> None:
    order: list[str] = []
    found = routes.interleaved(
        {"a": lambda: order.append("a"), "b": lambda: order.append("b")}, rounds=3
    )
    assert order == ["a", "b"] * 3
    assert all(0 < t.least_s <= t.median_s for t in found.values())


def test_both_developments_see_the_same_white(tmp_path: Path) -> None:
    """The half-size route by hand agrees with the full development: a few pixels at the edge."""
    files = make_files(tmp_path, 0.3)
    whole, half = routes.develop(files.plain), routes.develop_half(files.plain)
    assert 0.2 < whole < 0.9
    assert half == pytest.approx(whole, abs=0.02)


def test_a_packed_frame_holds_the_same_levels(tmp_path: Path) -> None:
    """LibRaw reads back what imagecodecs (libjpeg-turbo's lossless mode) has written."""
    pytest.importorskip("imagecodecs")
    files = make_files(tmp_path, 0.3)
    assert files.packed is not None
    plain, packed = decode(files.plain), decode(files.packed)
    assert np.array_equal(plain.mosaic, packed.mosaic)
    assert np.array_equal(plain.black, packed.black)
    assert plain.shot == packed.shot
    assert files.packed.stat().st_size < files.plain.stat().st_size
    assert (files.width, files.height) == plain.size
    assert files.mosaic_bytes == plain.mosaic.nbytes


def test_the_command_measures_everything(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(run_module, "LIVE_FRAMES", 2)
    monkeypatch.setattr(run_module, "SUSTAINED_FRAMES", 3)
    arguments = ["bench", "--megapixels", "0.2", "--megapixels", "0.4", "--rounds", "1", "--json"]
    run = CliRunner().invoke(main, arguments)
    assert run.exit_code == 0, run.output
    found = json.loads(run.stdout)
    assert found["rounds"] == 1
    assert [r["megapixels"] for r in found["results"]] == [0.2, 0.4]
    assert found["growth"] > 0
    assert len(found["goals"]) == 7
    for r in found["results"]:
        assert set(r["routes"]) == ROUTES
        assert set(r["stages"]) == set(STAGES)
        ratios = r["ratios"]["routes"]
        assert ratios["unpack"] == 1
        assert all(value > 0 for value in ratios.values())
        assert all(value > 0 for value in r["stages"].values())
        assert r["copy"]["least_s"] > 0
        assert r["close_to_verdict_s"] > 0
        assert r["frames_a_second"] > 0
        if sys.platform == "linux":
            assert r["peak_bytes"] > 0


def test_a_size_that_is_none_is_refused() -> None:
    run = CliRunner().invoke(main, ["bench", "--megapixels", "0"])
    assert run.exit_code == 2
