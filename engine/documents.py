"""YAML files as plain data in which every value still knows where it stands.

Data is made of dict, list, str, int, `Decimal` and None. Only plain scalars that look like a decimal number
become numbers; nothing becomes a truth value, a date or a float. Faults are collected into a `Problems`; a
document with any fault is refused. The YAML parser is imported only when something is parsed.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from decimal import Decimal

from . import cache
from .diagnostics import Problems, Span
from .digests import digest_of
from .inputs import note_file
from .resources import PathLike, shipped

TYPE_CHECKING = False

if TYPE_CHECKING:
    from typing import Any, overload

    import yaml

    from .yamltree import Entry, Node, Scalar

MOST_BYTES = 4 * 1024 * 1024


class Document:
    """One file: its data, and the place of everything in it.

    `root` is the tree behind the data; if none is given, it is made from the text once a place is asked for.
    """

    __slots__ = ("_root", "data", "lines", "name", "text")

    def __init__(self, name: str, text: str, data: Any, root: Node | None = None) -> None:
        self.name, self.text, self.data, self._root = name, text, data, root
        self.lines = text.split("\n")

    @property
    def root(self) -> Node:
        """The tree of the text, with positions."""
        if self._root is None:
            from .yamltree import compose

            self._root = compose(self.text, Problems(), self._make)
            assert self._root is not None
        return self._root

    def span(self, path: tuple[Any, ...] = ()) -> Span:
        """The value at `path`, or the nearest enclosing value that exists."""
        return self._span_of(self._walk(path)[0])

    def key_span(self, path: tuple[Any, ...]) -> Span:
        """The key of the value at `path`; the value itself where it has no key."""
        node, entry = self._walk(path)
        return self._span_of(entry.key if entry else node)

    def span_inside(self, path: tuple[Any, ...], start: int, end: int) -> Span:
        """A part of the text at `path`, by offsets into the text (end exclusive).

        Exact for text on one line, plain or quoted, and for `|` blocks; otherwise the whole value.
        """
        node = self._walk(path)[0]
        places = _places(node, self.lines)
        if places is None or not 0 <= start <= end <= len(places) - 1:
            return self._span_of(node)
        line, column = places[start]
        end_line, end_column = places[end - 1] if end > start else places[start]
        return self._make(line, column, end_line, end_column + (end > start))

    def line_span(self, line: int, column: int = 0) -> Span:
        """One character, by line and column counted from 0."""
        return self._make(line, column, line, column + 1)

    def _walk(self, path: tuple[Any, ...]) -> tuple[Node, Entry | None]:
        from .yamltree import Mapping, Sequence

        node: Node = self.root
        entry: Entry | None = None
        for step in path:
            if isinstance(node, Mapping):
                found = node.entries.get(step)
                if found is None:
                    break
                node, entry = found.value, found
            elif isinstance(node, Sequence) and isinstance(step, int) and 0 <= step < len(node.items):
                node, entry = node.items[step], None
            else:
                break
        return node, entry

    def _span_of(self, node: Node) -> Span:
        return self._make(*node.start, *node.end)

    def _make(self, line: int, column: int, end_line: int, end_column: int) -> Span:
        excerpt = self.lines[line] if line < len(self.lines) else None
        return Span(self.name, line + 1, column + 1, end_line + 1, end_column + 1, excerpt)


if TYPE_CHECKING:

    @overload
    def read(path: PathLike) -> Document: ...
    @overload
    def read(path: PathLike, problems: Problems) -> Document | None: ...


def read(path: PathLike, problems: Problems | None = None) -> Document | None:
    """Read a file. Faults raise `Refused`; where `problems` is given they go there, and none comes back."""
    found = Problems()
    text = _text_of(path, found)
    document = None if text is None else _parse(text, str(path), found)
    return _delivered(document, found, problems)


if TYPE_CHECKING:

    @overload
    def parse(text: str, name: str) -> Document: ...
    @overload
    def parse(text: str, name: str, problems: Problems) -> Document | None: ...


def parse(text: str, name: str, problems: Problems | None = None) -> Document | None:
    """Read text; `name` stands for the file in spans. Faults as in `read`."""
    found = Problems()
    size = len(text.encode("utf-8", "surrogatepass"))
    if size > MOST_BYTES:
        found.add("file-too-large", Span(name, 1, 1, 1, 1), size=size, limit=MOST_BYTES)
    document = None if len(found) else _parse(text, name, found)
    return _delivered(document, found, problems)


def _delivered(document: Document | None, found: Problems, problems: Problems | None) -> Document | None:
    if problems is None:
        found.refuse_if_any()
        return document
    for diagnostic in found:
        problems.note(diagnostic)
    return None if len(found) else document


def _text_of(path: PathLike, problems: Problems) -> str | None:
    start = Span(str(path), 1, 1, 1, 1)
    try:
        with open(path, "rb") as file:
            content = file.read(MOST_BYTES + 1)
            size = max(len(content), os.stat(path).st_size)
    except OSError as error:
        problems.add("file-unreadable", start, reason=(error.strerror or "unknown reason").lower())
        return None
    note_file(str(path), content)
    if len(content) > MOST_BYTES:
        problems.add("file-too-large", start, size=size, limit=MOST_BYTES)
        return None
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError as error:
        lines = content[: error.start].decode("utf-8").split("\n")
        line, column = len(lines), len(lines[-1]) + 1
        excerpt = content.split(b"\n")[line - 1].decode("utf-8", "replace")
        span = Span(str(path), line, column, line, column + 1, excerpt)
        problems.add("not-utf-8", span, offset=error.start)
        return None


def _parse(text: str, name: str, problems: Problems) -> Document | None:
    import yaml

    from .yamltree import compose, to_data, unseen

    blank = Document(name, _clean(text), None)
    for number, line in enumerate(blank.lines):
        for place, code in unseen(line):
            problems.add("control-character", blank.line_span(number, place), code=code)
    if len(problems):
        return None
    try:
        root = compose(blank.text, problems, blank._make)
    except yaml.MarkedYAMLError as error:
        _report_syntax(error, blank, problems)
        return None
    if root is None or len(problems):
        return None
    return Document(name, blank.text, to_data(root), root)


def _clean(text: str) -> str:
    """The text without a mark of its encoding, its lines ended one way."""
    return text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")


# --- documents read before ------------------------------------------------------------------------

KEPT = "document"


def read_kept(path: PathLike, problems: Problems) -> Document | None:
    """The same as `read`; the data of a file whose content has not changed is fetched from the cache."""
    memory = Memory(os.path.abspath(path))
    document = memory.read(path, problems)
    memory.keep()
    return document


def read_shipped(*parts: str) -> Any:
    """The data of a shipped file, read as by `read_kept`; raises `Refused` where it is broken."""
    problems = Problems()
    document = read_kept(shipped(*parts), problems)
    problems.refuse_if_any()
    return None if document is None else document.data


class Memory:
    """Documents that are kept together: what was read of each, and which checks found nothing wrong with its data."""

    def __init__(self, key: str) -> None:
        self._key = key
        self._before: dict[str, dict[str, Any]] = cache.fetch(KEPT, key) or {}
        self._now: dict[str, dict[str, Any]] = {}
        self._new = False

    def read(self, path: PathLike, problems: Problems) -> Document | None:
        """The same as `read` of this module."""
        try:
            with open(path, "rb") as file:
                content = file.read() if os.fstat(file.fileno()).st_size <= MOST_BYTES else b""
        except OSError:
            content = b""
        name, digest = os.path.abspath(path), digest_of(content)
        kept = self._before.get(name)
        if kept is not None and kept["digest"] == digest:
            note_file(str(path), content)
            self._now[name] = kept
            return Document(str(path), _clean(content.decode()), _thawed(kept["data"]))
        document = read(path, problems)
        if document is not None and document.text == _clean(content.decode("utf-8", "replace")):
            self._now[name] = {"digest": digest, "data": _thawable(document.data), "sound": []}
            self._new = True
        return document

    def sound(
        self, path: PathLike, check: str, judge: Callable[[], bool], alike: Callable[[Any, Any], bool]
    ) -> bool:
        """Whether a check passes a document; one that passed it before is not judged again.

        Nor is one of which an earlier version passed it, if `alike` of the two says that the check could not
        tell them apart; it is asked about data as it is kept, with the bytes of its text for a decimal.
        """
        name = os.path.abspath(path)
        known, before = self._now.get(name), self._before.get(name)
        if known is not None and check in known["sound"]:
            return True
        passed = known and before and check in before["sound"] and alike(before["data"], known["data"])
        passes = bool(passed) or judge()
        if passes and known is not None:
            known["sound"].append(check)
            self._new = True
        return passes

    def keep(self) -> None:
        """Keep everything read for the next time."""
        if self._new or len(self._now) != len(self._before):
            cache.keep(KEPT, self._key, self._now)


def _thawable(data: Any) -> Any:
    """Data that can be kept: a decimal becomes bytes, which no document holds."""
    if isinstance(data, Decimal):
        return str(data).encode()
    if isinstance(data, list):
        return [_thawable(item) for item in data]
    if isinstance(data, dict):
        return {_thawable(key): _thawable(value) for key, value in data.items()}
    return data


def _thawed(data: Any) -> Any:
    """The data as it was before `_thawable`."""
    if data.__class__ is bytes:
        return Decimal(data.decode())
    if data.__class__ is list:
        return [_thawed(item) for item in data]
    if data.__class__ is dict:
        return {_thawed(key): _thawed(value) for key, value in data.items()}
    return data


def _report_syntax(error: yaml.MarkedYAMLError, blank: Document, problems: Problems) -> None:
    from .yamltree import DEEPEST

    mark = error.problem_mark or error.context_mark
    line, column = (mark.line, mark.column) if mark else (0, 0)
    span = blank.line_span(line, column)
    character = (span.excerpt or "")[column : column + 1]
    problem = error.problem or "its structure is not clear"
    if character == "\t":
        problems.add("yaml-tab", span)
    elif "nesting depth" in problem:
        problems.add("nested-too-deep", span, limit=DEEPEST)
    elif "cannot start any token" in problem:
        problems.add("yaml-start", span, character=character)
    elif "mapping values are not allowed" in problem:
        problems.add("yaml-colon", span)
    elif character == "-":
        problems.add("yaml-dash", span)
    else:
        problems.add("yaml-syntax", span, problem=problem)


# --- where each character of a scalar's text stands in the file -----------------------------------

_ESCAPE = r"\\(?:x[0-9A-Fa-f]{2}|u[0-9A-Fa-f]{4}|U[0-9A-Fa-f]{8}|.)"


def _places(node: Node, lines: list[str]) -> list[tuple[int, int]] | None:
    """Line and column of every character of the text and of its end; none if they cannot be told."""
    from .yamltree import Scalar

    if not isinstance(node, Scalar):
        return None
    if node.style == "|":
        return _block_places(node, lines)
    if node.start[0] != node.end[0]:
        return None
    line, first = node.start
    source = lines[line][first : node.end[1]] if line < len(lines) else ""
    columns = _columns(source, node.style)
    return [(line, first + column) for column in columns] if len(columns) == len(node.text) + 1 else None


def _columns(source: str, style: str | None) -> list[int]:
    """The columns, within a scalar's source on one line, of its characters and of its end."""
    if style is None:
        return list(range(len(source) + 1))
    import re

    escapes = re.compile(_ESCAPE)
    columns, position = [], 1
    while position < len(source) - 1:
        columns.append(position)
        escape = escapes.match(source, position) if style == '"' else None
        width = 2 if style == "'" and source[position] == "'" else 1
        position = escape.end() if escape else position + width
    return [*columns, position]


