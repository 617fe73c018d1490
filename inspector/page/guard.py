"""Who may see the page and who may change something: an ASGI layer around everything.

A browser that was lured onto another site can send requests here, too: those are told by the
name that they ask for (DNS rebinding) and by where they say they come from (Fetch metadata).
"""

from __future__ import annotations

import secrets
from ipaddress import ip_address

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import cookie_parser
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

COOKIE = "inspector-page"
OWN_HEADER = "x-inspector"
"""The page's own requests that change something carry it; a form of another site cannot."""
OPEN = "/open/"
"""Where a shared page is entered, followed by the token."""

POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self'",
        "connect-src 'self'",
        "base-uri 'none'",
        "form-action 'none'",
        "frame-ancestors 'none'",
    )
)
HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-resource-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
}


class Guard:
    """Lets a request through if it may; every answer gets the headers.

    Parameters
    ----------
    token : str, optional
        What a request from another machine must show. None: no other machine is served.
    """

    def __init__(self, app: ASGIApp, *, token: str | None = None) -> None:
        self._app, self._token = app, token

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one request."""
        if scope["type"] != "http":
            return

        async def send_guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers[name] = value
                headers.setdefault("cache-control", "no-store")
            await send(message)

        refusal = self._refusal(scope)
        app = self._app if refusal is None else PlainTextResponse(refusal[1], refusal[0])
        await app(scope, receive, send_guarded)

    def _refusal(self, scope: Scope) -> tuple[int, str] | None:
        """Status and sentence, None if the request may pass."""
        headers = Headers(scope=scope)
        host = headers.get("host", "")
        if host not in _own_names(scope):
            return 421, "This page answers to the address that inspector printed alone."
        if scope["method"] not in ("GET", "HEAD", "POST"):
            return 405, "There is nothing to do it to."
        if not _same_site(scope, headers, host):
            return 403, "Other sites may not use this page."
        if not _is_local(scope) and not self._has_token(scope, headers):
            return 403, "Open the whole address that inspector printed, or scan its code again."
        return None

    def _has_token(self, scope: Scope, headers: Headers) -> bool:
        path: str = scope["path"]
        shown = path.removeprefix(OPEN) if path.startswith(OPEN) else ""
        cookie = cookie_parser(headers.get("cookie", "")).get(COOKIE, "")
        return any(self.knows(each) for each in (shown, cookie))

    def knows(self, token: str) -> bool:
        """Whether it is the token."""
        mine = self._token
        return mine is not None and secrets.compare_digest(token.encode(), mine.encode())


def _own_names(scope: Scope) -> set[str]:
    """The names under which the connection's own end may be addressed."""
    address, port = scope["server"]
    names = {f"[{address}]:{port}" if ":" in address else f"{address}:{port}"}
    if _is_local(scope):
        names.add(f"localhost:{port}")
    return names


def _is_local(scope: Scope) -> bool:
    return ip_address(scope["server"][0]).is_loopback


def _same_site(scope: Scope, headers: Headers, host: str) -> bool:
    """Whether the request comes from the page itself, or is somebody opening it."""
    origin, site = headers.get("origin"), headers.get("sec-fetch-site")
    if origin is not None and origin != f"http://{host}":
        return False
    if scope["method"] == "POST":
        own = headers.get(OWN_HEADER) is not None
        return own and origin is not None and site in (None, "same-origin")
    opens = headers.get("sec-fetch-mode") == "navigate" and (
        scope["path"] == "/" or scope["path"].startswith(OPEN)
    )
    return site in (None, "same-origin", "none") or opens
