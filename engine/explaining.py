"""The derivation of a value, asked for by name and written out as text or Markdown.

Brief: a line per step, with the substituted arithmetic and the citation. Full: also the rule as written, the
conditions tried, the exceptions that did not hold and the rows beside the one hit.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator
from typing import Any, NamedTuple

from .books import CheckedBook
from .deriving import Tree, derive
from .diagnostics import GaugebookError, hint
from .evaluating import Run, Thing
from .project import Source

WIDTH = 110
STRONGEST = "checked"


def explain(
    run: Run, checked: CheckedBook, name: str, *, full: bool = False, source: Source | None = None
) -> Tree:
    """The derivation of `things.name.attribute`, a value or a check, as plain data (see `deriving`).

    `checked` is the book that `run` evaluates; `source` tells where the project states its fields. Raises
    `GaugebookError` (unknown-value, with the nearest names) when there is nothing of that name.
    """
    thing, attribute = find(run, name)
    return derive(run, checked, thing, attribute, full=full, source=source)


def find(run: Run, name: str) -> tuple[Thing, str]:
    """The thing, and the attribute or check of it, that a name means; raises `GaugebookError`."""
    known = askable(run)
    if name not in known:
        owner = max((path for path in run.things if name.startswith(f"{path}.")), key=len, default=None)
        near = [other for other in known if owner is None or known[other][0].path == owner]
        raise GaugebookError.because("unknown-value", name=name, nearest=hint(name, near))
    return known[name]


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


class Line(NamedTuple):
    """A line of a derivation: how deep it lies, what it says, and the citation behind it."""

    depth: int
    text: str
    cite: str = ""


def render_text(tree: Tree, full: bool = False) -> str:
    """The derivation as indented lines, at most `WIDTH` columns wide where words allow."""
    made = []
    for line in lines(tree, full):
        pad = "  " * line.depth
        text = f"{line.text}  {line.cite}" if line.cite else line.text
        made.append(
            textwrap.fill(
                text, WIDTH, initial_indent=pad, subsequent_indent=f"{pad}      ",
                break_long_words=False, break_on_hyphens=False,
            )
        )
    return "\n".join(made) + "\n"


def render_markdown(tree: Tree, full: bool = False) -> str:
    """The derivation as a nested list of Markdown."""
    return "".join(
        f"{'  ' * line.depth}- {_code(line.text)}{f' {_escaped(line.cite)}' if line.cite else ''}\n"
        for line in lines(tree, full)
    )


def _code(text: str) -> str:
    """A code span that holds any text (CommonMark 6.1)."""
    longest = max((len(run) for run in re.findall("`+", text)), default=0)
    fence = "`" * (longest + 1)
    return f"{fence} {text} {fence}" if longest else f"`{text}`"


def _escaped(text: str) -> str:
    return re.sub(r"([\\`*_\[\]<>|])", r"\\\1", text)


def lines(node: Tree, full: bool, depth: int = 0) -> Iterator[Line]:
    """The lines of a node and of everything below it."""
    if node.get("reference"):
        yield Line(depth, f"{node['id']} = {node['value']}, see above")
        return
    yield Line(depth, _head(node), _cite(node))
    inner = depth + 1
    for reason in node.get("why", []):
        yield Line(inner, f"because {reason}")
    yield from _reasons(node, full, inner)
    for candidate in node.get("rejected", []):
        yield Line(inner, f"rejected {candidate['value']}: {_failure(candidate)}", _cite(candidate))
    for lookup in node.get("lookups", []):
        yield from _lookup(lookup, full, inner)
    for pick in node.get("picks", []):
        over = f"; passed over: {pick['passed_over']}" if full and "passed_over" in pick else ""
        yield Line(inner, f"{pick['value']} of {pick['series']}: {pick['holds']}{over}", _cite(pick))
    for child in [*node.get("checks", []), *node.get("inputs", [])]:
        yield from lines(child, full, inner)


def _head(node: Tree) -> str:
    said = node.get("substituted", node["value"])
    if node["role"] == "check":
        return f"check {node['id']}: {said}: {node['value']}" if said != node["value"] else f"check {node['id']}: {said}"
    text = f"{node['id']} = {said}"
    if "stated" in node:
        text += f", stated at {node['stated']}"
    elif "assumed" in node:
        text += f", assumed: {node['assumed']}"
    elif "settled_by" in node:
        text += f", settled by {node['settled_by']}"
    elif node["role"] == "choice" and node["raw"] is not None:
        text += f", the first of {node['from']['series']} to pass every check"
    return text


def _reasons(node: Tree, full: bool, depth: int) -> Iterator[Line]:
    """Which way was taken, and why; in full also the rule as written and what did not hold."""
    if full and "title" in node:
        yield Line(depth, node["title"])
    if full and "formula" in node:
        yield Line(depth, f"rule: {node['formula']}")
    for step in node.get("tried", []):
        yield Line(depth, f"{_way(step)} does not apply: {_asked(step)}", _cites(step.get("cites", [])))
    route = node.get("route")
    if route is not None and "condition" in route:
        verb = "cannot be decided" if "undetermined" in route else "asks"
        applies = route.get("holds", "yes") == "yes" and "undetermined" not in route
        if node["value"] == "does not apply" or not applies:
            yield Line(depth, f"{_way(route)} {verb}: {_asked(route)}")
        else:
            yield Line(depth, f"{_way(route)} applies: {_asked(route)}")
    elif route is not None and full and "name" in route:
        yield Line(depth, f"{_way(route)} applies")
    for step in node.get("conditions", []):
        yield Line(depth, f"as {_asked(step)}")


def _way(step: Tree) -> str:
    if not step.get("name"):
        return "it" if "name" not in step else "the rule"
    return f"{'exception' if 'exception' in step else 'way'} {step['name']}"


def _asked(step: Tree) -> str:
    condition, put = step.get("condition", ""), step.get("substituted", "")
    return condition if put == condition else f"{condition} ({put})"


def _failure(candidate: Tree) -> str:
    if "actual" in candidate:
        sides = f"{candidate['actual']['value']} {candidate['sign']} {candidate['limit']['value']}"
        return f"{candidate['check']} fails: not {sides}"
    return f"{candidate['check']} fails: {'; '.join(candidate.get('why', ['the condition does not hold']))}"


def _lookup(lookup: Tree, full: bool, depth: int) -> Iterator[Line]:
    keys = ", ".join(lookup["keys"])
    name = f"{lookup['property']} of {keys}" if "property" in lookup else f"{lookup['table']}[{keys}]"
    row = f", row {'; '.join(lookup['row'])}" if lookup.get("row") else ""
    yield Line(depth, f"{name} = {lookup['value']}{row}", _cite(lookup))
    if full and lookup.get("neighbours"):
        beside = "; ".join(f"{cell['key']} {cell['row']}: {cell['value']}" for cell in lookup["neighbours"])
        yield Line(depth + 1, f"rows beside it: {beside}")


def _cite(node: Tree) -> str:
    """`[clause; clause, entry layer:section/name]`, and how the figure was read if that is weak."""
    if node.get("role") == "field" and "assumed" not in node:
        return ""
    parts: list[Any] = ["; ".join(node.get("route", {}).get("cites") or node.get("cites", []))]
    parts.append(f"entry {node['entry']}" if "entry" in node else "")
    parts.append(node["transcription"] if node.get("transcription", STRONGEST) != STRONGEST else "")
    return _cites([", ".join(part for part in parts if part)])


def _cites(clauses: list[str]) -> str:
    text = "; ".join(clauses)
    return f"[{text}]" if text else ""