def _block_places(node: Scalar, lines: list[str]) -> list[tuple[int, int]] | None:
    """A `|` block: its text starts on the line below the mark, indented as its first full line is."""
    parts = node.text.split("\n")
    below = node.start[0] + 1
    sources = lines[below : below + len(parts)]
    sources += [""] * (len(parts) - len(sources))
    full = next((i for i, part in enumerate(parts) if part), None)
    if full is None:
        return None
    indent = len(sources[full]) - len(parts[full])
    if any(part and source[indent:] != part for part, source in zip(parts, sources, strict=True)):
        return None
    return [
        (below + row, indent + column) for row, part in enumerate(parts) for column in range(len(part) + 1)
    ]


def plain(value: Any) -> Any:
    """Parsed YAML as data that keeps every digit: decimals become their own text."""
    if isinstance(value, Decimal):
        return str(value)
    if isinstance(value, list):
        return [plain(item) for item in value]
    if isinstance(value, dict):
        return {str(key): plain(item) for key, item in value.items()}
    return value


def copied(value: Any) -> Any:
    """Plain data once more, so that either can be changed alone."""
    if value.__class__ is dict:
        return {key: copied(item) for key, item in value.items()}
    if value.__class__ is list:
        return [copied(item) for item in value]
    return value


def as_list(value: Any) -> list[Any]:
    """A property that may be written alone or as a list."""
    if value is None:
        return []
    return value if isinstance(value, list) else [value]
