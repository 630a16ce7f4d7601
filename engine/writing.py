"""Every expression of a checked book written down as plain data, for `expressions` to take up."""

from __future__ import annotations

import marshal
from collections.abc import Sequence
from typing import Any

from .compiling import Exact, Pool, Writer, exactness
from .freezing import unit_text
from .grammar import tree
from .grammar.phrases import Phrase
from .grammar.printer import phrase_of
from .meaning import Op
from .model import Model
from .programs import Programs, Route

NAMED = {"this", "item", "bound", "only", "reading", "get"}
"""Steps that are the value of a name, which needs no code of its own."""

Plain = tuple[Any, ...]


def write_down(model: Model, programs: Programs) -> dict[str, bytes]:
    """The programs of `expressions.Written`."""
    exact = exactness(model, programs)

    def down(ops: Sequence[Op | None], exceptions: int = 0) -> bytes:
        return Page(model, exact).down(ops, exceptions)

    def rule_down(routes: Sequence[Route]) -> bytes:
        exceptions = sum(route.rank is not None for route in routes)
        return down([op for route in routes for op in (route.when, route.value)], exceptions)

    made = {f"rule {kind}.{name}": rule_down(rule.routes) for (kind, name), rule in programs.rules.items()}
    made |= {f"choice {kind}.{name}": down([c.when]) for (kind, name), c in programs.choices.items()}
    return made | {f"check {check.name}": down([check.when, check.require]) for check in programs.checks}


class Page:
    """Writes down the expressions of one program and the source of their values."""

    def __init__(self, model: Model, exact: Exact) -> None:
        self.model, self.pool = model, Pool()
        self.writer = Writer(model, self.pool, exact)
        self.lines: list[str] = []

    def down(self, ops: Sequence[Op | None], exceptions: int) -> bytes:
        """All of it, with how many of the ways are exceptions."""
        steps = [self._step(op) if op is not None else None for op in ops]
        code = compile("\n".join([*self.pool.lines, *self.lines]), "<expressions>", "exec")
        return marshal.dumps((code, steps, exceptions))

    def _step(self, op: Op) -> Plain:
        loose = _loose(op)
        parts: tuple[Any, ...] = () if op.code == "value" else op.parts
        plain = tuple(self._step(part) if isinstance(part, Op) else part for part in parts)
        if isinstance(op.node, tree.Pick):
            plain = (*plain, op.node.variable, phrase_of(op.node.series).text)
        function = "" if op.code in NAMED else self._function(op, loose)
        phrase, unit = _plain(phrase_of(op.node)), self._unit(op)
        return op.code, plain, phrase, unit, op.type.sort == "truth", loose, function

    def _function(self, op: Op, loose: tuple[int, ...]) -> str:
        """The name of a function of the thing and of the numbered names that the step leaves open."""
        name = f"e{len(self.lines)}"
        parameters = ", ".join(["t", *(f"v{number}" for number in loose)])
        self.lines.append(f"def {name}({parameters}): return {self.writer.write(op)}")
        return name

    def _unit(self, op: Op) -> str | None:
        """The unit a step is shown in."""
        if op.code == "constant":
            text = self.model.constants[op.parts[0]][2].body.get("unit")
            return str(text) if text is not None else None
        if op.code == "pick":
            unit = self.model.series[op.parts[2]].unit
        elif op.code == "property":
            unit = self.model.series[op.parts[1]].properties[op.parts[2]][1]
        else:
            return unit_text(self.model, op)
        return unit.text if unit is not None else None


def _loose(op: Op) -> tuple[int, ...]:
    """The numbered names that a step uses and does not make itself."""
    used = {step.parts[0] for step in op.walk() if step.code in ("item", "bound")}
    made = {step.parts[1] for step in op.walk() if step.code in ("aggregate", "pick")}
    return tuple(sorted(used - made))


def _plain(phrase: Phrase) -> Plain:
    denial = _plain(phrase.denial) if phrase.denial is not None else None
    return phrase.text, int(phrase.level), phrase.open, phrase.figures, denial
