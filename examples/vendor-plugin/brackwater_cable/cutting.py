"""A cutting list: the pieces of Heronline a project needs, and the drums they are cut from."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import ROUND_CEILING, Decimal
from typing import NamedTuple

from gaugebook import Grid, Heading, Paragraph, Result, as_text

DRUMS = (100, 250, 500)
"""Lengths of cable sold on a drum, in metres."""

TAIL = Decimal("0.75")
"""Metres added at each end of a piece for the termination."""

STEP = Decimal("0.5")
"""Pieces are cut to the next half metre."""


class Piece(NamedTuple):
    """One length to cut."""

    circuit: str
    size: str
    length: Decimal


class Drum(NamedTuple):
    """One drum and what is cut from it."""

    size: str
    length: int
    pieces: list[Piece]

    @property
    def left(self) -> Decimal:
        """Metres that remain."""
        return self.length - sum((piece.length for piece in self.pieces), Decimal(0))


def render_cutting_list(result: Result, full: bool = False) -> str:
    """The list as text: what to cut from which drum, and what is left of each."""
    pieces = list(pieces_of(result))
    title = str(result.data["project"]["title"])
    if not pieces:
        return as_text([Heading(title, 1), Paragraph("No circuit of this project is wired in Heronline.")])
    drums = packed(pieces)
    cut = [
        [piece.size, f"{number}", piece.circuit, f"{piece.length:f} m"]
        for number, drum in enumerate(drums, 1)
        for piece in drum.pieces
    ]
    bought = [
        [drum.size, f"{number}", f"{drum.length} m", f"{drum.left:f} m"]
        for number, drum in enumerate(drums, 1)
    ]
    note = f"Each piece includes {2 * TAIL:f} m for its two ends rounded up to {STEP:f} m; measure first."
    return as_text([
        Heading(f"{title}: Heronline", 1), Grid(["size", "drum", "piece for", "length"], cut),
        Heading("Drums"), Grid(["size", "drum", "length", "left over"], bought), Paragraph(note),
    ])


def pieces_of(result: Result) -> Iterator[Piece]:
    """One piece for every conductor of every circuit in Heronline whose size and length are known."""
    for name, value in result.values.items():
        circuit, _, attribute = name.rpartition(".")
        if attribute != "in_heronline" or value["value"] is not True:
            continue
        parts = ("conductor_size", "one_way_length", "conductors_pulled")
        size, length, count = (result.value(f"{circuit}.{part}") for part in parts)
        if None not in (size, length, count):
            metres = (Decimal(repr(length)) + 2 * TAIL) / STEP
            piece = Piece(circuit, size, metres.to_integral_value(ROUND_CEILING) * STEP)
            yield from [piece] * int(count)


def packed(pieces: list[Piece]) -> list[Drum]:
    """The drums to buy, size by size: of the ways tried, the fewest metres, then the fewest drums."""
    drums: list[Drum] = []
    for size in sorted({piece.size for piece in pieces}):
        ways = [_packed([piece for piece in pieces if piece.size == size], length) for length in DRUMS]
        best: list[Drum] = min(ways, key=_bought)
        drums += best
    return drums


def _bought(drums: list[Drum]) -> tuple[int, int]:
    """Metres, then drums."""
    return sum(drum.length for drum in drums), len(drums)


def _packed(pieces: list[Piece], longest: int) -> list[Drum]:
    """Longest piece first, from the first drum with room; then every drum as short as its pieces allow."""
    drums: list[Drum] = []
    for piece in sorted(pieces, key=lambda piece: (-piece.length, piece.circuit)):
        home = next((drum for drum in drums if drum.left >= piece.length), None)
        if home is None:
            home = Drum(piece.size, max(longest, _whole(piece.length)), [])
            drums.append(home)
        home.pieces.append(piece)
    return [drum._replace(length=_shortest(drum)) for drum in drums]


def _shortest(drum: Drum) -> int:
    used = drum.length - drum.left
    return next((length for length in DRUMS if length >= used), _whole(used))


def _whole(length: Decimal) -> int:
    """In whole metres; what is longer than any drum is made to order."""
    return int(length.to_integral_value(ROUND_CEILING))
