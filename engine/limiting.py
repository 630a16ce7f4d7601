"""What would flip it: for every choice and check the nearest change of each numeric input that changes the outcome.

Only the inputs an outcome really read are moved, one at a time, from where they stand outward to the range
their field allows; `searching` says how a change is found and to what resolution. Values that sit exactly on
a bound of a table or right at the limit of a check are pointed out.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from decimal import ROUND_HALF_EVEN, Context, Decimal
from typing import Any, NamedTuple

from .diagnostics import GaugebookError, Problems
from .evaluating import Run, Thing, read_value
from .project import Source, fill_run
from .results import plain, unit_text, version
from .rulebook import Attribute
from .runtime import EXACT, Absent, near
from .searching import RESOLUTION, Evaluate, Point, Search
from .tracing import Frame, Read, Recorder, TracedRulebook, traced_run
from .units import Unit
from .watching import WatchedRulebook

FORMAT = "limits/1"

Data = dict[str, Any]

REACH = 10
"""How many times its value an input is searched where its field states no range; 100 units for a point on a scale."""

POINT_REACH = 100

SHARE_OF_POINTS = 100
"""A point on a scale has no percentages; its distances are ranked as shares of so many units."""


class Outcome(NamedTuple):
    """A choice or a check of a thing."""

    kind: str
    thing: str
    name: str

    @property
    def label(self) -> str:
        """Its name, `section.thing.name`."""
        return f"{self.thing}.{self.name}"


class Input(NamedTuple):
    """A numeric field that a project states or a default stands in for."""

    read: Read
    value: Decimal
    attribute: Attribute
    unit: Unit
    whole: bool

    @property
    def label(self) -> str:
        """Its name, as the project states it."""
        return f"{self.read[0]}.{'.'.join(self.attribute.steps)}"


class Flip(NamedTuple):
    """An outcome that changes with an input: right at the bound, and beyond it."""

    outcome: Outcome
    bound: Decimal
    at: Any
    beyond: Any


class Study:
    """One project under one book, with every input ready to be moved."""

    def __init__(self, source: Source, run: Run) -> None:
        """`run` is a sound evaluation of the project `source`; it is left as it is."""
        frozen, settled = run.rulebook.frozen, run.settled
        self.recorder = Recorder()
        self.traced = traced_run(source, TracedRulebook(frozen, self.recorder, run.rulebook.code), settled)
        self.book = WatchedRulebook(frozen)
        self.run = Run(self.book, settled)
        problems = Problems()
        fill_run(self.run, source, problems)
        problems.refuse_if_any()
        self.outcomes = list(self._outcomes())
        self.frames: dict[Outcome, Frame] = {}
        self.now: dict[Outcome, Any] = {}
        for outcome in self.outcomes:
            self.frames[outcome] = self._trace(outcome)
        for outcome in self.outcomes:
            self.now[outcome] = self._outcome(outcome)
        self.base = {path: dict(thing.memo) for path, thing in self.run.things.items()}
        self.readers = self._readers()
        self.inputs = list(self._inputs())

    # -- what there is

    def _outcomes(self) -> Iterator[Outcome]:
        for path, thing in self.run.things.items():
            for attribute in self.book.attributes[thing.kind].values():
                if attribute.role == "choice" and attribute.name not in thing.stated:
                    yield Outcome("choice", path, attribute.name)
            for check in self.book.checks.values():
                if check["kind"] == thing.kind:
                    yield Outcome("check", path, check["name"])

    def _trace(self, outcome: Outcome) -> Frame:
        thing = self.traced.things[outcome.thing]
        if outcome.kind == "check":
            return self.traced.call(f"check {outcome.name}", thing)[1]
        self.traced.ask(thing, outcome.name)
        frame = Frame()
        frame.reads[outcome.thing, outcome.name] = None
        return frame

    def _outcome(self, outcome: Outcome) -> Any:
        """What comes out: (what, value) for a choice, (what, None) for a check."""
        thing = self.run.things[outcome.thing]
        try:
            with self.run.exactly():
                if outcome.kind == "choice":
                    return ("chosen", thing.get(outcome.name))
                verdict = self.run.check(thing, outcome.name)
        except Absent as absent:
            return ("none" if absent.void else "undetermined", None)
        except (GaugebookError, ArithmeticError):
            return ("undetermined", None)
        return ("does not apply" if verdict is None else "passes" if verdict[0] else "fails", None)

    def _readers(self) -> dict[Read, set[Read | Outcome]]:
        """For every value what read it directly, in any of its computations."""
        readers: dict[Read, set[Read | Outcome]] = {}
        for node, reads in self.traced.edges.items():
            for read in reads:
                readers.setdefault(read, set()).add(node)
        for outcome, frame in self.frames.items():
            for read in frame.reads:
                readers.setdefault(read, set()).add(outcome)
        return readers

    def leaning(self, read: Read) -> set[Read | Outcome]:
        """Everything that leans on a value, directly or not."""
        found: set[Read | Outcome] = set()
        waiting: list[Read | Outcome] = [read]
        while waiting:
            node = waiting.pop()
            for reader in self.readers.get(node, ()) if not isinstance(node, Outcome) else ():
                if reader not in found:
                    found.add(reader)
                    waiting.append(reader)
        return found

    def _inputs(self) -> Iterator[Input]:
        for path, thing in self.run.things.items():
            for attribute in self.book.attributes[thing.kind].values():
                if attribute.role != "field" or attribute.unit is None:
                    continue
                value = self.traced.ask(self.traced.things[path], attribute.name)
                if isinstance(value, Decimal):
                    yield Input((path, attribute.name), value, attribute, attribute.unit, _whole(self.book, attribute, value))

    # -- moving one input

    def evaluation(self, given: Input, outcomes: list[Outcome]) -> Evaluate:
        """Evaluates some outcomes with one input moved; points hold them in the order given."""
        path, name = given.read
        stripped = {path: dict(memo) for path, memo in self.base.items()}
        for node in self.leaning(given.read):
            if not isinstance(node, Outcome):
                stripped[node[0]].pop(node[1], None)
        decisions = self.book.decisions

        def evaluate(value: Decimal) -> Point:
            for other, thing in self.run.things.items():
                thing.memo = dict(stripped[other])
            self.run.things[path].memo[name] = value
            decisions.clear()
            results = tuple(self._outcome(outcome) for outcome in outcomes)
            return Point(value, results, tuple(decisions))

        return evaluate

    def flips(self, given: Input, outcomes: list[Outcome], end: Decimal) -> tuple[list[Flip], Decimal]:
        """The nearest flip of each outcome on the way to `end`, and how far the way was walked.

        An outcome that has flipped is not evaluated any further.
        """
        waiting, found = list(outcomes), []

        def nice(value: Decimal, within: Decimal) -> Decimal:
            return _nice(given.unit, value, within)

        with self.run.exactly():
            search = Search(self.evaluation(given, waiting), given.value, given.whole, nice)
            for change in search.outward(end):
                flipped = [
                    Flip(outcome, change.bound.value, at, beyond)
                    for outcome, at, beyond in zip(waiting, change.bound.outcomes, change.far.outcomes, strict=True)
                    if at != self.now[outcome] or beyond != self.now[outcome]
                ]
                if flipped:
                    found += flipped
                    waiting = [outcome for outcome in waiting if outcome not in {flip.outcome for flip in flipped}]
                    search.narrow(self.evaluation(given, waiting))
                if not waiting:
                    break
        return found, search.reached

    def range(self, given: Input) -> tuple[Decimal, Decimal]:
        """The values an input is searched over: what its field allows, else a multiple of where it stands."""
        with self.run.exactly():
            bounds = [_bound(self.book, given.attribute, word) for word in ("least", "most")]
            low, high = _reach(given)
            low = low if bounds[0] is None else bounds[0]
            high = high if bounds[1] is None else bounds[1]
            return min(low, given.value), max(high, given.value)


def _whole(book: WatchedRulebook, attribute: Attribute, value: Decimal) -> bool:
    """Whether a plain number counts something: it and the bounds of its field are whole."""
    numbers = [value, *(_bound(book, attribute, word) for word in ("least", "most"))]
    counted = all(number is None or number == number.to_integral_value() for number in numbers)
    return unit_text(attribute.unit) is None and counted


def _bound(book: WatchedRulebook, attribute: Attribute, word: str) -> Decimal | None:
    text = (attribute.field or {}).get(word)
    value = read_value(book, attribute, str(text)) if text is not None else None
    return value if isinstance(value, Decimal) else None


def _reach(given: Input) -> tuple[Decimal, Decimal]:
    if given.unit.kind.point:
        amount = given.unit.from_base(given.value)
        ends = [given.unit.to_base(amount + reach) for reach in (-POINT_REACH, POINT_REACH)]
        return min(ends), max(ends)
    if not given.value:
        return Decimal(0), given.unit.to_base(Decimal(REACH))
    far = given.value * REACH
    return min(far, Decimal(0)), max(far, Decimal(0))


def _nice(unit: Unit, value: Decimal, within: Decimal) -> Decimal:
    """The value with the fewest digits in `unit` that lies within a distance; the value itself if none does."""
    amount = unit.from_base(value)
    for digits in range(1, 16):
        rounded = Context(digits, ROUND_HALF_EVEN).create_decimal(amount)
        base = unit.to_base(rounded)
        if abs(base - value) <= within:
            return base
    return value


# -- the answer


def limits_of(source: Source, run: Run, result: Data, inputs: Iterable[str] | None = None) -> Data:
    """The limits as JSON data (see `rulesets/schema/limits.json`).

    `result` is the result of `run` as data; `inputs` restricts which inputs are moved, by their labels.
    """
    study = Study(source, run)
    wanted = None if inputs is None else set(inputs)
    flips: list[Data] = []
    moved: list[Data] = []
    for given in study.inputs:
        if wanted is None or given.label in wanted:
            made, found = _along(study, given)
            moved.append(made)
            flips += found
    flips.sort(key=lambda flip: flip["tightness"])
    return {
        "format": FORMAT,
        "gaugebook": version(),
        "passes": result["passes"],
        "layout": source.layout,
        "project": result["project"],
        "ruleset": {key: result["ruleset"][key] for key in ("digest", "stack")},
        "resolution": float(RESOLUTION),
        "outcomes": [
            {"name": outcome.label, "kind": outcome.kind, "outcome": _told(study, outcome, study.now[outcome])}
            for outcome in study.outcomes
        ],
        "flips": flips,
        "inputs": moved,
        "without_effect": [made["input"] for made in moved if not made["leaning"]],
        "on_bounds": list(_on_bounds(study)),
    }


def _along(study: Study, given: Input) -> tuple[Data, list[Data]]:
    """What moving one input does."""
    leaning = study.leaning(given.read)
    outcomes = [outcome for outcome in study.outcomes if outcome in leaning]
    made: Data = {
        "input": given.label, "value": _quantity(given.value, given.unit), "leaning": [o.label for o in outcomes],
    }
    if not outcomes:
        return made, []
    told: list[Data] = []
    searched = []
    for direction, end in zip(("below", "above"), study.range(given), strict=True):
        flips, reached = study.flips(given, outcomes, end)
        searched.append(plain(reached, given.unit))
        told += [_flip(study, given, direction, flip) for flip in flips]
    made["searched"] = {"least": searched[0], "most": searched[1]}
    flipped = {flip["outcome"] for flip in told}
    made["steady"] = [outcome.label for outcome in outcomes if outcome.label not in flipped]
    return made, told


def _flip(study: Study, given: Input, direction: str, flip: Flip) -> Data:
    """A flip as data: `included` says that the bound itself already changes the outcome, `only_there` that
    nothing but the bound does."""
    outcome = flip.outcome
    now = study.now[outcome]
    return {
        "outcome": outcome.label,
        "kind": outcome.kind,
        "input": given.label,
        "value": _quantity(given.value, given.unit),
        "direction": direction,
        "bound": _quantity(flip.bound, given.unit),
        "included": flip.at != now,
        "only_there": flip.beyond == now,
        **_distance(given, flip.bound),
        "is": _told(study, outcome, now),
        "becomes": _told(study, outcome, flip.beyond if flip.beyond != now else flip.at),
    }


def _distance(given: Input, bound: Decimal) -> Data:
    """How far away a bound lies, in the unit of the input and in percent of its value."""
    now, there = (given.unit.from_base(value) for value in (given.value, bound))
    change = there - now
    percent = None if given.unit.kind.point or not now else float(EXACT.divide(change * 100, abs(now)))
    tightness = abs(percent) / 100 if percent is not None else float(abs(change)) / SHARE_OF_POINTS
    return {"change": float(change), "percent": percent, "tightness": tightness}


def _told(study: Study, outcome: Outcome, result: tuple[str, Any]) -> Data:
    """An outcome as data: `what` with the value of a choice."""
    what, value = result
    if what != "chosen":
        return {"what": what}
    attribute = study.book.attributes[study.run.things[outcome.thing].kind][outcome.name]
    return {"what": what, **_quantity(value, attribute.unit)}


def _quantity(value: Any, unit: Unit | None) -> Data:
    return {"value": plain(value, unit), "unit": unit_text(unit)}


# -- right on a bound


def _on_bounds(study: Study) -> Iterator[Data]:
    """Every number that lies exactly on a bound of a table it was looked up in, and every check right at its limit."""
    traced = study.traced
    for path, thing in traced.things.items():
        for attribute in study.book.attributes[thing.kind].values():
            if attribute.role in ("rule", "choice"):
                traced.ask(thing, attribute.name)
    frames: dict[str, tuple[Frame, Read | Outcome]] = {}
    for read, frame in traced.frames.items():
        if traced.rulebook.attributes[traced.things[read[0]].kind][read[1]].role == "rule":
            frames[".".join(read)] = frame, read
    for outcome, frame in study.frames.items():
        if outcome.kind == "check":
            frames[outcome.label] = frame, outcome
    for label, (frame, node) in frames.items():
        leaning = study.leaning(node) if not isinstance(node, Outcome) else {node}
        outcomes = [outcome.label for outcome in study.outcomes if outcome in leaning]
        for table, keys in frame.lookups:
            for place in _bounds_met(study, table, keys):
                yield {"kind": "table", "value_of": label, **place, "outcomes": outcomes}
    for outcome in study.outcomes:
        if outcome.kind == "check":
            yield from _at_limit(study, outcome)


def _bounds_met(study: Study, table: str, keys: tuple[Any, ...]) -> Iterator[Data]:
    made = study.traced.rulebook.tables[table]
    data = study.book.frozen["tables"][table]
    unit = study.book.units.unit(data["unit"]) if data["unit"] else None
    for number, (axis, key) in enumerate(zip(made.axes, keys, strict=True)):
        if axis.match in ("exact", "linear") or not isinstance(key, Decimal):
            continue
        if not any(near(bound, key) for bound in axis.bounds):
            continue
        sides = {}
        key_unit = study.book.units.unit(data["axes"][number]["unit"] or "1")
        nudge = RESOLUTION * (abs(key) or 1)
        for word, value in (("at", key), ("below", key - nudge), ("above", key + nudge)):
            moved = (*keys[:number], value, *keys[number + 1:])
            try:
                with study.run.exactly():
                    sides[word] = plain(made(*moved), unit)
            except Absent:
                sides[word] = None
        yield {
            "entry": study.book.entries[f"tables/{table}"]["full"], "key": axis.name,
            "bound": _quantity(key, key_unit), **sides, "unit": unit_text(unit),
        }


def _at_limit(study: Study, outcome: Outcome) -> Iterator[Data]:
    """A check whose two sides are equal."""
    told, _ = study.traced.call(f"check {outcome.name}", study.traced.things[outcome.thing])
    if isinstance(told, Absent) or told is None or not isinstance(told[1], Decimal) or not isinstance(told[2], Decimal):
        return
    if near(told[1], told[2]):
        check = study.book.checks[outcome.name]
        unit = study.book.units.unit(check["unit"]) if check["unit"] else None
        yield {
            "kind": "check", "value_of": outcome.label, "entry": study.book.entries[check["entry"]]["full"],
            "bound": _quantity(told[2], unit), "at": "passes" if told[0] else "fails", "outcomes": [outcome.label],
        }


__all__ = ["Study", "Thing", "limits_of"]
