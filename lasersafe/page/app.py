"""The pages and what they send: routes, templates, answers of the worker process."""

from __future__ import annotations

import asyncio
import base64
import contextlib
import hmac
import json
import sys
from collections.abc import AsyncIterator, Callable
from importlib.resources import files
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, parse_qsl

import jinja2
from starlette.applications import Starlette
from starlette.datastructures import Headers, UploadFile
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from lasersafe.data import templates_path
from lasersafe.page import forms
from lasersafe.page.forms import EXAMPLE, LANGUAGES, Texts, changed, things
from lasersafe.page.worker import LONGEST, TookTooLongError, Worker
from lasersafe.wording import caution_line

_HERE = Path(str(files("lasersafe.page")))
_LANGUAGE_COOKIE = "lasersafe-language"
_REASONS = {404: "not_found", 405: "wrong_method", 413: "too_large", 500: "broken", 503: "updated"}
_OURS = {".py", ".toml", ".html"}  # files that have to be of one version


CASE_FILES = {  # what can be had of a case -> its media type and the name of the file
    "sheet": ("application/pdf", "sheet.pdf"),
    "annex": ("application/pdf", "sheet-annex.pdf"),  # where 'verify' looks for it
    "plan": ("image/svg+xml", "plan.svg"),
}


class Site:
    """All pages of one server.

    Parameters
    ----------
    port : int
        Port that it listens on.
    token : str
        What its address carries.
    longest : float, optional
        Time that one job of the worker process may take. [s]
    """

    def __init__(self, port: int, token: str, longest: float = LONGEST) -> None:
        self.live, *self.workers = (Worker(longest) for _ in range(3))  # a drag never waits for a long answer
        self.written = newest_file()
        self.rooms: dict[str, dict[str, Any]] = {}
        self.warming: set[asyncio.Task[Any]] = set()
        html = jinja2.FileSystemLoader(_HERE / "html")
        self.pages = jinja2.Environment(loader=html, autoescape=True, trim_blocks=True, lstrip_blocks=True)
        routes = [
            Route("/", self.start),
            Route("/glasses", self.glasses, methods=["GET", "POST"]),
            Route("/case", self.case, methods=["GET", "POST"]),
            Route("/case/{what}", self.case_file, methods=["POST"]),
            Route("/room", self.room, methods=["GET", "POST"]),
            Route("/room/help", self.room, methods=["POST"]),
            Route("/room/case", self.room_case, methods=["POST"]),
            Route("/room/live", self.room_live, methods=["POST"]),
            Route("/room/coarse", self.room_coarse, methods=["POST"]),
            Mount("/static", StaticFiles(directory=_HERE / "static")),
        ]
        handlers: dict[Any, Any] = dict.fromkeys((HTTPException, TooLargeError, Exception), self._refused)
        app = Starlette(routes=routes, exception_handlers=handlers, lifespan=self._while_open)

        def refusal(scope: Any, status: int, reason: str) -> ASGIApp:
            return self._page(Request(scope), "message", status, reason=f"refused.{reason}")

        self.guarded: ASGIApp = Guard(app, port, token, refusal)

    @contextlib.asynccontextmanager
    async def _while_open(self, app: Starlette) -> AsyncIterator[None]:
        resting = [asyncio.create_task(one.rest()) for one in (self.live, *self.workers)]
        yield
        for task in (*resting, *self.warming):
            task.cancel()
        for one in (self.live, *self.workers):
            await one.end()

    # -----------------------------------------------------------------------------------------------------------------
    # Pages

    async def start(self, request: Request) -> Response:
        """Show which questions there are."""
        return self._language_asked(request) or self._page(request, "start")

    async def glasses(self, request: Request) -> Response:
        """Ask for a beam and for pairs of glasses; show what has to be worn and what they are worth."""
        if request.method != "POST":
            return self._language_asked(request) or self._page(request, "glasses", form={}, answer=None)
        form = await _form(request)
        return self._page(request, "glasses", form=form, answer=await self._ask(request, "glasses", form=form))

    async def case(self, request: Request) -> Response:
        """Take a case; show its faults, or its decision."""
        if request.method != "POST":
            return self._language_asked(request) or self._case_page(request, "", "", None)
        text, name = await _case_of(request)
        return self._case_page(request, text, name, await self._ask(request, "case", text=text, name=name))

    def _case_page(self, request: Request, text: str, name: str, answer: dict[str, Any] | None) -> Response:
        return self._page(request, "case", text=text, name_of_file=name, answer=answer, files=CASE_FILES)

    async def case_file(self, request: Request) -> Response:
        """Send a file that was made of a case."""
        what = request.path_params["what"]
        if what not in CASE_FILES:
            raise HTTPException(404)
        text, name = await _case_of(request)
        answer = await self._ask(request, "file", text=text, name=name, what=what)
        if "content" not in answer:
            return self._case_page(request, text, name, {**answer, "faults": []})
        return download(base64.b64decode(answer["content"]), *CASE_FILES[what])

    async def room(self, request: Request) -> Response:
        """Show a room; work it out, and what would help, when a button asks for it."""
        if request.method != "POST":
            for worker in (self.live, self.workers[0]):  # so that the first drag finds all of it loaded
                if worker.process is None and not worker.waiting:
                    task = asyncio.create_task(worker.ask({"do": "tones", "form": EXAMPLE, "language": "en"}))
                    self.warming.add(task)
                    task.add_done_callback(self.warming.discard)
            return self._language_asked(request) or self._room_page(request, EXAMPLE, None)
        form = await _form(request)
        new = changed(form)
        if "add" in form or "remove" in form:
            added = next((name for _, name in things(new) if f"{name}.x" not in form and f"{name}.x1" not in form), "")
            return self._room_page(request, new, None, added)
        answer = await self._room_answer(request, new)
        if request.url.path == "/room/help" and "tones" in answer:
            answer |= {key: value for key, value in (await self._ask(request, "help", form=new)).items() if value}
        return self._room_page(request, new, answer)

    async def _room_answer(self, request: Request, form: dict[str, str]) -> dict[str, Any]:
        """Return the full answer to a room; the last ones are kept, since buttons and drags ask for the same again."""
        key = json.dumps([_language(request), form], sort_keys=True)
        if key not in self.rooms:
            answer = await self._ask(request, "room", form=form)
            if "tones" not in answer:
                return answer
            self.rooms = dict([*self.rooms.items()][-7:]) | {key: answer}
        return dict(self.rooms[key])

    async def room_live(self, request: Request) -> Response:
        """Send the full answer to a room, for the script of the page."""
        answer = await self._room_answer(request, await _form(request))
        language = _language(request)
        html = self.pages.get_template("room_answer.html").render(say=Texts(language), answer=answer)
        if "tones" not in answer:
            return JSONResponse({"proven": False, "html": html})
        shown = {key: answer[key] for key in ("tones", "lines", "open_people")}
        return JSONResponse(shown | {"proven": True, "html": html})

    async def room_coarse(self, request: Request) -> Response:
        """Send where a room is proven to be free of light, before anything else of it is worked out."""
        answer = await self._ask(request, "tones", form=await _form(request))
        return JSONResponse({"open": answer.get("open"), "proven": False})

    async def room_case(self, request: Request) -> Response:
        """Send the case file of a room."""
        form = changed(await _form(request))
        answer = await self._ask(request, "room_case", form=form)
        if "content" not in answer:
            return self._room_page(request, form, answer)
        return download(base64.b64decode(answer["content"]), "application/toml", "case.toml")

    def _room_page(
        self, request: Request, form: dict[str, str], answer: dict[str, Any] | None, added: str = ""
    ) -> Response:
        say = Texts(_language(request))
        return self._page(
            request, "room", form=form, answer=answer, added=added, plan=forms.drawn(form, say), hints=say.hints(),
            kinds_of_things=forms.THINGS, places=forms.PLACES,
            likes={key: say.options("likes").get(key, key) for key in forms.kinds()},
            lenses=dict.fromkeys(lens for kind in forms.kinds().values() for lens in kind["lenses"]),
        )  # fmt: skip

    async def _ask(self, request: Request, job: str, **more: Any) -> dict[str, Any]:
        """Return the answer of a worker process; ``error`` where it took too long.

        Raises
        ------
        HTTPException
            If the browser does not wait any more: the work is left. If the program was updated since it was started:
            old code would read new texts.
        """
        if newest_file() > self.written:
            raise HTTPException(503)
        say = Texts(_language(request))
        at_once = job in ("tones", "room_case")
        worker = self.live if at_once else min(self.workers, key=lambda one: one.waiting)
        if job != "file":
            more["language"] = say.language
        asked = asyncio.create_task(worker.ask({"do": job, **more}))

        async def left() -> None:
            while (await request.receive())["type"] != "http.disconnect":
                pass

        gone = asyncio.create_task(left())
        await asyncio.wait({asked, gone}, return_when=asyncio.FIRST_COMPLETED)
        gone.cancel()
        if not asked.done():
            asked.cancel()
            await asyncio.wait({asked})
            raise HTTPException(400)
        try:
            answer = asked.result()
        except TookTooLongError:
            return {"error": say("page.too_long", seconds=f"{worker.longest:g}"), "faults": {}}
        if "broken" in answer:
            return {"error": say("page.broken", fault=answer["broken"]), "faults": {}}
        if job != "case" and "error" in answer:
            answer["faults"] = {}  # those of a case have lines, and no field of this form
        return answer

    # -----------------------------------------------------------------------------------------------------------------
    # What every page has

    def _page(self, request: Request, name: str, status: int = 200, **values: Any) -> HTMLResponse:
        say = Texts(_language(request))
        others = [one for one in LANGUAGES if one != say.language]
        shown = {"name": name, "say": say, "caution": caution_line(say.language), "others": others}
        return HTMLResponse(self.pages.get_template(f"{name}.html").render(**shown, **values), status)

    def _language_asked(self, request: Request) -> Response | None:
        """Return the way back to the same page in the language that was chosen, None when none was."""
        wanted = request.query_params.get("language")
        if wanted not in LANGUAGES:
            return None
        back = RedirectResponse(request.url.path, 303)
        back.set_cookie(_LANGUAGE_COOKIE, wanted, samesite="strict", httponly=True)
        return back

    async def _refused(self, request: Request, error: Exception) -> Response:
        status = 413 if isinstance(error, TooLargeError) else getattr(error, "status_code", 500)
        if status == 500:
            fault = f"{type(error).__name__}: {error}"
            sys.stderr.write(f"fault inside lasersafe, on the page {request.url.path}: {fault}\n")
        return self._page(request, "message", status, reason=f"refused.{_REASONS.get(status, 'bad_request')}")


