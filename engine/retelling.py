"""Whether the derivation of a value would read the same for another thing, so that it need not be told again.

While derivations are built, everything a value rests on is noted. Another thing's value reads the same when the
two things, with what is below them, can change places: each of those then finds in its counterpart the same value,
stated or assumed alike, found by the same way, with the same candidates rejected.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from decimal import Decimal
from typing import Any, NamedTuple

from .evaluating import Run, Thing
from .rulebook import Attribute
from .runtime import CHECK, Absent

Part = tuple[Thing, str]
"""A thing, and the name of an attribute or a check of it."""


class Told(NamedTuple):
    """A derivation that was told: of which thing, and everything it rests on, itself first."""

    thing: Thing
    parts: dict[Part, None]


class Retelling:
    """The derivations told so far in a run."""

    def __init__(self, run: Run) -> None:
        self.run = run
        self._told: dict[tuple[str, Any], list[Told]] = {}
        self._compared: dict[tuple[Thing, Thing, Thing, str], bool] = {}
        self._parts: dict[Part, dict[Part, None]] = {}
        self._open: list[dict[Part, None]] = []

    @contextmanager
    def telling(self, thing: Thing, attribute: Attribute) -> Iterator[None]:
        """Note what is met inside as what the attribute rests on."""
        parts: dict[Part, None] = {(thing, attribute.name): None}
        self._open.append(parts)
        try:
            yield
        finally:
            self._open.pop()
        self._parts[thing, attribute.name] = parts
        self._told.setdefault(_shelf(thing, attribute), []).append(Told(thing, parts))
        self.note([(thing, attribute.name)])

    def note(self, parts: Iterable[Part]) -> None:
        """What is being told rests on these parts, and on what they rest on as far as that was told."""
        if self._open:
            for part in parts:
                self._open[-1].update(self._parts.get(part, {part: None}))

    def found(self, thing: Thing, attribute: Attribute) -> Thing | None:
        """A thing for which the same was told."""
        for told in self._told.get(_shelf(thing, attribute), []):
            if told.thing is not thing and self._reads_the_same(told, thing):
                self._parts[thing, attribute.name] = dict.fromkeys(self._counterparts(told, thing))
                self.note([(thing, attribute.name)])
                return told.thing
        return None

    def _counterparts(self, told: Told, thing: Thing) -> Iterator[Part]:
        for owner, name in told.parts:
            counterpart = self._counterpart(owner, told.thing, thing)
            if counterpart is not None:
                yield counterpart, name

    def _counterpart(self, owner: Thing, told: Thing, thing: Thing) -> Thing | None:
        """What stands in the place of `owner` when the two things change theirs: itself where it lies elsewhere."""
        for one, other in ((told, thing), (thing, told)):
            if owner is one:
                return other
            below = owner.path.removeprefix(f"{one.path}.")
            if below != owner.path:
                return self.run.things.get(f"{other.path}.{below}")
        return owner

    def _reads_the_same(self, told: Told, thing: Thing) -> bool:
        for owner, name in told.parts:
            other = self._counterpart(owner, told.thing, thing)
            if other is None:
                return False
            if other is owner and not isinstance(owner.memo.get(name), (Thing, list)):
                continue
            key = told.thing, thing, owner, name
            if key not in self._compared:
                self._compared[key] = self._same_part(owner, other, name, told.thing, thing)
            if not self._compared[key]:
                return False
        return True

    def _same_part(self, owner: Thing, other: Thing, name: str, told: Thing, thing: Thing) -> bool:
        if name not in self.run.rulebook.attributes[owner.kind]:
            return self._verdict(owner, name) == self._verdict(other, name) != ()
        if not self._same(owner.memo.get(name, self), other.memo.get(name, self), told, thing):
            return False
        assumptions, rejected = self.run.assumptions, self.run.rejected
        return (
            owner.route.get(name) == other.route.get(name)
            and (name in owner.stated) == (name in other.stated)
            and ((owner.path, name) in assumptions) == ((other.path, name) in assumptions)
            and rejected.get((owner.path, name)) == rejected.get((other.path, name))
        )

    def _verdict(self, thing: Thing, check: str) -> tuple[Any, ...]:
        """What a check comes to and by which way; nothing where it comes to nothing."""
        try:
            verdict = self.run.check(thing, check)
        except Absent:
            return ()
        return verdict, thing.route.get(f"{CHECK}{check}")

    def _same(self, value: Any, other: Any, told: Thing, thing: Thing) -> bool:
        if isinstance(value, Thing):
            return self._counterpart(value, told, thing) is other
        if isinstance(value, list) and isinstance(other, list):
            counterparts = {self._counterpart(one, told, thing) for one in value}
            return len(value) == len(other) and counterparts == set(other)
        if isinstance(value, Absent) and isinstance(other, Absent):
            reasons = [reason.replace(told.path, thing.path) for reason in value.reasons]
            return value.void == other.void and reasons == list(other.reasons)
        return type(value) is type(other) and bool(value == other)


def _shelf(thing: Thing, attribute: Attribute) -> tuple[str, Any]:
    """Derivations that may read the same lie together: those of one attribute and one value."""
    value = thing.memo.get(attribute.name)
    return attribute.key, value if isinstance(value, (str, Decimal)) else None
