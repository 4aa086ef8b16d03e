"""Whether a file that a user names may be written: decided here, in one place, for every command.

What a command writes carries a mark: what it is, of which case, and the SHA-256 of the rest of the file. Only an intact
file with the same mark is replaced unasked, others only on demand (``--replace``), and never an
assessment sheet, a record, a case file, a key, or anything that is no plain file.
"""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from lasersafe.errors import OutputError, refuse
from lasersafe.files import existing, write_file

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
    import hashlib

    name = os.fsencode(Path(case).name)
    return hashlib.sha256(name + b"\0" + title.encode("utf-8", "surrogatepass")).hexdigest()[:16]


def write_outputs(files: Sequence[Output], *, replace: bool = False) -> None:
    """Write files that a user named, after all of them were found to be free to write.

    Parameters
    ----------
    files : sequence of Output
        What is written where.
    replace : bool
        Whether a file may be lost that is not known to be an earlier output of the same kind and case.

    Raises
    ------
    OutputError
        If one of them may not be written; nothing is written then. Or if the system does not let it be written.
    """
    if len(files) == 1 and files[0].path == DASH:
        write_to_stdout(files[0].content)
        return
    if any(one.path == DASH for one in files):
        refuse("- is the standard output, which takes one file alone; name files", OutputError)
    if len({os.path.abspath(one.path) for one in files}) < len(files):
        refuse(f"{files[0].path}: this name is given twice; name a file for each", OutputError)
    seen = [refuse_to_lose(one.path, one.mark, replace=replace) for one in files]
    for one, before in zip(files, seen, strict=True):
        write_file(one.path, marked(one) if one.mark else one.content, replace=before is not None)


def write_to_stdout(content: bytes) -> None:
    """Write a file to the standard output; what is said besides goes to the standard error from then on.

    Raises
    ------
    OutputError
        If there is no standard output.
    """
    stream = getattr(sys.stdout, "buffer", None)
    if stream is None:
        refuse("there is no standard output to write to; name a file", OutputError)
    stream.write(content)
    stream.flush()
    sys.stdout = sys.stderr


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
        refuse(f"{path} is there already{_whose(old, mark)}; choose another name, or say --replace", OutputError)
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
    head, tail = content, b""
    if kind == ".svg":
        head, tail = content + b"<!-- ", b" -->\n"
    elif kind == ".json":
        end = content.rindex(b"\n}")
        head, tail = content[:end] + b',\n "written_by": "', b'"' + content[end:]
    elif kind == ".pdf":
        end = content.rindex(b"startxref\n")
        head, tail = content[:end] + b"%", b"\n" + content[end:]
    elif kind == ".png":  # a chunk of text before the last one (PNG, 11.3.4.3)
        head, tail = content[:-12] + bytes(4) + b"tEXtComment\0", content[-12:]
    elif kind not in (".csv", ".toml"):
        return content  # Parquet has no such place: never replaced unasked
    text = f"lasersafe wrote this: {one.mark}, sha256=".encode()
    if kind in (".csv", ".toml"):
        return b"# " + text + _digest(b"# ", b"\n" + content) + b"\n" + content
    if kind == ".png":
        start = len(content) - 12
        head = head[:start] + (len("Comment\0") + len(text) + 64).to_bytes(4, "big") + head[start + 4 :]
        chunk = head[start + 4 :] + text + _digest(head, tail)
        return head[: start + 4] + chunk + zlib.crc32(chunk).to_bytes(4, "big") + tail
    return head + text + _digest(head, tail) + tail


def written_as(content: bytes) -> str:
    """Return the mark of a file that is still as it was written, or an empty text."""
    found = _MARK.match(content, 2) or _MARK.search(content, max(len(content) - 400, 0))
    if found is None:
        return ""
    tail = content[found.end() + (4 if content.startswith(b"\x89PNG") else 0) :]  # there, a checksum of the mark
    return found[1].decode() if _digest(content[: found.start()], tail) == found[2] else ""


def _digest(head: bytes, tail: bytes) -> bytes:
    import hashlib

    return hashlib.sha256(head + b"\0" + tail).hexdigest().encode()


def _whose(old: bytes, mark: str) -> str:
    if not mark:
        return ""
    if old.startswith(b"PAR1"):
        return ", and a Parquet file has no place for a mark by which it could be known again"
    other = written_as(old)
    if not other:
        return " and is no unchanged file of this command"
    what = other.partition(",")[0]
    return f" and is the {what} of {'another' if other.partition(',')[2] != mark.partition(',')[2] else 'this'} case"
