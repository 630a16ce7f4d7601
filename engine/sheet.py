"""A calculation sheet as plain data: every part in order, every value finished text, to be laid out.

The book's `sheet` section says which attributes stand where. Parts in the order of a page: `facts`, `books`,
`diagrams` (see `drawing`) with the `symbols` they name, `schedules`, `checks`, `stated` (where the rules
would choose otherwise), `derivations`, `rejected`, `sections` (things drawn in section; only the ratio of
their diameters counts), `grounds`, `unchecked` and `remarks`. Citations leave out the name of `document`,
from which most of them are.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from itertools import groupby
from typing import Any

from .alike import Alike
from .deriving import Deriver
from .documents import as_list
from .drawing import Drawing, symbols_of, things_at
from .evaluating import Thing
from .retelling import Retelling
from .rulebook import Rulebook
from .session import Result
from .sheet_rest import Rest
from .sheet_steps import Labels, steps
from .shown import UNSTATED, relation, share, shown, spoken
from .templates import Body, called, number, pieces, short, told

FORMAT = "sheet/1"
NOTHING = "none"
OPEN = "undetermined"
VERDICTS = {True: "passes", False: "fails", None: OPEN}
ORDER = {False: 0, None: 1, True: 2}

Data = dict[str, Any]


def build_sheet(result: Result) -> Data:
    """The sheet of a result. Needs the book as written, for the derivations."""
    with result.run.exactly():
        return Sheet(result).data()


class Sheet:
    """Gathers the parts of a sheet."""

    def __init__(self, result: Result) -> None:
        self.result, self.run, self.found = result, result.run, result.data
        self.entries = result.run.rulebook.entries
        self.parts: list[Body] = result.run.rulebook.frozen["sheet"] or list(plain_parts(result.run.rulebook))
        self.document = main_document(result.data)
        self.alike = Alike()

    def data(self) -> Data:
        """All of it."""
        found, rest = self.found, Rest(self.found, self._cites, self._called, self._title)
        counts = Counter(check["passes"] for check in found["checks"])
        diagrams = [
            {"title": self._title_of(part), "roots": Drawing(self.run, part, self.alike).roots()}
            for part in self._formed("diagram")
        ]
        return {
            "format": FORMAT,
            "gaugebook": found["gaugebook"],
            "title": found["project"]["title"],
            "layout": found["layout"],
            "passes": found["passes"],
            "counts": {VERDICTS[passes]: counts[passes] for passes in VERDICTS},
            "told": _counted(counts),
            "facts": [*self._adoption(), *self._facts()],
            "books": self._books(),
            "document": self.document,
            "digests": {"book": found["ruleset"]["digest"], "project": found["project"]["digest"]},
            "diagrams": diagrams,
            "symbols": self._symbols(diagrams),
            "schedules": [self._schedule(part) for part in self._formed("schedule")],
            "derivations": list(self._derivations()),
            "checks": list(self._checks()),
            "stated": list(self._stated()),
            "rejected": list(self._rejected()),
            "sections": list(self._sections()),
            "grounds": list(rest.grounds()),
            "unchecked": [
                item
                | {
                    "transcription": spoken(item["transcription"] or UNSTATED),
                    "title": self._title(item["entry"]),
                }
                for item in found["unchecked"]
            ],
            "sources": self._sources(),
            "remarks": list(rest.remarks()),
        }

    def _formed(self, form: str) -> Iterator[Body]:
        """The declarations of one form whose kind has things."""
        return (part for part in self.parts if part["form"] == form and self.run.by_kind[str(part["of"])])

    def _title_of(self, part: Body) -> str:
        kind = str(part["of"])
        return str(part.get("title") or self.run.rulebook.kinds[kind].get("title") or spoken(kind))

    def _title(self, full: str) -> str:
        id = full.partition(":")[2]
        title = self.entries.get(id, {}).get("title")
        return str(title or spoken(id.rpartition("/")[2].rpartition(".")[2]))

    def _sources(self) -> list[Data]:
        """What the keys of sources mean that the unchecked entries name, each in the list of its own layer."""
        known = self.result.book.written.sources
        met = {
            (layer, key): known[layer][key]
            for item in self.found["unchecked"]
            for key in item["source"]
            for layer in [item["entry"].partition(":")[0]]
            if key in known.get(layer, {})
        }
        return [{"layer": layer, "key": key, "text": text} for (layer, key), text in sorted(met.items())]

    def _called(self, *paths: str) -> str:
        """What a reader calls the things at some paths, the kind only once."""
        made: list[str] = []
        kind = ""
        for thing in (self.run.things[path] for path in paths):
            made.append(short(thing) if thing.kind == kind else called(thing))
            kind = thing.kind
        return ", ".join(made)

    def _cites(self, cites: list[str]) -> list[str]:
        """Citations without the name of the document that most of them are from."""
        return [cite.removeprefix(f"{self.document} ") for cite in cites]

    def _symbols(self, diagrams: list[Data]) -> Data:
        """The symbols that the diagrams name."""
        names = {name for diagram in diagrams for root in diagram["roots"] for name in symbols_of(root)}
        return {name: body for name, body in self.result.book.written.symbols.items() if name in names}

    # -- the head

    def _adoption(self) -> Iterator[Data]:
        """Who decides and as of when, as far as the project or a layer says so."""
        adopted = self.found["ruleset"].get("jurisdiction")
        if adopted:
            yield {"label": "Jurisdiction", "value": adopted["title"]}
            yield {"label": "Adopted by", "value": "; ".join(adopted["cites"]) or NOTHING}
            yield {"label": f"Day that counts ({spoken(adopted['event'])})", "value": adopted["day"]}
        authorities = self.result.book.written.authorities
        if authorities:
            yield {"label": "Authority", "value": "; ".join(authorities)}

    def _facts(self) -> Iterator[Data]:
        for part in self._formed("facts"):
            for thing in self.run.by_kind[str(part["of"])]:
                for name in as_list(part.get("shows")):
                    texts = pieces(thing, f"{{{name}}}")
                    title = self.entries.get(f"fields/{thing.kind}.{name}", {}).get("title")
                    if texts:
                        yield {"label": str(title or spoken(str(name))), "value": texts[0]}

    def _books(self) -> list[Data]:
        return [
            {key: layer[key] for key in ("id", "version", "title", "document", "digest", "force")}
            for layer in self.found["ruleset"]["stack"]
        ]

    # -- what was chosen

    def _schedule(self, part: Body) -> Data:
        rows = []
        for thing in self.run.by_kind[str(part["of"])]:
            cells = []
            for column in part["columns"]:
                texts, undetermined = told(thing, column["text"])
                cells.append(", ".join(texts) or (OPEN if undetermined else NOTHING))
            rows.append({"thing": thing.path, "name": thing.name, "cells": cells})
        return {
            "title": self._title_of(part),
            "of": str(self.run.rulebook.kinds[str(part["of"])].get("title") or part["of"]),
            "columns": [column["title"] for column in part["columns"]],
            "rows": rows,
        }

    def _derivations(self) -> Iterator[Data]:
        deriver = Deriver(self.run, self.result.book.written, retelling=Retelling(self.run))
        for part in self._formed("derivation"):
            for group in self.alike.groups(self.run.by_kind[str(part["of"])]):
                thing = group[0]
                nodes = [deriver.node(thing, str(name)) for name in as_list(part.get("shows"))]
                if len(group) > 1:
                    self._settle_alike(deriver.seen, group)
                yield {
                    "title": self._title_of(part),
                    "thing": thing.path,
                    "name": thing.name,
                    "also": [other.name for other in group[1:]],
                    "steps": [
                        step | {"cites": self._cites(step["cites"])}
                        for step in steps(nodes, Labels(self.run, thing))
                    ],
                }

    @staticmethod
    def _settle_alike(seen: dict[str, str], group: list[Thing]) -> None:
        """What was derived for one thing counts as derived for those alike."""
        first, *others = group
        for id, value in list(seen.items()):
            rest = id.removeprefix(f"{first.path}.")
            if rest != id:
                seen.update({f"{other.path}.{rest}": value for other in others})

    # -- what was checked

    def _checks(self) -> Iterator[Data]:
        """Every check once, what fails first."""
        checks = sorted(self.found["checks"], key=lambda check: ORDER[check["passes"]])
        for place, check in enumerate(checks, 1):
            yield {
                "number": place,
                "thing": check["thing"],
                "called": self._called(check["thing"]),
                "check": check["check"],
                "title": self._title(check["entry"]),
                "passes": check["passes"],
                "verdict": VERDICTS[check["passes"]],
                "actual": _side(check["actual"]),
                "limit": relation(check["sign"], _side(check["limit"])),
                "margin": share(check["margin"]),
                "used": share_used(check),
                "cites": self._cites(check["cites"]),
                "why": check.get("why", []),
                "way": spoken(check.get("way", "")),
            }

    def _stated(self) -> Iterator[Data]:
        """What the project states where the rules would choose, and what they would have chosen."""
        for name, value in self.found["values"].items():
            if value.get("stated") and "would_choose" in value:
                yield {
                    "name": name,
                    "called": self._called(name.rpartition(".")[0]),
                    "title": self._title(value["entry"]),
                    "value": shown(value["value"], value["unit"]),
                    "would": shown(value["would_choose"], value["unit"]),
                }

    def _rejected(self) -> Iterator[Data]:
        """The candidates that choices passed over, and the things for which it was the same together."""
        alike: dict[str, tuple[list[Data], list[str]]] = {}
        for thing, rows in groupby(self._rejections(), key=lambda row: str(row["thing"])):
            found = [{key: part for key, part in row.items() if key != "thing"} for row in rows]
            kind = self.run.things[thing].kind
            alike.setdefault(f"{kind} {found}", (found, []))[1].append(thing)
        for found, things in alike.values():
            yield from ({"things": things, "called": self._called(*things)} | row for row in found)

    def _rejections(self) -> Iterator[Data]:
        """The candidates a choice passed over, those that failed at the same limit together."""
        for name, value in self.found["values"].items():
            thing, _, attribute = name.rpartition(".")
            for (check, limit, sign), group in groupby(
                value.get("rejected") or [], key=lambda one: (one["check"], one["limit"], one["sign"])
            ):
                entry = self.run.rulebook.checks[check]["entry"]
                yield {
                    "thing": thing,
                    "choice": self._title(value["entry"]),
                    "attribute": attribute,
                    "title": self._title(f":{entry}"),
                    "limit": relation(sign, _side(limit)),
                    "cites": self._cites(self.entries[entry]["cites"]),
                    "members": [
                        {
                            "member": shown(one["value"], value["unit"]),
                            "actual": _side(one["actual"]),
                            "why": one.get("why", []),
                        }
                        for one in group
                    ],
                }

    # -- what is drawn in section

    def _sections(self) -> Iterator[Data]:
        for part in self._formed("section"):
            for thing in self.run.by_kind[str(part["of"])]:
                diameter = number(thing, str(part["diameter"]))
                if diameter is None:
                    continue
                yield {
                    "title": self._title_of(part),
                    "thing": thing.path,
                    "name": thing.name,
                    "text": pieces(thing, part.get("text")),
                    "diameter": float(diameter),
                    "contents": [
                        made for body in as_list(part.get("contents")) for made in self._content(thing, body)
                    ],
                }

    @staticmethod
    def _content(thing: Thing, body: Body) -> Iterator[Data]:
        """Circles of one size that lie inside."""
        part = number(thing, str(body["share"])) if "share" in body else None
        for owner in things_at(thing, str(body["over"])) if "over" in body else [thing]:
            diameter = number(owner, str(body["diameter"]))
            count = number(owner, str(body["count"])) if "count" in body else 1
            if diameter and count:
                yield {
                    "diameter": float(diameter),
                    "count": round(count / part) if part else round(count),
                    "look": body.get("look", "plain"),
                    "text": ", ".join(pieces(owner, body.get("text"))),
                }


def main_document(found: Data) -> str:
    """The document most checks are cited from."""
    cites = [cite for check in found["checks"] for cite in check["cites"]]
    documents: list[str] = [layer["document"] for layer in reversed(found["ruleset"]["stack"])]
    return max(documents, key=lambda name: sum(cite.startswith(f"{name} ") for cite in cites))


def plain_parts(rulebook: Rulebook) -> Iterator[Body]:
    """What stands in for the declarations of a book that has none: its summary, and how its choices came."""
    for kind, attributes in rulebook.attributes.items():
        choices = [name for name, attribute in attributes.items() if attribute.role == "choice"]
        shows = [name for name in rulebook.frozen["summary"].get(kind, choices) if name in attributes]
        if shows:
            columns = [{"title": spoken(name), "text": "{" + name + "}"} for name in shows]
            yield {"form": "schedule", "of": kind, "columns": columns}
        if choices:
            yield {"form": "derivation", "of": kind, "shows": choices}


def _counted(counts: Mapping[bool | None, int]) -> str:
    """How many checks came to what."""
    total = sum(counts.values())
    if counts[True] == total:
        return f"all {total} checks are met"
    said = [f"{counts[True]} of {total} checks are met"]
    said += [f"{counts[False]} not met"] * bool(counts[False])
    said += [f"{counts[None]} cannot be decided"] * bool(counts[None])
    return ", ".join(said)


def _side(side: Data | None) -> str:
    return shown(side["value"], side["unit"]) if side else ""


def share_used(check: Data) -> float | None:
    """How much of what a check allows is used, 1 at the limit; None where a share means nothing.

    `check` has margin, actual and limit as in a result.
    """
    if check.get("margin") is None:
        return None
    margin = float(check["margin"])
    above = check["actual"]["value"] > check["limit"]["value"]
    if margin and above == (margin > 0):
        return 1 / (1 + margin) if margin > -1 else None
    return max(0.0, 1 - margin)
