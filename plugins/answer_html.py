"""An answer that is a list of blocks (a comparison, limits) as one HTML file in the style of the sheet.

A comparison gets small multiples beside its matrix: for each check one gauge per column.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import Any

from gaugebook import Comparison, Grid, Heading, Items, Limits, Paragraph, share_used

from .page import page, section
from .pictures import gauge
from .printing import text
from .tables import items, raw_table

STYLE = "answer.css"
KIND = "answer"
"""The class of its tables."""

_JOINT = re.compile(r"(?<=[\w\]])([._])(?=[A-Za-z])")

Data = dict[str, Any]
Block = Heading | Paragraph | Items | Grid


def render(answer: Comparison | Limits, full: bool = False, every_row: bool = False) -> str:
    """The whole file; `every_row` of a comparison also shows rows that agree, `full` what is else only counted."""
    if isinstance(answer, Comparison):
        rows = [row for row in answer.data["rows"] if every_row or _matters(row)]
        title, *blocks = Comparison({**answer.data, "rows": rows}).page(full)
        parts = [*_parts(blocks, "Matrix"), ("Margins, column by column", margins(answer.data))]
    else:
        title, *blocks = answer.page(full)
        parts = list(_parts(blocks, "Limits"))
    name = title.text if isinstance(title, Heading) else ""
    shown = ((heading, body) for heading, body in parts if body)
    made = "\n".join(section(number, heading, body) for number, (heading, body) in enumerate(shown, 1))
    plate = f'<header><div class="plate"><h1>{text(name)}</h1></div></header>'
    return page(name, name, f"{plate}\n<main>\n{made}\n</main>", STYLE)


def _matters(row: Data) -> bool:
    """Whether a row belongs into the matrix: it differs, or a check of it does not pass."""
    return row["differs"] or any(
        cell is not None and cell.get("passes", True) is not True for cell in row["cells"]
    )


def _parts(blocks: Sequence[Block], first: str) -> Iterator[tuple[str, str]]:
    """Headings with what stands below them."""
    heading = first
    for is_heading, group in groupby(blocks, key=lambda block: isinstance(block, Heading)):
        if is_heading:
            heading = [block.text for block in group if isinstance(block, Heading)][-1]
        else:
            yield heading, "".join(_block(block, heading) for block in group)


def _block(block: Block, heading: str) -> str:
    if isinstance(block, Grid):
        rows = [[_cell(_breaking(cell)) for cell in row] for row in block.rows]
        return raw_table(heading, block.headers, [("", rows)], hidden=True, kind=KIND)
    if isinstance(block, Items):
        return items(_breaking(one) for one in block.texts)
    return "".join(f"<p>{text(line)}</p>" for line in block.text.split("\n"))


def _breaking(value: str) -> str:
    """A text whose long names may be broken between their words."""
    return _JOINT.sub(r"\1<wbr>", text(value))


def _cell(html: str) -> str:
    return f"<div>{html}</div>" if html else ""


def margins(data: Data) -> str:
    """How much of what is allowed each check uses, one gauge per column; things alike in all of that share it."""
    headers = ["Requirement", *(_column(column) for column in data["columns"])]
    rows = [row for row in data["rows"] if row["kind"] == "check" and any(map(_used, row["cells"]))]
    alike: dict[tuple[tuple[str, ...], ...], list[str]] = {}
    for thing, checks in groupby(rows, key=lambda row: str(row["thing"])):
        told = tuple((text(row["title"]), *map(_margin, row["cells"])) for row in checks)
        alike.setdefault(told, []).append(thing)
    groups = [(_breaking(", ".join(things)), [list(row) for row in told]) for told, things in alike.items()]
    note = '<p class="note">The bar shows how much of what is allowed is used; the upright line is the limit.</p>'
    return note + raw_table("Margins", headers, groups, hidden=True, kind=KIND) if groups else ""


def _column(column: Data) -> str:
    stack = "+".join(column["rulesets"])
    return stack if column["layout"] is None else f"{column['layout']} @ {stack}"


def _margin(cell: Data | None) -> str:
    used = _used(cell)
    if cell is None or used is None:
        return ""
    margin = f"{cell['margin'] * 100:+.3g} %"
    return _cell(f'{gauge(used)}<span class="even">{text(margin)}</span>')


def _used(cell: Data | None) -> float | None:
    return share_used(cell) if cell is not None else None
