"""Who may talk to the page, and how much: every request passes here first.

The page is for the person at this machine. A browser visits hostile sites too, so
loopback alone is no protection: the name in ``Host`` must be ours (a foreign name
that resolves to 127.0.0.1 is not), ``Origin`` must be ours, and a cookie that only
the opening address gives must be there.
"""

import asyncio
import hmac
import secrets
import time
from dataclasses import dataclass, field
from http import HTTPStatus

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

OPENING_PATH = "/open"
LARGEST_FORM_BYTES = 256 * 1024
LARGEST_CHUNK_BYTES = 8 * 1024 * 1024
CHUNK_TYPE = "application/offset+octet-stream"
"""Body of a part of an upload (draft-ietf-httpbis-resumable-upload uses a like type)."""
BODY_S = 20.0
"""For a body to come, and for a long one more by the rate below. [s]"""
BODY_BYTES_PER_S = 50_000

_TOO_LARGE = "The request is too large."
_MOST_DIGITS = 12
_NAMES = ("127.0.0.1", "localhost")
_SAFE = ("GET", "HEAD")
_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; "
    "connect-src 'self'; frame-src 'self'; form-action 'self'; base-uri 'none'; "
    "frame-ancestors 'none'"
)
_HEADERS = {
    "content-security-policy": _POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
    "cache-control": "no-store",
}


@dataclass(frozen=True, slots=True)
class Keys:
    """The secret of the opening address and the cookie it is exchanged for.

    Both are new at every start; neither is ever written to a log.

    Attributes
    ----------
    secret, cookie : str
    home : str
        Path that the opening address leads to.
    """

    secret: str = field(default_factory=lambda: secrets.token_urlsafe(32), repr=False)
    cookie: str = field(default_factory=lambda: secrets.token_urlsafe(32), repr=False)
    home: str = "/"


class Guard:
    """ASGI middleware that refuses what does not come from our own page.

    Parameters
    ----------
    app : ASGIApp
    keys : Keys
    """

    def __init__(self, app: ASGIApp, keys: Keys) -> None:
        self._app = app
        self._keys = keys

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a refusal, or pass the request on and add our headers to the answer."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        answer = _with_headers(send)
        refusal = self._refusal(scope, headers)
        if refusal is not None:
            await refusal(scope, receive, answer)
            return
        limit = LARGEST_FORM_BYTES
        if headers.get("content-type", "") == CHUNK_TYPE:
            limit = LARGEST_CHUNK_BYTES
        await self._app(scope, _limited(receive, limit), answer)

    def _refusal(self, scope: Scope, headers: Headers) -> Response | None:
        """Return why the request is refused; None where it may pass."""
        host, port = headers.get("host", ""), (scope.get("server") or ("", 0))[1]
        if host not in {f"{name}:{port}" for name in _NAMES}:
            return _refused(HTTPStatus.MISDIRECTED_REQUEST, "This page has another address.")
        if not _is_from_here(scope["method"], headers, f"http://{host}"):
            return _refused(HTTPStatus.FORBIDDEN, "Requests from other sites are refused.")
        if scope["path"] == OPENING_PATH:
            return self._opened(scope, port)
        if not self._knows(headers, port):
            return _refused(
                HTTPStatus.FORBIDDEN,
                "Open the address that `ergo serve` printed when it started.",
            )
        return _too_large(headers)

    def _opened(self, scope: Scope, port: int) -> Response:
        given = scope.get("query_string", b"").removeprefix(b"key=")
        if scope["method"] != "GET" or not hmac.compare_digest(given, self._keys.secret.encode()):
            return _refused(HTTPStatus.FORBIDDEN, "This address is from an earlier start.")
        answer = RedirectResponse(self._keys.home, status_code=HTTPStatus.SEE_OTHER)
        answer.set_cookie(
            _cookie_name(port), self._keys.cookie, httponly=True, samesite="strict", path="/"
        )
        return answer

    def _knows(self, headers: Headers, port: int) -> bool:
        """Return whether our cookie is there, whatever others stand beside it.

        Cookies do not tell ports apart: other programs of this machine set theirs too.
        """
        ours = f"{_cookie_name(port)}={self._keys.cookie}".encode()
        given = (each for line in headers.getlist("cookie") for each in line.split(";"))
        return any(hmac.compare_digest(each.strip().encode(), ours) for each in given)


def _cookie_name(port: int) -> str:
    return f"ergo-{port}"  # cookies do not tell ports apart, two servers must


def _is_from_here(method: str, headers: Headers, home: str) -> bool:
    origin = headers.get("origin")
    if origin is not None:
        return origin == home
    site = headers.get("sec-fetch-site", "none")
    return site in ("none", "same-origin") and (method in _SAFE or site == "same-origin")


def _too_large(headers: Headers) -> Response | None:
    limit = LARGEST_FORM_BYTES
    if headers.get("content-type", "") == CHUNK_TYPE:
        limit = LARGEST_CHUNK_BYTES
    length = headers.get("content-length", "0")
    if not (length.isascii() and length.isdigit() and len(length) < _MOST_DIGITS):
        return _refused(HTTPStatus.REQUEST_ENTITY_TOO_LARGE, _TOO_LARGE)
    if int(length) > limit:
        return _refused(HTTPStatus.REQUEST_ENTITY_TOO_LARGE, _TOO_LARGE)
    return None


def _limited(receive: Receive, limit: int) -> Receive:
    """Return ``receive``, which raises 413 for a body that is too large, 408 for one too slow."""
    taken, is_over = 0, False
    begun: float | None = None  # when the body is first asked for: what is made before takes long

    async def receive_some() -> Message:
        nonlocal taken, is_over, begun
        if is_over:
            return await receive()  # it waits for the other side to leave
        begun = time.monotonic() if begun is None else begun
        left_s = begun + BODY_S + taken / BODY_BYTES_PER_S - time.monotonic()
        try:
            message = await asyncio.wait_for(receive(), max(left_s, 0.0))
        except TimeoutError as error:
            raise HTTPException(
                HTTPStatus.REQUEST_TIMEOUT, "The request came too slowly."
            ) from error
        taken += len(message.get("body", b""))
        is_over = not message.get("more_body", False)
        if taken > limit:
            raise HTTPException(HTTPStatus.REQUEST_ENTITY_TOO_LARGE, _TOO_LARGE)
        return message

    return receive_some


def _with_headers(send: Send) -> Send:
    async def send_guarded(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in _HEADERS.items():
                headers.setdefault(name, value)
        await send(message)

    return send_guarded


def _refused(status: HTTPStatus, why: str) -> Response:
    return JSONResponse({"error": why}, status_code=status)
