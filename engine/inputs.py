"""What something was made from: files with their digests, and folders with what was found in them.

While `watching()` is open, whoever reads a file or lists the files of a ruleset notes it here; `still_hold`
answers later whether the same would be read again.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from pathlib import Path
from typing import Any


class Inputs:
    """File -> digest of its content, and folder (or single file) of a ruleset -> the files in it."""

    __slots__ = ("files", "listings")

    def __init__(self, files: dict[str, str], listings: dict[str, list[str]]) -> None:
        self.files, self.listings = files, listings

    def to_plain(self) -> dict[str, Any]:
        """As plain data, enough for `from_plain`."""
        return {"files": self.files, "listings": self.listings}

    @classmethod
    def from_plain(cls, data: dict[str, Any]) -> Inputs:
        """From the data of `to_plain`; raises `KeyError` or `TypeError` on anything else."""
        return cls(data["files"], data["listings"])

    def unchanged(self) -> bool:
        """True when every file still has its content; raises `OSError` where one cannot be read."""
        return all(digest_of(Path(name).read_bytes()) == digest for name, digest in self.files.items())


_watched: ContextVar[tuple[Inputs, ...]] = ContextVar("watched", default=())


@contextmanager
def watching() -> Iterator[Inputs]:
    """Collects what is noted while open; watches may be nested, each then sees everything below it."""
    seen = Inputs({}, {})
    token = _watched.set((*_watched.get(), seen))
    try:
        yield seen
    finally:
        _watched.reset(token)


def note_file(path: Path, content: bytes) -> None:
    """A file was read."""
    for seen in _watched.get():
        seen.files[str(path)] = digest_of(content)


def note_listing(place: Path, files: Sequence[Path]) -> None:
    """The files of a ruleset were listed."""
    for seen in _watched.get():
        seen.listings[str(place)] = [str(path) for path in files]


def digest_of(content: bytes) -> str:
    """The identity of a content."""
    return hashlib.sha256(content).hexdigest()
