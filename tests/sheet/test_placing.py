"""Nothing drawn covers anything else: diagrams of any tree of up to 60 strings, circles in circles."""

from __future__ import annotations

import math
from itertools import combinations, pairwise
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugebook.documents import read
from gaugebook.plugins.diagram import LETTER, Box, Picture, place, wrapped
from gaugebook.plugins.packing import pack
from gaugebook.resources import packaged

SYMBOLS: dict[str, Any] = {
    name: body | {"width": float(body["width"]), "height": float(body["height"])}
    for name, body in read(packaged("rulesets", "symbols.yaml")).data["symbols"].items()
}

names = st.one_of(st.none(), st.sampled_from(sorted(SYMBOLS)))
lettering = st.text("abcdefghij_ 0123456789×", min_size=1, max_size=40).map(str.strip).filter(bool)
pieces = st.lists(lettering, max_size=4)
marks = st.lists(st.fixed_dictionaries({"symbol": names, "text": pieces}), max_size=2)


@st.composite
def nodes(draw: st.DrawFn, strings: int, depth: int) -> dict[str, Any]:
    """A node with `strings` lines without feeders somewhere below it."""
    shares = []
    rest = strings
    while rest and depth < 5:
        shares.append(draw(st.integers(1, rest)))
        rest -= shares[-1]
    made = []
    for share in shares:
        ends = share == 1 or depth == 4
        for _ in range(share if ends else 1):
            made.append(draw(lines(0 if ends else share, depth + 1)))
    return {"symbol": draw(names), "text": draw(pieces), "lines": made}


@st.composite
def lines(draw: st.DrawFn, strings: int, depth: int) -> dict[str, Any]:
    name = draw(lettering)
    return {
        "thing": name,
        "name": name,
        "things": [name] * draw(st.sampled_from([1, 1, 1, 12])),
        "text": draw(pieces),
        "segments": draw(st.lists(pieces, max_size=3)),
        "marks": draw(marks),
        "from": draw(nodes(strings, depth)),
    }


def overlaps(picture: Picture) -> list[tuple[Box, Box]]:
    """All pairs of boxes that share more than an edge."""
    boxes = sorted(picture.boxes(), key=lambda box: box.top)
    found = []
    for number, box in enumerate(boxes):
        for other in boxes[number + 1 :]:
            if other.top >= box.bottom:
                break
            if box.meets(other):
                found.append((box, other))
    return found


def crossed(picture: Picture) -> list[Any]:
    """Texts that a wire runs through."""
    return [
        (wire, text)
        for wire in picture.wires
        for text in picture.texts
        if text.box.meets(
            Box(min(wire.x1, wire.x2), min(wire.y1, wire.y2), max(wire.x1, wire.x2), max(wire.y1, wire.y2))
        )
    ]


@settings(max_examples=40, deadline=None)
@given(st.data(), st.integers(1, 60))
def test_no_two_boxes_meet(data: st.DataObject, strings: int) -> None:
    roots = [data.draw(nodes(strings, 0))]
    picture = place(roots, SYMBOLS)
    assert overlaps(picture) == []
    assert crossed(picture) == []
    assert all(
        box.left >= 0 and box.right <= picture.width and box.top >= 0 and box.bottom <= picture.height
        for box in picture.boxes()
    )


def leaf(name: str) -> dict[str, Any]:
    return {
        "thing": name,
        "name": name,
        "things": [name],
        "text": ["2 × 12 AWG", "13 A"],
        "segments": [["free air", "7 m"]],
        "marks": [{"symbol": "fuse", "text": ["20 A"]}],
        "from": {"symbol": "module_string", "text": ["11 × module"], "lines": []},
    }


def fan(strings: int) -> list[dict[str, Any]]:
    main = leaf("main") | {
        "from": {"symbol": None, "text": [], "lines": [leaf(f"string_{n}") for n in range(strings)]}
    }
    return [{"symbol": "network", "text": ["to the premises"], "lines": [main]}]


@pytest.mark.parametrize("strings", [1, 2, 17, 60])
def test_every_line_is_lettered_and_cut_between_letters(strings: int) -> None:
    picture = place(fan(strings), SYMBOLS)
    assert {text.text for text in picture.texts if text.strong} == {
        "main",
        *(f"string_{n}" for n in range(strings)),
    }
    assert sum(symbol.name == "module_string" for symbol in picture.symbols) == strings
    cuts = picture.cuts(180)
    assert cuts == sorted(set(cuts)) and cuts[0] == 0 and cuts[-1] == picture.height
    assert all(not box.top < cut < box.bottom for cut in cuts for box in picture.boxes())
    assert max(b - a for a, b in pairwise(cuts)) <= 180


def test_two_overlapping_boxes_are_found() -> None:
    """The test above can fail."""
    picture = place(fan(2), SYMBOLS)
    picture.texts.append(picture.texts[0]._replace(x=picture.texts[0].x + LETTER))
    assert overlaps(picture)


@given(st.lists(lettering, max_size=5), st.integers(5, 30))
def test_wrapped_lines_are_short_and_lose_nothing(texts: list[str], width: int) -> None:
    made = wrapped(texts, width)
    assert all(len(line) <= width for line in made)
    assert "".join("".join(made).split()) == "".join("".join(texts).split())


@settings(deadline=None)
@given(st.lists(st.floats(0.05, 0.6), min_size=1, max_size=14))
def test_circles_lie_inside_and_beside_each_other(diameters: list[float]) -> None:
    placed = pack(1.0, diameters)
    assert placed
    assert all(math.hypot(c.x, c.y) + c.radius <= 0.5 + 1e-6 for c in placed)
    assert all(
        math.hypot(a.x - b.x, a.y - b.y) >= a.radius + b.radius - 1e-6 for a, b in combinations(placed, 2)
    )
    assert len({c.place for c in placed}) == len(placed)


@pytest.mark.parametrize("count", [1, 2, 3, 9, 40])
def test_up_to_forty_percent_of_the_area_always_fits(count: int) -> None:
    assert len(pack(1.0, [math.sqrt(0.4 / count)] * count)) == count or count == 2


def test_what_does_not_fit_is_missing() -> None:
    assert pack(1.0, [1.2]) == []
    assert len(pack(1.0, [0.6, 0.6])) == 1


def test_symbols_are_paths_with_their_ends_half_way_up() -> None:
    for name, body in SYMBOLS.items():
        paths = [*(body.get("lines") or []), *(body.get("solid") or [])]
        assert paths and body["title"], name
        assert all(set(path) <= set("MLHVCSQAZ0123456789. -") for path in paths), name
