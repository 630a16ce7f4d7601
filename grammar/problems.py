"""What the parser says when it refuses a text; every wording stands in mistakes.yaml."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from typing import Any


class SyntaxProblem(Exception):
    """A text that is not an expression of the rule language.

    `name` identifies the fault (kebab-case), `message` says what is wrong, `help` how to write it instead;
    `start` and `end` are character offsets into the text, and may be equal at its end.
    """

    def __init__(self, name: str, message: str, start: int, end: int, help: str | None = None) -> None:
        super().__init__(message)
        self.name = name
        self.message = message
        self.start = start
        self.end = end
        self.help = help


@dataclass(frozen=True, slots=True)
class Wording:
    """One entry of mistakes.yaml. `text` is there when the fault is recognised by the text around it."""

    name: str
    message: str
    help: str | None
    examples: tuple[str, ...]
    text: re.Pattern[str] | None

    def problem(self, start: int, end: int, **values: object) -> SyntaxProblem:
        """The problem at these offsets, with the values its wording asks for."""
        help_text = self.help.format(**values) if self.help else None
        return SyntaxProblem(self.name, self.message.format(**values), start, end, help_text)


@dataclass(frozen=True, slots=True)
class Wordings:
    """mistakes.yaml: what a fault may resemble, what is said otherwise, and hints on names."""

    mistakes: tuple[Wording, ...]
    faults: dict[str, Wording]
    hints: tuple[tuple[re.Pattern[str], str], ...]


@cache
def wordings() -> Wordings:
    """mistakes.yaml, read once."""
    from importlib.resources import files

    import yaml

    text = files(__package__).joinpath("mistakes.yaml").read_text(encoding="utf-8")
    plain = getattr(yaml, "CBaseLoader", yaml.BaseLoader)  # text, lists and maps only; C where there is one
    data: dict[str, Any] = yaml.load(text, Loader=plain)
    return Wordings(
        mistakes=tuple(_wording(entry) for entry in data["mistakes"]),
        faults={entry["name"]: _wording(entry) for entry in data["faults"]},
        hints=tuple((re.compile(entry["text"]), entry["help"]) for entry in data["hints"]),
    )


def _wording(entry: dict[str, Any]) -> Wording:
    pattern = entry.get("text")
    return Wording(
        name=entry["name"],
        message=entry["message"],
        help=entry.get("help"),
        examples=tuple(entry.get("examples", ())),
        text=re.compile(pattern) if pattern else None,
    )


def problem(name: str, start: int, end: int, **values: object) -> SyntaxProblem:
    """The fault of this name, for a fault that is found and not recognised by example."""
    return wordings().faults[name].problem(start, end, **values)


def hint(name: str) -> str | None:
    """A remark on a name that nothing is called, when it looks like something else: `true`, `a-b`, `AND`."""
    for pattern, remark in wordings().hints:
        found = pattern.fullmatch(name)
        if found:
            return found.expand(remark)
    return None
