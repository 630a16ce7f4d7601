"""The derivation of a value, asked for by name and written out as text or Markdown.

Brief: a line per step, with the substituted arithmetic and the citation. Full: also the rule as written, the
conditions tried, the exceptions that did not hold and the rows beside the one hit.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import groupby
from typing import Any, NamedTuple

from .deriving import NOT_APPLYING, derive
from .diagnostics import GaugebookError, hint
from .evaluating import Run, Thing
from .expressions import Written
from .hits import Tree
from .source import Source

WIDTH = 110
STRONGEST = "checked"
KEPT = "\0"
"""Stands for a space at which a line is not broken."""


def explain(
    run: Run, written: Written, name: str, *, full: bool = False, source: Source | None = None
) -> Tree:
    """The derivation of `things.name.attribute`, a value or a check, as plain data (see `deriving`).

    `written` is of the book that `run` evaluates; `source` tells where the project states its fields. Raises
    `GaugebookError` (unknown-value, with the nearest names) when there is nothing of that name.
    """
    thing, attribute = find(run, name)
    return derive(run, written, thing, attribute, full=full, source=source)


def find(run: Run, name: str) -> tuple[Thing, str]:
    """The thing, and the attribute or check of it, that a name means; raises `GaugebookError`."""
    known = askable(run)
    name = _current(run, name)
    if name not in known:
        owner = max((path for path in run.things if name.startswith(f"{path}.")), key=len, default=None)
        near = [other for other in known if owner is None or known[other][0].path == owner]
        raise GaugebookError.because("unknown-value", name=name, nearest=hint(name, near))
    return known[name]


def _current(run: Run, name: str) -> str:
    """The same name with its last part as it is called now."""
    path, _, said = name.rpartition(".")
    thing = run.things.get(path)
    return name if thing is None else f"{path}.{run.rulebook.current(thing.kind, said)}"


def askable(run: Run) -> dict[str, tuple[Thing, str]]:
    """Every name that can be explained: fields, values and checks of every thing."""
    checks: dict[str, list[str]] = {}
    for check in run.rulebook.checks.values():
        checks.setdefault(check["kind"], []).append(check["name"])
    return {
        f"{path}.{name}": (thing, name)
        for path, thing in run.things.items()
        for name in [*run.rulebook.attributes[thing.kind], *checks.get(thing.kind, [])]
    }


class Cite(NamedTuple):
    """What a line rests on: clauses, the entry that says it, and how the figure was read if that is weak."""

    clauses: tuple[str, ...] = ()
    entry: str = ""
    weak: str = ""

    def text(self) -> str:
        """All of it in brackets, each part kept on one line."""
        clauses = "; ".join(clause.replace(" ", KEPT) for clause in self.clauses)
        entry = f"entry{KEPT}{self.entry}" if self.entry else ""
        said = ", ".join(part for part in (clauses, entry, self.weak) if part)
        return f"[{said}]" if said else ""


class Line(NamedTuple):
    """A line of a derivation: how deep it lies, what it says, and the citation behind it."""

    depth: int
    text: str
    cite: Cite = Cite()


def render_text(tree: Tree, full: bool = False) -> str:
    """The derivation as indented lines, at most `WIDTH` columns wide where words allow."""
    import textwrap

    made = []
    for line in lines(tree, full):
        pad = "  " * line.depth
        cite = line.cite.text()
        text = f"{line.text}  {cite}" if cite else line.text
        made.append(
            textwrap.fill(
                text,
                WIDTH,
                initial_indent=pad,
                subsequent_indent=f"{pad}      ",
                break_long_words=False,
                break_on_hyphens=False,
            ).replace(KEPT, " ")
        )
    return "\n".join(made) + "\n"


def render_markdown(tree: Tree, full: bool = False) -> str:
    """The derivation as a nested list of Markdown."""
    return "".join(
        f"{'  ' * line.depth}- {_code(line.text)} {_escaped(line.cite.text())}".rstrip(" ") + "\n"
        for line in lines(tree, full)
    ).replace(KEPT, " ")


def _code(text: str) -> str:
    """A code span that holds any text (CommonMark 6.1)."""
    longest = max((len(run) for run in re.findall("`+", text)), default=0)
    fence = "`" * (longest + 1)
    return f"{fence} {text} {fence}" if longest else f"`{text}`"


def _escaped(text: str) -> str:
    return re.sub(r"([\\`*_\[\]<>|])", r"\\\1", text)


def lines(tree: Tree, full: bool) -> Iterator[Line]:
    """The lines of a derivation; checks that do not apply to a choice share one, unless that is all there is."""
    yield from _lines(tree, full, (), Told(tree))


class Told:
    """Where each node of a tree is told in whole, and which have been printed."""

    def __init__(self, tree: Tree) -> None:
        self.whole: dict[str, Tree] = {}
        self.printed: set[str] = set()
        waiting = [tree]
        while waiting:
            node = waiting.pop()
            if "reference" not in node:
                self.whole[node["id"]] = node
                waiting += [*node.get("checks", []), *node.get("inputs", [])]

    def now(self, node: Tree) -> Tree:
        """The node to print: in place of a reference to what was passed over, the whole of it."""
        return node if node["id"] in self.printed else self.whole.get(node["id"], node)


def _lines(node: Tree, full: bool, above: tuple[Tree, ...], told: Told) -> Iterator[Line]:
    """The lines of a node and of everything below it; `above` are the nodes it lies under."""
    depth, inner, path = len(above), len(above) + 1, (*above, node)
    told.printed.add(node["id"])
    yield Line(depth, _head(node), _cite(node))
    children = [*node.get("checks", []), *node.get("inputs", [])]
    if not above or not children or node.get("why") != above[-1].get("why"):
        for reason in node.get("why", []):
            yield Line(inner, f"because {reason}")
    yield from _reasons(node, full, inner)
    yield from _rejected(node.get("rejected", []), full, inner)
    for lookup in node.get("lookups", []):
        yield from _lookup(lookup, full, inner, node.get("substituted", ""))
    for pick in node.get("picks", []):
        over = f"; passed over: {pick['passed_over']}" if full and "passed_over" in pick else ""
        yield Line(inner, f"{pick['value']} of {pick['series']}: {pick['holds']}{over}", _cite(pick))
    idle = [check for check in node.get("checks", []) if check["value"] == NOT_APPLYING]
    met = []
    for child in children:
        if child in idle:
            continue
        whole = told.now(child)
        if "reference" in whole:
            met.append(whole)
        else:
            yield from _lines(whole, full, path, told)
    yield from _idle(idle, full, inner)
    outer = [known["id"] for known in path]
    yield from references([child for child in met if child["id"] not in outer], inner)


def _idle(checks: list[Tree], full: bool, depth: int) -> Iterator[Line]:
    """The checks that do not apply: in one line, in full each with the reason."""
    if full:
        for check in checks:
            yield Line(depth, _head(check), _cite(check))
            yield from _reasons(check, False, depth + 1)
    elif checks:
        yield Line(depth, f"do not apply: {', '.join(check['check'] for check in checks)}")


def references(nodes: list[Tree], depth: int) -> Iterator[Line]:
    """Where to find what was told before, of this thing or of another one."""
    for place, group in groupby(nodes, key=lambda node: node.get("like", "")):
        said = "; ".join(f"{node['id']} = {node['value']}" for node in group)
        yield Line(depth, f"{f'as for {place}' if place else 'see above'}: {said}")


def _head(node: Tree) -> str:
    said = node.get("substituted", node["value"])
    if node["role"] == "check":
        verdict = f"{said}: {node['value']}" if said != node["value"] else said
        return f"check {node['id']}: {verdict}"
    text = f"{node['id']} = {said}"
    if node.get("route", {}).get("name"):
        text += f", {_way(node['route'])}" if node["route"]["name"] != "otherwise" else ", otherwise"
    if "stated" in node:
        text += f", stated at {node['stated']}" if node["stated"] else ", stated"
    elif "assumed" in node:
        text += f", assumed: {node['assumed']}"
    elif "settled_by" in node:
        text += f", settled by {node['settled_by']}"
    elif node["role"] == "choice" and node["raw"] is not None:
        text += f", the first of {node['from']['series']} to pass every check"
    return text


def _reasons(node: Tree, full: bool, depth: int) -> Iterator[Line]:
    """Why this way was taken; in full also the rule as written and what did not hold."""
    if full:
        labels = {"title": "", "question": "question: ", "says": "taken: ", "formula": "rule: "}
        for key, label in labels.items():
            if node.get(key):
                yield Line(depth, label + node[key])
    for step in node.get("tried", []):
        said = f"{_way(step)} does not apply: {_asked(step, holds=False)}"
        yield Line(depth, said, Cite(tuple(step.get("cites", []))))
    route = node.get("route", {})
    if "condition" in route:
        held = node["value"] != NOT_APPLYING and route.get("holds", "yes") == "yes"
        verb = "cannot be decided" if "undetermined" in route else "applies" if held else "does not apply"
        if full or "exception" in route or verb != "applies":
            yield Line(depth, f"{_way(route)} {verb}: {_asked(route, holds=verb != 'does not apply')}")
    if full:
        for step in node.get("conditions", []):
            yield Line(depth, f"as {_asked(step)}")


def _way(step: Tree) -> str:
    if step.get("name", "otherwise") in ("", "otherwise"):
        return "it"
    return f"{'exception' if 'exception' in step else 'branch'} {step['name']}"


def _asked(step: Tree, holds: bool = True) -> str:
    """A condition, and what it came to."""
    condition, put = step.get("condition", ""), step.get("substituted", "")
    if not holds:
        return f"{condition} (no)" if put in ("no", condition) else f"{condition} (no: {put})"
    return condition if put == condition else f"{condition} ({put})"


def _rejected(candidates: list[Tree], full: bool, depth: int) -> Iterator[Line]:
    """Why candidates were passed over; in brief those that failed at the same limit share a line."""

    def failing(candidate: Tree) -> Any:
        if "actual" in candidate:
            return candidate["check"], f"asks {candidate['sign']} {candidate['limit']['value']}"
        return candidate["check"], "; ".join(candidate.get("why", ["does not hold"]))

    if full:
        for candidate in candidates:
            check, why = failing(candidate)
            if "actual" in candidate:
                sign, sides = candidate["sign"], [candidate[side]["value"] for side in ("actual", "limit")]
                why = f"{sides[0]} {sign} {sides[1]} does not hold"
            yield Line(depth, f"rejected {candidate['value']}: {check}: {why}", _cite(candidate))
        return
    for (check, why), group in groupby(candidates, failing):
        failed = list(group)
        members = ", ".join(
            candidate["value"]
            if candidate.get("actual", candidate)["value"] == candidate["value"]
            else f"{candidate['value']} ({candidate['actual']['value']})"
            for candidate in failed
        )
        yield Line(depth, f"rejected {members}: {check} {why}", _cite(failed[0]))


def _lookup(lookup: Tree, full: bool, depth: int, said: str) -> Iterator[Line]:
    """The cell hit and its row; `said` is what the line above already tells."""
    keys = ", ".join(lookup["keys"])
    name = f"{lookup['property']} of {keys}" if "property" in lookup else f"{lookup['table']}[{keys}]"
    text = f"{name} = {lookup['value']}"
    if text == said:
        text = f"table {lookup['table']}"
    row = f", row {'; '.join(lookup['row'])}" if lookup.get("row") else ""
    remark = f"; {lookup['remark']}" if "remark" in lookup else ""
    yield Line(depth, f"{text}{row}{remark}", _cite(lookup))
    if full and lookup.get("neighbours"):
        beside = "; ".join(f"{cell['key']} {cell['row']}: {cell['value']}" for cell in lookup["neighbours"])
        yield Line(depth + 1, f"rows beside it: {beside}")


def _cite(node: Tree) -> Cite:
    """The clauses of a node, its entry, and how the figure was read if that is weak."""
    if node.get("role") in ("field", "relation") and "assumed" not in node:
        return Cite()
    clauses = node.get("route", {}).get("cites") or node.get("cites", [])
    weak = node.get("transcription", STRONGEST)
    return Cite(tuple(clauses), node["entry"], "" if weak == STRONGEST else weak)
