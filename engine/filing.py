"""Files that appear whole or not at all."""

from __future__ import annotations

import os
import stat

from .resources import PathLike

LONGEST = 200
"""Characters of a name that the name of what is not finished begins with."""


def write_where_asked(path: PathLike, content: bytes) -> None:
    """Write a file that a user names, which may be a link, a pipe or a terminal; raises `OSError`."""
    try:
        mode = os.stat(path).st_mode
    except FileNotFoundError:
        mode = stat.S_IFREG | 0o666
    if stat.S_ISREG(mode):
        write_whole(os.path.realpath(path), content, stat.S_IMODE(mode))
    else:
        with open(path, "wb") as file:
            file.write(content)


def write_whole(place: PathLike, content: bytes, mode: int = 0o666) -> None:
    """Put content where nobody ever sees a part of it, even if the program is killed meanwhile.

    Raises `OSError`, and what was there before is there still. A link is not followed, it is replaced.
    """
    folder, name = os.path.split(os.fspath(place))
    fresh = os.path.join(folder, f"{name[:LONGEST]}.{os.getpid()}-{os.urandom(6).hex()}")
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
    try:
        with open(os.open(fresh, flags, mode), "wb") as file:
            file.write(content)
        os.replace(fresh, place)
    except BaseException:
        if os.path.lexists(fresh):
            os.unlink(fresh)
        raise
