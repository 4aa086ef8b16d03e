"""Files that are whole or not there: written under another name, then renamed; and a lock that a kill releases."""

from __future__ import annotations

import contextlib
import os
import stat
import tempfile
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from pathlib import Path

from lasersafe import beside
from lasersafe.errors import InputError, OutputError


def write_file(path: Path, content: bytes | Iterable[bytes], *, replace: bool = True) -> None:
    """Write a file through a temporary name beside it, so that the old file or the whole new one is there.

    A program that is killed here leaves at most a file whose name begins with a dot and ends in ``.part``.

    Raises
    ------
    OutputError
        If the place cannot be written, or the file is there and may not be replaced.
    """
    if path.is_dir():
        message = f"{path} cannot be written: it is a folder; name a file in it"
        raise OutputError(message)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        message = f"{path} cannot be written: {error.strerror or error}"
        raise OutputError(message) from None
    try:
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name[:40]}.", suffix=".part")
        temporary = Path(name)
        try:
            with os.fdopen(handle, "wb") as file:
                file.writelines([content] if isinstance(content, bytes) else content)
                file.flush()
                os.fsync(file.fileno())
            temporary.chmod(0o644)
            if replace:
                temporary.replace(path)
            else:
                os.link(temporary, path)
                temporary.unlink()
        except BaseException:
            with contextlib.suppress(FileNotFoundError):
                temporary.unlink()
            raise
    except FileExistsError:
        message = f"{path} is there already; choose another name, or say --replace"
        raise OutputError(message) from None
    except OSError as error:
        message = f"{path} cannot be written: {error.strerror or error}"
        raise OutputError(message) from None


def keep_dated_copy(path: Path) -> Path:
    """Give a file a second, dated name beside it, so that the first name can be written anew; return that name.

    Raises
    ------
    OutputError
        If the second name cannot be made.
    """
    moment = datetime.now(UTC).strftime("%Y-%m-%dT%H%M%SZ")
    for number in range(1, 1000):
        tail = "" if number == 1 else f"-{number}"
        copy = path.with_name(f"{path.stem}.{moment}{tail}{path.suffix}")
        try:
            os.link(path, copy)
        except FileExistsError:
            continue
        except OSError:  # a file system without second names
            write_file(copy, path.read_bytes(), replace=False)
        return copy
    message = f"{path} cannot be kept under a dated name: too many copies of this second; try again"
    raise OutputError(message)


def read_limited(path: Path, largest: int, kind: str) -> bytes:
    """Return the content of a plain file of at most ``largest`` bytes; ``kind`` names it in the message.

    Raises
    ------
    InputError
        If it is missing, no plain file, too large, or cannot be read.
    """
    try:
        with open(path, "rb", opener=_open_without_waiting) as file:
            if not stat.S_ISREG(os.fstat(file.fileno()).st_mode):
                message = f"{path}: this is not a plain file; name a {kind}"
                raise InputError(message)
            content = file.read(largest + 1)
    except FileNotFoundError:
        message = f"{path}: there is no such file"
        raise InputError(message) from None
    except (OSError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        reason = error.strerror if isinstance(error, OSError) else "the name cannot be used"
        message = f"{path}: cannot be read: {reason}"
        raise InputError(message) from None
    if len(content) > largest:
        message = f"{path}: larger than {largest // 1_000_000} MB; this is no {kind}"
        raise InputError(message)
    return content


def _open_without_waiting(path: str, flags: int) -> int:
    return os.open(path, flags | getattr(os, "O_NONBLOCK", 0))  # a pipe that nobody feeds


@contextlib.contextmanager
def locked(path: Path) -> Iterator[None]:
    """Hold the lock of a file while the block runs; the kernel gives it up when the program dies.

    Raises
    ------
    OutputError
        If another program holds it, or the lock cannot be made.
    """
    name = path.with_name(f".{path.name}.lock")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle = _lock(name)
    except OSError as error:
        message = f"{path} cannot be locked: {error.strerror or error}"
        raise OutputError(message) from None
    try:
        with beside.alone():  # a second process would hold the lock for longer than this one lives
            yield
    finally:
        with contextlib.suppress(OSError):  # while it is held, so that nobody locks a file that has no name any more
            name.unlink()
        os.close(handle)


def _lock(name: Path) -> int:
    """Return an open file that is locked and still has its name."""
    while True:
        handle = os.open(name, os.O_RDWR | os.O_CREAT, 0o644)
        try:
            _take(handle)
        except OSError:
            os.close(handle)
            message = f"another program is writing {name.name[1:-5]} just now; nothing was changed, try again"
            raise OutputError(message) from None
        with contextlib.suppress(FileNotFoundError):
            if os.path.samestat(os.fstat(handle), name.stat()):
                return handle
        os.close(handle)


def _take(handle: int) -> None:
    try:
        import fcntl
    except ImportError:  # not POSIX
        import msvcrt

        msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined]
    else:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
