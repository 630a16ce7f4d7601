"""What was worked out once and can be kept: one file per key, in a folder of the user's own.

A kept file is only ever a shortcut. It is ignored (`notes` then says why) when it was written by another
version of the engine or of Python, is damaged, belongs to somebody else or can be changed by others; a folder
that cannot be written means that nothing is kept. Values are what `marshal` can hold: plain data and code.
"""

from __future__ import annotations

import marshal
import os
import stat
import sys
from functools import cache

from .diagnostics import Diagnostic, diagnose
from .digests import SUM_BYTES, plain_sum, sha256
from .resources import shipped

TYPE_CHECKING = False

if TYPE_CHECKING:
    from typing import Any

VARIABLE = "GAUGEBOOK_CACHE"
"""An environment variable: the folder to keep things in, or `off`."""

MAGIC = b"gaugebook cache 3\n"
DIGEST_BYTES = 32
MOST_FILES = 256
"""More than this are not kept; the ones unused for longest go first."""

notes: list[Diagnostic] = []
"""Why something kept was ignored, or could not be kept; for whoever wants to know."""

_on = True


def switch(on: bool) -> None:
    """Whether anything is fetched and kept in this process."""
    global _on
    _on = on


def folder() -> str | None:
    """Where things are kept; None when nothing is to be kept or there is no home."""
    wanted = os.environ.get(VARIABLE, "")
    if not _on or wanted == "off":
        return None
    if wanted:
        return wanted
    base = os.environ.get("XDG_CACHE_HOME", "")
    if not os.path.isabs(base):
        base = os.path.expanduser(os.path.join("~", ".cache"))
    return os.path.join(base, "gaugebook") if os.path.isabs(base) else None


def fetch(kind: str, key: object) -> Any:
    """What was kept under a key; None when there is nothing, or nothing to be trusted."""
    place = _place(kind, key)
    if place is None or not _fit(os.path.dirname(place)):
        return None
    try:
        return _opened(place)
    except FileNotFoundError:
        return None
    except OSError as error:
        _note("cache-ignored", place, error.strerror or type(error).__name__)
    except _Unfit as error:
        _note("cache-ignored", place, str(error))
    return None


def keep(kind: str, key: object, value: Any) -> None:
    """Keep a value under a key, so that no other process ever sees a part of it; failing is no fault."""
    place = _place(kind, key)
    if place is None:
        return
    from .filing import write_whole

    try:
        payload = marshal.dumps(value)
        _make(os.path.dirname(place))
        if _fit(os.path.dirname(place)):
            content = MAGIC + _fingerprint() + plain_sum(payload) + payload
            write_whole(place, content, 0o600)
            _prune(os.path.dirname(place))
    except (OSError, ValueError) as error:
        _note("cache-not-kept", place, getattr(error, "strerror", None) or str(error))


class _Unfit(Exception):
    """A kept file is not to be trusted; says why."""


def _place(kind: str, key: object) -> str | None:
    where = folder()
    name = sha256(repr(key).encode("utf-8", "surrogatepass")).hexdigest()[:32]
    return os.path.join(where, f"{kind}-{name}") if where is not None else None


def _opened(place: str) -> Any:
    """The value in a file; raises `OSError` or `_Unfit`."""
    flags = (getattr(os, name, 0) for name in ("O_NOFOLLOW", "O_NONBLOCK", "O_BINARY"))
    descriptor = os.open(place, sum(flags, os.O_RDONLY))  # a pipe is not waited for
    with open(descriptor, "rb") as file:
        status = os.fstat(descriptor)
        if not stat.S_ISREG(status.st_mode) or not _ours(status):
            raise _Unfit("it is not a file that only its owner, the user, can write")
        content = file.read()
    head = len(MAGIC) + DIGEST_BYTES
    payload = memoryview(content)[head + SUM_BYTES :]
    if content[:head] != MAGIC + _fingerprint():
        raise _Unfit("it is damaged or of another version")
    if content[head : head + SUM_BYTES] != plain_sum(payload):
        raise _Unfit("it is damaged")
    try:
        return marshal.loads(payload)
    except (EOFError, ValueError, TypeError):
        raise _Unfit("it is damaged") from None


def _make(where: str) -> None:
    """Make a folder that nobody else may look into, and the folders above it that are lacking."""
    os.makedirs(os.path.dirname(where) or os.curdir, exist_ok=True)
    try:
        os.mkdir(where, 0o700)
    except FileExistsError:
        if not os.path.isdir(where):
            raise


def _prune(where: str) -> None:
    """Remove the files unused for longest when there are too many; another process may do the same."""
    files = list(os.scandir(where))
    for entry in sorted(files, key=_age)[: max(0, len(files) - MOST_FILES)]:
        try:
            os.unlink(entry.path)
        except FileNotFoundError:
            continue


def _age(entry: os.DirEntry[str]) -> float:
    try:
        return entry.stat(follow_symlinks=False).st_mtime
    except OSError:
        return 0.0


def _fit(where: str) -> bool:
    """True for a folder that is the user's own and closed to the writing of others; none yet is not one."""
    try:
        status = os.stat(where)
    except FileNotFoundError:
        return False
    except OSError as error:
        _note("cache-ignored", where, error.strerror or type(error).__name__)
        return False
    if stat.S_ISDIR(status.st_mode) and _ours(status):
        return True
    _note("cache-ignored", where, "it is not a folder that only its owner, the user, can write to")
    return False


def _ours(status: os.stat_result) -> bool:
    """Owned by the user and closed to the writing of others, where the system has such notions."""
    return not hasattr(os, "getuid") or (
        status.st_uid == os.getuid() and not status.st_mode & (stat.S_IWGRP | stat.S_IWOTH)
    )


@cache
def _fingerprint() -> bytes:
    """The identity of everything that turns inputs into values: our own files, and this Python.

    Raises `OSError` where our own files cannot be looked at.
    """
    from . import __version__

    told: list[object] = [__version__, sys.version, sys.implementation.cache_tag]
    package = os.path.dirname(os.path.abspath(__file__))
    for where in (package, shipped("grammar"), shipped("rulesets", "schema")):
        told.append(where)
        for entry in sorted(os.scandir(where), key=lambda entry: entry.name):
            if entry.is_file():
                status = entry.stat()
                told += (entry.name, status.st_size, status.st_mtime_ns)
    return bytes(sha256(repr(told).encode("utf-8", "surrogatepass")).digest())


def _note(name: str, place: str, reason: str) -> None:
    note = diagnose(name, path=place, reason=reason)
    if note not in notes:
        notes.append(note)
