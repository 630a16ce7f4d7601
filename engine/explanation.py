"""Why a value is what it is, asked from Python.

import gaugebook

gaugebook.explain("boathouse.yaml", "section.thing.attribute")
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

from .blocks import literal
from .explaining import KEPT, Line, lines, render_markdown, render_text
from .explaining import explain as derive
from .resources import PathLike
from .session import Result, size


class Explanation:
    """The derivation of one value (`data`, see `deriving`), printed as text, Markdown or HTML.

    `full` is that of the question: rules as written, what did not hold, rows beside the one hit.
    """

    def __init__(self, data: dict[str, Any], full: bool = False) -> None:
        self.data, self.full = data, full

    def __str__(self) -> str:
        return self.to_text()

    def to_text(self) -> str:
        """As indented lines."""
        return render_text(self.data, self.full)

    def to_markdown(self) -> str:
        """As a nested list of Markdown."""
        return render_markdown(self.data, self.full)

    def to_json(self, indent: int | None = 2) -> str:
        """As JSON text."""
        return json.dumps(self.data, indent=indent, ensure_ascii=False)

    def _repr_html_(self) -> str:
        """What a notebook shows: a line that unfolds to the steps below it."""
        return "".join(_unfolding(list(lines(self.data, self.full)), 0))


def explain(project: PathLike | Result, name: str, *, full: bool = False, **selectors: Any) -> Explanation:
    """How the value or the check called `name` came about, down to inputs and table cells.

    `project` is a project, sized with `selectors` as `size` takes them, or a result already at hand. Raises
    `Refused`, or `GaugebookError` (unknown-value, with the nearest names).
    """
    result = project if isinstance(project, Result) else size(project, **selectors)
    told = derive(result.run, result.book.written, name, full=full, source=result.source)
    return Explanation(told, full)


def _unfolding(told: list[Line], depth: int) -> Iterator[str]:
    """Lines as HTML: each that has others below it opens and closes; the first levels are open."""
    groups: list[list[Line]] = []
    for line in told:
        if not groups or line.depth <= depth:
            groups.append([])
        groups[-1].append(line)
    for head, *below in groups:
        cite = f" <small>{literal(head.cite.text())}</small>" if head.cite.text() else ""
        said = f"{literal(head.text)}{cite}".replace(KEPT, " ")
        if below:
            inner = "".join(_unfolding(below, depth + 1))
            yield f"<details{' open' * (depth < 2)}><summary>{said}</summary>"
            yield f'<div style="margin-left:1.5em">{inner}</div></details>'
        else:
            yield f"<div>{said}</div>"
