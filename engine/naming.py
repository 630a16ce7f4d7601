"""What a name in an expression stands for: an item or a member around it, an attribute, something of the book."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from .declared import WRONG, Type
from .diagnostics import GaugebookError, Problems
from .entries import Entry, Path
from .grammar import tree
from .meaning import Op
from .model import Attribute, Model


@dataclass(frozen=True)
class Scope:
    """A name bound inside an expression: the item of an aggregate (a thing) or a member being picked."""

    code: str
    number: int
    type: Type
    name: str | None


class Names:
    """The names that the expressions of one entry, about one kind, may use; `scopes` are those bound inside."""

    def __init__(self, model: Model, entry: Entry, kind: str, problems: Problems) -> None:
        self.model, self.entry, self.kind, self.problems = model, entry, kind, problems
        self.at: Path = ()
        self.scopes: list[Scope] = []

    def _attribute(self, kind: str, name: str, node: tree.Node) -> Attribute | None:
        """An attribute by the name it has, or had."""
        new = self.model.renaming.attributes.get((kind, name))
        if new is not None:
            self._renamed(name, new, node)
        return self.model.attributes.get((kind, new or name))

    def _entry_name(self, section: str, name: str, node: tree.Node) -> str:
        """The present name of an entry of a section."""
        new = self.model.renaming.names.get((section, name))
        if new is None:
            return name
        self._renamed(name, new, node)
        return new

    def _renamed(self, old: str, new: str, node: tree.Node) -> None:
        self.model.renaming.notice(old, new, self.entry.place(*self.at).inside(*node.span))

    def _bound_name(self, node: tree.Name) -> Op | None:
        name = node.text
        if name == "it" and any(scope.code == "item" for scope in self.scopes):
            scope = next(scope for scope in reversed(self.scopes) if scope.code == "item")
            return Op("item", (scope.number,), scope.type, node)
        for scope in reversed(self.scopes):
            if scope.name == name:
                return Op("bound", (scope.number,), scope.type, node)
            if scope.code == "item":
                attribute = self._attribute(scope.type.detail, name, node)
                if attribute is not None:
                    subject = Op("item", (scope.number,), scope.type, node)
                    return Op("get", (subject, attribute.name), attribute.type, node)
        return None

    def _own_name(self, node: tree.Name) -> Op | None:
        if node.text == "this":
            return Op("this", (), Type("thing", self.kind), node)
        attribute = self._attribute(self.kind, node.text, node)
        if attribute is None:
            return None
        this = Op("this", (), Type("thing", self.kind), node)
        return Op("get", (this, attribute.name), attribute.type, node)

    def _global_name(self, node: tree.Name) -> Op | None:
        kind, constant, reading = (
            self._entry_name(section, node.text, node) for section in ("kinds", "constants", "readings")
        )
        if self.model.only(kind):
            return Op("only", (kind,), Type("thing", kind), node)
        if constant in self.model.constants:
            return Op("constant", (constant,), self.model.constants[constant][0], node)
        if reading in self.model.readings:
            return Op("reading", (reading,), Type("word", f"reading {reading}"), node)
        return None

    def _known_names(self, expect: Type | None) -> list[str]:
        names = [scope.name for scope in self.scopes if scope.name]
        for scope in self.scopes:
            if scope.code == "item":
                names += self.model.names_of(scope.type.detail)
        names += self.model.names_of(self.kind)
        names += [*self.model.constants, *self.model.readings]
        names += [kind for kind in self.model.kinds if self.model.only(kind)]
        if expect is not None and expect.sort == "word":
            names += self.model.terms.get(expect.detail, [])
        else:
            names += [word for words in self.model.terms.values() for word in words]
        return names

    # -- what is wrong

    def _say(self, name: str, node: tree.Node, /, **values: Any) -> Op:
        span = self.entry.place(*self.at).inside(*node.span)
        self.problems.add(name, span, **values)
        return Op("wrong", (), WRONG, node)

    def _take(self, error: GaugebookError, node: tree.Node) -> Op:
        self.problems.take(error, self.entry.place(*self.at).inside(*node.span))
        return Op("wrong", (), WRONG, node)

    def describe(self, type: Type) -> str:
        """A type in words."""
        if type.sort == "number":
            return self.model.units.describe(type.detail)
        words = {
            "truth": "yes or no",
            "word": f"a word of {type.detail}",
            "member": f"a member of {type.detail}",
            "thing": f"a {type.detail}",
            "things": f"several things of kind {type.detail}",
            "text": "text",
            "nothing": "none",
        }
        return words.get(type.sort, type.sort)
