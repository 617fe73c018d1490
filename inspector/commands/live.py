"""`inspector watch` and `inspector demo`: frames as they land."""

from __future__ import annotations

import contextlib
import queue
import signal
import sys
from collections.abc import Iterable, Iterator
from functools import partial
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING, Any

import click

from inspector.commands.common import (
    FILE,
    FOLDER,
    chosen_limits,
    limit_options,
    look_option,
    plain_errors,
    printer,
    say,
    time_limit_option,
)
from inspector.commands.drift import with_drift
from inspector.commands.page import live_page, page_options
from inspector.limits import meanings

if TYPE_CHECKING:
    from inspector.hotfolder import Inbox
    from inspector.lane import Event, Outbox


@click.command()
@click.argument("folder", type=FILE)
@click.option(
    "--report", type=FOLDER, help="Where clip maps and the record go.  [default: FOLDER-report]"
)
@click.option("--plate", type=FILE, metavar="FRAME", help="The same set with nobody in it.")
@click.option("--last-plate", is_flag=True, help="Take the last frame with nobody in it as plate.")
@look_option
@click.option("--existing", is_flag=True, help="Judge the frames that lie there already, too.")
@click.option("--subfolders", is_flag=True, help="Look into subfolders.")
@click.option("--follow-links", is_flag=True, help="Follow links that lead out of the folder.")
@click.option(
    "--poll",
    type=click.FloatRange(min=0.05),
    metavar="SECONDS",
    help="Look into the folder every so often, where the system sends no events. By itself on "
    "network shares.",
)
@page_options
@time_limit_option
@limit_options
def watch(
    folder: Path,
    report: Path | None,
    limits_file: Path | None,
    page: bool,
    share: bool,
    **options: Any,
) -> None:
    """Judge frames as they land in the hot folder. Ctrl-C ends it.

    Nothing is written into the hot folder. After a break, name the same folders again: what came
    meanwhile is judged, what was judged is not judged twice.

    \b
    Examples:
      inspector watch ~/evening
      inspector watch ~/evening --plate ~/evening/empty.dng --report ~/evening-report
      inspector watch ~/evening --page --share
      inspector watch /mnt/share/evening --poll 2 --subfolders
    """
    from inspector.session import Setup, check_folders, default_report, follow_set

    limits = {name: options.pop(name) for name in meanings()}
    with plain_errors():
        setup = Setup(
            folder,
            report or default_report(folder),
            limits=chosen_limits(limits_file, limits),
            **options,
        )
        check_folders(setup)
        outbox: Outbox = queue.SimpleQueue()
        shown = live_page(
            setup.report,
            outbox,
            name=folder.resolve().name,
            plate=setup.plate,
            page=page,
            share=share,
        )
        with stoppable() as inbox, shown as follow:
            say(f"{folder}: watching; clip maps and record go to {setup.report}; Ctrl-C ends")
            show_set(follow(with_drift(follow_set(setup, inbox, outbox))))


@click.command()
@page_options
def demo(page: bool, share: bool) -> None:
    """See it at work on sample frames.

    They land one by one in a temporary hot folder, as from a camera. With a live page it goes on
    until Ctrl-C.

    \b
    Examples:
      inspector demo
      inspector demo --page
    """
    from inspector.demo import run_demo

    outbox: Outbox = queue.SimpleQueue()
    with plain_errors(), stoppable() as inbox:
        show = run_demo(inbox, outbox, stay=page or share)
        say(f"{show.frames} frames of a fencing club's poster evening land in {show.hot_folder}")
        shown = live_page(
            show.report, outbox, name="poster evening", plate=None, page=page, share=share
        )
        with shown as follow:
            readable = show_set(follow(show.events))
        click.echo(f"The report folder, with a clip map of every frame: {show.report}")
    sys.exit(0 if readable == show.frames else 1)


def show_set(events: Iterable[Event]) -> int:
    """Print a live set and, at its end, the tally; how many frames could be read."""
    from inspector import terminal
    from inspector.commands.speaker import Speaker
    from inspector.lane import Judged, Revised

    show = printer((), as_json=False, quiet=False)
    words: dict[str, str] = {}
    speaker = Speaker()
    speaker.start()
    for event in events:
        if isinstance(event, Judged | Revised):
            speaker.tell(partial(show, event.row.record))
            path = event.row.path
            if isinstance(event, Judged) or path in words:  # not those of an earlier session
                words[path] = terminal.word(event.row.record)
        else:
            speaker.tell(partial(say, event.text))
    speaker.finish()
    found = list(words.values())
    click.echo(terminal.tally(found))
    return len(found) - found.count("unreadable")


@contextlib.contextmanager
def stoppable() -> Iterator[Inbox]:
    """An inbox into which the first Ctrl-C or SIGTERM puts a stop; the second ends at once."""
    from inspector.watch import Message, Stop

    inbox: Inbox = queue.SimpleQueue[Message]()
    asked = False

    def stop(number: int, frame: FrameType | None) -> None:
        nonlocal asked
        if asked:
            raise KeyboardInterrupt
        asked = True
        inbox.put(Stop())

    before = {number: signal.signal(number, stop) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield inbox
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
