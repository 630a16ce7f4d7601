"""Tables and lists as HTML that becomes cards on a narrow screen; see sheet.css."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from .printing import literal, text

SHORT = 12
"""A table of no more rows is kept on one page."""


def table(
    caption: str,
    headers: Sequence[str],
    rows: Iterable[Sequence[Any]],
    hidden: bool = False,
    first: bool = True,
) -> str:
    """A table of plain texts; on a narrow screen each row becomes a card (see the style sheet)."""
    cells = [[text(cell) for cell in row] for row in rows]
    return raw_table(caption, headers, [("", cells)], hidden, first, "short" if len(cells) <= SHORT else "")


def raw_table(
    caption: str,
    headers: Sequence[str],
    groups: Iterable[tuple[str, Sequence[Sequence[str]]]],
    hidden: bool = False,
    first: bool = True,
    kind: str = "",
) -> str:
    """A table of finished HTML cells in groups, each with a heading of its own unless that is empty."""
    made = []
    for name, rows in groups:
        lines = []
        if name:
            lines.append(
                f'<tr role="row" class="group"><th role="rowheader" scope="rowgroup" '
                f'colspan="{len(headers)}">'
                f"{name}</th></tr>"
            )
        for row in rows:
            cells = []
            for place, (header, cell) in enumerate(zip(headers, row, strict=True)):
                label = f' data-label="{literal(header)}"' if cell else ' class="empty"'
                cells.append(
                    f'<th role="rowheader" scope="row"{label}>{cell}</th>'
                    if first and place == 0
                    else f'<td role="cell"{label}>{cell}</td>'
                )
            lines.append(f'<tr role="row">{"".join(cells)}</tr>')
        made.append(f'<tbody role="rowgroup">{"".join(lines)}</tbody>')
    heads = "".join(f'<th role="columnheader" scope="col">{text(header)}</th>' for header in headers)
    hide = ' class="hidden"' if hidden else ""
    return (
        f'<table role="table" class="{kind}"><caption{hide}>{text(caption)}</caption>'
        f'<thead role="rowgroup"><tr role="row">{heads}</tr></thead>{"".join(made)}</table>'
    )


def items(texts: Iterable[str]) -> str:
    """A list of finished HTML."""
    made = "".join(f"<li>{one}</li>" for one in texts)
    return f"<ul>{made}</ul>" if made else ""
