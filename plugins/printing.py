"""Texts made fit for a printed page: harmless in HTML, units as one prints them, and no size broken at a line end."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Any

_UNIT = re.compile(
    r"(\d[\u00a0 ])(mm2|cm2|m2|in2|ft2|mm3|cm3|m3|in3|ft3|degC|degF|K\*m/W|[km]?ohm(?:/k?(?:m|ft))?)(?![\w*/^-])"
)
_UNITS = r"AWG|k?cmil|[kmM]?(?:[AVW]|VA|Wh)|K|[ckm]?m[²³]?|k?ft[²³]?|in[²³]?|[mk]?Ω|k?g"
_LOOSE = re.compile(rf"(?<=\d) (?=[%°]|(?:{_UNITS})\b)|(?<=\d.in) (?=trade\b)")
"""The space between a figure and its unit."""
_HYPHENED = re.compile(r"\b\w+(?:-\d[\w/]*)+")
"""What a browser breaks at its hyphen, `2-1/2`; a hyphen of another sort would be copied out of the page."""
_PRINTED = {"2": "²", "3": "³", "deg": "°", "*": "·", "ohm": "Ω"}
_ENTITIES = str.maketrans({"&": "&amp;", "<": "&lt;", ">": "&gt;", '"': "&quot;", "'": "&#x27;"})


def escape(value: str) -> str:
    """The text with nothing in it that HTML would act on, quotation marks included."""
    return value.translate(_ENTITIES)


def printed(value: Any) -> str:
    """The text with the units behind its numbers as printed, `4 mm²`, `41 °C`, and tied to them."""
    return _LOOSE.sub("\u00a0", _UNIT.sub(_as_printed, str(value)))


def _as_printed(found: re.Match[str]) -> str:
    unit = found[2]
    for written, sign in _PRINTED.items():
        unit = unit.replace(written, sign)
    return found[1] + unit


def literal(value: Any) -> str:
    """The text as printed, for an attribute or a drawing: nothing in it that HTML would act on."""
    return _printed_and_escaped(str(value))


@lru_cache(maxsize=8192)
def _printed_and_escaped(value: str) -> str:
    return escape(printed(value))


def text(value: Any) -> str:
    """The text as printed, for the page: as `literal`, and what has a figure behind a hyphen on one line."""
    return _HYPHENED.sub(r'<span class="even">\g<0></span>', literal(value))
