"""Reads a plain call: a command, options by their full names, whatever else it takes. Gives up at anything else.

The library that reads calls takes longer to load than a small project to size; it is asked where this gives up.
"""

from __future__ import annotations

from types import SimpleNamespace

from .calls import OnlyOne, declare

TYPE_CHECKING = False

if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Any

PROGRAM = "gaugebook"
WITHOUT = "--without-plugin"

_FLAG, _EACH, _ONE = "store_true", "append", "store"


def read_plain(said: Sequence[str]) -> SimpleNamespace | None:
    """What a call says, as the library would answer; none where that is for the library to say."""
    if not said or said[0].startswith("-"):
        return None
    top = Plain()
    declare(OnlyOne(top.add_subparsers(), said[0]))
    values = top.read(said)
    return None if values is None else SimpleNamespace(**values)


class Commands:
    """The commands of a call, by name."""

    def __init__(self) -> None:
        self.choices: dict[str, Plain] = {}

    def add_parser(self, name: str, **_: Any) -> Plain:
        """A further command."""
        return self.choices.setdefault(name, Plain())


class Plain:
    """What is declared of one command."""

    def __init__(self) -> None:
        self.options: dict[str, dict[str, Any]] = {}
        self.places: list[tuple[str, dict[str, Any]]] = []
        self.fixed: dict[str, Any] = {}
        self.commands: Commands | None = None

    def add_argument(self, name: str, **said: Any) -> None:
        """An option, or something that has its place."""
        if name.startswith("-"):
            self.options[name] = said
        else:
            self.places.append((name, said))

    def set_defaults(self, **fixed: Any) -> None:
        """What the command answers besides."""
        self.fixed.update(fixed)

    def add_subparsers(self, **_: Any) -> Commands:
        """Commands of its own."""
        self.commands = Commands()
        return self.commands

    def read(self, said: Sequence[str]) -> dict[str, Any] | None:
        """Every value of a call; none where it is not a plain one."""
        if self.commands is not None:
            command = self.commands.choices.get(said[0]) if said else None
            return None if command is None else command.read(said[1:])
        values: dict[str, Any] = dict(self.fixed)
        for name, option in self.options.items():
            values[_key(name)] = option.get("default", False if option.get("action") == _FLAG else None)
        given, placed = set(), []
        rest = iter(said)
        for word in rest:
            if not word.startswith("-"):
                placed.append(word)
                continue
            name, sign, value = word.partition("=")
            option = self.options.get(name, {"action": ""})
            given.add(name)
            action = option.get("action", _ONE)
            if action == _FLAG and not sign:
                values[_key(name)] = True
                continue
            value = value if sign else next(rest, "-")
            if action not in (_ONE, _EACH) or not _fits(option, value):
                return None
            made = option.get("type", str)(value)
            values[_key(name)] = [*(values[_key(name)] or ()), made] if action == _EACH else made
        lacking = [
            name for name, option in self.options.items() if option.get("required") and name not in given
        ]
        if lacking or len(placed) != len(self.places):
            return None
        for (name, place), word in zip(self.places, placed, strict=True):
            if place.get("nargs") or not _fits(place, word):
                return None
            values[name] = word
        return values


def _key(option: str) -> str:
    return option.lstrip("-").replace("-", "_")


def _fits(declared: dict[str, Any], value: str) -> bool:
    """True for a value that leaves nothing to say about it."""
    if not value or value.startswith("-") or value not in declared.get("choices", (value,)):
        return False
    return declared.get("type") is not int or (value.isascii() and value.isdigit())
