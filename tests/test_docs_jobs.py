"""The pages on the jobs beside checking: their commands, run in order, say what is shown."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest
from click.testing import CliRunner

from inspector.cli import main
from inspector.simulate import jobs

HOME = Path(__file__).parent.parent
PAGES = ("plate", "compare", "ratio", "drift", "room", "batch")
BLOCK = re.compile(r"^```sh\n(.*?)^```$(?:\n+^```text\n(.*?)^```$)?", re.MULTILINE | re.DOTALL)
NUMBER = re.compile(r"\d+(?:\.\d+)?(?!\d*\.dng)")


@pytest.fixture(scope="module")
def workplace(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder in which the sample frames lie, as in a checkout."""
    folder = tmp_path_factory.mktemp("docs")
    (folder / "sample_frames").symlink_to(HOME / "sample_frames")
    return folder


def examples(page: str) -> list[tuple[list[str], list[str]]]:
    """Commands of each example of a page, and the lines that are shown below it."""
    text = (HOME / "docs" / f"{page}.md").read_text("utf-8")
    return [(c.splitlines(), shown.splitlines()) for c, shown in BLOCK.findall(text)]


@pytest.mark.parametrize("page", PAGES)
def test_the_examples_of_a_page_run_and_say_what_it_shows(
    page: str, workplace: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(workplace)
    found = examples(page)
    assert found
    for commands, shown in found:
        printed = [line for command in commands for line in run(command)]
        if shown:
            assert [NUMBER.sub("#", p) for p in printed] == [NUMBER.sub("#", s) for s in shown]
            assert figures(printed) == pytest.approx(figures(shown), rel=0.05, abs=0.2)


def run(command: str) -> list[str]:
    """The lines that a command prints."""
    program, *words = shlex.split(command)
    if program == "python":
        assert words[:2] == ["-m", jobs.__name__]
        result = CliRunner().invoke(jobs.main, words[2:])
    else:
        assert program == "inspector"
        result = CliRunner().invoke(main, words)
    assert result.exit_code in (0, 1), result.output
    return result.stdout.splitlines()


def figures(lines: list[str]) -> list[float]:
    return [float(n) for line in lines for n in NUMBER.findall(line)]


@pytest.mark.parametrize("page", PAGES)
def test_a_page_shows_a_figure_that_is_there(page: str) -> None:
    text = (HOME / "docs" / f"{page}.md").read_text("utf-8")
    pictures = re.findall(r"!\[[^\]]{30,}\]\((pictures/[^)]+)\)", text)
    assert pictures
    assert all((HOME / "docs" / picture).is_file() for picture in pictures)
