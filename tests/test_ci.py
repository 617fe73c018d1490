"""The CI script runs what the README tells a contributor to run, and fails when any of it fails."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
INSTALL_AND_TEST = [
    "python3 -m venv .venv",
    ".venv/bin/pip install --quiet --editable .[test]",
    ".venv/bin/python -m pytest",
]

pytestmark = pytest.mark.skipif(shutil.which("bash") is None, reason="the script is bash's")


def readme_commands() -> list[str]:
    """The README's indented lines that end in `-m pytest`, less the indent."""
    lines = (ROOT / "README.md").read_text(encoding="utf-8").splitlines()
    return [line.strip() for line in lines if line.startswith("    ") and "-m pytest" in line]


def run_ci(tmp_path: Path, *, failing: str = "") -> tuple[int, list[str]]:
    """Exit status and calls of `.ci/run` with stand-ins for every program it starts.

    The call that contains ``failing`` fails.
    """
    log, programs = tmp_path / "calls", tmp_path / "bin"
    programs.mkdir()
    note = f"""#!/bin/bash
echo "${{0##*/bin/}} $*" >> "{log}"
case "$0 $*" in *"{failing or "nothing at all"}"*) exit 3;; esac
"""
    venv = note.replace("${0##*/bin/}", ".venv/bin/${0##*/}")
    (tmp_path / "stand-in").write_text(venv)
    (tmp_path / "stand-in").chmod(0o755)
    make_venv = f"""
if [ "$2" = venv ]; then
    mkdir -p .venv/bin
    for name in pip python ruff mypy; do cp "{tmp_path}/stand-in" .venv/bin/$name; done
fi
"""
    for name, body in {
        "python3": note + make_venv,
        "git": "#!/bin/bash\nprintf 'README.md\\0'\n",
        "apt-get": "#!/bin/bash\nexit 0\n",
    }.items():
        (programs / name).write_text(body)
        (programs / name).chmod(0o755)
    path = f"{programs}{os.pathsep}{os.environ['PATH']}"
    status = subprocess.run(
        ["bash", ROOT / ".ci" / "run"],
        env={**os.environ, "PATH": path, "TMPDIR": str(tmp_path)},
        check=False,
        capture_output=True,
    ).returncode
    calls = log.read_text().splitlines() if log.exists() else []
    return status, [call for call in calls if "ensurepip" not in call]


def test_the_readme_gives_one_command_that_installs_and_tests() -> None:
    (command,) = readme_commands()
    assert [part.strip().replace("'", "") for part in command.split("&&")] == INSTALL_AND_TEST


def test_ci_lints_checks_types_and_then_runs_the_readmes_command(tmp_path: Path) -> None:
    status, calls = run_ci(tmp_path)
    assert status == 0
    assert calls == [
        *INSTALL_AND_TEST[:2],
        ".venv/bin/ruff check .",
        ".venv/bin/ruff format --check .",
        ".venv/bin/mypy ",
        *INSTALL_AND_TEST,
    ]


@pytest.mark.parametrize("part", ["pip install", "ruff check", "ruff format", "mypy", "-m pytest"])
def test_ci_fails_when_any_part_fails(tmp_path: Path, part: str) -> None:
    status, calls = run_ci(tmp_path, failing=part)
    assert status != 0
    assert part in calls[-1]


def test_ci_leaves_nothing_behind(tmp_path: Path) -> None:
    run_ci(tmp_path)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["bin", "calls", "stand-in"]
