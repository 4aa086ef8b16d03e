"""Files that are whole or not there, a lock that a kill releases; and whether what a user names may be written.

That is decided here, in one place, for every command. What a command writes carries a mark: what it is, of which case,
and the SHA-256 of the rest of the file. Only an intact file with the same mark is replaced unasked, others only on
demand (``--replace``), and never an assessment sheet, a record, a case file, a key, or anything that is no plain file.
"""

from __future__ import annotations

import contextlib
import csv
import hashlib
import io
import os
import re
import stat
import sys
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import NoReturn

from lasersafe.errors import InputError, OutputError, refuse
from lasersafe.quantity import shown
from lasersafe.wording import Message, word


def suffix_of(path: Path, option: str, *allowed: str, dash: bool = True) -> str:
    """Return how the name of an output ends, in small letters; that of the standard output is the first allowed.

    Raises
    ------
    InputError
        If it is none of those that the command can write.
    """
    suffix = allowed[0] if dash and path == DASH else path.suffix.lower()
    if suffix not in allowed:
        endings = " or ".join(filter(None, [", ".join(allowed[:-1]), allowed[-1]]))
        refuse(f"{option} = {shown(path.name[-40:])}: the name must end in {endings}")
    return suffix


def csv_text(rows: Iterable[Iterable[object]], separator: str = ",") -> str:
    """Return rows of cells as CSV."""
    text = io.StringIO()
    csv.writer(text, delimiter=separator, lineterminator="\n").writerows(rows)
    return text.getvalue()


def existing(path: Path, most: int = -1) -> bytes | None:
    """Return the content of a plain file, None when there is none of that name; links are not followed.

    ``most`` is the number of bytes that are read, all when it is left out.

    Raises
    ------
    OutputError
        If there is something else of that name, or it cannot be read.
    """
    if not _is_plain(path):
        return None
    try:
        with open(path, "rb", opener=_open_without_waiting) as file:
            return file.read(most)
    except OSError as error:
        refuse(
            f"{path} is there already and cannot be read: {error.strerror or error}; choose another name", OutputError
        )


def _is_plain(path: Path) -> bool:
    """Return whether there is a plain file of that name, False when there is nothing.

    Raises
    ------
    OutputError
        If there is something else.
    """
    try:
        mode = path.lstat().st_mode
    except (FileNotFoundError, NotADirectoryError):
        return False
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else "the name cannot be used"
        refuse(f"{path} cannot be written: {reason}", OutputError)
    if stat.S_ISREG(mode):
        return True
    what = "it is no plain file, and nothing else is replaced; name another file"
    if stat.S_ISDIR(mode):
        what = "it is a folder; name a file in it"
    elif stat.S_ISLNK(mode):
        what = "it is a link, and links are not followed; name the file itself"
    refuse(f"{path} cannot be written: {what}", OutputError)


def files_in(folder: Path, suffix: str, *, below: bool, dotted: bool = False) -> Iterator[tuple[str, str]]:
    """Yield the files of a folder that have a suffix, by name, each with why it cannot be read, or an empty text.

    What is in a folder that cannot be read, or behind a link to a folder, is not known: it is listed with its reason.

    Parameters
    ----------
    folder : pathlib.Path
        Where to look.
    suffix : str
        As ``.toml``; capitals count the same.
    below : bool
        Whether to look into the folders below.
    dotted : bool
        Whether to look into folders whose name begins with a dot; files of such a name are passed over.

    Raises
    ------
    InputError
        If the folder itself cannot be read.
    """
    found: list[tuple[str, str]] = []

    def listed(path: str, problem: str) -> None:
        found.append((Path(path).relative_to(folder).as_posix(), problem))

    def unreadable(error: OSError) -> None:
        if Path(error.filename) == folder:
            refuse(f"{folder}: cannot be read: {error.strerror or error}")
        listed(error.filename, f"this folder cannot be read: {error.strerror or error}")

    for place, folders, names in os.walk(folder, onerror=unreadable):
        inside = [name for name in folders if dotted or not name.startswith(".")] if below else []
        if not below:
            names += [name for name in folders if name.lower().endswith(suffix)]  # a reader says what it is
        for name in inside:
            if os.path.islink(os.path.join(place, name)):
                listed(os.path.join(place, name), "this is a link to a folder, which is not followed; name the folder")
        folders[:] = [name for name in inside if not os.path.islink(os.path.join(place, name))]
        for name in names:
            if name.lower().endswith(suffix) and not name.startswith("."):
                problem = "" if in_utf8(name) == name else "the name of the file is not UTF-8; give it another name"
                listed(os.path.join(place, name), problem)
    yield from ((in_utf8(name), problem) for name, problem in sorted(found))