def newest_file() -> int:
    """Return when a file of the program or of its texts was last written. [ns]."""
    folders = (Path(str(files("lasersafe"))), templates_path("wording"), templates_path("page"))
    return max(path.stat().st_mtime_ns for one in folders for path in one.rglob("*.*") if path.suffix in _OURS)


def _language(request: Request) -> str:
    """Return the language that was chosen, or the first that the browser asks for."""
    accepted = request.headers.get("accept-language", "")[:200].split(",")
    names = (request.cookies.get(_LANGUAGE_COOKIE, ""), *(part.strip()[:2].lower() for part in accepted))
    return next((name for name in names if name in LANGUAGES), LANGUAGES[0])


async def _case_of(request: Request) -> tuple[str, str]:
    """Return the text of a case that was sent, as a file or as text, and the name of the file.

    Raises
    ------
    HTTPException
        If the form cannot be read, or there is no text in it.
    """
    async with request.form(max_files=1, max_fields=4, max_part_size=LARGEST) as form:
        file, text, name = form.get("file"), str(form.get("text") or ""), str(form.get("name") or "")
        if isinstance(file, UploadFile) and file.size:
            raw, name = await file.read(LARGEST + 1), file.filename or ""
            if len(raw) > LARGEST:
                raise TooLargeError
            text = raw.decode("utf-8-sig", "replace")  # what is no text becomes a fault with its line
    plain = name.replace("\\", "/").rpartition("/")[2]
    name = "".join(c for c in plain if c.isprintable())[:80] or "case.toml"
    return text.replace("\r\n", "\n"), name


