"""A page for people as a list of blocks, and its printings: plain text for a terminal, Markdown, HTML."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import zip_longest

from .records import Record

WIDTH = 100
"""The width of a terminal page, in characters."""

WIDEST_HEADER = 14
"""A header is broken into lines rather than widen its column beyond this."""

GAP = 2
"""The space between two columns."""


class Heading(Record):
    """The title of the page (`level` 1) or of a part of it."""

    text: str
    level: int = 2


class Paragraph(Record):
    """Running text."""

    text: str


class Items(Record):
    """A list of short texts."""

    texts: Sequence[str]


class Grid(Record):
    """A table; every cell is finished text."""

    headers: Sequence[str]
    rows: Sequence[Sequence[str]]


Block = Heading | Paragraph | Items | Grid


_BLANKS = dict.fromkeys(map(ord, "\t\n\v\f\r"), " ")

TIE = "\N{NO-BREAK SPACE}"
"""Stands between a figure and its unit, so that a narrow column does not part them; printed as a space."""


def as_text(blocks: Sequence[Block]) -> str:
    """The page for a terminal, at most `WIDTH` wide where its words allow."""
    return ("\n\n".join(_text(block) for block in blocks) + "\n").replace(TIE, " ")


def as_markdown(blocks: Sequence[Block]) -> str:
    """The page as Markdown."""
    return ("\n\n".join(_markdown(block) for block in blocks) + "\n").replace(TIE, " ")


def as_html(blocks: Sequence[Block]) -> str:
    """The page as a fragment of HTML, every text made literal."""
    return "\n".join(_html(block) for block in blocks).replace(TIE, "&nbsp;")


def _html(block: Block) -> str:
    if isinstance(block, Heading):
        return f"<h{block.level}>{literal(block.text)}</h{block.level}>"
    if isinstance(block, Paragraph):
        return f"<p>{'<br>'.join(literal(line) for line in block.text.split(chr(10)))}</p>"
    if isinstance(block, Items):
        return f"<ul>{''.join(f'<li>{literal(text)}</li>' for text in block.texts)}</ul>"
    head = "".join(f"<th>{literal(header)}</th>" for header in block.headers)
    rows = "".join(f"<tr>{''.join(f'<td>{literal(cell)}</td>' for cell in row)}</tr>" for row in block.rows)
    return f"<table><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>"


def literal(text: str) -> str:
    """The text as HTML: nothing in it acts, and `2-1/2`, which a browser would break at its hyphen, stays whole."""
    import re
    from html import escape

    return re.sub(r"\b\w+(?:-\d[\w/]*)+", r'<span style="white-space: nowrap">\g<0></span>', escape(text))


def _text(block: Block) -> str:
    if isinstance(block, Heading):
        return f"── {block.text} ".ljust(WIDTH, "─") if block.level > 1 else f"{block.text}\n{'═' * WIDTH}"
    if isinstance(block, Paragraph):
        return "\n".join(line for text in block.text.split("\n") for line in _wrapped(text, WIDTH))
    if isinstance(block, Items):
        return "\n".join(_item(text) for text in block.texts)
    return _columns(block)


def _item(text: str) -> str:
    lines = _wrapped(text, WIDTH - 2)
    return "\n".join(("  " if number else "- ") + line for number, line in enumerate(lines))


BULLET = "· "
"""A cell that begins so belongs to the line of its group above; its further lines are set in."""


def _wrapped(text: str, width: int) -> list[str]:
    """The text in lines of at most `width`, broken between words where that is possible."""
    if len(text) <= width and text.replace(TIE, "").isprintable():
        return [text.strip(" ")]
    hang = "  " if text.startswith(BULLET) else ""
    lines: list[str] = []
    used = width + 1
    for word in filter(None, text.translate(_BLANKS).split(" ")):
        if used + len(word) < width:
            lines[-1] += f" {word}"
            used += len(word) + 1
        else:
            lines.append(hang + word if lines else word)
            used = len(lines[-1])
    return lines or [""]


def _columns(block: Grid) -> str:
    """The table with its words wrapped into columns, and a rule below the headers."""
    widths = _widths(block)
    rows = [
        [_wrapped(cell, width) for cell, width in zip(row, widths, strict=True)]
        for row in (block.headers, *block.rows)
    ]
    used = [max(len(line) for cell in column for line in cell) for column in zip(*rows, strict=True)]
    rows.insert(1, [["─" * width] for width in used])
    gap = " " * GAP
    return "\n".join(
        gap.join(part.ljust(width) for part, width in zip(line, used, strict=True)).rstrip()
        for row in rows
        for line in zip_longest(*row, fillvalue="")
    )


def _widths(block: Grid) -> list[int]:
    """Column widths that fit the page: the widest columns give way, but no column below its longest word."""
    columns = list(zip(block.headers, *block.rows, strict=True))
    widths = [
        max(1, _longest(column[:1]), min(len(column[0]), WIDEST_HEADER), *map(len, column[1:]))
        for column in columns
    ]
    room = WIDTH - GAP * (len(widths) - 1)
    words = [max(1, _longest(column)) for column in columns] if sum(widths) > room else []
    while sum(widths) > room:
        spare = [width - word for width, word in zip(widths, words, strict=True)]
        widest = max(range(len(widths)), key=lambda at: (spare[at] > 0, widths[at]))
        if spare[widest] <= 0:
            break
        widths[widest] -= 1
    return widths


def _longest(texts: Sequence[str]) -> int:
    """The length of the longest word."""
    return max((len(word) for text in texts for word in text.split()), default=0)


def _markdown(block: Block) -> str:
    if isinstance(block, Heading):
        return f"{'#' * block.level} {_inert(block.text)}"
    if isinstance(block, Paragraph):
        return "  \n".join(_inert(line) for line in block.text.split("\n"))
    if isinstance(block, Items):
        return "\n".join(f"- {_inert(text)}" for text in block.texts)
    from tabulate import tabulate

    headers, *rows = [[_inert(cell) for cell in line] for line in (block.headers, *block.rows)]
    return str(tabulate(rows, headers, tablefmt="github", disable_numparse=True))


def _inert(text: str) -> str:
    """The text with what Markdown or HTML would act on made literal."""
    flat = " ".join(text.split("\n"))
    return "".join("\\" + character if character in "\\|*_`<>[]#" else character for character in flat)
