"""What something was made from: files with their digests, and folders with what was found in them.

While `watching()` is open, whoever reads a file or lists the files of a ruleset notes it here; `Inputs` answers
later whether the same would be read again. Where nothing has touched a file or a folder since, which its marks
tell, it is not read again.
"""

from __future__ import annotations

import os
import time
from _thread import _local as Local
from collections.abc import Callable, Iterable, Sequence

from .digests import digest_of

TYPE_CHECKING = False

if TYPE_CHECKING:
    from typing import Any

SETTLED = 2 * 10**9
"""Nanoseconds after which a file that is written once more can no longer have the times it had before."""


class Inputs:
    """File -> digest of its content, folder (or single file) of a ruleset -> the files in it, and the marks by
    which a file or a folder shows that nothing has touched it."""

    __slots__ = ("files", "listings", "marks")

    def __init__(
        self, files: dict[str, str], listings: dict[str, list[str]], marks: dict[str, list[int]]
    ) -> None:
        self.files, self.listings, self.marks = files, listings, marks

    def to_plain(self) -> dict[str, Any]:
        """As plain data, enough for `from_plain`."""
        return {name: getattr(self, name) for name in self.__slots__}

    @classmethod
    def from_plain(cls, data: dict[str, Any]) -> Inputs:
        """From the data of `to_plain`; raises `KeyError` or `TypeError` on anything else."""
        return cls(*(data[name] for name in cls.__slots__))

    def untouched(self) -> bool:
        """True when every mark is known and still the same; raises `OSError` where something is gone."""
        return all(mark and _mark(os.stat(name)) == mark for name, mark in self.marks.items())

    def unchanged(self, list_again: Callable[[str], list[str]]) -> bool:
        """True when the same files would be found, each with its content; raises `OSError` as above."""
        return all(list_again(place) == files for place, files in self.listings.items()) and all(
            digest_of(_content(name)) == digest for name, digest in self.files.items()
        )

    def mark(self, name: str) -> None:
        """Note how a file or a folder looks now; what was touched a moment ago could be so again unseen."""
        self.marks[name] = []
        try:
            mark = _mark(os.stat(name))
        except OSError:
            return
        if max(mark[:2]) + SETTLED < time.time_ns():
            self.marks[name] = mark

    def mark_again(self) -> bool:
        """Note anew how everything looks; True when everything could be marked."""
        for name in self.marks:
            self.mark(name)
        return all(self.marks.values())


def _mark(status: os.stat_result) -> list[int]:
    """What changes when a file is written or put in the place of another: when, and which."""
    return [status.st_mtime_ns, status.st_ctime_ns, status.st_size, status.st_ino]


def _content(name: str) -> bytes:
    with open(name, "rb") as file:
        return file.read()


class _Watched(Local):
    """Who collects in this thread."""

    open: tuple[Inputs, ...] = ()


_watched = _Watched()


class watching:
    """Collects what is noted while open; watches may be nested, each then sees everything below it."""

    def __enter__(self) -> Inputs:
        seen = Inputs({}, {}, {})
        _watched.open = (*_watched.open, seen)
        return seen

    def __exit__(self, *_: object) -> None:
        _watched.open = _watched.open[:-1]


def note_file(path: str, content: bytes) -> None:
    """A file was read."""
    for seen in _watched.open:
        seen.files[path] = digest_of(content)
        seen.mark(path)


def note_listing(place: str, files: Sequence[str], folders: Iterable[str]) -> None:
    """The files of a ruleset were listed, by looking into folders."""
    for seen in _watched.open:
        seen.listings[place] = list(files)
        for folder in folders:
            seen.mark(folder)
