"""YAML files as plain data in which every value still knows where it stands.

Data is made of dict, list, str, int, `Decimal` and None. Only plain scalars that look like a decimal number
become numbers; nothing becomes a truth value, a date or a float. Faults are collected into a `Problems`; a
document with any fault is refused.
"""

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any, overload

import yaml

from .diagnostics import Problems, Span
from .inputs import note_file
from .yamltree import DEEPEST, FORBIDDEN, Entry, Mapping, Node, Scalar, Sequence, compose, to_data

MOST_BYTES = 4 * 1024 * 1024

Step = Any
"""One step of a path: a key as it stands in the data, or the index of a list."""


@dataclass(frozen=True, slots=True)
class Document:
    """One file: its data, and the place of everything in it."""

    name: str
    text: str
    data: Any
    root: Node
    lines: list[str]

    def span(self, path: tuple[Step, ...] = ()) -> Span:
        """The value at `path`, or the nearest enclosing value that exists."""
        return self._span_of(self._walk(path)[0])

    def key_span(self, path: tuple[Step, ...]) -> Span:
        """The key of the value at `path`; the value itself where it has no key."""
        node, entry = self._walk(path)
        return self._span_of(entry.key if entry else node)

    def span_inside(self, path: tuple[Step, ...], start: int, end: int) -> Span:
        """A part of the text at `path`, by offsets into the text (end exclusive).

        Exact for text on one line, plain or quoted, and for `|` blocks; otherwise the whole value.
        """
        node = self._walk(path)[0]
        places = _places(node, self.lines) if isinstance(node, Scalar) else None
        if places is None or not 0 <= start <= end <= len(places) - 1:
            return self._span_of(node)
        line, column = places[start]
        end_line, end_column = places[end - 1] if end > start else places[start]
        return self._make(line, column, end_line, end_column + (end > start))

    def line_span(self, line: int, column: int = 0) -> Span:
        """One character, by line and column counted from 0."""
        return self._make(line, column, line, column + 1)

    def _walk(self, path: tuple[Step, ...]) -> tuple[Node, Entry | None]:
        node, entry = self.root, None
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


@overload
def read(path: Path | str) -> Document: ...
@overload
def read(path: Path | str, problems: Problems) -> Document | None: ...
def read(path: Path | str, problems: Problems | None = None) -> Document | None:
    """Read a file. Faults raise `Refused`; where `problems` is given they go there, and none comes back."""
    found = Problems()
    text = _text_of(Path(path), found)
    document = None if text is None else _parse(text, str(path), found)
    return _delivered(document, found, problems)


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


def _text_of(path: Path, problems: Problems) -> str | None:
    start = Span(str(path), 1, 1, 1, 1)
    try:
        with path.open("rb") as file:
            content = file.read(MOST_BYTES + 1)
            size = max(len(content), path.stat().st_size)
    except OSError as error:
        problems.add("file-unreadable", start, reason=(error.strerror or "unknown reason").lower())
        return None
    note_file(path, content)
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
    clean = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    lines = clean.split("\n")
    empty = Scalar((0, 0), (0, 0), "", None)
    blank = Document(name, clean, None, empty, lines)
    for number, line in enumerate(lines):
        for bad in FORBIDDEN.finditer(line):
            span = blank.line_span(number, bad.start())
            problems.add("control-character", span, code=f"{ord(bad[0]):04X}")
    if len(problems):
        return None
    try:
        root = compose(clean, problems, blank._make)
    except yaml.MarkedYAMLError as error:
        _report_syntax(error, blank, problems)
        return None
    if root is None or len(problems):
        return None
    return Document(name, clean, to_data(root), root, lines)


def _report_syntax(error: yaml.MarkedYAMLError, blank: Document, problems: Problems) -> None:
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

_ESCAPE = re.compile(r"\\(?:x[0-9A-Fa-f]{2}|u[0-9A-Fa-f]{4}|U[0-9A-Fa-f]{8}|.)")


def _places(node: Scalar, lines: list[str]) -> list[tuple[int, int]] | None:
    """Line and column of every character of the text and of its end; none if they cannot be told."""
    if node.style == "|":
        return _block_places(node, lines)
    if node.start[0] != node.end[0]:
        return None
    line, first = node.start
    source = lines[line][first : node.end[1]]
    columns = _columns(source, node.style)
    return [(line, first + column) for column in columns] if len(columns) == len(node.text) + 1 else None


def _columns(source: str, style: str | None) -> list[int]:
    """The columns, within a scalar's source on one line, of its characters and of its end."""
    if style is None:
        return list(range(len(source) + 1))
    columns, position = [], 1
    while position < len(source) - 1:
        columns.append(position)
        escape = _ESCAPE.match(source, position) if style == '"' else None
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
