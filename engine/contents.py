"""What is in a file of another format, for the plugin that reads it: within the limits of a YAML file.

A plugin that reads what a project names asks here, so that no file makes it take more than is stated.
"""

from __future__ import annotations

import stat
from io import BytesIO
from pathlib import Path
from zipfile import BadZipFile, ZipFile

from .diagnostics import Problems, Span
from .documents import MOST_BYTES

ARCHIVE = b"PK"
"""How an archive begins, a spreadsheet for one."""

MOST_UNPACKED = 16 * MOST_BYTES
"""What an archive may come to once it is unpacked."""


def read_content(path: Path, problems: Problems) -> bytes | None:
    """The bytes of a plain file; None after a fault, among them too many of them, packed or unpacked."""
    start = Span(str(path), 1, 1, 1, 1)
    try:
        found = path.stat()
        if not stat.S_ISREG(found.st_mode):  # a pipe would be waited for
            problems.add("file-unreadable", start, reason="it is no regular file")
            return None
        with path.open("rb") as file:
            content = file.read(MOST_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else str(error)
        problems.add("file-unreadable", start, reason=(reason or "unknown reason").lower())
        return None
    if len(content) > MOST_BYTES:
        problems.add("file-too-large", start, size=max(len(content), found.st_size), limit=MOST_BYTES)
        return None
    unpacked = _unpacked(content)
    if unpacked > MOST_UNPACKED:
        problems.add("unpacks-too-large", start, size=unpacked, limit=MOST_UNPACKED)
        return None
    return content


def _unpacked(content: bytes) -> int:
    """The bytes an archive says it holds, of which no more are ever unpacked; 0 for what is none."""
    if not content.startswith(ARCHIVE):
        return 0
    try:
        with ZipFile(BytesIO(content)) as archive:
            return sum(member.file_size for member in archive.infolist())
    except (BadZipFile, OSError, ValueError, NotImplementedError):
        return 0  # for the reader to say
