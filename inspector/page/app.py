"""The page's server: static files, pictures, points, the plate, and the stream of events."""

from __future__ import annotations

import asyncio
import contextlib
import json
import secrets
from collections.abc import AsyncIterator, Callable, Sequence
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any, Protocol

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response, StreamingResponse
from starlette.routing import Route
from starlette.types import ASGIApp

from inspector.clip_memory import Levels
from inspector.files import Stamp
from inspector.page.colours import palette_css
from inspector.page.feed import Feed, Message, Shown
from inspector.page.guard import COOKIE, Guard
from inspector.page.pictures import cut_out, inside
from inspector.page.points import Point, PointError

BEAT_S = 10.0
"""From one sign of life to the next on a quiet stream, seconds."""
RETRY_MS = 500
"""After how long a page that lost the stream comes back, milliseconds."""
BODY_LIMIT = 4096
"""Longest request body, bytes."""
TYPES = {
    ".html": "text/html",
    ".css": "text/css",
    ".js": "text/javascript",
    ".svg": "image/svg+xml",
}
FOR_EVER = {"cache-control": "private, max-age=31536000, immutable"}

ENTERED = """<!doctype html><html lang="en"><meta charset="utf-8"><title>Live set</title>
<meta http-equiv="refresh" content="0;url=/"><a href="/">To the live page</a></html>"""


class Reads(Protocol):
    """What reads points; raises PointError."""

    def read(
        self, path: str, stamp: Stamp, points: Sequence[Point], levels: Levels | None
    ) -> dict[str, Any]:
        """Readings of one or two points, ready for JSON."""


@dataclass(frozen=True)
class Parts:
    """What the server stands on. ``use_plate`` is told the path of a frame."""

    feed: Feed
    report: Path
    reader: Reads
    use_plate: Callable[[str], None]


def make_app(parts: Parts, *, token: str | None = None) -> ASGIApp:
    """The whole application, guarded."""
    serve = _Server(parts, token)
    routes = [
        Route("/", serve.index),
        Route("/open/{token}", serve.enter),
        Route("/static/palette.css", serve.palette),
        Route("/static/{name}", serve.static),
        Route("/events", serve.events),
        Route("/frames/{key}/picture.jpg", serve.picture),
        Route("/frames/{key}/small.jpg", serve.small),
        Route("/frames/{key}/points", serve.points),
        Route("/plate", serve.plate, methods=["POST"]),
    ]
    handlers: Any = {HTTPException: _plainly}
    return Guard(Starlette(routes=routes, exception_handlers=handlers), token=token)


class _Server:
    def __init__(self, parts: Parts, token: str | None) -> None:
        self.parts, self.token = parts, token
        home = files("inspector.page") / "static"
        # Read once: no request ever becomes a path.
        self.files = {file.name: file.read_bytes() for file in home.iterdir() if file.is_file()}

    async def index(self, request: Request) -> Response:
        return self._file("index.html")

    async def static(self, request: Request) -> Response:
        return self._file(request.path_params["name"])

    def _file(self, name: str) -> Response:
        if name not in self.files:
            raise HTTPException(404, "no such file")
        kind = TYPES.get(Path(name).suffix, "application/octet-stream")
        return Response(self.files[name], media_type=kind, headers={"cache-control": "no-cache"})

    async def palette(self, request: Request) -> Response:
        return Response(palette_css(), media_type="text/css", headers={"cache-control": "no-cache"})

    async def enter(self, request: Request) -> Response:
        """Give the cookie. A redirect would still count as coming from the site with the link."""
        shown = request.path_params["token"]
        if self.token is None or not secrets.compare_digest(shown.encode(), self.token.encode()):
            raise HTTPException(404, "this page is not shared under that address")
        answer = HTMLResponse(ENTERED)
        answer.set_cookie(COOKIE, self.token, httponly=True, samesite="strict", path="/")
        return answer

    async def events(self, request: Request) -> Response:
        last = request.headers.get("last-event-id")
        return StreamingResponse(_stream(self.parts.feed, last), media_type="text/event-stream")

    def picture(self, request: Request) -> Response:
        return self._picture(request, small=False)

    def small(self, request: Request) -> Response:
        return self._picture(request, small=True)

    def _picture(self, request: Request, *, small: bool) -> Response:
        shown = self._shown(request.path_params["key"])
        path = inside(self.parts.report, shown.clip_map) if shown.clip_map else None
        data = cut_out(path, shown.size, small=small) if path else None
        if data is None:
            raise HTTPException(404, "no picture of this frame")
        return Response(data, media_type="image/jpeg", headers=FOR_EVER)

    def points(self, request: Request) -> Response:
        shown = self._shown(request.path_params["key"])
        points = _points(request, shown)
        try:
            found = self.parts.reader.read(shown.path, shown.stamp, points, shown.levels)
        except PointError as error:
            raise HTTPException(409, str(error)) from error
        return JSONResponse(found)

    async def plate(self, request: Request) -> Response:
        shown = self._shown(await _key(request))
        if not shown.empty:
            raise HTTPException(
                409, "somebody seems to stand in this frame; take the plate of the empty set"
            )
        await run_in_threadpool(self.parts.use_plate, shown.path)
        return JSONResponse({}, 202)

    def _shown(self, key: str) -> Shown:
        shown = self.parts.feed.frame(key)
        if shown is None:
            raise HTTPException(404, "no such frame")
        return shown


async def _stream(feed: Feed, last: str | None) -> AsyncIterator[str]:
    """Server-sent events (WHATWG HTML, 9.2) from the id ``last`` on, until the feed is closed."""
    loop, woken = asyncio.get_running_loop(), asyncio.Event()

    def wake() -> None:
        with contextlib.suppress(RuntimeError):  # the loop has just ended
            loop.call_soon_threadsafe(woken.set)

    feed.listen(wake)
    try:
        yield f"retry: {RETRY_MS}\n\n"
        while not feed.closed:
            woken.clear()
            for message in feed.messages(last):
                last = message.id
                yield _event(message)
            try:
                await asyncio.wait_for(woken.wait(), BEAT_S)
            except TimeoutError:
                yield "event: beat\ndata: \n\n"
    finally:
        feed.forget(wake)


def _event(message: Message) -> str:
    """The lines of one event; JSON has no line breaks of its own."""
    return f"id: {message.id}\nevent: {message.event}\ndata: {message.data}\n\n"


def _points(request: Request, shown: Shown) -> list[Point]:
    """One or two points of the picture as viewed, from the query ``x=..&y=..``."""
    query = request.query_params
    try:
        xs, ys = ([float(v) for v in query.getlist(name)] for name in "xy")
    except ValueError as error:
        raise HTTPException(400, "x and y are numbers") from error
    width, height = shown.size
    within = all(0 <= x < width for x in xs) and all(0 <= y < height for y in ys)
    if len(xs) != len(ys) or not 1 <= len(xs) <= 2 or not within:
        raise HTTPException(400, f"give one or two points in the {width} × {height} picture")
    return list(zip(xs, ys, strict=True))


async def _key(request: Request) -> str:
    """The frame that the body names: ``{"frame": KEY}``."""
    body = b""
    async for chunk in request.stream():
        body += chunk
        if len(body) > BODY_LIMIT:
            raise HTTPException(413, "too long")
    try:
        return str(json.loads(body)["frame"])
    except (ValueError, TypeError, KeyError) as error:
        raise HTTPException(400, "name a frame") from error


async def _plainly(request: Request, error: HTTPException) -> Response:
    return JSONResponse({"error": error.detail}, error.status_code)
