"""Places a diagram: lines run from left to right, and what feeds a line stands to its left.

Pure geometry, in units of a screen pixel. Every text and every symbol has a box of its own; no two boxes
meet, because the labels of a line keep to its column and to its own stretch of height.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, NamedTuple

Data = dict[str, Any]

SIZE = 11.0
"""Height of the lettering; it is monospaced, so that its width is known."""
LETTER = SIZE * 0.61
LINE = 13.5
LABEL, NODE, MARK = 21, 16, 7
"""Characters at which the text of a line, of a node and of a mark is broken."""
PAD = 12.0
BUS = 16.0
"""Room for the upright that lines meet on."""
GAP = 14.0
"""Clear height between the labels of one line and the next."""


class Box(NamedTuple):
    """A rectangle by its left, top, right and bottom."""

    left: float
    top: float
    right: float
    bottom: float

    def meets(self, other: Box) -> bool:
        """Whether the two share more than an edge."""
        return (
            self.left < other.right
            and other.left < self.right
            and self.top < other.bottom
            and other.top < self.bottom
        )


class Text(NamedTuple):
    """A line of lettering that starts at x, its foot on y."""

    x: float
    y: float
    text: str
    strong: bool = False

    @property
    def box(self) -> Box:
        """What the lettering covers."""
        return Box(self.x, self.y - SIZE * 0.8, self.x + len(self.text) * LETTER, self.y + SIZE * 0.25)


class Symbol(NamedTuple):
    """A symbol with its upper left corner at x, y."""

    x: float
    y: float
    name: str
    width: float
    height: float

    @property
    def box(self) -> Box:
        """What the symbol covers."""
        return Box(self.x, self.y, self.x + self.width, self.y + self.height)


class Wire(NamedTuple):
    """A straight line between two points."""

    x1: float
    y1: float
    x2: float
    y2: float
    thing: str = ""


class Dot(NamedTuple):
    """A joint."""

    x: float
    y: float


class Picture:
    """A diagram placed."""

    def __init__(self) -> None:
        self.width = self.height = 0.0
        self.texts: list[Text] = []
        self.symbols: list[Symbol] = []
        self.wires: list[Wire] = []
        self.dots: list[Dot] = []

    def boxes(self) -> Iterator[Box]:
        """Everything that must not be covered."""
        yield from (text.box for text in self.texts)
        yield from (symbol.box for symbol in self.symbols)

    def cuts(self, most: float) -> list[float]:
        """Heights at which the picture can be cut into bands of at most `most`, through lines only."""
        spans = sorted((box.top, box.bottom) for box in self.boxes())
        free: list[float] = []
        reach = 0.0
        for top, bottom in spans:
            if top > reach:
                free.append((top + reach) / 2)
            reach = max(reach, bottom)
        cuts, start = [0.0], 0.0
        for place, candidate in enumerate(free):
            following = free[place + 1] if place + 1 < len(free) else self.height
            if following - start > most and candidate > start:
                cuts.append(candidate)
                start = candidate
        return [*cuts, self.height]


def place(roots: list[Data], symbols: dict[str, Data]) -> Picture:
    """The picture of the nodes at which everything ends."""
    return Placing(symbols).place(roots)


def wrapped(texts: list[str], width: int) -> list[str]:
    """Pieces of text broken into lines of at most `width` characters, long names after an underscore."""
    made = []
    for text in texts:
        line = ""
        for word in text.split(" "):
            if line and len(line) + 1 + len(word) > width:
                made.append(line)
                line = ""
            line = f"{line} {word}" if line else word
            while len(line) > width:
                cut = max(line.rfind(joint, 1, width) + 1 for joint in "_-\u00a0") or width
                made.append(line[:cut].rstrip("\u00a0"))
                line = line[cut:]
        made.append(line)
    return made


def name_of(line: Data) -> str:
    """What a line is called: its name, or how many it stands for."""
    things: list[str] = line["things"]
    return things[0] if len(things) == 1 else f"{len(things)} × {things[0]} … {things[-1]}"


class Column:
    """The widths at one depth: the node where lines begin, the marks on them, their labels."""

    def __init__(self) -> None:
        self.node = self.marks = self.label = 0.0
        self.joins = False

    @property
    def width(self) -> float:
        """The whole column."""
        return BUS * self.joins + self.node + self.marks + self.label + PAD


class Placing:
    """Two passes: how much room everything needs, then where it stands."""

    def __init__(self, symbols: dict[str, Data]) -> None:
        self.symbols = symbols
        self.columns: list[Column] = []
        self.picture = Picture()
        self.lefts: list[float] = []

    def place(self, roots: list[Data]) -> Picture:
        """Place everything."""
        for root in roots:
            for line in root["lines"]:
                self._measure(line, 0)
        x = PAD
        self.lefts = [0.0] * len(self.columns)
        for depth in range(len(self.columns) - 1, -1, -1):
            self.lefts[depth] = x
            x += self.columns[depth].width
        end, y = x, PAD
        for root in roots:
            y = self._root(root, end, y)
        ends = [box.right for box in self.picture.boxes()]
        self.picture.width, self.picture.height = max([*ends, end]) + PAD, y
        return self.picture

    # -- room

    def _symbol(self, name: str | None) -> Data | None:
        return self.symbols.get(name) if name else None

    def _node_size(self, node: Data, width: int = NODE) -> tuple[float, float, float]:
        """Width, and the height above and below the line, that a node takes."""
        symbol = self._symbol(node["symbol"])
        lines = wrapped(node["text"], width)
        wide = max([0.0, *(len(line) * LETTER for line in lines)])
        half = symbol["height"] / 2 if symbol else 0.0
        if symbol:
            wide = max(wide, symbol["width"])
        return wide, half, half + 3 + len(lines) * LINE if lines or symbol else 0.0

    def _mark_width(self, mark: Data) -> float:
        symbol = self._symbol(mark["symbol"])
        texts = wrapped(mark["text"], MARK)
        return max([symbol["width"] if symbol else 0.0, *(len(text) * LETTER for text in texts)]) + 6

    def _labels(self, line: Data) -> list[str]:
        segments = [", ".join(texts) for texts in line["segments"] if texts]
        numbered = (
            [f"{place}) {text}" for place, text in enumerate(segments, 1)] if len(segments) > 1 else segments
        )
        return wrapped([*line["text"], *numbered], LABEL)

    def _names(self, line: Data) -> list[str]:
        return wrapped([name_of(line)], LABEL)

    def _measure(self, line: Data, depth: int) -> None:
        if depth == len(self.columns):
            self.columns.append(Column())
        column, node = self.columns[depth], line["from"]
        texts = [*self._names(line), *self._labels(line)]
        column.node = max(
            column.node, self._node_size(node)[0] + (14 if node["symbol"] or node["text"] else 0)
        )
        column.marks = max(column.marks, sum(self._mark_width(mark) for mark in line["marks"]))
        column.label = max([column.label, *(len(text) * LETTER for text in texts)])
        column.joins = column.joins or bool(node["lines"])
        for inner in node["lines"]:
            self._measure(inner, depth + 1)

    def _room(self, line: Data) -> tuple[float, float]:
        """The height a line needs above and below itself."""
        _, up, down = self._node_size(line["from"])
        above = [up, len(self._names(line)) * LINE + 4]
        below = [down, len(self._labels(line)) * LINE + 6]
        for mark in line["marks"]:
            symbol = self._symbol(mark["symbol"])
            half = symbol["height"] / 2 if symbol else 0.0
            above.append(half)
            below.append(half + 3 + len(wrapped(mark["text"], MARK)) * LINE)
        return max(above), max(below)

    # -- places

    def _root(self, root: Data, end: float, top: float) -> float:
        """Place a node where everything ends and what leads to it; answers the foot."""
        _, up, down = self._node_size(root)
        heights, y = [], top
        for line in root["lines"]:
            height, y = self._line(line, 0, y, end)
            heights.append(height)
        middle = max((heights[0] + heights[-1]) / 2, top + up)
        self._upright(end, heights, middle)
        self._node(root, end + (8 if root["symbol"] else 6), middle)
        if root["symbol"]:
            self.picture.wires.append(Wire(end, middle, end + 8, middle))
        return max(y, middle + down + GAP)

    def _upright(self, x: float, heights: list[float], middle: float) -> None:
        reach = [*heights, middle]
        if max(reach) > min(reach):
            self.picture.wires.append(Wire(x, min(reach), x, max(reach)))
        if len(heights) > 1:
            self.picture.dots += [Dot(x, height) for height in sorted({*heights, middle})]

    def _node(self, node: Data, x: float, y: float) -> None:
        symbol = self._symbol(node["symbol"])
        half = 0.0
        if symbol:
            half = symbol["height"] / 2
            self.picture.symbols.append(
                Symbol(x, y - half, node["symbol"], symbol["width"], symbol["height"])
            )
        for place, text in enumerate(wrapped(node["text"], NODE)):
            self.picture.texts.append(Text(x, y + half + 3 + (place + 0.8) * LINE, text))

    def _line(self, line: Data, depth: int, top: float, end: float) -> tuple[float, float]:
        """Place a line and all that feeds it below `top`; answers its height and the foot."""
        column, left = self.columns[depth], self.lefts[depth]
        node = line["from"]
        above, below = self._room(line)
        heights, inner = [], top
        for feeder in node["lines"]:
            height, inner = self._line(feeder, depth + 1, inner, left)
            heights.append(height)
        y = top + above
        if heights:
            y = max(y, (heights[0] + heights[-1]) / 2)
            self._upright(left, heights, y)
        foot = max(inner, y + below + GAP)
        self._draw(line, column, y, left + BUS * column.joins, end)
        return y, foot

    def _draw(self, line: Data, column: Column, y: float, x: float, end: float) -> None:
        """The line itself with its node, its marks and its labels."""
        picture, node = self.picture, line["from"]
        symbol = self._symbol(node["symbol"])
        if node["lines"]:
            picture.wires.append(Wire(x - BUS, y, x, y, line["thing"]))
        self._node(node, x, y)
        start = x + symbol["width"] if symbol else x
        mark_at = x + column.node
        for mark in line["marks"]:
            drawn = self._symbol(mark["symbol"])
            width = drawn["width"] if drawn else 0.0
            half = drawn["height"] / 2 if drawn else 0.0
            if drawn:
                picture.wires.append(Wire(start, y, mark_at, y, line["thing"]))
                picture.symbols.append(Symbol(mark_at, y - half, mark["symbol"], width, drawn["height"]))
                start = mark_at + width
            for place, text in enumerate(wrapped(mark["text"], MARK)):
                picture.texts.append(Text(mark_at, y + half + 3 + (place + 0.8) * LINE, text))
            mark_at += self._mark_width(mark)
        picture.wires.append(Wire(start, y, end, y, line["thing"]))
        label_at = x + column.node + column.marks
        names = self._names(line)
        for place, text in enumerate(names):
            picture.texts.append(Text(label_at, y - 5 - (len(names) - 1 - place) * LINE, text, True))
        for place, text in enumerate(self._labels(line)):
            picture.texts.append(Text(label_at, y + 6 + (place + 0.8) * LINE, text))
