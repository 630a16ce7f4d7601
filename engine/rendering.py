"""A result for people: what was chosen, what was checked, what it leans on, and what the book warns of.

All words of the trade come from the book: titles of kinds and entries, and its `summary` of each kind.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from .blocks import BULLET, TIE, Block, Grid, Heading, Items, Paragraph, as_markdown, as_text
from .shown import NONE, UNSTATED, VERDICTS, relation, share, shown, spoken, together

TYPE_CHECKING = False

if TYPE_CHECKING:
    from typing import Any

    from .session import Result


def render_text(result: Result, full: bool = False) -> str:
    """The result for a terminal; `full` lists what is otherwise only counted."""
    return as_text(list(Page(result, full).blocks()))


def render_markdown(result: Result, full: bool = False) -> str:
    """The result as Markdown; `full` lists what is otherwise only counted."""
    return as_markdown(list(Page(result, full).blocks()))


class Page:
    """Puts a result into blocks; kinds and titles are looked up in the book behind it."""

    def __init__(self, result: Result, full: bool) -> None:
        self.data, self.run, self.full = result.outline, result.run, full
        self.rulebook = result.run.rulebook
        cites = [cite for check in self.data["checks"] for cite in check["cites"]]
        documents = [layer["document"] for layer in reversed(self.data["ruleset"]["stack"])]
        counts = {name: sum(cite.startswith(f"{name} ") for cite in cites) for name in documents}
        self.document: str = max(documents, key=lambda name: counts[name])

    def blocks(self) -> Iterator[Block]:
        """The page from top to bottom."""
        yield from self._head()
        for kind in self.run.by_kind:
            yield from self._kind(kind)
        yield from self._stated_sizes()
        yield from self._checks()
        yield from self._rejected()
        yield from self._grounds()
        yield from self._unchecked()
        left_out = [_words(part) for part in self.data["not_encoded"]]
        yield from self._listed("Not part of this book yet", left_out)
        outputs = [self._output(item) for item in self.data["outputs"]]
        yield from self._listed("To be made beside the work", outputs)
        yield from self._listed("Layers that may not agree", [item["says"] for item in self.data["findings"]])
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
        lines.append(f"Under {stack[-1]['title']}")
        adopted = self.data["ruleset"].get("jurisdiction")
        if adopted:
            by = f" by {'; '.join(adopted['cites'])}" if adopted["cites"] else ""
            lines.append(f"Adopted in {adopted['title']}{by}: {adopted['day']} ({adopted['event']})")
            lines += adopted["notes"]
        if len(stack) > 1:
            layers = [f"{layer['id']} {layer['version']}" for layer in stack]
            lines.append(f"Layers, bottom first: {', '.join(layers)}")
        digests = [_short(self.data[part]["digest"]) for part in ("ruleset", "project")]
        lines.append(f"Book {digests[0]}, project {digests[1]}")
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
            derived = {name for name, attribute in attributes.items() if attribute.role in ("rule", "choice")}
            return [name for name in summary if name in derived]
        return [name for name, attribute in attributes.items() if attribute.role == "choice"]

    def _cell(self, name: str) -> str:
        value = self.data["values"][name]
        if "why" in value:
            return "undetermined" if value["undetermined"] else NONE
        return shown(value["value"], value["unit"]) + self._stated(value)

    @staticmethod
    def _stated(value: dict[str, Any]) -> str:
        """That a choice is stated, and what the rules would have chosen where that is something else."""
        if not value.get("stated"):
            return ""
        would = value.get("would_choose")
        other = would not in (None, value["value"])
        return f"{TIE}(stated), would be {shown(would, value['unit'])}" if other else f"{TIE}(stated)"

    def _stated_sizes(self) -> Iterator[Block]:
        """Every choice that the project states: judged, what would be chosen, and how much it could carry."""
        rows = []
        for name, value in self.data["values"].items():
            if not value.get("stated"):
                continue
            thing, _, attribute = name.rpartition(".")
            verdicts = [check["passes"] for check in value["constrained_by"]]
            verdict = "FAIL" if False in verdicts else "open" if None in verdicts else "passes"
            sizes = [shown(size, value["unit"]) for size in (value["value"], value["would_choose"])]
            rows.append((thing, [spoken(attribute), sizes[0], verdict, sizes[1], self._carries(value)]))
        if rows:
            yield Heading("Sizes that are stated")
            yield _grouped(["choice", "stated", "verdict", "least that passes", "could carry"], rows)

    @staticmethod
    def _carries(value: dict[str, Any]) -> str:
        told = value.get("could_carry")
        if told is None:
            return ""
        if told["most"] is None:
            return f"{'any' if told['included'] else 'no'} {spoken(told['attribute'])}"
        bound = shown(told["most"]["value"], told["most"]["unit"])
        now = shown(told["now"]["value"], told["now"]["unit"])
        return f"{spoken(told['attribute'])} {relation('<=' if told['included'] else '<', bound)}, is {now}"

    # -- checks

    def _checks(self) -> Iterator[Block]:
        """What does not pass comes first, the reasons beside it; then what passes."""
        checks = self.data["checks"]
        bad = [check for check in checks if not check["passes"]]
        good = [check for check in checks if check["passes"]]
        if bad:
            yield Heading("Checks that do not pass")
            yield self._check_grid(sorted(bad, key=lambda check: check["passes"] is None), verdicts=True)
            why = [
                f"{check['thing']}, {self._title(check)}: {'; '.join(check['why'])}"
                for check in bad
                if "why" in check
            ]
            if why:
                yield Items(why)
        if good:
            yield Heading("Checks that pass")
            yield self._check_grid(good)

    def _check_grid(self, checks: list[dict[str, Any]], verdicts: bool = False) -> Grid:
        rows = []
        for check in checks:
            verdict = ["open" if check["passes"] is None else "FAIL"] * verdicts
            cites = "; ".join(cite.removeprefix(f"{self.document} ") for cite in check["cites"])
            cells = [self._title(check), *verdict, *_sides(check), share(check["margin"]), cites]
            rows.append((check["thing"], cells))
        return _grouped(["check", *["verdict"] * verdicts, "actual", "limit", "margin", self.document], rows)

    def _title(self, item: dict[str, Any]) -> str:
        return self._entry_title(item["entry"])

    def _entry_title(self, full: str) -> str:
        id = full.partition(":")[2]
        title = self.rulebook.entries.get(id, {}).get("title")
        return str(title or spoken(id.rpartition("/")[2].rpartition(".")[2]))

    def _rejected(self) -> Iterator[Block]:
        """The last candidate that each choice passed over; all of them in full."""
        rows = []
        for name, value in self.data["values"].items():
            thing, _, attribute = name.rpartition(".")
            candidates = value.get("rejected") or []
            for candidate in candidates if self.full else candidates[-1:]:
                entry = self.rulebook.checks[candidate["check"]]["entry"]
                title = self._entry_title(f":{entry}")
                why = "; ".join(candidate.get("why", []))
                if candidate["actual"] is not None:
                    why = (" is not " if candidate["sign"] else " against ").join(_sides(candidate))
                member = shown(candidate["value"], value["unit"])
                rows.append((thing, [spoken(attribute), member, title, why]))
        if rows:
            yield Heading("Candidates rejected" if self.full else "Last candidate rejected")
            yield _grouped(["choice", "rejected", "by", "because"], rows)

    # -- grounds

    def _grounds(self) -> Iterator[Block]:
        readings = [
            f"{reading['question']} {spoken(reading['option'])} "
            f"({'; '.join([reading['reading'], 'settled by ' + reading['settled_by'], *reading['cites']])})"
            for reading in self.data["readings"]
        ]
        yield from self._listed("Readings used", readings)
        yield from self._listed("Assumed, because not stated", self._assumptions())
        taken = [
            f"{item['thing']}: {', '.join(f'{spoken(k)} {v}' for k, v in item['values'].items())} "
            f"({'; '.join(filter(None, [item['item'], item['source'], item['says']]))})"
            for item in self.data["taken"]
        ]
        yield from self._listed("Taken from catalogues", taken)

    def _assumptions(self) -> list[str]:
        """What was assumed of which field, the things of which the same was assumed together."""
        alike: dict[tuple[str, str], list[str]] = {}
        for item in self.data["assumptions"]:
            value = item["value"] if item["value"] is not None else "not stated"
            said = f"{value} ({item['says']})" if "says" in item else value
            alike.setdefault((item["field"], said), []).append(item["thing"])
        return [f"{field} of {together(things)}: {said}" for (field, said), things in alike.items()]

    def _unchecked(self) -> Iterator[Block]:
        unchecked = self.data["unchecked"]
        if not unchecked:
            return
        counts = Counter(item["transcription"] or UNSTATED for item in unchecked)
        said = ", ".join(f"{count} {spoken(word)}" for word, count in counts.items())
        yield Heading("Not compared with the published text")
        more = "" if self.full else "; --full lists them"
        yield Paragraph(f"This result leans on {len(unchecked)} entries that were not: {said}{more}.")
        if self.full:
            yield Grid(
                ["entry", "transcription", "source"],
                [
                    [item["entry"], spoken(item["transcription"] or UNSTATED), ", ".join(item["source"])]
                    for item in unchecked
                ],
            )

    @staticmethod
    def _output(item: dict[str, Any]) -> str:
        """One thing to be made: for what, in what form, saying what, showing which values."""
        shows = [
            f"{spoken(name)} {shown(side['value'], side['unit'])}" for name, side in item["shows"].items()
        ]
        sure = "" if item["certain"] else " (if it applies, which is undetermined)"
        head = f"{item['thing']}, {spoken(item['form'])}: {item['says']}{sure}"
        return "; ".join([head, *shows, *item["cites"]])

    def _listed(self, title: str, texts: list[str]) -> Iterator[Block]:
        if texts:
            yield Heading(title)
            yield Items(texts)


def _grouped(headers: list[str], rows: list[tuple[str, list[str]]]) -> Grid:
    """A grid with a line for each group of rows, and the rows below it; things with the same rows share them."""
    found: dict[str, list[tuple[str, ...]]] = {}
    for name, cells in rows:
        found.setdefault(name, []).append(tuple(cells))
    alike: dict[tuple[tuple[str, ...], ...], list[str]] = {}
    for name, group in found.items():
        alike.setdefault(tuple(group), []).append(name)
    made: list[list[str]] = []
    for lines, names in alike.items():
        made.append([together(names)] + [""] * (len(headers) - 1))
        made += ([f"{BULLET}{first}", *rest] for first, *rest in lines)
    return Grid(headers, made)


def _sides(item: dict[str, Any]) -> list[str]:
    """Actual and limit of a check or of a rejected candidate, the limit with its sign."""
    actual, limit = (
        shown(side["value"], side["unit"]) if side else "" for side in (item["actual"], item["limit"])
    )
    return [actual, relation(item["sign"], limit)]


def _short(digest: str) -> str:
    algorithm, _, value = digest.partition(":")
    return f"{algorithm}:{value[:12]}"


def _words(part: dict[str, Any]) -> str:
    """What a layer says it leaves out, as one line."""
    rest = "; ".join(str(value) for key, value in part.items() if key != "layer")
    return f"{part.get('layer', '')}: {rest}"
