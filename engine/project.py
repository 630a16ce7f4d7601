"""A project file to a graph of things of the kinds its book declares; every problem reported with its place."""

from __future__ import annotations

import operator
from collections.abc import Iterator, Sequence
from decimal import Decimal

from .diagnostics import Problems, Refused, diagnose, hint, nearest_hint
from .evaluating import Run, Thing, read_value
from .rulebook import Attribute, Rulebook
from .source import HEAD, SELECTORS, Source
from .units import UnitError

TYPE_CHECKING = False

if TYPE_CHECKING:
    from typing import Any

    from .source import Path

MOST_THINGS = 20_000


def words_of(rulebook: Rulebook, attribute: Attribute) -> list[str]:
    """The words a field takes."""
    if attribute.sort == "truth":
        return ["yes", "no"]
    if attribute.sort == "word":
        return list(rulebook.frozen["terms"][attribute.detail])
    return list(rulebook.frozen["series"][attribute.detail]["labels"])


def breaches(rulebook: Rulebook, attribute: Attribute, value: Any) -> Iterator[tuple[str, str]]:
    """The bounds of a field that a value oversteps: on which side, and the bound as written."""
    field = attribute.field or {}
    for word, side, wrong in (("least", "below", operator.lt), ("most", "above", operator.gt)):
        if word in field and wrong(value, read_value(rulebook, attribute, str(field[word]))):
            yield side, str(field[word])


