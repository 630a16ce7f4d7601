"""The derivation of one value as a tree of plain data, rebuilt from a finished run when somebody asks.

A node says what a value is, how it came about and what it rests on:

- id, role (rule, choice, check, field, relation, constant, reading), thing, attribute, title, value (as
  shown), raw and unit (as in a result), entry, cites, transcription; `why` where there is no value
- formula and substituted (the expression as written, and with its values put in), route (the branch or
  exception taken, its citations, its condition), conditions (of each `if` on the way), lookups, picks, inputs
- a choice: from, checks (nodes), rejected; a check: passes, actual and limit; a field: stated
  (file:line:column) or assumed; a reading: question, says, settled_by
- `full` adds to a rule what was tried and did not hold, and to a lookup the rows beside the one hit

A node met a second time is a reference: id, value, reference.
"""

from __future__ import annotations

from typing import Any

from .books import CheckedBook
from .evaluating import Run, Thing
from .hits import Tree, entry_of, hit, valued
from .meaning import Op
from .programs import Check, Rule
from .project import Source
from .results import plain, unit_text
from .rulebook import Attribute
from .runtime import Absent
from .substituting import DIGITS, MOST_DIGITS, Substitution, Trace, Values, text_of
from .units import Unit

VERDICTS = {True: "passes", False: "fails", None: "undetermined"}
NOT_APPLYING = "does not apply"


def derive(
    run: Run, checked: CheckedBook, thing: Thing, name: str, full: bool = False, source: Source | None = None
) -> Tree:
    """The derivation of an attribute or a check of a thing.

    `checked` is the book that `run` evaluates (`ValueError` when it is another); `source` tells where the
    project states its fields. Raises `KeyError` when the thing has neither attribute nor check of that name.
    """
    evaluated = [layer["digest"] for layer in run.rulebook.frozen["layers"]]
    if evaluated != [layer.digest for layer in checked.book.layers]:
        raise ValueError("the run was made with another book")
    return Deriver(run, checked, full, source).node(thing, name)


