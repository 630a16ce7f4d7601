"""A page for people as a list of blocks, and its two printings: plain text for a terminal, and Markdown."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import NamedTuple

WIDTH = 100
"""The width of a terminal page, in characters."""


class Heading(NamedTuple):
    """The title of the page (`level` 1) or of a part of it."""

    text: str
    level: int = 2


class Paragraph(NamedTuple):
    """Running text."""

    text: str


class Items(NamedTuple):
    """A list of short texts."""

    texts: Sequence[str]


class Grid(NamedTuple):
    """A table; every cell is finished text."""

    headers: Sequence[str]
    rows: Sequence[Sequence[str]]


Block = Heading | Paragraph | Items | Grid


def as_text(blocks: Sequence[Block]) -> str:
    """The page for a terminal, at most `WIDTH` wide where its words allow."""
    return "\n\n".join(_text(block) for block in blocks) + "\n"


def as_markdown(blocks: Sequence[Block]) -> str:
    """The page as Markdown."""
    return "\n\n".join(_markdown(block) for block in blocks) + "\n"


def _text(block: Block) -> str:
    if isinstance(block, Heading):
        return f"── {block.text} ".ljust(WIDTH, "─") if block.level > 1 else f"{block.text}\n{'═' * WIDTH}"
    if isinstance(block, Paragraph):
        return "\n".join(textwrap.fill(line, WIDTH) for line in block.text.split("\n"))
    if isinstance(block, Items):
        return "\n".join(
            textwrap.fill(text, WIDTH, initial_indent="- ", subsequent_indent="  ") for text in block.texts
        )
    from tabulate import tabulate

    widths = _widths(block)
    headers = [textwrap.fill(header, width) for header, width in zip(block.headers, widths, strict=True)]
    rows = [
        [textwrap.fill(cell, width, break_long_words=False) for cell, width in zip(row, widths, strict=True)]
        for row in block.rows
    ]
    return tabulate(rows, headers, tablefmt="simple", disable_numparse=True, colalign=["left"] * len(widths))


def _widths(block: Grid) -> list[int]:
    """Column widths that fit the page: the widest columns give way, but no column below its longest word."""
    columns = list(zip(block.headers, *block.rows, strict=True))
    widths = [max((len(cell) for cell in column[1:]), default=1) for column in columns]
    words = [max((len(word) for cell in column for word in cell.split()), default=1) for column in columns]
    widths = [max(width, word, min(len(column[0]), 12)) for width, word, column in zip(widths, words, columns, strict=True)]
    room = WIDTH - 2 * (len(widths) - 1)
    while sum(widths) > room:
        spare = [width - word for width, word in zip(widths, words, strict=True)]
        widest = max(range(len(widths)), key=lambda at: (spare[at] > 0, widths[at]))
        if spare[widest] <= 0:
            break
        widths[widest] -= 1
    return widths


def _markdown(block: Block) -> str:
    if isinstance(block, Heading):
        return f"{'#' * block.level} {_inert(block.text)}"
    if isinstance(block, Paragraph):
        return "  \n".join(_inert(line) for line in block.text.split("\n"))
    if isinstance(block, Items):
        return "\n".join(f"- {_inert(text)}" for text in block.texts)
    lines = [block.headers, ["---"] * len(block.headers), *block.rows]
    return "\n".join("| " + " | ".join(_inert(cell) for cell in line) + " |" for line in lines)


def _inert(text: str) -> str:
    """The text with what Markdown or HTML would act on made literal."""
    flat = " ".join(text.split("\n"))
    return "".join("\\" + character if character in "\\|*_`<>[]#" else character for character in flat)
