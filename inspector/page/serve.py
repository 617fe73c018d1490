"""The page's server in a thread of its own, its addresses, and opening the browser."""

from __future__ import annotations

import io
import os
import secrets
import socket
import sys
import threading
import webbrowser
from collections.abc import Iterator
from ipaddress import ip_address
from pathlib import Path

import segno
import uvicorn

from inspector.batch import InputError
from inspector.lane import Event, Judged, Outbox, PlateTaken, Revised, UsePlate
from inspector.page.app import Parts, make_app
from inspector.page.feed import Feed
from inspector.page.guard import OPEN
from inspector.page.points import PointReader
from inspector.record import DATABASE, read_rows

PORT = 8736
"""Tried first, so that a page left open finds its server again; else any that is free."""
LOOPBACK = "127.0.0.1"
OPEN_AFTER_S = 0.7
"""So long the set must have lasted before the browser opens: a wrong start opens none."""
END_S = 2


class ShareError(InputError):
    """The page cannot be shared; the message is one sentence with the remedy."""


class LivePage:
    """Serves the set of one report folder while it is a context; `follow` feeds it.

    Parameters
    ----------
    name : str
        What the set is called on the page.
    plate : Path, optional
        The plate in use from the start.
    share : bool
        Whether the local network is served, too.
    outbox : SimpleQueue
        Takes the wish for another plate.

    Raises
    ------
    ShareError, RecordError
        If there is no local network, or the record that is there cannot be used.
    """

    def __init__(
        self,
        report: Path,
        outbox: Outbox,
        *,
        name: str,
        plate: Path | None = None,
        share: bool = False,
    ) -> None:
        self._feed, self._reader = Feed(name), PointReader()
        if (report / DATABASE).is_file():
            for row in read_rows(report):
                self._feed.add(row)
        if plate is not None:
            self._feed.take_plate(os.fspath(plate.resolve()))
        token = secrets.token_urlsafe(16) if share else None
        hosts = [LOOPBACK, _local_address()] if share else [LOOPBACK]
        self._sockets = [_listen(host) for host in hosts]
        parts = Parts(self._feed, report, self._reader, lambda path: outbox.put(UsePlate(path)))
        self._server = uvicorn.Server(_config(make_app(parts, token=token)))
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self.address = _address(self._sockets[0])
        self.shared_address = f"{_address(self._sockets[1])}{OPEN[1:]}{token}" if share else None

    def __enter__(self) -> LivePage:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._feed.close()
        self._server.should_exit = True
        self._thread.join(2 * END_S)
        self._reader.close()
        for each in self._sockets:
            each.close()

    def follow(self, events: Iterator[Event], *, browser: bool = False) -> Iterator[Event]:
        """Pass the events of a set on, each to the page first; open the browser if asked."""
        timer = threading.Timer(OPEN_AFTER_S, open_browser, (self.address,))
        timer.daemon = True
        if browser:
            timer.start()
        try:
            for event in events:
                self._show(event)
                yield event
        finally:
            timer.cancel()

    def _show(self, event: Event) -> None:
        if isinstance(event, Judged | Revised):
            self._feed.add(event.row)
        elif isinstance(event, PlateTaken):
            self._feed.take_plate(event.path)
        else:
            self._feed.say(event.text)

    def _serve(self) -> None:
        self._server.run(self._sockets)


def open_browser(address: str) -> bool:
    """Open the browser unless that would be one in the terminal; whether one was found."""
    graphical = sys.platform != "linux" or any(
        os.environ.get(name) for name in ("DISPLAY", "WAYLAND_DISPLAY", "BROWSER")
    )
    return graphical and webbrowser.open(address)


def qr_code(address: str) -> str:
    """The address as a QR code (ISO/IEC 18004) of half blocks, for a dark terminal."""
    out = io.StringIO()
    segno.make(address, error="l", micro=False).terminal(out, compact=True, border=2)
    return out.getvalue().rstrip("\n")


def _config(app: object) -> uvicorn.Config:
    return uvicorn.Config(
        app,  # type: ignore[arg-type]
        http="h11",
        ws="none",
        lifespan="off",
        log_config=None,
        access_log=False,
        server_header=False,
        proxy_headers=False,
        timeout_graceful_shutdown=END_S,
    )


def _listen(address: str) -> socket.socket:
    """A listening socket on our port, or on a free one where that is taken."""
    try:
        return socket.create_server((address, PORT))
    except OSError:
        return socket.create_server((address, 0))


def _address(listener: socket.socket) -> str:
    host, port = listener.getsockname()
    return f"http://{host}:{port}/"


def _local_address() -> str:
    """This machine's own address on the local network."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # RFC 5737; nothing is sent, only a route is looked up
        except OSError as error:
            raise ShareError(
                "no local network is there to share the page on; join one, or use --page"
            ) from error
        address: str = probe.getsockname()[0]
    if not ip_address(address).is_private:
        raise ShareError(
            f"this machine stands in the open internet ({address}), where the page is not shared; "
            "use --page"
        )
    return address