def in_utf8(name: str) -> str:
    """Return the name of a file with each byte that is not UTF-8 spelled out."""
    return os.fsencode(name).decode("utf-8", "backslashreplace")


def write_file(path: Path, content: bytes | Iterable[bytes], *, replace: bool = True) -> None:
    """Write a file through a temporary name beside it, so that the old file or the whole new one is there.

    For files whose old content was looked at before; what a user names goes through `write_outputs`. A program
    that is killed here leaves at most a file whose name begins with a dot and ends in ``.part``. A new file gets the
    permissions that the system gives to new files (umask); one that is replaced gets none that it did not have.

    Raises
    ------
    OutputError
        If the place cannot be written, or the file is there and may not be replaced.
    """
    there, temporary = _is_plain(path), path.with_name(f".{path.name[:40]}.{os.urandom(8).hex()}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        refuse(f"{path} cannot be written: {error.strerror or error}", OutputError)
    try:
        handle = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o666)
        try:
            with os.fdopen(handle, "wb") as file:
                file.writelines([content] if isinstance(content, bytes) else content)
                file.flush()
                os.fsync(file.fileno())
            if there:
                temporary.chmod(path.lstat().st_mode & temporary.lstat().st_mode & 0o777)
            if not replace and _second_name(temporary, path):
                temporary.unlink()
            elif not replace and _is_plain(path):
                raise FileExistsError
            else:
                temporary.replace(path)
        except BaseException:
            with contextlib.suppress(FileNotFoundError):
                temporary.unlink()
            raise
    except FileExistsError:
        refuse(f"{path} is there already; choose another name, or say --replace", OutputError)
    except OSError as error:
        refuse(f"{path} cannot be written: {error.strerror or error}", OutputError)


def _second_name(path: Path, name: Path) -> bool:
    """Give a file another name, unless there is something of that name; False where the file system has no such."""
    try:
        os.link(path, name)
    except FileExistsError:
        raise
    except OSError:
        return False
    return True


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
        with contextlib.suppress(FileExistsError):
            if not _second_name(path, copy):
                write_file(copy, path.read_bytes(), replace=False)
            return copy
    refuse(f"{path} cannot be kept under a dated name: too many copies of this second; try again", OutputError)


def read_limited(path: Path, largest: int, kind: str, *, advice: str = "", dash: bool = False) -> bytes:
    """Return the content of a plain file of at most ``largest`` bytes; ``kind`` names it in the message.

    ``advice`` says what to do where there is no such file; ``dash`` whether ``-`` is the standard input.

    Raises
    ------
    InputError
        If it is missing, no plain file, too large, or cannot be read; with the message ``file.refused``.
    """

    def unread(why: str, **values: str) -> NoReturn:
        refuse(Message("file.refused", path=str(path), why=Message(f"file.{why}", kind=word(kind), **values)))

    try:
        if dash and path == DASH:
            content = sys.stdin.buffer.read(largest + 1)
        else:
            with open(path, "rb", opener=_open_without_waiting) as file:
                if not stat.S_ISREG(os.fstat(file.fileno()).st_mode):
                    unread("no_plain")
                content = file.read(largest + 1)
    except FileNotFoundError:
        unread("missing", advice=advice)
    except IsADirectoryError:
        unread("directory")
    except (OSError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        unread("cannot", reason=word(str(error.strerror) if isinstance(error, OSError) else "the name cannot be used"))
    if len(content) > largest:
        unread("large", most=f"{largest // 1_000_000} MB")
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
        refuse(f"{path} cannot be locked: {error.strerror or error}", OutputError)
    try:
        yield
    finally:
        with contextlib.suppress(OSError):  # while it is held, so that nobody locks a file that has no name any more
            name.unlink()
        os.close(handle)


def _lock(name: Path) -> int:
    """Return an open file that is locked and still has its name."""
    while True:
        handle = os.open(name, os.O_RDWR | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0), 0o644)
        try:
            try:
                import fcntl
            except ImportError:  # not POSIX
                import msvcrt

                msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined]
            else:
                fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            os.close(handle)
            refuse(
                f"another program is writing {name.name[1:-5]} just now; nothing was changed, try again", OutputError
            )
        with contextlib.suppress(FileNotFoundError):
            if os.path.samestat(os.fstat(handle), name.stat()):
                return handle
        os.close(handle)


