"""All expressions of a book, read and checked: what the compilers compile and the explainer walks."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from .diagnostics import Problems, hint
from .entries import Entry
from .loading import as_list
from .meaning import Op, Reader
from .model import TRUTH, Model, Type

Node = tuple[str, str]
"""A kind and the name of one of its attributes."""


@dataclass
class Route:
    """One way to a value: taken when `when` holds (always, if None)."""

    name: str
    when: Op | None
    value: Op
    rank: int | None = None
    """The rank of an exception; None for a regular way."""


@dataclass
class Rule:
    """How an attribute is derived: exceptions by falling rank, then the regular ways in order."""

    entry: Entry
    kind: str
    name: str
    type: Type
    routes: list[Route]

    def ops(self) -> Iterator[Op]:
        """Every expression of the rule."""
        for route in self.routes:
            if route.when is not None:
                yield route.when
            yield route.value


@dataclass
class Check:
    """A requirement on a kind; it may constrain choices."""

    entry: Entry
    kind: str
    name: str
    when: Op | None
    require: Op
    constrains: list[Node]

    def ops(self) -> Iterator[Op]:
        """Every expression of the check."""
        if self.when is not None:
            yield self.when
        yield self.require


@dataclass
class Choice:
    """Picks the first member of a series that passes every check that constrains it."""

    entry: Entry
    kind: str
    name: str
    series: str
    type: Type
    when: Op | None
    checks: list[Check] = field(default_factory=list)

    def ops(self) -> Iterator[Op]:
        """Every expression of the choice itself."""
        if self.when is not None:
            yield self.when


@dataclass
class Caution:
    """What the reader must be told about each thing of a kind, when a condition holds."""

    entry: Entry
    kind: str
    when: Op | None

    def ops(self) -> Iterator[Op]:
        """Every expression of the caution."""
        if self.when is not None:
            yield self.when


@dataclass
class Programs:
    """Everything a book computes."""

    rules: dict[Node, Rule]
    choices: dict[Node, Choice]
    checks: list[Check]
    cautions: list[Caution]


def read_programs(model: Model, problems: Problems) -> Programs:
    """Read every expression of the book; what is wrong goes to `problems`."""
    rules: dict[Node, Rule] = {}
    choices: dict[Node, Choice] = {}
    for (kind, name), attribute in model.attributes.items():
        if attribute.role == "rule":
            rules[kind, name] = _rule(model, attribute.entry, kind, name, attribute.type, problems)
        elif attribute.role == "choice":
            choices[kind, name] = _choice(model, attribute.entry, kind, name, attribute.type, problems)
    checks = [_check(model, entry, choices, problems) for entry in model.book.section("checks").values()]
    cautions = [_caution(model, entry, problems) for entry in model.book.section("cautions").values()]
    programs = Programs(rules, choices, [check for check in checks if check], [c for c in cautions if c])
    _report_circles(programs, problems)
    return programs


def _rule(model: Model, entry: Entry, kind: str, name: str, type: Type, problems: Problems) -> Rule:
    reader = Reader(model, entry, kind, problems)
    body = entry.body
    routes: list[Route] = []
    exceptions = body.get("exceptions") or {}
    for label, part in sorted(exceptions.items(), key=lambda item: -int(item[1].get("rank", 0))):
        route = _route(reader, part, label, type, "exceptions", label)
        route.rank = int(part.get("rank", 0))
        routes.append(route)
    for label, part in (body.get("branches") or {}).items():
        routes.append(_route(reader, part, label, type, "branches", label))
    if "is" in body:
        routes.append(_route(reader, body, "", type))
    if "otherwise" in body:
        routes.append(Route("otherwise", None, reader.read(body["otherwise"], "otherwise", expect=type)))
    regular = [route for route in routes if route.rank is None]
    for route, after in zip(regular, regular[1:], strict=False):
        if route.when is None:
            problems.add("never-reached", entry.place().key_span(), entry=entry.id, route=after.name or "is")
    if not routes:
        problems.add("rule-says-nothing", entry.place().key_span(), entry=entry.id)
    return Rule(entry, kind, name, type, routes)


def _route(reader: Reader, part: dict[str, Any], label: str, type: Type, *path: str) -> Route:
    when = reader.read(part["when"], *path, "when", expect=TRUTH) if "when" in part else None
    return Route(label, when, reader.read(part.get("is", "none"), *path, "is", expect=type, given=when))


def _choice(model: Model, entry: Entry, kind: str, name: str, type: Type, problems: Problems) -> Choice:
    reader = Reader(model, entry, kind, problems)
    when = reader.read(entry.body["when"], "when", expect=TRUTH) if "when" in entry.body else None
    return Choice(entry, kind, name, str(entry.body.get("from")), type, when)


def _kind_of(model: Model, entry: Entry, problems: Problems) -> str | None:
    kind = str(entry.body.get("of", ""))
    if kind in model.kinds:
        return kind
    span = entry.place("of").span() if "of" in entry.body else entry.place().key_span()
    problems.add("unknown-name", span, what="kind", name=kind, nearest=hint(kind, model.kinds))
    return None


def _check(model: Model, entry: Entry, choices: dict[Node, Choice], problems: Problems) -> Check | None:
    kind = _kind_of(model, entry, problems)
    if kind is None:
        return None
    reader = Reader(model, entry, kind, problems)
    when = reader.read(entry.body["when"], "when", expect=TRUTH) if "when" in entry.body else None
    require = reader.read(entry.body.get("require", ""), "require", expect=TRUTH)
    check = Check(entry, kind, entry.name, when, require, [])
    for name in as_list(entry.body.get("constrains")):
        owner, _, attribute = str(name).rpartition(".")
        node = (owner or kind, attribute)
        choice = choices.get(node)
        if choice is None or choice.kind != kind:
            known = [name for owner, name in choices if owner == kind]
            problems.add(
                "unknown-name", entry.place("constrains").span(), what=f"choice of {kind}", name=name,
                nearest=hint(attribute, known),
            )
            continue
        check.constrains.append(node)
        choice.checks.append(check)
    return check


def _caution(model: Model, entry: Entry, problems: Problems) -> Caution | None:
    kind = _kind_of(model, entry, problems)
    if kind is None:
        return None
    reader = Reader(model, entry, kind, problems)
    when = reader.read(entry.body["when"], "when", expect=TRUTH) if "when" in entry.body else None
    return Caution(entry, kind, when)


def own_reads(op: Op) -> Iterator[str]:
    """The attributes an expression always asks of the rule's own thing."""
    for step in op.walk():
        if step.code == "get" and step.parts[0].code == "this":
            yield step.parts[1]


def _report_circles(programs: Programs, problems: Problems) -> None:
    """A value that leans on itself on the same thing can never be computed: show the path that closes."""
    edges: dict[Node, list[Node]] = {}
    for node, rule in programs.rules.items():
        edges[node] = [(rule.kind, name) for op in rule.ops() for name in own_reads(op)]
    done: set[Node] = set()

    def visit(node: Node, path: list[Node]) -> None:
        if node in path:
            circle = [*path[path.index(node):], node]
            entry = programs.rules[node].entry
            names = " -> ".join(name for _, name in circle)
            problems.add("leans-on-itself", entry.place().key_span(), kind=node[0], path=names)
            return
        if node in done or node not in edges:
            return
        for target in edges[node]:
            visit(target, [*path, node])
        done.add(node)

    for node in edges:
        visit(node, [])
