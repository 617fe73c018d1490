"""`--page` and `--share`: the live page beside the terminal."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from inspector.commands.common import Command, say

if TYPE_CHECKING:
    from inspector.lane import Event, Outbox

Follow = Callable[[Iterator["Event"]], Iterator["Event"]]
"""Passes the events of a set on."""


def page_options(command: Command) -> Command:
    """``--page`` and ``--share``."""
    command = click.option(
        "--share",
        is_flag=True,
        help="Show the live page to phones and tablets on the local network, too: whoever has the "
        "address that is printed, also as a QR code, sees it and can choose the plate.",
    )(command)
    return click.option(
        "--page", is_flag=True, help="Show the set on a live page, on this computer alone."
    )(command)


@contextlib.contextmanager
def live_page(
    report: Path, outbox: Outbox, *, name: str, plate: Path | None, page: bool, share: bool
) -> Iterator[Follow]:
    """Serve the page if one is wanted; what is yielded shows it the events of the set."""
    if not (page or share):
        yield lambda events: events
        return
    from inspector.page.serve import LivePage, qr_code
    from inspector.terminal import has_shapes

    with LivePage(report, outbox, name=name, plate=plate, share=share) as live:
        say(f"The live page: {live.address}")
        if live.shared_address is not None:
            say(f"On the local network: {live.shared_address}")
            if has_shapes(sys.stderr):
                click.echo(qr_code(live.shared_address), err=True)
        yield lambda events: live.follow(events, browser=page)
