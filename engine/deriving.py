"""The derivation of one value as a tree of plain data, rebuilt from a finished run when somebody asks.

A node says what a value is, how it came about and what it rests on:

- id, role (rule, choice, check, field, relation, constant, reading), thing, attribute, title, value (as
  shown), raw and unit (as in a result), entry, cites, transcription; `why` where there is no value
- formula and substituted (the expression as written, and with its values put in), route (the branch or
  exception taken, its citations, its condition), conditions (of each `if` on the way), lookups, picks, inputs
- a choice: from, checks (nodes), rejected; a check: passes, actual and limit; a field: stated
  (file:line:column where the source is at hand) or assumed; a reading: question, says, settled_by
- `full` adds to a rule what was tried and did not hold, and to a lookup the rows beside the one hit

A node met a second time is a reference: id, value, reference. Where derivations are retold, so is one that
reads the same for another thing, named under `like`.
"""

from __future__ import annotations

from typing import Any

from .evaluating import Run, Thing
from .expressions import Expressions, Step, Written
from .hits import Tree, entry_of, hit, valued
from .results import plain, unit_text
from .retelling import Retelling
from .rulebook import Attribute
from .runtime import Absent
from .source import Source
from .substituting import DIGITS, MOST_DIGITS, Substitution, Trace, text_of
from .units import Unit

VERDICTS = {True: "passes", False: "fails", None: "undetermined"}
NOT_APPLYING = "does not apply"


def derive(
    run: Run, written: Written, thing: Thing, name: str, full: bool = False, source: Source | None = None
) -> Tree:
    """The derivation of an attribute or a check of a thing.

    `written` is of the book that `run` evaluates (`ValueError` when it is another); `source` tells where the
    project states its fields. Raises `KeyError` when the thing has neither attribute nor check of that name.
    """
    return Deriver(run, written, full, source).node(thing, name)


