"""A finished run as the plain data of a result: every value with its entry, every check, what they lean on.

The shape is that of `rulesets/schema/result.json`. Numbers are floats made from the exact decimals, in the
unit their attribute declares; nothing is rounded here.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from decimal import Decimal

from . import __version__
from .evaluating import Rejected, Run, Thing
from .rulebook import Attribute
from .runtime import CHECK, Absent
from .source import Source
from .transcriptions import weakest
from .units import Unit

TYPE_CHECKING = False

if TYPE_CHECKING:
    from typing import Any

FORMAT = "result/1"
STRONGEST = "checked"


def plain(value: Any, unit: Unit | None) -> Any:
    """A value as JSON data: a number in `unit` (base units if None), a word, a truth, the path of a thing."""
    if isinstance(value, Decimal):
        return float(unit.from_base(value) if unit else value)
    if isinstance(value, Thing):
        return value.path
    if isinstance(value, (list, tuple)):
        return [plain(item, unit) for item in value]
    return value


def unit_text(unit: Unit | None) -> str | None:
    """A unit as a result names it; a plain number has none."""
    return unit.text if unit is not None and unit.text != "1" else None


def margin(sign: str | None, actual: Any, limit: Any, unit: Unit | None) -> float | None:
    """How far inside its limit a value lies, as a share of the limit; negative beyond it.

    None where a share means nothing: no numbers, a limit of zero, points on a scale.
    """
    numbers = isinstance(actual, Decimal) and isinstance(limit, Decimal)
    point = unit is not None and unit.kind.point
    if sign not in ("<", "<=", ">", ">=") or not numbers or not limit or point:
        return None
    room = actual - limit if sign in (">", ">=") else limit - actual
    return float(room / abs(limit))


class Reporter:
    """Asks a run for everything and writes the answers down; `leaned` gathers the entries behind them.

    `outline` is the result with the values that its checks and its summary are about; `values` are all of them.
    """

    def __init__(self, run: Run, source: Source) -> None:
        self.run = run
        self.rulebook = run.rulebook
        self.frozen = run.rulebook.frozen
        self.leaned: dict[str, None] = {}
        self._weakest: dict[tuple[str, ...], str | None] = {}
        self._changes: dict[tuple[str, ...], dict[str, Any]] = {}
        self.outline = self._outline(source)

    def values(self) -> dict[str, Any]:
        """Every derived value, with those of the outline, things in project order."""
        told: dict[str, Any] = self.outline["values"]
        with self.run.exactly():
            return {
                self._key(thing, a): told.get(self._key(thing, a)) or self._value(thing, a)
                for thing, a in self._asked()
            }

    def _outline(self, source: Source) -> dict[str, Any]:
        with self.run.exactly():
            outcomes = {
                self._key(thing, a): self._value(thing, a) for thing, a in self._asked() if self._outcome(a)
            }
            checks = [*self._checks(), *self._choices_not_made(outcomes)]
            cautions = list(dict.fromkeys(self._cautions()))
            outputs = list(self._outputs())
            self._settle_behind()
            readings, assumptions, unchecked = self._readings(), self._assumptions(), self._unchecked()
            for thing, a in self._asked():
                if a.role == "choice" and a.name in thing.stated:
                    outcomes[self._key(thing, a)] |= self._review(thing, a, checks, source)
        verdicts = [check["passes"] for check in checks]
        return {
            "format": FORMAT,
            "gaugebook": __version__,
            "passes": False if False in verdicts else None if None in verdicts else True,
            "layout": source.layout,
            "project": {"title": source.title, "digest": source.digest},
            "ruleset": {"digest": self.frozen["digest"], "stack": self._stack(), "day": self.frozen["day"]},
            "values": outcomes,
            "checks": checks,
            "readings": readings,
            "assumptions": assumptions,
            "taken": source.taken,
            "cautions": cautions,
            "outputs": outputs,
            "findings": self.frozen["findings"],
            "unchecked": unchecked,
            "not_encoded": self.frozen["not_encoded"],
            "removed": [{"entry": id, "layer": layer} for id, layer in self.frozen["removed"].items()],
        }

    def _stack(self) -> list[dict[str, str]]:
        return [
            {key: layer[key] for key in ("id", "version", "digest", "title", "document", "force")}
            for layer in self.frozen["layers"]
        ]

    def _asked(self) -> Iterator[tuple[Thing, Attribute]]:
        """Every derived attribute of every thing, things in project order, attributes in book order."""
        for thing in self.run.things.values():
            for attribute in self.rulebook.attributes[thing.kind].values():
                if attribute.role in ("rule", "choice"):
                    yield thing, attribute

    @staticmethod
    def _key(thing: Thing, attribute: Attribute) -> str:
        return f"{thing.path}.{attribute.name}"

    def _outcome(self, attribute: Attribute) -> bool:
        """What the reader came for: every choice and whatever the book's summary shows. What only those and the
        checks lean on is assumed, read and left unchecked; a rule nobody needed assumes nothing."""
        summary = self.frozen["summary"].get(attribute.kind, [])
        return attribute.role == "choice" or attribute.name in summary

    def _settle_behind(self) -> None:
        """Count the entries behind every rule that the outcomes reached."""
        for thing, attribute in self._asked():
            if attribute.name in thing.memo:
                self._lean([attribute.entry, *self._behind(thing, attribute)[1]])

    # -- values

    def _value(self, thing: Thing, attribute: Attribute) -> dict[str, Any]:
        absent = None
        try:
            value = thing.get(attribute.name)
        except Absent as reason:
            absent, value = reason, None
        cites, leans = self._behind(thing, attribute)
        made: dict[str, Any] = {
            "value": plain(value, attribute.unit),
            "unit": unit_text(attribute.unit),
            "entry": self._full(attribute.entry),
            "cites": cites,
            "transcription": self._lean([attribute.entry, *leans]),
        }
        made |= self._amended([attribute.entry, *leans])
        if absent is not None:
            made |= {"why": list(absent.reasons), "undetermined": not absent.void}
        if attribute.role == "choice":
            rejected = self.run.rejected.get((thing.path, attribute.name), [])
            made["stated"] = attribute.name in thing.stated
            made["rejected"] = [self._rejected(attribute, candidate) for candidate in rejected]
        return made

    def _review(
        self, thing: Thing, attribute: Attribute, checks: list[dict[str, Any]], source: Source
    ) -> dict[str, Any]:
        """A stated choice judged: the checks that constrain it, and what would be chosen in its place."""
        from .reviewing import unstated

        constraining = self.frozen["choices"][attribute.key]["checks"]
        judged = [
            {key: check[key] for key in ("check", "passes", "actual", "limit", "sign", "margin")}
            for check in checks
            if check["thing"] == thing.path and check["check"] in constraining
        ]
        choice = unstated(self.run, source, thing, attribute.name)
        would = None if isinstance(choice, Absent) else plain(choice, attribute.unit)
        return {"would_choose": would, "constrained_by": judged} | self._could_carry(thing, attribute, source)

    def _could_carry(self, thing: Thing, attribute: Attribute, source: Source) -> dict[str, Any]:
        """How much a stated choice could carry, where the book says of what; nothing where it does not."""
        choice = self.frozen["choices"][attribute.key]
        if choice["carries"] is None:
            return {}
        from .reviewing import could_take

        load = self.rulebook.attributes[thing.kind][choice["carries"]]
        most = could_take(self.run, source, thing, load, choice["checks"])
        if most is None:
            return {}
        sides = {"now": thing.get(load.name), "most": most.value}
        told = {
            word: None if side is None else {"value": plain(side, load.unit), "unit": unit_text(load.unit)}
            for word, side in sides.items()
        }
        return {"could_carry": {"attribute": load.name, **told, "included": most.included}}

    def _behind(self, thing: Thing, attribute: Attribute) -> tuple[list[str], list[str]]:
        """The citations of a value, and the tables, constants and series its own expression names."""
        cites = self.rulebook.entries[attribute.entry]["cites"]
        if attribute.role == "choice":
            choice = self.frozen["choices"][attribute.key]
            checks = [lean for name in choice["checks"] for lean in self.rulebook.checks[name]["leans"]]
            return cites, [f"series/{choice['series']}", *choice["leans"], *checks]
        routes = self.frozen["rules"][attribute.key]["routes"]
        route = routes[thing.route.get(attribute.name, 0)]
        return route["cites"] or cites, route["leans"]

    def _rejected(self, attribute: Attribute, candidate: Rejected) -> dict[str, Any]:
        check = self.rulebook.checks[candidate.check]
        made = {
            "value": plain(candidate.member, attribute.unit),
            "check": candidate.check,
            "actual": self._quantity(candidate.check, candidate.actual),
            "limit": self._quantity(candidate.check, candidate.limit),
            "sign": (self._way(candidate.check, candidate.way) or check)["sign"],
        }
        return made | {"why": [candidate.reason]} if candidate.reason else made

    # -- checks

    def _checks(self) -> Iterator[dict[str, Any]]:
        by_kind: dict[str, list[str]] = {}
        for name, check in self.rulebook.checks.items():
            by_kind.setdefault(check["kind"], []).append(name)
        for thing in self.run.things.values():
            for name in by_kind.get(thing.kind, []):
                made = self._check(thing, name)
                if made is not None:
                    yield made

    def _check(self, thing: Thing, name: str) -> dict[str, Any] | None:
        """A check on a thing, None where it does not apply; what the rules leave without a value fails."""
        check = self.rulebook.checks[name]
        absent, passes, actual, limit = None, None, None, None
        try:
            verdict = self.run.check(thing, name)
        except Absent as reason:
            absent, passes = reason, False if reason.void else None
        else:
            if verdict is None:
                return None
            passes, actual, limit = verdict
        self._lean([check["entry"], *check["leans"]])
        way = self._way(name, thing.route.get(f"{CHECK}{name}", -1))
        cites = self.rulebook.entries[check["entry"]]["cites"]
        made: dict[str, Any] = {
            "thing": thing.path,
            "check": name,
            "passes": passes,
            "actual": self._quantity(name, actual),
            "limit": self._quantity(name, limit),
            "sign": (way or check)["sign"],
            "margin": margin((way or check)["sign"], actual, limit, self._unit(name)),
            "entry": self._full(check["entry"]),
            "cites": way["cites"] or cites if way else cites,
        }
        made |= self._amended([check["entry"], *check["leans"]])
        if way:
            made["way"] = way["name"]
        return made | {"why": list(absent.reasons)} if absent is not None else made

    def _way(self, check: str, taken: int) -> dict[str, Any] | None:
        """The exception or the alternative by which a check was judged; None for its plain requirement."""
        ways: list[dict[str, Any]] = self.rulebook.checks[check].get("ways", [])
        return ways[taken] if 0 <= taken < len(ways) else None

    def _amended(self, ids: Iterable[str]) -> dict[str, Any]:
        """What other authorities changed about the entries, under the key `amended`; nothing where none did."""
        key = tuple(ids)
        if key not in self._changes:
            found = [
                {"entry": self._full(id), **change}
                for id in key
                if id in self.rulebook.entries
                for change in self.rulebook.entries[id].get("amended", [])
            ]
            self._changes[key] = {"amended": found} if found else {}
        return self._changes[key]

    def _outputs(self) -> Iterator[dict[str, Any]]:
        """What has to be made beside the work; `certain` is False where its condition cannot be decided."""
        for output in self.frozen["outputs"]:
            holds = self.rulebook.functions[f"output {output['name']}"]
            for thing in self.run.by_kind[output["kind"]]:
                certain = True
                try:
                    if not holds(thing):
                        continue
                except Absent:
                    certain = False
                self._lean([output["entry"]])
                yield {
                    "thing": thing.path,
                    "output": output["name"],
                    "form": output["form"],
                    "says": output["say"],
                    "certain": certain,
                    "shows": {name: self._shown(thing, name) for name in output["shows"]},
                    "entry": self._full(output["entry"]),
                    "cites": self.rulebook.entries[output["entry"]]["cites"],
                }

    def _shown(self, thing: Thing, name: str) -> dict[str, Any]:
        """A value that a required output must state."""
        attribute = self.rulebook.attributes[thing.kind][name]
        try:
            value = thing.get(name)
        except Absent:
            value = None
        return {"value": plain(value, attribute.unit), "unit": unit_text(attribute.unit)}

    def _choices_not_made(self, values: dict[str, dict[str, Any]]) -> Iterator[dict[str, Any]]:
        """A choice that could not be made counts as a check that fails, or stays open when undetermined."""
        for thing, attribute in self._asked():
            value = values.get(self._key(thing, attribute), {})
            if attribute.role != "choice" or "why" not in value:
                continue
            last = value["rejected"][-1:] if not value["undetermined"] else []
            yield {
                "thing": thing.path,
                "check": attribute.name,
                "passes": None if value["undetermined"] else False,
                "actual": last[0]["actual"] if last else None,
                "limit": last[0]["limit"] if last else None,
                "sign": last[0]["sign"] if last else None,
                "margin": None,
                "entry": value["entry"],
                "cites": value["cites"],
                "why": value["why"] + [reason for candidate in last for reason in candidate.get("why", [])],
            }

    def _unit(self, check: str) -> Unit | None:
        text = self.rulebook.checks[check]["unit"]
        return self.rulebook.units.unit(text) if text else None

    def _quantity(self, check: str, value: Any) -> dict[str, Any] | None:
        """One side of a check with its unit."""
        if value is None:
            return None
        unit = self._unit(check) if isinstance(value, Decimal) else None
        return {"value": plain(value, unit), "unit": unit_text(unit)}

    # -- what stands beside the values

    def _readings(self) -> list[dict[str, Any]]:
        made = []
        for name, (option, settled_by) in sorted(self.run.readings_used.items()):
            reading = self.frozen["readings"][name]
            entry = self.rulebook.entries[reading["entry"]]
            self._lean([reading["entry"]])
            changed = any(change["what"].startswith("default:") for change in entry.get("changed", []))
            made.append(
                {
                    "reading": name,
                    "option": option,
                    "settled_by": "layer" if settled_by == "default" and changed else settled_by,
                    "cites": reading["options"][option].get("cites") or entry["cites"],
                    "question": reading["question"],
                }
            )
        return made

    def _assumptions(self) -> list[dict[str, Any]]:
        made = []
        for thing in self.run.things.values():
            for attribute in self.rulebook.attributes[thing.kind].values():
                assumption = self.run.assumptions.get((thing.path, attribute.name))
                if assumption is None:
                    continue
                field = attribute.field or {}
                default = field.get("default")
                item = {
                    "thing": thing.path,
                    "field": ".".join(attribute.steps),
                    "value": None if default is None else str(default),
                    "entry": self._full(field.get("entry", attribute.entry)),
                }
                made.append(item | {"says": field["assume"]} if "assume" in field else item)
        return made

    def _cautions(self) -> Iterator[str]:
        """The texts that apply; a condition that cannot be decided counts as holding."""
        for caution in self.frozen["cautions"]:
            holds = self.rulebook.functions[f"caution {caution['name']}"]
            for thing in self.run.by_kind[caution["kind"]]:
                try:
                    told = bool(holds(thing))
                except Absent:
                    told = True
                if told:
                    yield caution["say"]

    def _unchecked(self) -> list[dict[str, Any]]:
        made = []
        for id in self.leaned:
            entry = self.rulebook.entries[id]
            transcription = entry.get("transcription")
            if transcription != STRONGEST:
                source = entry.get("source", [])
                made.append(
                    {
                        "entry": entry["full"],
                        "transcription": transcription,
                        "source": [str(key) for key in (source if isinstance(source, list) else [source])],
                    }
                )
        return sorted(made, key=lambda item: str(item["entry"]))

    def _lean(self, ids: Iterable[str]) -> str | None:
        """Note the entries as leaned upon; the weakest of their transcriptions, None if one is not stated."""
        key = tuple(ids)
        if key not in self._weakest:
            known = [id for id in key if id in self.rulebook.entries]
            self.leaned.update(dict.fromkeys(known))
            words = [self.rulebook.entries[id].get("transcription") for id in known]
            found = weakest(words)
            self._weakest[key] = None if found == STRONGEST and None in words else found
        return self._weakest[key]

    def _full(self, id: str) -> str:
        full: str = self.rulebook.entries[id]["full"]
        return full