class Deriver:
    """Builds the nodes of one derivation; `seen` makes the second meeting a reference.

    `idle` says whether a choice also lists the checks that do not apply to it.
    """

    def __init__(
        self, run: Run, checked: CheckedBook, full: bool, source: Source | None, idle: bool = True
    ) -> None:
        self.run, self.full, self.source, self.idle = run, full, source, idle
        self.rulebook = run.rulebook
        self.frozen = run.rulebook.frozen
        self.programs, self.model = checked.programs, checked.model
        self.values = Values(run, checked)
        self.checks = {check.name: check for check in checked.programs.checks}
        self.seen: dict[str, str] = {}

    def node(self, thing: Thing, name: str) -> Tree:
        """The node of an attribute or a check."""
        attribute = self.rulebook.attributes[thing.kind].get(name)
        with self.run.exactly():
            if attribute is not None:
                return self.attribute(thing, attribute)
            check = self.checks[name]
            if check.kind != thing.kind:
                raise KeyError(f"{thing.kind}.{name}")
            return self.check(thing, check)

    # -- what nodes have in common

    def _entry(self, id: str) -> Tree:
        return entry_of(self.rulebook, id)

    def _reference(self, id: str) -> Tree | None:
        return {"id": id, "value": self.seen[id], "reference": True} if id in self.seen else None

    # -- attributes

    def attribute(self, thing: Thing, attribute: Attribute) -> Tree:
        """The node of an attribute."""
        id = f"{thing.path}.{attribute.name}"
        known = self._reference(id)
        if known is not None:
            return known
        value: Any
        try:
            value = thing.get(attribute.name)
        except Absent as absent:
            value = absent
        node: Tree = {"id": id, "role": attribute.role, "thing": thing.path, "attribute": attribute.name}
        node |= valued(value, attribute.unit)
        self.seen[id] = node["value"]
        node |= self._origin(thing, attribute)
        if attribute.role == "rule":
            self._rule(node, thing, self.programs.rules[attribute.kind, attribute.name], attribute.unit)
        elif attribute.role == "choice":
            self._choice(node, thing, attribute)
        return node

    def _origin(self, thing: Thing, attribute: Attribute) -> Tree:
        """The entry, and where the project states the value or the default that stands in."""
        field = attribute.field or {}
        declared = field.get("entry") if attribute.role in ("field", "relation") else None
        made = self._entry(declared or attribute.entry)
        if attribute.name in thing.stated:
            place = (*data_path(thing), *attribute.steps)
            made["stated"] = str(self.source.span(place)) if self.source is not None else "the project"
        elif (thing.path, attribute.name) in self.run.assumptions:
            made["assumed"] = field.get("assume", "the default")
        return made

    def _rule(self, node: Tree, thing: Thing, rule: Rule, unit: Unit | None) -> None:
        asked, taken = Trace(), None
        tried: list[Tree] = []
        ways = self.frozen["rules"][f"{rule.kind}.{rule.name}"]["routes"]
        for route, way in zip(rule.routes, ways, strict=True):
            step: Tree = {"name": route.name} if len(rule.routes) > 1 else {}
            step |= {"cites": way["cites"]} if way["cites"] else {}
            step |= {"exception": True} if route.rank is not None else {}
            holds: Any = True
            if route.when is not None:
                step |= self._condition(route.when, thing, asked)
                holds = self.values.attempt(route.when, thing, {})
            if isinstance(holds, Absent):
                node["route"] = step | {"undetermined": True}
                break
            if holds:
                taken = route
                if step:
                    node["route"] = step
                break
            tried.append(step)
        if self.full or taken is None:
            node["tried"] = tried
        traces = [asked] if self.full or taken is None else []
        if taken is not None:
            trace = Trace()
            node |= self._statement(taken.value, thing, trace, node["value"])
            traces.insert(0, trace)
        self._below(node, traces)

    def _condition(self, op: Op, thing: Thing, trace: Trace) -> Tree:
        put = Substitution(self.values, thing, trace).text(op)
        return {"condition": self.values.written(op), "substituted": put}

    def _statement(self, op: Op, thing: Thing, trace: Trace, value: str) -> Tree:
        """An expression as written and with its values put in, up to the value it has."""
        left = Substitution(self.values, thing, trace).side(op)
        joint = ", so " if op.type.sort == "truth" and op.code != "get" else " = "
        put = left if left == value else f"{left}{joint}{value}"
        made: Tree = {"formula": self.values.written(op), "substituted": put}
        if trace.conditions:
            made["conditions"] = [{"condition": asked, "substituted": put} for asked, put in trace.conditions]
        return made

    def _below(self, node: Tree, traces: list[Trace]) -> None:
        """Put what expressions read under the node, each once."""
        lookups, picks, inputs = [], [], []
        for trace in traces:
            lookups += [self._lookup(*lookup) for lookup in trace.lookups]
            picks += [self._pick(*pick) for pick in trace.picks]
        for trace in traces:
            for (_, name), thing in trace.reads.items():
                inputs.append(self.attribute(thing, self.rulebook.attributes[thing.kind][name]))
            inputs += [self._named(id, value, unit) for id, (value, unit) in trace.entries.items()]
        node["lookups"] = _once(lookups)
        node["picks"] = _once(picks)
        children: dict[str, Tree] = {}
        for child in inputs:
            children.setdefault(child["id"], child)
        node["inputs"] = list(children.values())

    def _named(self, id: str, value: Any, unit: Unit | None) -> Tree:
        """A constant, or a reading with who settled it."""
        known = self._reference(id)
        if known is not None:
            return known
        section, _, name = id.partition("/")
        node = {"id": id, "role": section.removesuffix("s")} | valued(value, unit) | self._entry(id)
        if section == "readings":
            reading = self.frozen["readings"][name]
            node["question"], node["says"] = str(reading["question"]), str(reading["options"][value]["says"])
            node["settled_by"] = self.run.readings_used[name][1]
        self.seen[id] = node["value"]
        return node

    # -- tables and series

    def _lookup(self, op: Op, keys: list[Any], shown: list[str], value: Any) -> Tree:
        unit = self.values.unit_of(op)
        if op.code == "lookup":
            return hit(self.rulebook, op.parts[0], keys, shown, value, unit, self.full)
        _, series, name = op.parts
        made = {"table": series, "property": name, "keys": shown}
        return made | valued(value, unit) | self._entry(f"series/{series}")

    def _pick(self, op: Op, held: str, before: str, value: Any) -> Tree:
        series = op.parts[2]
        made = {"series": series, "value": text_of(value, self.values.unit_of(op)), "holds": held}
        return made | ({"passed_over": before} if before else {}) | self._entry(f"series/{series}")

    # -- choices and checks

    def _choice(self, node: Tree, thing: Thing, attribute: Attribute) -> None:
        choice = self.programs.choices[attribute.kind, attribute.name]
        node["from"] = {"series": choice.series} | self._entry(f"series/{choice.series}")
        asked = Trace()
        if choice.when is not None and "stated" not in node:
            holds = self.values.attempt(choice.when, thing, {})
            node["route"] = self._condition(choice.when, thing, asked) | {"holds": text_of(holds, None)}
        rejected = self.run.rejected.get((thing.path, attribute.name), [])
        node["rejected"] = [
            {"value": text_of(candidate.member, attribute.unit)}
            | self._verdict(candidate.check, False, candidate.actual, candidate.limit)
            | ({"why": [candidate.reason]} if candidate.reason else {})
            for candidate in rejected
        ]
        needed = node["raw"] is not None or "why" in node
        asked_of = [check for check in choice.checks if self.idle or self._applies(thing, check)]
        node["checks"] = [self.check(thing, check) for check in asked_of] if needed else []
        self._below(node, [asked] if self.full or not needed else [])

    def _applies(self, thing: Thing, check: Check) -> bool:
        try:
            return self.run.check(thing, check.name) is not None
        except Absent:
            return True

    def _verdict(self, name: str, passes: bool | None, actual: Any, limit: Any) -> Tree:
        """A check's name, verdict, sides and sign, with digits enough to tell the sides apart."""
        check = self.rulebook.checks[name]
        unit = self.rulebook.units.unit(check["unit"]) if check["unit"] else None
        made = {"check": name, "passes": passes} | self._entry(check["entry"])
        if actual is None:
            return made
        apart = (d for d in range(DIGITS, MOST_DIGITS) if text_of(actual, unit, d) != text_of(limit, unit, d))
        digits = next(apart, DIGITS)
        sides = {
            word: {"value": text_of(side, unit, digits), "raw": plain(side, unit), "unit": unit_text(unit)}
            for word, side in (("actual", actual), ("limit", limit))
        }
        return made | sides | {"sign": check["sign"]}

    def check(self, thing: Thing, check: Check) -> Tree:
        """The node of a check on a thing."""
        id = f"{thing.path}.{check.name}"
        known = self._reference(id)
        if known is not None:
            return known
        why: list[str] = []
        verdict: tuple[bool | None, Any, Any] | None
        try:
            verdict = self.run.check(thing, check.name)
        except Absent as absent:
            verdict, why = (False if absent.void else None, None, None), list(absent.reasons)
        value = VERDICTS[verdict[0]] if verdict is not None else NOT_APPLYING
        node: Tree = {"id": id, "role": "check", "thing": thing.path, "value": value}
        node |= self._verdict(check.name, *(verdict or (None, None, None))) | ({"why": why} if why else {})
        self.seen[id] = value
        asked, trace = Trace(), Trace()
        if check.when is not None:
            node["route"] = self._condition(check.when, thing, asked)
        if verdict is not None:
            node["formula"] = self.values.written(check.require)
            node["substituted"] = self._sides(check.require, thing, trace, node)
        self._below(node, [trace, asked] if self.full else [trace])
        return node

    def _sides(self, require: Op, thing: Thing, trace: Trace, node: Tree) -> str:
        """`40 A * 0.8 = 32 A >= 25.5 A`: each side worked out, then compared."""
        put = Substitution(self.values, thing, trace)
        if require.code != "compare" or node.get("sign") not in ("<", "<=", ">", ">="):
            return put.text(require)
        sign, *ops = require.parts
        unit = self.rulebook.checks[node["check"]]["unit"]
        texts = []
        for op, word in zip(ops, ("actual", "limit"), strict=True):
            value = self.values.attempt(op, thing, {})
            shown = (
                node[word]["value"]
                if word in node
                else text_of(value, self.rulebook.units.unit(unit) if unit else None)
            )
            left = put.side(op)
            texts.append(left if left == shown else f"{left} = {shown}")
        return f"{texts[0]} {sign} {texts[1]}"


def data_path(thing: Thing) -> tuple[str | int, ...]:
    """Where a thing stands in its project's data."""
    kinds = thing.run.rulebook.kinds
    section = str(kinds[thing.kind].get("section", thing.kind))
    if thing.parent is not None:
        return (*data_path(thing.parent), section, int(thing.name[len(section) + 1 : -1]))
    return (section,) if thing.run.rulebook.only(thing.kind) else (section, thing.name)


def _once(items: list[Tree]) -> list[Tree]:
    return [item for number, item in enumerate(items) if item not in items[:number]]
