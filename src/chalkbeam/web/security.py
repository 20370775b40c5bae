"""What every request must pass before a page answers it: host, origin, device, right, size, token.

In this order; each has its own answer: 421 a foreign host name (so that no site can point its own
name here and read along), 403 a foreign origin, 401 no paired device, 403 a right that is lacking,
413 too much, 403 no token.
"""

from __future__ import annotations

import hashlib
import hmac
import inspect
import json
import logging
from collections.abc import Callable
from dataclasses import dataclass
from http import HTTPStatus
from typing import Any

import anyio
from starlette.datastructures import FormData, Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from calibration.refusal import Refusal
from chalkbeam.web.doors import Door, Visit
from chalkbeam.web.pages import failed
from chalkbeam.web.pairing import Devices
from chalkbeam.web.workshop import Workshop

COOKIE = "chalkbeam"
TOKEN = "x-token"
SAFE = ("GET", "HEAD")

POLICY = (
    "default-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'; "
    "object-src 'none'"
)
"""Nothing but what this machine serves is loaded, and no script or style stands in a page."""

_log = logging.getLogger(__name__)
logging.getLogger("python_multipart").setLevel(logging.ERROR)  # a broken form is no news

_HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    # Not "no-referrer": a browser then calls the origin of its own forms "null".
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=(), fullscreen=(self), "
    "screen-wake-lock=(self)",
}


@dataclass(frozen=True)
class Names:
    """What this machine may be called in an address, with the port.

    Attributes
    ----------
    hosts : callable
        Returns the names as of now, in lower case, such as "127.0.0.1:8000".
    """

    hosts: Callable[[], frozenset[str]]

    def allows_host(self, host: str | None) -> bool:
        """Whether a Host header names this machine."""
        return host is not None and host.lower() in self.hosts()

    def allows_origin(self, headers: Headers, method: str) -> bool:
        """Whether what asks is a page of this machine.

        A browser says where a request that changes something comes from; one that does not say
        is let through only to look.
        """
        origin = headers.get("origin")
        if origin is not None:
            return origin.lower().removeprefix("http://") in self.hosts() and "://" in origin
        return method in SAFE or headers.get("sec-fetch-site") == "same-origin"


class TooLargeError(Exception):
    """A request brings more than its door takes."""


class Guard:
    """The outermost of the server: looks at host and origin, and sets the usual headers.

    Parameters
    ----------
    app : ASGIApp
    names : Names
    """

    def __init__(self, app: ASGIApp, names: Names) -> None:
        self._app, self._names = app, names

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer, or pass on."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in _HEADERS.items():
                    headers.setdefault(name, value)
                headers.setdefault("cache-control", "no-store")
            await send(message)

        headers = Headers(scope=scope)
        refused: Response | None = None
        if len(headers.getlist("host")) != 1 or not self._names.allows_host(headers.get("host")):
            refused = Response(status_code=HTTPStatus.MISDIRECTED_REQUEST)
        elif not scope["path"].startswith("/"):  # what is asked of a proxy, which this is none
            refused = Response(status_code=HTTPStatus.BAD_REQUEST)
        elif not self._names.allows_origin(headers, scope["method"]):
            refused = Response(status_code=HTTPStatus.FORBIDDEN)
        await (refused or self._app)(scope, receive, with_headers)


@dataclass(frozen=True)
class GuardedDoor:
    """A door with all that is asked of its visitors; what Starlette calls an application.

    Attributes
    ----------
    door : Door
    shop : Workshop
    devices : Devices
    """

    door: Door
    shop: Workshop
    devices: Devices

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, whatever it is."""
        request = Request(scope, _at_most(self.door.most, receive))
        try:
            response = await self._answered(request)
        except Refusal as refusal:
            response = failed(self._visit(request), HTTPStatus.BAD_REQUEST, str(refusal))
        except TooLargeError:
            response = failed(self._visit(request), HTTPStatus.REQUEST_ENTITY_TOO_LARGE)
        except HTTPException as error:  # a form that cannot be read, a page that is not there
            response = failed(self._visit(request), HTTPStatus(error.status_code))
        except ClientDisconnect:
            return
        except Exception:
            _log.exception("%s %s", request.method, self.door.path)
            response = failed(self._visit(request), HTTPStatus.INTERNAL_SERVER_ERROR)
        await response(scope, receive, send)

    def _visit(self, request: Request) -> Visit:
        secret = request.cookies.get(COOKIE, "")
        device = self.devices.of(secret)
        return Visit(self.shop, device, request, token=token_of(secret) if device else "")

    async def _answered(self, request: Request) -> Response:
        visit = self._visit(request)
        right = self.door.right
        if right is not None and visit.device is None:
            return failed(visit, HTTPStatus.UNAUTHORIZED)
        if right is not None and not visit.may(right):
            return failed(visit, HTTPStatus.FORBIDDEN)
        if request.method not in SAFE:
            length = request.headers.get("content-length", "0")
            if not length.isdecimal() or int(length) > self.door.most:
                raise TooLargeError
        form, sent = FormData(), dict[str, object]()
        try:
            if request.method not in SAFE:
                form, sent = await _brought(request)
            if right is not None and request.method not in SAFE:
                given = request.headers.get(TOKEN) or form.get("token")
                if not isinstance(given, str) or not _alike(given, visit.token):
                    return failed(visit, HTTPStatus.FORBIDDEN)
            visit = Visit(self.shop, visit.device, request, form, sent, visit.token)
            answer: Any = self.door.answer
            if inspect.iscoroutinefunction(answer):
                response: Response = await answer(visit)
            else:
                response = await anyio.to_thread.run_sync(answer, visit)
            return response
        finally:
            await form.close()


async def _brought(request: Request) -> tuple[FormData, dict[str, object]]:
    """Return the form, or the JSON, that a request brings.

    Raises
    ------
    HTTPException
        If it cannot be read.
    """
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind == "application/json":
        try:
            sent = json.loads(await request.body() or b"{}")
        except (ValueError, RecursionError):
            raise HTTPException(HTTPStatus.BAD_REQUEST) from None
        if not isinstance(sent, dict):
            raise HTTPException(HTTPStatus.BAD_REQUEST)
        return FormData(), sent
    if kind in ("multipart/form-data", "application/x-www-form-urlencoded"):
        try:
            return await request.form(max_files=40, max_fields=4000), {}
        except (ValueError, KeyError, TypeError, AssertionError):
            # Names and encodings that no browser sends.
            raise HTTPException(HTTPStatus.BAD_REQUEST) from None
    if await request.body():
        raise HTTPException(HTTPStatus.UNSUPPORTED_MEDIA_TYPE)
    return FormData(), {}


def _at_most(most: int, receive: Receive) -> Receive:
    """Return what receives a request as `receive` does, up to so many bytes of it."""
    seen = 0

    async def counted() -> Message:
        nonlocal seen
        message = await receive()
        seen += len(message.get("body", b""))
        if seen > most:
            raise TooLargeError
        return message

    return counted


def token_of(secret: str) -> str:
    """Return what stands in a device's forms; other sites cannot know it."""
    return hmac.new(secret.encode(), b"forms", hashlib.sha256).hexdigest()


def _alike(given: str, wanted: str) -> bool:
    return bool(wanted) and hmac.compare_digest(given.encode(), wanted.encode())
