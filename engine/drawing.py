"""A diagram as plain data, from the graph of a project: lines that feed lines, and what stands at their ends.

A node is where lines meet: `symbol` (a name, None for a bare joint), `text`, and the `lines` that come in.
A line is a thing: `name`, `text`, its `marks` (symbol and text) and `segments` (texts), the node it comes
`from`, and `things`, the names of all the alike things it stands for. Which attributes say all this is up to
the book's `diagram` declaration; nothing is placed here.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from .alike import Alike
from .documents import as_list
from .evaluating import Run, Thing
from .runtime import Absent
from .templates import holds, pieces, values

FOLD = 3
"""So many alike lines that meet in one place are drawn as one."""

Data = dict[str, Any]


class Mark:
    """What stands at a place of a line: a symbol, its text, and the thing it is if it is one."""

    def __init__(self, symbol: str | None, text: list[str], thing: Thing | None) -> None:
        self.symbol, self.text, self.thing = symbol, text, thing


def things_at(thing: Thing, path: str) -> list[Any]:
    """What a path leads to; nothing where a value is wanting."""
    try:
        return [value for value, _ in values(thing, path)]
    except Absent:
        return []


def mark(thing: Thing, body: Data) -> Mark | None:
    """The mark a declaration puts on a line, None where it does not apply."""
    if not holds(thing, body.get("where")):
        return None
    if any(not things_at(thing, str(body[key])) for key in ("at", "given") if key in body):
        return None
    symbol = body.get("symbol")
    if "by" in body:
        for word in things_at(thing, str(body["by"])):
            symbol = (body.get("symbols") or {}).get(str(word), symbol)
    at = things_at(thing, str(body["at"])) if "at" in body else []
    stands = next((one for one in at if isinstance(one, Thing)), None)
    return Mark(symbol, pieces(thing, body.get("text")), stands)


def first_mark(thing: Thing, bodies: Any) -> Mark:
    """The first declared mark that applies; a bare joint where none does."""
    for body in as_list(bodies):
        found = mark(thing, body)
        if found is not None:
            return found
    return Mark(None, [], None)


class Drawing:
    """Puts the lines of a run together under one `diagram` declaration."""

    def __init__(self, run: Run, body: Data, alike: Alike) -> None:
        self.body, self.alike = body, alike
        self.lines = run.by_kind[str(body["of"])]
        self.starts = {line.path: first_mark(line, body.get("starts")) for line in self.lines}
        self.ends = {line.path: first_mark(line, body.get("ends")) for line in self.lines}
        self.sources: dict[str, list[Thing]] = {line.path: [] for line in self.lines}
        self.fed: set[str] = set()
        self._join()

    def _join(self) -> None:
        """Find the lines that come in where each line begins; every line goes to one place only."""
        relation = self.body.get("fed_by")
        for line in self.lines:
            for source in things_at(line, str(relation)) if relation else []:
                self._feed(line, source)
        for line in self.lines:
            start = self.starts[line.path].thing
            for other in self.lines if start is not None else []:
                if other is not line and self.ends[other.path].thing is start:
                    self._feed(line, other)

    def _feed(self, line: Thing, source: Thing) -> None:
        if source.path not in self.fed and not self._above(line, source):
            self.sources[line.path].append(source)
            self.fed.add(source.path)

    def _above(self, line: Thing, source: Thing) -> bool:
        """Whether the line already lies above its would-be source."""
        return line is source or any(self._above(line, one) for one in self.sources[source.path])

    def roots(self) -> list[Data]:
        """The nodes at which everything ends, in project order."""
        nodes: dict[str, Data] = {}
        found: dict[str, list[Thing]] = {}
        for line in self.lines:
            if line.path in self.fed:
                continue
            end = self.ends[line.path]
            key = end.thing.path if end.thing is not None else line.path
            nodes.setdefault(key, {"symbol": end.symbol, "text": end.text})
            found.setdefault(key, []).append(line)
        return [node | {"lines": self._folded(found[key])} for key, node in nodes.items()]

    def _folded(self, lines: list[Thing]) -> list[Data]:
        made: list[Data] = []
        for group in self.alike.groups(lines):
            if len(group) >= FOLD:
                made.append(self._line(group))
            else:
                made += [self._line([line]) for line in group]
        return made

    def _line(self, group: list[Thing]) -> Data:
        line, body = group[0], self.body
        start = self.starts[line.path]
        segments = body.get("segments") or {}
        runs = things_at(line, str(segments["over"])) if segments else []
        marks = [mark(line, one) for one in as_list(body.get("along"))]
        return {
            "thing": line.path,
            "things": [one.name for one in group],
            "name": line.name,
            "text": pieces(line, body.get("text")),
            "segments": [pieces(run, segments.get("text")) for run in runs],
            "marks": [{"symbol": m.symbol, "text": m.text} for m in marks if m is not None],
            "from": {
                "symbol": start.symbol,
                "text": start.text,
                "lines": self._folded(self.sources[line.path]),
            },
        }


def symbols_of(node: Data) -> Iterator[str]:
    """The symbols named at a node and at all that leads to it."""
    if node["symbol"]:
        yield node["symbol"]
    for line in node["lines"]:
        yield from (one["symbol"] for one in line["marks"] if one["symbol"])
        yield from symbols_of(line["from"])
