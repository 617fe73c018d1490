"""The documentation: its examples run, its links lead somewhere, its lists are complete."""

from __future__ import annotations

import ast
import re
import shlex
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click
import pytest
import scenes
from click.testing import CliRunner

from inspector import hotfolder, settle
from inspector import inspect as core
from inspector.cli import main
from inspector.limits import Limits, meanings, read_limits
from inspector.simulate.__main__ import main as simulate
from inspector.simulate.accuracy.__main__ import main as accuracy
from inspector.verdict import RULES
from inspector.worker import TIME_LIMIT_S, refuse

HOME = Path(__file__).parent.parent
PAGES = sorted([*HOME.glob("*.md"), *HOME.glob("docs/*.md")])
NUMBER = re.compile(r"\d+(?:\.\d+)?(?!\d*\.dng)")
FENCED = re.compile(r"^```(\w*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)


def blocks(page: Path, kind: str | None = None) -> list[str]:
    """The fenced blocks of a page, of one kind or all."""
    found = FENCED.findall(page.read_text("utf-8"))
    return [text for name, text in found if kind in (None, name)]


def examples() -> Iterator[Any]:
    """Each command of a `console` block with the output that is shown below it."""
    for page in PAGES:
        for block in blocks(page, "console"):
            for part in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]:
                command, _, shown = part.partition("\n")
                yield pytest.param(command, shown.splitlines(), id=f"{page.name}: {command[:60]}")