class Deriver:
    """Builds the nodes of one derivation; `seen` makes the second meeting a reference.

    `retelling` is of a page for many things: what reads the same for another thing becomes a reference too,
    and checks that do not apply to a choice are left out.
    """

    def __init__(
        self,
        run: Run,
        written: Written,
        full: bool = False,
        source: Source | None = None,
        retelling: Retelling | None = None,
    ) -> None:
        self.run, self.full, self.source, self.retelling = run, full, source, retelling
        self.rulebook = run.rulebook
        self.frozen = run.rulebook.frozen
        if [layer["digest"] for layer in self.frozen["layers"]] != written.layers:
            raise ValueError("the run was made with another book")
        self.expressions = Expressions(run, written)
        self.seen: dict[str, str] = {}

    def node(self, thing: Thing, name: str) -> Tree:
        """The node of an attribute or a check."""
        attribute = self.rulebook.attributes[thing.kind].get(name)
        with self.run.exactly():
            if attribute is not None:
                return self.attribute(thing, attribute)
            if self.rulebook.checks[name]["kind"] != thing.kind:
                raise KeyError(f"{thing.kind}.{name}")
            return self.check(thing, name)

    # -- what nodes have in common

    def _entry(self, id: str) -> Tree:
        return entry_of(self.rulebook, id)

    def _reference(self, id: str) -> Tree | None:
        return {"id": id, "value": self.seen[id], "reference": True} if id in self.seen else None

    def _note(self, thing: Thing, *names: str) -> None:
        """What is being derived rests on these attributes or checks of a thing."""
        if self.retelling is not None:
            self.retelling.note((thing, name) for name in names)

    # -- attributes

    def attribute(self, thing: Thing, attribute: Attribute) -> Tree:
        """The node of an attribute."""
        id = f"{thing.path}.{attribute.name}"
        known = self._reference(id)
        if known is not None:
            self._note(thing, attribute.name)
            return known
        value: Any
        try:
            value = thing.get(attribute.name)
        except Absent as absent:
            value = absent
        node: Tree = {"id": id, "role": attribute.role, "thing": thing.path, "attribute": attribute.name}
        node |= valued(value, attribute.unit)
        self.seen[id] = node["value"]
        if attribute.role not in ("rule", "choice"):
            self._note(thing, attribute.name)
            return node | self._origin(thing, attribute)
        if self.retelling is None:
            return self._derived(node, thing, attribute)
        told = self.retelling.found(thing, attribute)
        if told is not None:
            return {"id": id, "value": node["value"], "reference": True, "like": told.path}
        with self.retelling.telling(thing, attribute):
            return self._derived(node, thing, attribute)

    def _derived(self, node: Tree, thing: Thing, attribute: Attribute) -> Tree:
        node |= self._origin(thing, attribute)
        if attribute.role == "rule":
            self._rule(node, thing, attribute)
        else:
            self._choice(node, thing, attribute)
        return node

    def _origin(self, thing: Thing, attribute: Attribute) -> Tree:
        """The entry, and where the project states the value or the default that stands in."""
        field = attribute.field or {}
        declared = field.get("entry") if attribute.role in ("field", "relation") else None
        made = self._entry(declared or attribute.entry)
        if attribute.name in thing.stated:
            place = (*data_path(thing), *attribute.steps)
            made["stated"] = str(self.source.span(place)) if self.source is not None else ""
        elif (thing.path, attribute.name) in self.run.assumptions:
            made["assumed"] = field.get("assume", "the default")
        return made

    def _rule(self, node: Tree, thing: Thing, attribute: Attribute) -> None:
        asked, taken = Trace(), None
        tried: list[Tree] = []
        routes = self.frozen["rules"][attribute.key]["routes"]
        ways = list(zip(self.expressions.ways(f"rule {attribute.key}"), routes, strict=True))
        first = 0 if self.full or "why" in node else thing.route.get(attribute.name, 0)
        for way, route in ways[first:]:
            step: Tree = {"name": route["name"]} if len(routes) > 1 else {}
            step |= {"cites": route["cites"]} if route["cites"] else {}
            step |= {"exception": True} if way.exception else {}
            holds: Any = True
            if way.when is not None:
                step |= self._condition(way.when, thing, asked)
                holds = self.expressions.attempt(way.when, thing, {})
            if isinstance(holds, Absent):
                node["route"] = step | {"undetermined": True}
                break
            if holds:
                taken = way
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
        self._below(node, traces, asked)

    def _condition(self, when: Step, thing: Thing, trace: Trace) -> Tree:
        put = Substitution(self.expressions, thing, trace).text(when)
        return {"condition": when.text, "substituted": put}

    def _statement(self, step: Step, thing: Thing, trace: Trace, value: str) -> Tree:
        """An expression as written and with its values put in, up to the value it has."""
        left = Substitution(self.expressions, thing, trace).side(step)
        joint = ", so " if step.truth and step.code != "get" else " = "
        put = left if left == value else f"{left}{joint}{value}"
        made: Tree = {"formula": step.text, "substituted": put}
        if trace.conditions:
            made["conditions"] = [{"condition": asked, "substituted": put} for asked, put in trace.conditions]
        return made

    def _below(self, node: Tree, traces: list[Trace], untold: Trace) -> None:
        """Put what expressions read under the node, each once; it also rests on what is left `untold`."""
        for trace in (*traces, untold):
            for (_, name), thing in (*trace.links.items(), *trace.reads.items()):
                self._note(thing, name)
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

    def _lookup(self, step: Step, keys: list[Any], shown: list[str], value: Any) -> Tree:
        if step.code == "lookup":
            return hit(self.rulebook, step.parts[0], keys, shown, value, step.unit, self.full)
        _, series, name = step.parts
        made = {"table": series, "property": name, "keys": shown}
        return made | valued(value, step.unit) | self._entry(f"series/{series}")

    def _pick(self, step: Step, held: str, before: str, value: Any) -> Tree:
        series = step.parts[2]
        made = {"series": series, "value": text_of(value, step.unit), "holds": held}
        return made | ({"passed_over": before} if before else {}) | self._entry(f"series/{series}")

    # -- choices and checks

    def _choice(self, node: Tree, thing: Thing, attribute: Attribute) -> None:
        choice = self.frozen["choices"][attribute.key]
        node["from"] = {"series": choice["series"]} | self._entry(f"series/{choice['series']}")
        asked = Trace()
        when = self.expressions.condition(f"choice {attribute.key}")
        if when is not None and "stated" not in node:
            holds = self.expressions.attempt(when, thing, {})
            node["route"] = self._condition(when, thing, asked) | {"holds": text_of(holds, None)}
        rejected = self.run.rejected.get((thing.path, attribute.name), [])
        node["rejected"] = [
            {"value": text_of(candidate.member, attribute.unit)}
            | self._verdict(candidate.check, False, candidate.actual, candidate.limit)
            | ({"why": [candidate.reason]} if candidate.reason else {})
            for candidate in rejected
        ]
        needed = node["raw"] is not None or "why" in node
        self._note(thing, *choice["checks"])
        idle = self.retelling is None
        asked_of = [check for check in choice["checks"] if idle or self._applies(thing, check)]
        node["checks"] = [self.check(thing, check) for check in asked_of] if needed else []
        self._below(node, [asked] if self.full or not needed else [], asked)

    def _applies(self, thing: Thing, check: str) -> bool:
        try:
            return self.run.check(thing, check) is not None
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

    def check(self, thing: Thing, name: str) -> Tree:
        """The node of a check on a thing."""
        id = f"{thing.path}.{name}"
        known = self._reference(id)
        self._note(thing, name)
        if known is not None:
            return known
        why: list[str] = []
        verdict: tuple[bool | None, Any, Any] | None
        try:
            verdict = self.run.check(thing, name)
        except Absent as absent:
            verdict, why = (False if absent.void else None, None, None), list(absent.reasons)
        value = VERDICTS[verdict[0]] if verdict is not None else NOT_APPLYING
        node: Tree = {"id": id, "role": "check", "thing": thing.path, "value": value}
        node |= self._verdict(name, *(verdict or (None, None, None))) | ({"why": why} if why else {})
        self.seen[id] = value
        asked, trace = Trace(), Trace()
        (way,) = self.expressions.ways(f"check {name}")
        if way.when is not None:
            node["route"] = self._condition(way.when, thing, asked)
        if verdict is not None:
            node["formula"] = way.value.text
            node["substituted"] = self._sides(way.value, thing, trace, node)
        self._below(node, [trace, asked] if self.full else [trace], asked)
        return node

    def _sides(self, require: Step, thing: Thing, trace: Trace, node: Tree) -> str:
        """`40 A * 0.8 = 32 A >= 25.5 A`: each side worked out, then compared."""
        put = Substitution(self.expressions, thing, trace)
        if require.code != "compare" or node.get("sign") not in ("<", "<=", ">", ">="):
            return put.text(require)
        sign, *steps = require.parts
        unit = self.rulebook.checks[node["check"]]["unit"]
        texts = []
        for step, word in zip(steps, ("actual", "limit"), strict=True):
            value = self.expressions.attempt(step, thing, {})
            shown = (
                node[word]["value"]
                if word in node
                else text_of(value, self.rulebook.units.unit(unit) if unit else None)
            )
            left = put.side(step)
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