_MARK = re.compile(rb"lasersafe wrote this: ([a-z0-9 ]{1,40}, case [0-9a-f]{16}), sha256=([0-9a-f]{64})")
_KEY_NAMES = (".p12", ".pfx", ".pem", ".key", ".crt", ".cer", ".der")
_LARGEST = 256_000_000
DASH = Path("-")  # stands for the standard output
_STARTS = 1 << 16  # a key says so within so many bytes
_CASE = re.compile(rb"^\s*(\[\[?\s*laser\b|(title|review_by)\s*=)", re.MULTILINE)
_SEAL = b"\n%lasersafe sheet "


@dataclass(frozen=True)
class Output:
    """A file to be written: its name, its content, and what it is (`mark_of`); an empty mark replaces nothing."""

    path: Path
    content: bytes
    mark: str = ""


def mark_of(what: str, case: str | os.PathLike[str], title: str) -> str:
    """Return what tells a file of one case from those of others: the name of the case file, without folder, and title.

    Parameters
    ----------
    what : str
        What the file is, as ``plan 2``: small letters, digits and spaces.
    case : path
        Case file; empty where there is none.
    title : str
        Title of the case.
    """
    return f"{what}, case {case_mark(case, title)}"


def case_mark(case: str | os.PathLike[str], title: str) -> str:
    """Return the part of `mark_of` that stands for the case."""
    name = os.fsencode(Path(case).name)
    return hashlib.sha256(name + b"\0" + title.encode("utf-8", "surrogatepass")).hexdigest()[:16]


def write_outputs(files: Sequence[Output], *, replace: bool = False, known: Iterable[bytes] = ()) -> None:
    """Write files that a user named, after all of them were found to be free to write.

    Parameters
    ----------
    files : sequence of Output
        What is written where.
    replace : bool
        Whether a file may be lost that is not known to be an earlier output of the same kind and case.
    known : iterable of bytes
        As `refuse_to_lose` takes it.

    Raises
    ------
    OutputError
        If one of them may not be written; nothing is written then. Or if the system does not let it be written.
    """
    if len(files) == 1 and files[0].path == DASH:
        stream = getattr(sys.stdout, "buffer", None)
        if stream is None:
            refuse("there is no standard output to write to; name a file", OutputError)
        stream.write(files[0].content)
        stream.flush()
        sys.stdout = sys.stderr  # for what is said besides, from now on
        return
    if any(one.path == DASH for one in files):
        refuse("- is the standard output, which takes one file alone; name files", OutputError)
    if len({os.path.abspath(one.path) for one in files}) < len(files):
        refuse(f"{files[0].path}: this name is given twice; name a file for each", OutputError)
    seen = [refuse_to_lose(one.path, one.mark, replace=replace, known=known) for one in files]
    for one, before in zip(files, seen, strict=True):
        write_file(one.path, marked(one) if one.mark else one.content, replace=before is not None)


