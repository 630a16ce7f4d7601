"""An answer that is a list of blocks (a comparison, limits) as one HTML file in the style of the sheet.

A comparison gets small multiples beside its matrix: for each check one gauge per column.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import Any

from gaugebook import Comparison, Grid, Heading, Items, Limits, Paragraph, share_used

from .page import page, section
from .pictures import gauge
from .printing import text
from .tables import items, raw_table, table

Data = dict[str, Any]
Block = Heading | Paragraph | Items | Grid


def render(answer: Comparison | Limits) -> str:
    """The whole file."""
    if isinstance(answer, Comparison):
        told = Comparison({**answer.data, "rows": [row for row in answer.data["rows"] if _matters(row)]})
        title, *blocks = told.page()
        parts = [*_parts(blocks, "Matrix"), ("Margins, column by column", margins(answer.data))]
    else:
        title, *blocks = answer.page()
        parts = list(_parts(blocks, "Limits"))
    name = title.text if isinstance(title, Heading) else ""
    shown = ((heading, body) for heading, body in parts if body)
    made = "\n".join(section(number, heading, body) for number, (heading, body) in enumerate(shown, 1))
    plate = f'<header><div class="plate"><h1>{text(name)}</h1></div></header>'
    return page(name, name, f"{plate}\n<main>\n{made}\n</main>")


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
        headers = [header or "Of" for header in block.headers]
        return table(heading, headers, [[row[0] or "Verdict", *row[1:]] for row in block.rows], hidden=True)
    if isinstance(block, Items):
        return items(text(one) for one in block.texts)
    return "".join(f"<p>{text(line)}</p>" for line in block.text.split("\n"))


def margins(data: Data) -> str:
    """How much of what is allowed each check uses, one gauge per column."""
    headers = ["Requirement", *(_column(column) for column in data["columns"])]
    groups = []
    rows = [row for row in data["rows"] if row["kind"] == "check" and any(map(_used, row["cells"]))]
    for thing, checks in groupby(rows, key=lambda row: str(row["thing"])):
        groups.append((text(thing), [[text(row["title"]), *map(_cell, row["cells"])] for row in checks]))
    note = (
        '<p class="note">The rule shows how much of what is allowed is used; the post on it is the limit.</p>'
    )
    return note + raw_table("Margins", headers, groups, hidden=True) if groups else ""


def _column(column: Data) -> str:
    stack = "+".join(column["rulesets"])
    return stack if column["layout"] is None else f"{column['layout']} @ {stack}"


def _cell(cell: Data | None) -> str:
    used = _used(cell)
    if cell is None or used is None:
        return ""
    margin = f"{cell['margin'] * 100:+.3g} %"
    return f'{gauge(used)}<span class="even">{text(margin)}</span>'


def _used(cell: Data | None) -> float | None:
    return share_used(cell) if cell is not None else None
