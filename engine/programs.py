"""All expressions of a book, read and checked: what the compilers compile and the explainer walks."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from .declared import TRUTH, Type
from .diagnostics import Problems, hint
from .entries import Entry
from .grammar import tree
from .loading import as_list
from .meaning import Op
from .model import Model
from .understanding import Reader

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
    """A requirement on a kind; it may constrain choices.

    `require` is all of it in one expression. Where layers have added to it, `exceptions` (by falling rank)
    and `alternatives` (any one is enough) are its parts, and `plain` what holds apart from them.
    """

    entry: Entry
    kind: str
    name: str
    when: Op | None
    require: Op
    constrains: list[Node]
    plain: Op | None = None
    exceptions: list[Route] = field(default_factory=list)
    alternatives: list[Route] = field(default_factory=list)

    @property
    def ways(self) -> list[Route]:
        """The parts that have a name of their own."""
        return [*self.exceptions, *self.alternatives]

    def ops(self) -> Iterator[Op]:
        """Every expression of the check."""
        if self.when is not None:
            yield self.when
        yield self.require


@dataclass
class Choice:
    """Picks the first member of a series that passes every check that constrains it.

    `carries` names the attribute of which a stated member is asked how much it could take.
    """

    entry: Entry
    kind: str
    name: str
    series: str
    type: Type
    when: Op | None
    carries: str | None = None
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
class Output(Caution):
    """Something that has to be made and shown beside the work, when a condition holds.

    `shows` are the attributes whose values it must state.
    """

    shows: list[str] = field(default_factory=list)


@dataclass
class Programs:
    """Everything a book computes."""

    rules: dict[Node, Rule]
    choices: dict[Node, Choice]
    checks: list[Check]
    cautions: list[Caution]
    outputs: list[Output] = field(default_factory=list)


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
    outputs = [_output(model, entry, problems) for entry in model.book.section("outputs").values()]
    programs = Programs(
        rules,
        choices,
        [check for check in checks if check],
        [caution for caution in cautions if caution],
        [output for output in outputs if output],
    )
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
    for route, after in itertools.pairwise(regular):
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
    return Choice(
        entry, kind, name, str(entry.body.get("from")), type, when, _carries(model, entry, kind, problems)
    )


def _carries(model: Model, entry: Entry, kind: str, problems: Problems) -> str | None:
    if "carries" not in entry.body:
        return None
    name, place = str(entry.body["carries"]), entry.place("carries")
    attribute = model.attributes.get((kind, name))
    if attribute is None:
        near = hint(name, model.names_of(kind))
        problems.add("unknown-attribute", place.span(), name=name, kind=kind, nearest=near)
    elif attribute.type.sort != "number" or attribute.type.detail.point:
        problems.add("not-an-amount", place.span(), name=name)
    return name


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
    when = _condition(reader, entry)
    plain = None
    if "any_of" not in entry.body:
        plain = reader.read(entry.body.get("require", ""), "require", expect=TRUTH)
    exceptions = [
        _way(reader, part, label, "exceptions") for label, part in _ranked(entry) if "require" in part
    ]
    listed = entry.body.get("any_of") or {}
    alternatives = [_way(reader, part, label, "any_of") for label, part in listed.items()]
    require = _one_requirement(plain, exceptions, alternatives)
    check = Check(entry, kind, entry.name, when, require, [], plain, exceptions, alternatives)
    for name in as_list(entry.body.get("constrains")):
        owner, _, attribute = str(name).rpartition(".")
        node = (owner or kind, attribute)
        choice = choices.get(node)
        if choice is None or choice.kind != kind:
            known = [name for owner, name in choices if owner == kind]
            problems.add(
                "unknown-name",
                entry.place("constrains").span(),
                what=f"choice of {kind}",
                name=name,
                nearest=hint(attribute, known),
            )
            continue
        check.constrains.append(node)
        choice.checks.append(check)
    return check


def _ranked(entry: Entry) -> list[tuple[str, dict[str, Any]]]:
    """The exceptions of an entry, the highest rank first."""
    exceptions: dict[str, dict[str, Any]] = entry.body.get("exceptions") or {}
    return sorted(exceptions.items(), key=lambda item: -int(item[1].get("rank", 0)))


def _condition(reader: Reader, entry: Entry) -> Op | None:
    """When an entry applies: its own condition, unless an exception without a saying of its own lifts it."""
    when = reader.read(entry.body["when"], "when", expect=TRUTH) if "when" in entry.body else None
    for label, part in (entry.body.get("exceptions") or {}).items():
        if "require" in part or "is" in part:
            continue
        lifted = reader.read(part.get("when", "yes"), "exceptions", label, "when", expect=TRUTH)
        stays = Op("not", (lifted,), TRUTH, tree.Not(lifted.node))
        when = stays if when is None else _joined("and", when, stays)
    return when


def _way(reader: Reader, part: dict[str, Any], label: str, section: str) -> Route:
    when = reader.read(part["when"], section, label, "when", expect=TRUTH) if "when" in part else None
    require = reader.read(part.get("require", ""), section, label, "require", expect=TRUTH, given=when)
    return Route(label, when, require, int(part.get("rank", 0)))


def _joined(word: str, left: Op, right: Op) -> Op:
    return Op("logic", (word, left, right), TRUTH, tree.Logic(word, left.node, right.node))


def _one_requirement(plain: Op | None, exceptions: list[Route], alternatives: list[Route]) -> Op:
    """All parts of a requirement as one condition."""
    parts = [way.value if way.when is None else _joined("and", way.when, way.value) for way in alternatives]
    require = plain if plain is not None else parts.pop(0)
    for part in parts:
        require = _joined("or", require, part)
    for way in reversed(exceptions):
        if way.when is None:
            require = way.value
        else:
            node = tree.If(way.when.node, way.value.node, require.node)
            require = Op("if", (way.when, way.value, require), TRUTH, node)
    return require


def _caution(model: Model, entry: Entry, problems: Problems) -> Caution | None:
    kind = _kind_of(model, entry, problems)
    if kind is None:
        return None
    return Caution(entry, kind, _condition(Reader(model, entry, kind, problems), entry))


def _output(model: Model, entry: Entry, problems: Problems) -> Output | None:
    kind = _kind_of(model, entry, problems)
    if kind is None:
        return None
    shows = [str(name) for name in as_list(entry.body.get("shows"))]
    for index, name in enumerate(shows):
        if (kind, name) not in model.attributes:
            near = model.hint(name, model.names_of(kind))
            place = entry.place("shows", index)
            problems.add("unknown-attribute", place.span(), kind=kind, name=name, nearest=near)
    return Output(entry, kind, _condition(Reader(model, entry, kind, problems), entry), shows)


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
    for path in followed(edges):
        if len(path) > 1:
            names = " -> ".join(name for _, name in path)
            place = programs.rules[path[0]].entry.place()
            problems.add("leans-on-itself", place.key_span(), kind=path[0][0], path=names)


def followed(edges: Mapping[Node, Sequence[Node]]) -> Iterator[list[Node]]:
    """Every node by itself once all it leads to is done, and every circle as the path that closes.

    However long a chain is, nothing here recurses.
    """
    done: set[Node] = set()
    for start in edges:
        trail = {} if start in done else {start: iter(edges[start])}
        while trail:
            node, targets = next(reversed(trail.items()))
            target = next(targets, None)
            if target is None:
                done.add(node)
                del trail[node]
                yield [node]
            elif target in trail:
                path = list(trail)
                yield [*path[path.index(target) :], target]
            elif target in edges and target not in done:
                trail[target] = iter(edges[target])
