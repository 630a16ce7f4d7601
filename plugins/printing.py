"""Texts made fit for a printed page: harmless in HTML, and units as one prints them."""

from __future__ import annotations

import re
from html import escape
from typing import Any

_POWER = re.compile(r"(?<=\d[\u00a0 ])(mm|cm|m|in|ft)([23])\b")
_DEGREE = re.compile(r"(?<=\d[\u00a0 ])deg([CF])\b")
_TIMES = re.compile(r"(?<=\d[\u00a0 ])(K)\*(m/W)\b")
_RAISED = {"2": "²", "3": "³"}


def printed(value: Any) -> str:
    """The text with the units behind its numbers as printed: `4 mm²`, `41 °C`."""
    text = _POWER.sub(lambda unit: unit[1] + _RAISED[unit[2]], str(value))
    return _TIMES.sub(r"\1·\2", _DEGREE.sub(r"°\1", text))


def text(value: Any) -> str:
    """The text as printed, with nothing in it that HTML would act on."""
    return escape(printed(value))
