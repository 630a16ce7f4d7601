"""Diagrams and sections as SVG; every text is escaped, and shapes take their colours from the page."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

from .diagram import SIZE, Box, Picture, Text, place
from .packing import pack
from .printing import escape, literal

Data = dict[str, Any]

PAPER = 680.0
"""Width of the printed column in CSS pixels, on the narrower of the two papers less its margins."""
BAND = 180.0
"""Height of a band of a diagram on paper. Bands are not broken, so this is what a page may leave empty."""
ROUND = 150.0
"""Diameter at which the widest container is drawn."""


def diagram(title: str, roots: list[Data], symbols: dict[str, Data]) -> str:
    """A diagram as a stack of bands that join without a seam, so that paper can break between them."""
    picture = place(roots, symbols)
    scale = min(1.0, PAPER / picture.width)
    cuts = picture.cuts(BAND / scale)
    bands = enumerate(pairwise(cuts))
    return "\n".join(_band(picture, "" if at else title, *reach, symbols) for at, reach in bands)


def _number(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")


def _size(width: float, height: float) -> str:
    return f'width="{_number(width)}" height="{_number(height)}"'


def _band(picture: Picture, title: str, top: float, bottom: float, symbols: dict[str, Data]) -> str:
    """A band of a picture; the title, given to the first one, stands for the whole."""

    def within(box: Box) -> bool:
        return box.top < bottom and box.bottom > top

    shapes = [
        f'<path d="M{_number(w.x1)} {_number(w.y1)} L{_number(w.x2)} {_number(w.y2)}"/>'
        for w in picture.wires
        if min(w.y1, w.y2) <= bottom and max(w.y1, w.y2) >= top
    ]
    shapes += [
        f'<circle class="solid" cx="{_number(dot.x)}" cy="{_number(dot.y)}" r="2.6"/>'
        for dot in picture.dots
        if top <= dot.y <= bottom
    ]
    for symbol in picture.symbols:
        if within(symbol.box):
            body = symbols[symbol.name]
            paths = [f'<path d="{escape(str(path))}"/>' for path in body.get("lines") or []]
            paths += [f'<path class="solid" d="{escape(str(path))}"/>' for path in body.get("solid") or []]
            at = f"translate({_number(symbol.x)} {_number(symbol.y)})"
            shapes.append(f'<g transform="{at}">{"".join(paths)}</g>')
    letters = [_lettering(line) for line in picture.texts if within(line.box)]
    view = f"0 {_number(top)} {_number(picture.width)} {_number(bottom - top)}"
    spoken = 'role="img"' if title else 'aria-hidden="true"'
    name = f"<title>{literal(title)}</title>" if title else ""
    return (
        f'<svg class="band" {spoken} viewBox="{view}" {_size(picture.width, bottom - top)}>{name}'
        f'<g class="ink">{"".join(shapes)}</g><g font-size="{_number(SIZE)}">{"".join(letters)}</g></svg>'
    )


def _lettering(line: Text) -> str:
    strong = ' class="strong"' if line.strong else ""
    return f'<text x="{_number(line.x)}" y="{_number(line.y)}"{strong}>{literal(line.text)}</text>'


def cross_section(item: Data, widest: float) -> str:
    """A container with what lies in it, `widest` being the diameter that is drawn at full size."""
    scale = ROUND / widest
    contents: list[Data] = item["contents"]
    diameters = [body["diameter"] * scale for body in contents for _ in range(body["count"])]
    kinds = [place for place, body in enumerate(contents) for _ in range(body["count"])]
    radius = item["diameter"] * scale / 2
    middle = radius + 3
    at = _number(middle)
    shapes = [f'<circle cx="{at}" cy="{at}" r="{_number(radius)}" class="wall"/>']
    letters = []
    for circle in pack(2 * radius, diameters):
        place, x, y = kinds[circle.place], middle + circle.x, middle + circle.y
        look = contents[place]["look"]
        at = f'cx="{_number(x)}" cy="{_number(y)}" r="{_number(circle.radius)}"'
        shapes.append(f'<circle class="{escape(look)}" {at}/>')
        if circle.radius > 6:
            size = min(11.0, circle.radius * 1.1)
            at = f'x="{_number(x)}" y="{_number(y + size * 0.36)}" font-size="{_number(size)}"'
            letters.append(f'<text class="key" {at}>{mark(place)}</text>')
    side = _number(2 * middle)
    return (
        f'<svg class="section" role="img" viewBox="0 0 {side} {side}" {_size(2 * middle, 2 * middle)}>'
        f"<title>{literal(item['name'])} in section</title>"
        f'<g class="ink">{"".join(shapes)}</g>{"".join(letters)}</svg>'
    )


def left_out(item: Data) -> int:
    """How many of the circles find no place inside, however little of the area they fill."""
    diameters = [body["diameter"] for body in item["contents"] for _ in range(body["count"])]
    return len(diameters) - len(pack(item["diameter"], diameters))


def mark(place: int) -> str:
    """The letter that stands for a sort of circle."""
    return chr(ord("a") + place % 26)


def gauge(used: float | None) -> str:
    """A rule on which the limit stands at 100 and a bar shows how much of it is used."""
    if used is None:
        return ""
    left, limit, most = 2.0, 92.0, 116.0
    end = min(left + used * (limit - left), most)
    steps = [(left + step * (limit - left) / 10, 10 if step % 5 == 0 else 12.5) for step in range(11)]
    ticks = "".join(f"M{_number(x)} 15 V{top} " for x, top in steps)
    over = " over" if used > 1 else ""
    return (
        f'<svg class="gauge{over}" aria-hidden="true" viewBox="0 0 120 16" width="120" height="16">'
        f'<path class="rule" d="M{left} 15 H{most} {ticks.strip()}"/>'
        f'<path class="bar" d="M{left} 3 H{_number(end)} V9 H{left} Z"/>'
        f'<path class="limit" d="M{limit} 0 V15"/></svg>'
    )
