"""Things that differ in nothing but their names: what a page may draw or work out once and count."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from .evaluating import Thing
from .runtime import Absent

FORWARD = ("link", "children")
"""Relations that make a thing what it is; the others say who refers to it."""


class Alike:
    """Tells things apart by everything known of them, and what they are made of, but not by name."""

    def __init__(self) -> None:
        self._known: dict[str, tuple[Any, ...]] = {}
        self._names: dict[str, list[str]] = {}

    def signature(self, thing: Thing) -> tuple[Any, ...]:
        """Equal for two things exactly when they are alike; compare within one run only."""
        made = self._known.get(thing.path)
        if made is None:
            made = self._known[thing.path] = (thing.kind, *self._parts(thing))
        return made

    def _parts(self, thing: Thing) -> list[Any]:
        if thing.kind not in self._names:
            self._names[thing.kind] = [
                name
                for name, attribute in thing.run.rulebook.attributes[thing.kind].items()
                if attribute.role != "relation" or attribute.data["relation"][0] in FORWARD
            ]
        return [self._value(thing, thing.memo.get(name)) for name in self._names[thing.kind]]

    def _value(self, thing: Thing, value: Any) -> Any:
        if isinstance(value, Absent):
            return Absent.__name__, value.void
        if isinstance(value, Thing):
            inner = value.parent is thing or value.kind == thing.kind
            return self.signature(value) if inner else value.path
        if isinstance(value, list):
            return tuple(self._value(thing, one) for one in value)
        return value

    def groups(self, things: Iterable[Thing]) -> list[list[Thing]]:
        """The things in order, alike ones together at the place of the first."""
        found: dict[tuple[Any, ...], list[Thing]] = {}
        for thing in things:
            found.setdefault(self.signature(thing), []).append(thing)
        return list(found.values())