@pytest.fixture
def workplace(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder in which `sample_frames` lies, as in a checkout."""
    (tmp_path / "sample_frames").symlink_to(HOME / "sample_frames")
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.parametrize(("command", "shown"), list(examples()))
def test_an_example_runs_and_says_what_the_page_shows(
    command: str, shown: list[str], workplace: Path
) -> None:
    command, _, target = command.partition(" > ")
    program, *words = shlex.split(command)
    assert program == "inspector"
    arguments = [path for word in words for path in expanded(word)]
    result = CliRunner().invoke(main, arguments)
    assert result.exit_code in (0, 1), result.output
    if target:
        (workplace / target).write_text(result.stdout)
    printed = result.stdout.splitlines()
    if shown:
        assert [NUMBER.sub("#", line) for line in printed] == [NUMBER.sub("#", s) for s in shown]
        assert figures(printed) == pytest.approx(figures(shown), rel=0.05, abs=0.2)


def expanded(word: str) -> list[str]:
    """What a shell makes of a word with a star in it."""
    return sorted(map(str, Path().glob(word))) if "*" in word else [word]


def figures(lines: list[str]) -> list[float]:
    return [float(n) for line in lines for n in NUMBER.findall(line)]


def commands_in(page: Path) -> list[str]:
    """Every `inspector ...` in the code of a page."""
    text = page.read_text("utf-8")
    lines = [line for block in blocks(page) for line in block.splitlines()]
    lines += re.findall(r"`(inspector [^`]+)`", FENCED.sub("", text))
    lines = [line.strip().removeprefix("$ ") for line in lines]
    return [line for line in lines if line.startswith("inspector ")]


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_commands_on_a_page_are_such_as_the_program_takes(page: Path) -> None:
    for line in commands_in(page):
        words = shlex.split(line.partition(" > ")[0].replace("...", ""))[1:]
        if "--help" in words or "--version" in words:
            continue
        command = main.commands.get(words[0])
        assert command is not None, line
        if len(words) > 1:  # a bare name is a mention
            try:
                command.make_context(words[0], words[1:])
            except click.UsageError as error:
                pytest.fail(f"{page.name}: {line}: {error.message}")


def options() -> set[str]:
    """Every long option of every command."""
    every = [main, simulate, accuracy, *main.commands.values()]
    return {"--help"} | {o for command in every for p in command.params for o in p.opts}


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_every_option_that_a_page_names_exists(page: Path) -> None:
    prose = FENCED.sub("", page.read_text("utf-8"))
    code = [c for c in re.findall(r"`([^`\n]+)`", prose) if not c.startswith((".venv", "pip"))]
    named = {o for c in code for o in re.findall(r"(?<![\w-])--[a-z][a-z-]+", c)}
    assert named <= options()


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_links_lead_to_a_page_and_a_heading(page: Path) -> None:
    for target in re.findall(r"\]\(([^)\s]+)\)", page.read_text("utf-8")):
        name, _, heading = target.partition("#")
        path = page.parent / name if name else page
        assert path.is_file(), target
        if heading:
            assert heading in anchors(path), target


def anchors(page: Path) -> list[str]:
    """What a heading's link is made of: lower case, no punctuation, hyphens for spaces."""
    heads = re.findall(r"^#+ (.*)$", page.read_text("utf-8"), re.MULTILINE)
    return [re.sub(r"[^\w\- ]", "", head.lower()).replace(" ", "-") for head in heads]


def test_every_page_can_be_reached_from_the_readme() -> None:
    linked = re.findall(r"\]\(([^)#\s]+\.md)", (HOME / "README.md").read_text("utf-8"))
    pages = {str(page.relative_to(HOME)) for page in PAGES}
    assert pages - {"README.md"} <= set(linked)


def test_pictures_are_compact() -> None:
    pictures = [p for p in (HOME / "docs" / "pictures").iterdir() if p.is_file()]
    assert pictures
    assert all(picture.stat().st_size < 400_000 for picture in pictures)


RECORD = HOME / "docs" / "record.md"
BY_CHANNEL = {f"clip.{name}" for name in ("levels", "from", "pile_ups", "stated")}


def keys(value: dict[str, Any], above: str = "") -> Iterator[str]:
    """Names as the page writes them: `edge.spill[].where`."""
    for name, inner in value.items():
        yield above + name
        if isinstance(inner, dict) and above + name not in BY_CHANNEL:
            yield from keys(inner, f"{above}{name}.")
        elif isinstance(inner, list) and inner and isinstance(inner[0], dict):
            yield from keys(inner[0], f"{above}{name}[].")


def test_the_record_page_lists_every_key() -> None:
    found = {*keys(core.record(scenes.everything())), *keys(refuse("a.dng", "crashed", "", ""))}
    parts = {"short_regions", "hot_spots", "spill", "reasons"}
    assert parts <= {key.partition("[]")[0].rpartition(".")[2] for key in found if "[]" in key}
    groups = {"frame", "clip", "backdrop", "subject", "edge", "flare", "window"}
    told = re.findall(r"`([a-z_0-9.\[\]]+)`", RECORD.read_text("utf-8"))
    assert found - groups <= set(told)


def test_the_record_page_lists_every_reason_code() -> None:
    listed = re.findall(r"^\| `([a-z-]+)` \| (?:warn|unreadable)", RECORD.read_text("utf-8"), re.M)
    assert set(listed) == reason_codes()


def test_the_guide_says_what_each_warning_means() -> None:
    text = (HOME / "docs" / "guide.md").read_text("utf-8")
    assert set(re.findall(r"^### `([a-z-]+)`$", text, re.M)) == reason_codes()


def reason_codes() -> set[str]:
    """The rules' codes, and what else the program's own source gives as one."""
    codes = {rule.code for rule in RULES}
    for path in (HOME / "inspector").rglob("*.py"):
        for call in ast.walk(ast.parse(path.read_text("utf-8"))):
            if not (isinstance(call, ast.Call) and isinstance(call.func, ast.Name)):
                continue
            place = {"Reason": 0, "refuse": 1}.get(call.func.id, len(call.args))
            codes |= {str(a.value) for a in call.args[place:][:1] if isinstance(a, ast.Constant)}
    return codes


def test_the_record_page_gives_every_limit_with_its_default() -> None:
    rows = [line for line in RECORD.read_text("utf-8").splitlines() if line.startswith("| ")]
    for name, (default, _) in meanings().items():
        assert any(f"`{name}` | {default:g} |" in row for row in rows), name


def test_the_limits_file_on_the_page_is_taken(tmp_path: Path) -> None:
    (example,) = blocks(RECORD, "toml")
    file = tmp_path / "limits.toml"
    file.write_text(example)
    assert read_limits(file) != Limits()


def test_the_files_that_the_contributors_page_names_are_there() -> None:
    text = (HOME / "DEVELOPERS.md").read_text("utf-8")
    named = re.findall(r"`((?:inspector|tests|docs|sample_frames|\.ci)/[\w./*]*)`", text)
    assert len(named) > 30
    for name in named:
        assert list(HOME.glob(name)), name


def test_the_times_on_the_watching_page_are_those_of_the_program() -> None:
    text = (HOME / "docs" / "watching.md").read_text("utf-8")
    assert f"- {1000 * settle.CLOSED_S:g} ms after" in text
    assert f"after {settle.OPEN_S:g} seconds without a change" in text
    assert f"`--time-limit` ({TIME_LIMIT_S:g} seconds)" in text
    words = {0.5: "half a second", 1.0: "one second", 2.0: "two seconds", 5.0: "five seconds"}
    assert f"stood still for {words[settle.STILL_S]}" in text
    first, second = (words[pause] for pause in settle.RETRY_S)
    assert f"tried again after {first} and after another {second}" in text
    assert f"looked through every {words[hotfolder.LOOK_S]}" in text
