"""YAML events to a tree of nodes with positions, under limits, with faults collected.

Only what our files need: mappings, sequences, scalars and a few aliases. Lines and columns count from 0.
"""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

import yaml

from .diagnostics import Problems, Span, hint

DEEPEST = 64
MOST_NODES = 400_000
MOST_ALIASES = 100
MOST_DIGITS = 50

FORBIDDEN = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ud800-\udfff\ufeff\ufffe\uffff]"
)
"""Characters that cannot be seen or that reorder what is seen; line ends and tabs are not among them."""

_NUMBER = re.compile(r"[-+]?(?:0|[1-9]\d*|(?:0|[1-9]\d*)?(?P<decimals>\.\d+))", re.ASCII)
_LOADER = getattr(yaml, "CSafeLoader", yaml.SafeLoader)

Position = tuple[int, int]
MakeSpan = Callable[[int, int, int, int], Span]


@dataclass(frozen=True, slots=True)
class Scalar:
    """A text as YAML reads it, and its value as data."""

    start: Position
    end: Position
    text: str
    style: str | None
    value: Any = None
    size: int = 1
    depth: int = 1


@dataclass(slots=True)
class Sequence:
    """A list; `size` and `depth` count what is in it, itself included."""

    start: Position
    end: Position = (0, 0)
    items: "list[Node]" = field(default_factory=list)
    size: int = 1
    depth: int = 1


@dataclass(slots=True)
class Entry:
    """A key and its value."""

    key: Scalar
    value: "Node"


@dataclass(slots=True)
class Mapping:
    """A dictionary, by the keys as they stand in the data."""

    start: Position
    end: Position = (0, 0)
    entries: dict[Any, Entry] = field(default_factory=dict)
    size: int = 1
    depth: int = 1


Node = Scalar | Sequence | Mapping


def unseen(text: str) -> Iterator[tuple[int, str]]:
    """Where in a text a character stands that cannot be seen, and its number as a message names it."""
    return ((bad.start(), f"{ord(bad[0]):04X}") for bad in FORBIDDEN.finditer(text))


def to_data(node: Node) -> Any:
    """The tree as fresh plain data; an alias gives a copy."""
    if isinstance(node, Scalar):
        return node.value
    if isinstance(node, Sequence):
        return [to_data(item) for item in node.items]
    return {key: to_data(entry.value) for key, entry in node.entries.items()}


def compose(text: str, problems: Problems, span: MakeSpan) -> Node | None:
    """The tree of the one document in `text`; none once a fault makes it pointless to go on.

    An empty text is an empty scalar. Raises `yaml.MarkedYAMLError` where the text is not YAML.
    """
    composer = _Composer(yaml.parse(text, Loader=_LOADER), problems, span)
    try:
        return composer.document()
    except _Stop:
        return None


class _Stop(Exception):
    """A limit is exceeded; it is already reported."""


class _Composer:
    def __init__(self, events: Iterator[Any], problems: Problems, span: MakeSpan) -> None:
        self.events = events
        self.problems = problems
        self.span = span
        self.anchors: dict[str, Node | None] = {}
        self.aliases = 0
        self.nodes = 0

    def document(self) -> Node:
        root: Node = Scalar((0, 0), (0, 0), "", None)
        seen = 0
        for event in self.events:
            if isinstance(event, yaml.DocumentStartEvent):
                seen += 1
                if seen > 1:
                    self.stop("several-documents", event)
            elif isinstance(event, yaml.NodeEvent):
                root = self.node(event, 1)
        return root

    def fault(self, name: str, event: Any, **values: object) -> None:
        self.problems.add(name, self.span(*_marks(event)[0], *_marks(event)[1]), **values)

    def stop(self, name: str, event: Any, **values: object) -> None:
        self.fault(name, event, **values)
        raise _Stop

    def node(self, event: Any, level: int) -> Node:
        node = self.alias(event) if isinstance(event, yaml.AliasEvent) else None
        self.nodes += node.size if node else 1
        if self.nodes > MOST_NODES:
            self.stop("too-many-values", event, limit=MOST_NODES)
        if level + (node.depth if node else 1) - 1 > DEEPEST:
            self.stop("nested-too-deep", event, limit=DEEPEST)
        if node:
            return node
        if event.tag is not None:
            self.fault("yaml-tag", event, tag=event.tag)
        if event.anchor:
            self.anchors[event.anchor] = None
        made: Node
        if isinstance(event, yaml.ScalarEvent):
            made = self.scalar(event)
        elif isinstance(event, yaml.SequenceStartEvent):
            made = self.sequence(event, level)
        else:
            made = self.mapping(event, level)
        if event.anchor:
            self.anchors[event.anchor] = made
        return made

    def alias(self, event: yaml.AliasEvent) -> Node:
        name = str(event.anchor)
        self.aliases += 1
        if self.aliases > MOST_ALIASES:
            self.stop("too-many-aliases", event, limit=MOST_ALIASES)
        if name not in self.anchors:
            self.stop("unknown-alias", event, alias=name, nearest=hint(name, self.anchors))
        node = self.anchors[name]
        if node is None:
            self.fault("alias-of-itself", event, alias=name)
            raise _Stop
        return node

    def scalar(self, event: yaml.ScalarEvent) -> Scalar:
        text = str(event.value)
        for _, code in unseen(text):
            self.fault("control-character", event, code=code)
        value: Any = text
        # libyaml calls a plain style "", the Python parser None
        style = event.style or None
        if style is None:
            number = _NUMBER.fullmatch(text)
            digits = len(text.replace(".", "").lstrip("+-0"))
            if text in ("", "~", "null"):
                value = None
            elif number and digits > MOST_DIGITS:
                self.fault("number-too-long", event, digits=digits, limit=MOST_DIGITS)
            elif number:
                value = Decimal(text) if number["decimals"] else int(text)
        return Scalar(*_marks(event), text, style, value)

    def sequence(self, event: Any, level: int) -> Sequence:
        made = Sequence(_marks(event)[0])
        for inner in self.events:
            if isinstance(inner, yaml.SequenceEndEvent):
                made.end = _marks(inner)[1]
                break
            _take(made, item := self.node(inner, level + 1))
            made.items.append(item)
        return made

    def mapping(self, event: Any, level: int) -> Mapping:
        made = Mapping(_marks(event)[0])
        for inner in self.events:
            if isinstance(inner, yaml.MappingEndEvent):
                made.end = _marks(inner)[1]
                break
            key = self.node(inner, level + 1)
            value = self.node(next(self.events), level + 1)
            _take(made, key)
            _take(made, value)
            self.enter(made, inner, key, value)
        return made

    def enter(self, made: Mapping, event: Any, key: Node, value: Node) -> None:
        if not isinstance(key, Scalar) or key.value is None:
            self.fault("bad-key", event)
        elif key.text == "<<" and key.style is None:
            self.fault("merge-key", event)
        elif key.value in made.entries:
            first = made.entries[key.value].key.start[0] + 1
            self.fault("duplicate-key", event, key=key.text, first=first)
        else:
            made.entries[key.value] = Entry(key, value)


def _take(parent: Sequence | Mapping, child: Node) -> None:
    parent.size += child.size
    parent.depth = max(parent.depth, child.depth + 1)


def _marks(event: Any) -> tuple[Position, Position]:
    start, end = event.start_mark, event.end_mark
    return (start.line, start.column), (end.line, end.column)
