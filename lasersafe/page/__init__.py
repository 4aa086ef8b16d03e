"""Start and stop the page: a free port of this computer, the address with its token, the browser."""

from __future__ import annotations

import contextlib
import secrets
import socket
import threading
import webbrowser
from collections.abc import Callable

from lasersafe.errors import OutputError, refuse
from lasersafe.page.forms import LANGUAGES, Texts

MOST_PORTS = 20
MISSING = "the page needs the optional part of lasersafe; install it with: pip install 'lasersafe[page]'"


def serve(port: int, language: str, tell: Callable[[str], None], *, browser: bool) -> None:
    """Serve the page until it is stopped.

    Parameters
    ----------
    port : int
        Where to look for a free port first.
    language : str
        Language of what is printed.
    tell : callable
        Prints a line.
    browser : bool
        Whether the address is opened.

    Raises
    ------
    InputError
        If the extra is not installed, or there is no such language or port.
    OutputError
        If none of the next ports is free.
    """
    if language not in LANGUAGES:
        refuse(f"language = '{language[:20]}': there is {' and '.join(LANGUAGES)}")
    try:
        import uvicorn

        from lasersafe.page.app import Site
    except ImportError as error:
        if (error.name or "").startswith("lasersafe"):
            raise
        refuse(MISSING)
    say, token = Texts(language), secrets.token_urlsafe(24)
    if not 1024 <= port <= 65535:
        refuse(f"port = {port}: allowed is 1024 to 65535")
    for number in range(port, min(port + MOST_PORTS, 65536)):
        with contextlib.suppress(OSError):
            found = socket.create_server(("127.0.0.1", number), backlog=128)
            break
    else:
        refuse(f"port = {port}: it and the next {MOST_PORTS - 1} are in use; name another one with --port", OutputError)
    if number != port:
        tell(say("start.in_use", port=port, other=number))
    address = f"http://127.0.0.1:{number}/?token={token}"
    config = uvicorn.Config(
        Site(number, token).guarded, log_config=None, log_level="critical", access_log=False, server_header=False,
        proxy_headers=False, ws="none", timeout_graceful_shutdown=2,
    )  # fmt: skip
    tell(say("start.address", address=address))
    tell(say("start.stop"))
    if browser:
        threading.Timer(0.5, webbrowser.open, [address]).start()
    try:
        uvicorn.Server(config).run(sockets=[found])
    except KeyboardInterrupt:
        pass
    finally:
        found.close()
    tell(say("start.stopped"))
