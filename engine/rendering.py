"""A result for people: what was chosen, what was checked, what it leans on, and what the book warns of.

All words of the trade come from the book: titles of kinds and entries, and its `summary` of each kind.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from .blocks import Block, Grid, Heading, Items, Paragraph, as_markdown, as_text
from .session import Result
from .units import show_number

VERDICTS = {True: "PASSES", False: "FAILS", None: "UNDETERMINED"}


def render_text(result: Result, full: bool = False) -> str:
    """The result for a terminal; `full` lists what is otherwise only counted."""
    return as_text(list(Page(result, full).blocks()))


def render_markdown(result: Result, full: bool = False) -> str:
    """The result as Markdown; `full` lists what is otherwise only counted."""
    return as_markdown(list(Page(result, full).blocks()))


def shown(value: Any, unit: str | None) -> str:
    """A value of a result for reading: four digits and the unit, yes or no, or a dash for none."""
    if value is None:
        return "–"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, (int, float)):
        text = show_number(Decimal(repr(value)))
        return text if unit is None else f"{text} {unit}"
    if isinstance(value, list):
        return ", ".join(str(item) for item in value) or "–"
    return str(value)


def spoken(name: str) -> str:
    """A name as words, `maximum_load` as `maximum load`."""
    return name.replace("_", " ")


def share(margin: float | None) -> str:
    """A margin in percent with its sign."""
    return "" if margin is None else f"{'-' if margin < 0 else '+'}{show_number(abs(Decimal(repr(margin))) * 100, 3)} %"


class Page:
    """Puts a result into blocks; kinds and titles are looked up in the book behind it."""

    def __init__(self, result: Result, full: bool) -> None:
        self.data, self.run, self.full = result.data, result.run, full
        self.rulebook = result.run.rulebook

    def blocks(self) -> Iterator[Block]:
        """The page from top to bottom."""
        yield from self._head()
        for kind in self.run.by_kind:
            yield from self._kind(kind)
        yield from self._checks()
        yield from self._rejected()
        yield from self._grounds()
        yield from self._unchecked()
        yield from self._listed("Not part of this book yet", [_words(part) for part in self.data["not_encoded"]])
        yield from self._listed("Cautions", self.data["cautions"])

    def _head(self) -> Iterator[Block]:
        yield Heading(self.data["project"]["title"], 1)
        counts = Counter(check["passes"] for check in self.data["checks"])
        parts = [f"{counts[True]} of {counts.total()} checks pass"]
        parts += [f"{counts[False]} fail"] * bool(counts[False])
        parts += [f"{counts[None]} undetermined"] * bool(counts[None])
        lines = [f"{VERDICTS[self.data['passes']]}: {', '.join(parts)}"]
        if self.data["layout"]:
            lines.append(f"Layout: {self.data['layout']}")
        stack = self.data["ruleset"]["stack"]
        lines += [f"Under {layer['title']} ({layer['id']} {layer['version']})" for layer in reversed(stack)][:1]
        if len(stack) > 1:
            lines.append("Layers, bottom first: " + ", ".join(f"{layer['id']} {layer['version']}" for layer in stack))
        lines.append(f"Book {_short(self.data['ruleset']['digest'])}, project {_short(self.data['project']['digest'])}")
        yield Paragraph("\n".join(lines))
        not_in_force = [layer["title"] for layer in stack if layer["force"] != "yes"]
        if not_in_force:
            yield Paragraph(f"Without force until adopted: {', '.join(not_in_force)}")

    # -- values

    def _kind(self, kind: str) -> Iterator[Block]:
        names = self._columns(kind)
        things = self.run.by_kind[kind]
        if not names or not things:
            return
        body = self.rulebook.kinds[kind]
        section = str(body.get("section", kind))
        yield Heading(str(body.get("title") or spoken(section)).capitalize())
        rows = [
            [thing.path.removeprefix(f"{section}."), *(self._cell(f"{thing.path}.{name}") for name in names)]
            for thing in things
        ]
        yield Grid(["", *(spoken(name) for name in names)], rows)

    def _columns(self, kind: str) -> list[str]:
        """The attributes the book's summary names for a kind, else its choices."""
        attributes = self.rulebook.attributes[kind]
        summary = self.rulebook.frozen["summary"].get(kind)
        if summary is not None:
            return [name for name in summary if name in attributes and attributes[name].role in ("rule", "choice")]
        return [name for name, attribute in attributes.items() if attribute.role == "choice"]

    def _cell(self, name: str) -> str:
        value = self.data["values"][name]
        if "why" in value:
            return "undetermined" if value["undetermined"] else "none"
        return shown(value["value"], value["unit"]) + (" (stated)" if value.get("stated") else "")

    # -- checks

    def _checks(self) -> Iterator[Block]:
        checks = self.data["checks"]
        if not checks:
            return
        yield Heading("Checks")
        order = {False: 0, None: 1, True: 2}
        rows = []
        for check in sorted(checks, key=lambda check: order[check["passes"]]):
            verdict = {True: "pass", False: "FAIL", None: "open"}[check["passes"]]
            sides = [shown(side["value"], side["unit"]) if side else "" for side in (check["actual"], check["limit"])]
            rows.append([
                verdict, check["thing"], self._title(check), *sides, share(check["margin"]), _cites(check["cites"]),
            ])
        yield Grid(["", "thing", "check", "actual", "limit", "margin", "cites"], rows)
        why = [
            f"{check['thing']}, {self._title(check)}: {'; '.join(check['why'])}" for check in checks if "why" in check
        ]
        yield from self._items(why)

    def _title(self, item: dict[str, Any]) -> str:
        return self._entry_title(item["entry"])

    def _entry_title(self, full: str) -> str:
        id = full.partition(":")[2]
        title = self.rulebook.entries.get(id, {}).get("title")
        return str(title or spoken(id.rpartition("/")[2].rpartition(".")[2]))

    def _rejected(self) -> Iterator[Block]:
        rows = []
        for name, value in self.data["values"].items():
            candidates = value.get("rejected") or []
            for candidate in candidates if self.full else candidates[-1:]:
                entry = self.rulebook.checks[candidate["check"]]["entry"]
                title = self._entry_title(f":{entry}")
                why = "; ".join(candidate.get("why", []))
                if candidate["actual"] is not None:
                    sides = [shown(candidate[side]["value"], candidate[side]["unit"]) for side in ("actual", "limit")]
                    why = f"{sides[0]} against {sides[1]}"
                rows.append([name, shown(candidate["value"], value["unit"]), title, why])
        if rows:
            yield Heading("Candidates rejected" if self.full else "Last candidate rejected")
            yield Grid(["choice", "rejected", "by", "because"], rows)

    # -- grounds

    def _grounds(self) -> Iterator[Block]:
        readings = [
            f"{reading['question']} {spoken(reading['option'])} ({reading['reading']}, settled by "
            f"{reading['settled_by']}{_after(', ', reading['cites'])})"
            for reading in self.data["readings"]
        ]
        yield from self._listed("Readings used", readings)
        assumptions = [
            f"{item['thing']}.{item['field']}: "
            + (item["value"] if item["value"] is not None else "not stated")
            + (f" ({item['says']})" if "says" in item else "")
            for item in self.data["assumptions"]
        ]
        yield from self._listed("Assumed, because not stated", assumptions)

    def _unchecked(self) -> Iterator[Block]:
        unchecked = self.data["unchecked"]
        if not unchecked:
            return
        counts = Counter(item["transcription"] for item in unchecked)
        said = ", ".join(f"{count} {spoken(word)}" for word, count in counts.items())
        yield Heading("Not compared with the published text")
        more = "" if self.full else "; --full lists them"
        yield Paragraph(f"This result leans on {len(unchecked)} entries whose figures were not: {said}{more}.")
        if self.full:
            yield Grid(
                ["entry", "transcription", "source"],
                [[item["entry"], spoken(item["transcription"]), ", ".join(item["source"])] for item in unchecked],
            )

    def _listed(self, title: str, texts: list[str]) -> Iterator[Block]:
        if texts:
            yield Heading(title)
            yield Items(texts)

    @staticmethod
    def _items(texts: list[str]) -> Iterator[Block]:
        if texts:
            yield Items(list(dict.fromkeys(texts)))


def _cites(cites: list[str]) -> str:
    return "; ".join(cites)


def _after(mark: str, cites: list[str]) -> str:
    return mark + _cites(cites) if cites else ""


def _short(digest: str) -> str:
    algorithm, _, value = digest.partition(":")
    return f"{algorithm}:{value[:12]}"


def _words(part: dict[str, Any]) -> str:
    """What a layer says it leaves out, as one line."""
    rest = "; ".join(str(value) for key, value in part.items() if key != "layer")
    return f"{part.get('layer', '')}: {rest}"