def download(content: bytes, kind: str, name: str) -> Response:
    """Return a file that a browser stores and does not open."""
    return Response(content, media_type=kind, headers={"content-disposition": f'attachment; filename="{name}"'})


async def _form(request: Request) -> dict[str, str]:
    """Return the fields of a form without a file; of a name that comes twice, the last counts.

    Raises
    ------
    HTTPException
        If it is none.
    """
    try:
        body = (await request.body()).decode("utf-8", "replace")
        pairs = parse_qsl(body, keep_blank_values=True, max_num_fields=forms.MOST_FIELDS)
    except ValueError:  # more fields than any form of ours has
        raise HTTPException(400) from None
    return {name[:60]: value.replace("\r\n", "\n") for name, value in pairs}


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

    def __init__(self, app: ASGIApp, port: int, token: str, refuse: Callable[..., ASGIApp]) -> None:
        self.app, self.token, self.refuse = app, token, refuse
        self.hosts = {f"127.0.0.1:{port}", f"localhost:{port}"}
        self.cookie = f"lasersafe-{port}"

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
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
            total = 0

            async def received() -> Message:  # whatever the length of the body was said to be
                nonlocal total
                message = await receive()
                total += len(message.get("body", b""))
                if total > LARGEST + _ROOM:
                    raise TooLargeError
                return message

            try:
                await self.app(scope, received, sent)
            except TooLargeError:
                await self.refuse(scope, 413, "too_large")(scope, receive, sent)

    def _fault(self, scope: Scope) -> tuple[int, str]:
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
