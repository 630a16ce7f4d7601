"""Files that appear whole or not at all."""

from __future__ import annotations

import os
import stat
from pathlib import Path

LONGEST = 200
"""Characters of a name that the name of what is not finished begins with."""


def write_where_asked(path: Path, content: bytes) -> None:
    """Write a file that a user names, which may be a link, a pipe or a terminal; raises `OSError`."""
    try:
        mode = path.stat().st_mode
    except FileNotFoundError:
        mode = stat.S_IFREG | 0o666
    if stat.S_ISREG(mode):
        write_whole(Path(os.path.realpath(path)), content, stat.S_IMODE(mode))
    else:
        path.write_bytes(content)


def write_whole(place: Path, content: bytes, mode: int = 0o666) -> None:
    """Put content where nobody ever sees a part of it, even if the program is killed meanwhile.

    Raises `OSError`, and what was there before is there still. A link is not followed, it is replaced.
    """
    fresh = place.with_name(f"{place.name[:LONGEST]}.{os.getpid()}-{os.urandom(6).hex()}")
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
    try:
        with open(os.open(fresh, flags, mode), "wb") as file:
            file.write(content)
        os.replace(fresh, place)
    except BaseException:
        fresh.unlink(missing_ok=True)
        raise