def refuse_to_lose(path: Path, mark: str, *, replace: bool, known: Iterable[bytes] = ()) -> bytes | None:
    """Refuse to replace what must not be lost; return what is there now, or None when nothing is.

    Parameters
    ----------
    path : pathlib.Path
        The file to be written.
    mark : str
        `mark_of` the new file; empty when no file may be replaced without ``replace``.
    replace : bool
        Whether the user asks for it.
    known : iterable of bytes
        What may be replaced whatever it is: files of ours as they are before anybody edits them.

    Raises
    ------
    OutputError
        If it may not be replaced.
    """
    if path == DASH:
        return None
    old = existing(path, _LARGEST)  # what is larger is not whole here, and so no file of ours
    if old is None or old in known or (mark and written_as(old) == mark):
        return old
    kept = precious(path, old)
    if kept:
        refuse(f"{path} is {kept}, which no command replaces; choose another name, or move it away", OutputError)
    if not replace:
        (what, _, case), (_, _, own), whose = written_as(old).partition(","), mark.partition(","), ""
        if mark and old.startswith(b"PAR1"):
            whose = ", and a Parquet file has no place for a mark by which it could be known again"
        elif mark and not what:
            whose = " and is no unchanged file of this command"
        elif mark:
            whose = f" and is the {what} of {'another' if case != own else 'this'} case"
        refuse(f"{path} is there already{whose}; choose another name, or say --replace", OutputError)
    return old


def precious(path: Path, content: bytes) -> str:
    """Return what a file is when no command may replace it; an empty text when one may."""
    name = path.name.lower()
    start = content[:_STARTS]
    if name.endswith(_KEY_NAMES) or b"-----BEGIN " in start or start[:2] in (b"\x30\x80", b"\x30\x81", b"\x30\x82"):
        return "a key or a certificate"
    if content.startswith(b"%PDF-"):
        return "an assessment sheet" if _SEAL in content else "a signed file" if b"/ByteRange" in content else ""
    if name.endswith(".signoff.json") or b'"lasersafe sign-off ' in start:
        return "a record of sign-offs"
    if _CASE.search(content):
        return "a case file"
    return ""


def marked(one: Output) -> bytes:
    """Return the content with its mark, where a file of its kind has a place for a remark."""
    import zlib

    content, kind = one.content, one.path.suffix.lower()
    text, end = f"lasersafe wrote this: {one.mark}, sha256=".encode(), len(content)
    head, tail = content, b""
    if kind in (".csv", ".toml"):
        head, tail = b"# ", b"\n" + content
    elif kind == ".svg":
        head, tail = content + b"<!-- ", b" -->\n"
    elif kind == ".json":
        end = content.rindex(b"\n}")
        head, tail = content[:end] + b',\n "written_by": "', b'"' + content[end:]
    elif kind == ".pdf":
        end = content.rindex(b"startxref\n")
        head, tail = content[:end] + b"%", b"\n" + content[end:]
    elif kind == ".png":  # a chunk of text before the last one (PNG, 11.3.4.3): its length, its kind and its key
        long = (len("Comment\0") + len(text) + 64).to_bytes(4, "big")
        head, tail = content[: end - 12] + long + b"tEXtComment\0", content[end - 12 :]
    else:
        return content  # Parquet has no such place: never replaced unasked
    whole = head + text + _digest(head, tail)
    return whole + (zlib.crc32(whole[end - 8 :]).to_bytes(4, "big") if kind == ".png" else b"") + tail


def written_as(content: bytes) -> str:
    """Return the mark of a file that is still as it was written, or an empty text."""
    found = _MARK.match(content, 2) or _MARK.search(content, max(len(content) - 400, 0))
    if found is None:
        return ""
    tail = content[found.end() + (4 if content.startswith(b"\x89PNG") else 0) :]  # there, a checksum of the mark
    return found[1].decode() if _digest(content[: found.start()], tail) == found[2] else ""


def _digest(head: bytes, tail: bytes) -> bytes:
    return hashlib.sha256(head + b"\0" + tail).hexdigest().encode()