class Builder:
    """Puts the things of a project into a run."""

    def __init__(self, source: Source, rulebook: Rulebook, run: Run, problems: Problems) -> None:
        self.source, self.rulebook, self.run, self.problems = source, rulebook, run, problems
        self.links: list[tuple[Thing, Attribute, Any, Path]] = []

    def build(self) -> None:
        """Build every thing, then tie them together."""
        sections = {
            str(body.get("section", kind)): kind
            for kind, body in self.rulebook.kinds.items()
            if "within" not in body
        }
        for key, value in self.source.data.items():
            if key in HEAD:
                continue
            if key not in sections:
                self._unknown((key,), [*sections, *HEAD])
            elif self.rulebook.only(sections[key]):
                self._thing(sections[key], key, key, value, (key,), None)
            else:
                self._named(sections[key], key, value)
        for kind in sections.values():
            if self.rulebook.only(kind) and not self.run.by_kind[kind]:
                self._thing(kind, str(self.rulebook.kinds[kind].get("section", kind)), kind, {}, (), None)
        for thing, attribute, value, path in self.links:
            self._tie(thing, attribute, value, path)
        self._backward()
        self._circles()

    def _say(self, name: str, path: Path, /, **values: Any) -> None:
        self.problems.add(name, self.source.key_span(path), **values)

    def _unknown(self, path: Path, known: list[str], meant: Sequence[str] = ()) -> None:
        """A key that means nothing here: `meant` is where else it is stated; a layer that is not in force on the
        day may be the one that knows it.
        """
        key, absent = str(path[-1]), self.rulebook.frozen["absent"]
        fault = "unknown-key-today" if absent else "unknown-key"
        near = nearest_hint(meant) or hint(key, known)
        self._say(fault, path, key=key, nearest=near, layers=", ".join(absent))

    def _named(self, kind: str, section: str, value: Any) -> None:
        if value is None:
            return
        if not isinstance(value, dict):
            self.problems.add("not-a-mapping", self.source.span((section,)), key=section)
            return
        for name, body in value.items():
            self._thing(kind, str(name), f"{section}.{name}", body, (section, name), None)

    def _thing(self, kind: str, name: str, path: str, body: Any, at: Path, parent: Thing | None) -> None:
        if body is None:
            body = {}
        if not isinstance(body, dict):
            self.problems.add("not-a-mapping", self.source.span(at), key=name)
            return
        if len(self.run.things) >= MOST_THINGS:
            raise Refused(diagnose("too-many-things", self.source.span(at), limit=MOST_THINGS))
        thing = self.run.thing_type(self.run, kind, name, path, parent)
        self.run.add(thing)
        if parent is not None:
            thing.memo[parent.kind] = parent
        attributes = self.rulebook.attributes[kind].values()
        children = self._children(thing, body, at)
        fields = {tuple(a.steps): a for a in attributes if a.field is not None}
        only = self.rulebook.only(kind)
        self._keys(thing, body, at, (), fields, [*children, *(SELECTORS if only else ())])
        for steps, attribute in fields.items():
            if attribute.name not in thing.stated and (attribute.field or {}).get("required") == "yes" and at:
                self._say(
                    "field-missing", at, thing=thing.path, field=".".join(steps), **self._ask(attribute)
                )
            if attribute.role == "relation" and attribute.name not in thing.stated:
                thing.memo[attribute.name] = [] if attribute.sort == "things" else None

    @staticmethod
    def _ask(attribute: Attribute) -> dict[str, str]:
        ask = (attribute.field or {}).get("ask")
        return {"ask": f": {ask}" if ask else ""}

    def _children(self, thing: Thing, body: dict[str, Any], at: Path) -> list[str]:
        """Build what lies within a thing; answers the keys it stands under."""
        keys = []
        for kind, declared in self.rulebook.kinds.items():
            if declared.get("within") != thing.kind:
                continue
            section = str(declared.get("section", kind))
            keys.append(section)
            thing.memo[section] = []
            value = body.get(section)
            if value is None:
                continue
            if not isinstance(value, list):
                self.problems.add("not-a-list", self.source.span((*at, section)), key=section)
                continue
            for index, item in enumerate(value):
                path = f"{thing.path}.{section}[{index}]"
                self._thing(kind, f"{section}[{index}]", path, item, (*at, section, index), thing)
                child = self.run.things.get(path)
                if child is not None:
                    thing.memo[section].append(child)
        return keys

    def _keys(
        self,
        thing: Thing,
        body: dict[str, Any],
        at: Path,
        below: tuple[str, ...],
        fields: dict[tuple[str, ...], Attribute],
        others: list[str],
    ) -> None:
        """Read every key of a mapping: a field, a group of fields, or a mistake."""
        for key, value in body.items():
            steps = (*below, str(key))
            path = (*at, key)
            attribute = fields.get(steps) or self._renamed(thing, path, fields)
            if attribute is not None:
                if value is not None:
                    self._state(thing, attribute, value, path)
            elif any(known[: len(steps)] == steps for known in fields):
                if isinstance(value, dict):
                    self._keys(thing, value, path, steps, fields, [])
                else:
                    self.problems.add("not-a-mapping", self.source.span(path), key=key)
            elif not below and str(key) in others:
                continue
            else:
                known_keys = {known[len(below)] for known in fields if known[: len(below)] == below}
                meant = [".".join(steps) for steps, field in fields.items() if field.name == str(key)]
                self._unknown(path, [*known_keys, *others], meant)

    def _renamed(
        self, thing: Thing, path: Path, fields: dict[tuple[str, ...], Attribute]
    ) -> Attribute | None:
        """The field that a key named before it was called otherwise."""
        old = str(path[-1])
        new = self.rulebook.renamed["attributes"].get(f"{thing.kind}.{old}")
        found = next((field for field in fields.values() if field.name == new), None)
        if found is None:
            return None
        span = self.source.key_span(path)
        self.run.notices.append(diagnose("entry-renamed", span, old=old, new=found.name))
        return found

    def _state(self, thing: Thing, attribute: Attribute, value: Any, path: Path) -> None:
        if attribute.name in thing.stated:
            self._say("stated-under-both-names", path, name=attribute.name)
        thing.stated.add(attribute.name)
        if attribute.role == "relation":
            self.links.append((thing, attribute, value, path))
            return
        if isinstance(value, (dict, list)):
            self.problems.add("not-one-value", self.source.span(path), key=".".join(attribute.steps))
            return
        text = f"{value:f}" if isinstance(value, Decimal) else str(value)
        try:
            made = read_value(self.rulebook, attribute, text)
        except UnitError as error:
            self.problems.take(error, self.source.span(path))
        except ValueError:
            known = words_of(self.rulebook, attribute)
            self.problems.add(
                "unknown-word",
                self.source.span(path),
                word=text,
                among=", ".join(known[:16]),
                nearest=hint(text, known),
            )
        else:
            self._in_range(attribute, made, path)
            thing.memo[attribute.name] = made

    def _in_range(self, attribute: Attribute, value: Any, path: Path) -> None:
        for side, bound in breaches(self.rulebook, attribute, value):
            key = ".".join(attribute.steps)
            self.problems.add("out-of-range", self.source.span(path), key=key, bound=bound, side=side)

    # -- relations

    def _tie(self, thing: Thing, attribute: Attribute, value: Any, path: Path) -> None:
        many = attribute.sort == "things"
        names = value if isinstance(value, list) else [value]
        if isinstance(value, dict) or (isinstance(value, list) and not many):
            self.problems.add("not-one-value", self.source.span(path), key=".".join(attribute.steps))
            thing.memo[attribute.name] = [] if many else None
            return
        kind = str(attribute.detail)
        section = str(self.rulebook.kinds[kind].get("section", kind))
        known = {other.name: other for other in self.run.by_kind[kind]}
        found = []
        for index, name in enumerate(names):
            target = known.get(str(name))
            if target is None:
                place = (*path, index) if isinstance(value, list) else path
                self.problems.add(
                    "unknown-thing",
                    self.source.span(place),
                    name=name,
                    section=section,
                    nearest=hint(str(name), known),
                )
            elif target not in found:
                found.append(target)
        thing.memo[attribute.name] = found if many else found[0] if found else None

    def _backward(self) -> None:
        """Fill the inverse of every relation."""
        for attributes in self.rulebook.attributes.values():
            for attribute in attributes.values():
                relation = attribute.data.get("relation") or []
                if not relation or relation[0] != "inverse":
                    continue
                for thing in self.run.by_kind[attribute.kind]:
                    thing.memo[attribute.name] = []
                for other in self.run.by_kind[relation[2]]:
                    for target in _several(other.memo.get(relation[1])):
                        target.memo[attribute.name].append(other)

    def _circles(self) -> None:
        """A relation of a kind to itself may not lead back to where it began."""
        for attributes in self.rulebook.attributes.values():
            for attribute in attributes.values():
                if (
                    attribute.role == "relation"
                    and attribute.detail == attribute.kind
                    and attribute.field is not None
                ):
                    for circle in self._circle(attribute):
                        at = self._path_of(circle[0], attribute)
                        self.problems.add(
                            "things-feed-each-other",
                            self.source.span(at),
                            key=attribute.steps[-1],
                            path=" -> ".join(thing.name for thing in circle),
                        )

    def _path_of(self, thing: Thing, attribute: Attribute) -> Path:
        section = str(self.rulebook.kinds[thing.kind].get("section", thing.kind))
        return (section, thing.name, *attribute.steps)

    def _circle(self, attribute: Attribute) -> Iterator[list[Thing]]:
        done: set[Thing] = set()
        for start in self.run.by_kind[attribute.kind]:
            if start in done:
                continue
            stack: list[tuple[Thing, Iterator[Thing]]] = [
                (start, iter(_several(start.memo.get(attribute.name))))
            ]
            while stack:
                thing, targets = stack[-1]
                step = next(targets, None)
                if step is None:
                    done.add(thing)
                    stack.pop()
                    continue
                trail = [node for node, _ in stack]
                if step in trail:
                    yield [*trail[trail.index(step) :], step]
                    done.update(trail)
                    break
                if step not in done:
                    stack.append((step, iter(_several(step.memo.get(attribute.name)))))


def _several(value: Any) -> list[Thing]:
    if value is None:
        return []
    return list(value) if isinstance(value, list) else [value]


def build_run(
    source: Source, rulebook: Rulebook, settled: dict[str, tuple[str, str]], problems: Problems
) -> Run:
    """A run of the project under the book; whatever the project says wrongly goes to `problems`."""
    run = Run(rulebook, settled)
    fill_run(run, source, problems)
    return run


def fill_run(run: Run, source: Source, problems: Problems) -> None:
    """Put the things of the project into an empty run; its faults go to `problems`."""
    with run.exactly():
        Builder(source, run.rulebook, run, problems).build()
