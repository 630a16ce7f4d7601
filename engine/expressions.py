"""The expressions of a book as a reader asks for them: their text, their parts, and the value of each part.

Plain data made by `writing` and kept beside the compiled book, so that an explanation needs neither the book
as written nor a parser. An expression is taken up when somebody asks for it.
"""

from __future__ import annotations

import marshal
from collections.abc import Callable, Mapping
from typing import Any, NamedTuple

from .evaluating import Run, Thing
from .grammar.phrases import Phrase
from .runtime import Absent, need
from .units import Unit

Bound = Mapping[int, Any]
"""The things and members that stand for the numbered names of an expression."""

Plain = tuple[Any, ...]


class Written(NamedTuple):
    """What a reader asks for beside a compiled book.

    `layers` are the digests of its layers, `authorities` those the layers name, `sources` for each layer what the
    keys of its sources mean, and `symbols` what the diagrams of its sheet may name. `programs` maps the key of
    a program (`rule kind.name`, `choice kind.name`, `check name`) to its code and its expressions: of a rule
    the condition and the value of each way in turn, of a choice its condition, of a check its condition and its
    requirement. A condition may be None. The exceptions among the ways of a rule come first, so many as told.
    """

    layers: list[str]
    authorities: list[str]
    sources: dict[str, dict[str, str]]
    symbols: dict[str, dict[str, Any]]
    programs: dict[str, bytes]


class Way(NamedTuple):
    """One way to a value: taken when `when` holds (always, if None)."""

    when: Step | None
    value: Step
    exception: bool


class Step:
    """One step of an expression, as `meaning.Op` describes it, with its text in place of the syntax.

    `loose` are the numbered names it uses and does not make itself, `truth` says that it is yes or no, and
    `function` answers its value; the step of a name has none.
    """

    __slots__ = ("code", "function", "loose", "parts", "phrase", "truth", "unit")

    def __init__(self, plain: Plain, namespace: Mapping[str, Any], run: Run) -> None:
        code, parts, phrase, unit, self.truth, self.loose, function = plain
        self.code: str = code
        self.parts: tuple[Any, ...] = tuple(
            Step(part, namespace, run) if isinstance(part, tuple) else part for part in parts
        )
        self.phrase = _phrase(phrase)
        self.unit: Unit | None = run.rulebook.units.unit(unit) if unit is not None else None
        self.function: Callable[..., Any] | None = namespace[function] if function else None

    @property
    def text(self) -> str:
        """The expression as written."""
        return self.phrase.text


def _phrase(plain: Plain) -> Phrase:
    text, level, open_ended, figures, denial = plain
    return Phrase(text, level, open_ended, figures, _phrase(denial) if denial is not None else None)


class Expressions:
    """The expressions of one book evaluated in a run; to be asked inside `run.exactly()`."""

    def __init__(self, run: Run, written: Written) -> None:
        self.run, self.written = run, written
        self._taken: dict[str, tuple[list[Step | None], int]] = {}
        self._named: dict[str, Callable[[Step, Thing, Bound], Any]] = {
            "this": lambda step, thing, bound: thing,
            "item": lambda step, thing, bound: bound[step.parts[0]],
            "bound": lambda step, thing, bound: bound[step.parts[0]],
            "only": lambda step, thing, bound: self.run.only(step.parts[0]),
            "reading": lambda step, thing, bound: self.run.reading(step.parts[0]),
            "get": self._get,
        }

    def _program(self, key: str) -> tuple[list[Step | None], int]:
        """The expressions of a program, and how many exceptions are among them."""
        if key not in self._taken:
            code, plain, exceptions = marshal.loads(self.written.programs[key])
            namespace = dict(self.run.rulebook.namespace)
            exec(code, namespace)
            steps = [Step(one, namespace, self.run) if one is not None else None for one in plain]
            self._taken[key] = steps, exceptions
        return self._taken[key]

    def ways(self, key: str) -> list[Way]:
        """The ways of a rule, or the one of a check."""
        steps, exceptions = self._program(key)
        pairs = enumerate(zip(steps[::2], steps[1::2], strict=True))
        return [Way(when, value, place < exceptions) for place, (when, value) in pairs if value is not None]

    def condition(self, key: str) -> Step | None:
        """The condition of a choice."""
        return self._program(key)[0][0]

    def of(self, step: Step, thing: Thing, bound: Bound) -> Any:
        """The value of a step on a thing; raises `Absent`."""
        if step.function is None:
            return self._named[step.code](step, thing, bound)
        return step.function(thing, *(bound.get(number) for number in step.loose))

    def _get(self, step: Step, thing: Thing, bound: Bound) -> Any:
        subject, name = step.parts
        return need(self.of(subject, thing, bound), name).get(name)

    def attempt(self, step: Step, thing: Thing, bound: Bound) -> Any:
        """The value, or the `Absent` that stands in its place."""
        try:
            return self.of(step, thing, bound)
        except Absent as absent:
            return absent
