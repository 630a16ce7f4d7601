"""No clause, factor, size or word of the trade stands in Python or in the grammar: those are data."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent

WORDS = """
    circuit ampacity ampacities conductor conductors copper aluminum aluminium raceway raceways
    conduit breaker breakers fuse fuses inverter inverters busbar busbars feeder overcurrent awg
    kcmil nec nfpa iec emt pvc thwn thhn xhhw rooftop photovoltaic pv solar panelboard ampere
    amperes amps volt volts ohm wire wires cable cables grounding earthing insulation terminal
    terminals dwelling roof transformer battery electrical electric electrode jurisdictional
    irradiance degc degf neutral phase phases ambient larkmere bundling rcd
"""
FIGURES = (
    r"\b690\.\d",
    r"\b310\.\d",
    r"\b240\.[46]",
    r"\b250\.\d",
    r"\b705\.\d",
    r"\b110\.14",
    r"\b1\.25\b",
    r"\b1\.56",
    r"\b0\.41\b",
)
ALLOWED = {
    "terminal": "a screen, or a symbol of a grammar",
    "terminals": "symbols of a grammar",
    "transformer": "a parser's argument of that name",
}


def sources() -> list[Path]:
    folders = (ROOT / "engine", ROOT / "grammar")
    kinds = (".py", ".lark", ".yaml", ".md")
    return sorted(
        p
        for folder in folders
        for p in folder.rglob("*")
        if p.suffix in kinds and "__pycache__" not in p.parts
    )


@pytest.mark.parametrize("path", sources(), ids=lambda path: str(path.relative_to(ROOT)))
def test_no_word_of_the_trade(path: Path) -> None:
    text = path.read_text("utf-8")
    words = {
        word.casefold()
        for piece in re.findall(r"[A-Za-z]+", re.sub(r"([a-z])([A-Z])", r"\1 \2", text))
        for word in [piece]
    }
    assert sorted((words & set(WORDS.split())) - set(ALLOWED)) == []
    assert [figure for figure in FIGURES if re.search(figure, text)] == []
