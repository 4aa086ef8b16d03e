"""Who may ask the page for something: this browser at this address with this token, and nothing too large."""

from __future__ import annotations

import hmac
from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any
from urllib.parse import parse_qs

from starlette.datastructures import Headers
from starlette.responses import RedirectResponse

Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[MutableMapping[str, Any], Receive, Send], Awaitable[None]]

LARGEST = 1_000_000  # bytes of an upload
_ROOM = 20_000  # bytes beside an upload, for the other fields and what parts them
HEADERS = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
        "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    ),
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "same-origin",  # with no-referrer, a browser calls the origin of its own forms "null"
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "cache-control": "no-store",
}
_OWN = [(name.encode(), value.encode()) for name, value in HEADERS.items()]


class TooLargeError(Exception):
    """More was sent than is taken."""


class Guard:
    """Refuses what does not come from the page itself; adds the headers that every answer carries.

    Parameters
    ----------
    app : callable
        The application.
    port : int
        Port that the server listens on.
    token : str
        What the address has to carry once; a cookie carries it afterwards.
    refuse : callable
        Takes the scope, the status and the name of the reason, and returns the page that says so.
    """

    def __init__(self, app: App, port: int, token: str, refuse: Callable[..., App]) -> None:
        self.app, self.token, self.refuse = app, token, refuse
        self.hosts = {f"127.0.0.1:{port}", f"localhost:{port}"}
        self.cookie = f"lasersafe-{port}"

    async def __call__(self, scope: MutableMapping[str, Any], receive: Receive, send: Send) -> None:
        """Answer one request; a web socket is never opened."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
        if scope["type"] != "http":
            return

        async def sent(message: Message) -> None:
            if message["type"] == "http.response.start":
                message = {**message, "headers": [*message.get("headers", []), *_OWN]}
            await send(message)

        status, reason = self._fault(scope)
        if reason == "token":  # it goes into a cookie, and the same page is shown without it in the address
            path = scope["path"]
            cookie = {"set-cookie": f"{self.cookie}={self.token}; HttpOnly; SameSite=Strict; Path=/"}
            back = RedirectResponse(path if path in ("/glasses", "/room", "/case") else "/", 303, cookie)
            await back(scope, receive, sent)
        elif status:
            await self.refuse(scope, status, reason)(scope, receive, sent)
        else:
            try:
                await self.app(scope, _limited(receive), sent)
            except TooLargeError:
                await self.refuse(scope, 413, "too_large")(scope, receive, sent)

    def _fault(self, scope: MutableMapping[str, Any]) -> tuple[int, str]:
        """Return the status and the reason of a refusal; 0 where there is none, "token" where the token was given."""
        headers, method = Headers(scope=scope), scope["method"]
        host = [one.lower() for one in headers.getlist("host")]
        if len(host) != 1 or host[0] not in self.hosts:
            return 421, "wrong_host"
        if any(one.lower() != f"http://{host[0]}" for one in headers.getlist("origin")):
            return 403, "wrong_origin"
        if method not in ("GET", "HEAD", "POST"):
            return 405, "wrong_method"
        asked = parse_qs(scope["query_string"].decode("latin-1")[:400]).get("token")
        if asked and method == "GET" and self._is_token(asked[0]):
            return 0, "token"  # a link elsewhere cannot know it
        if method == "POST" and headers.getlist("sec-fetch-site") not in ([], ["same-origin"]):
            return 403, "wrong_origin"
        pairs = (part.strip().partition("=") for one in headers.getlist("cookie") for part in one[:8000].split(";"))
        if not self._is_token(next((value for key, _, value in pairs if key == self.cookie), "")):
            return 403, "no_token"
        length = headers.get("content-length", "0")
        if not length.isascii() or not length.isdigit():
            return 400, "bad_request"
        if len(length) > 12 or int(length) > LARGEST + _ROOM:
            return 413, "too_large"
        return 0, ""

    def _is_token(self, text: str) -> bool:
        return hmac.compare_digest(text.encode("utf-8", "replace"), self.token.encode())


def _limited(receive: Receive) -> Receive:
    """Return what hands the body on and ends once it is larger than is taken, whatever its length was said to be."""
    total = 0

    async def limited() -> Message:
        nonlocal total
        message = await receive()
        total += len(message.get("body", b""))
        if total > LARGEST + _ROOM:
            raise TooLargeError
        return message

    return limited
