"""Finds the plugins of others: the entry points of our group, and whether they fit this version.

`declared` is cheap and is asked on every call; only when it says yes is the metadata of the installed
distributions really read.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable
from importlib import import_module

from . import __version__
from .hooks import GROUP
from .records import Record

TYPE_CHECKING = False

if TYPE_CHECKING:
    from typing import Any

OURSELVES = "gaugebook"
_SECTION = f"[{GROUP}]".encode()
_METADATA = (".dist-info", ".egg-info")
_REQUIREMENT = (
    rf"(?i){OURSELVES}(?![\w.-])\s*(?:\[[^\]]*\])?\s*\(?(?P<versions>[^;)]*)\)?\s*(?P<marker>;.*)?$"
)
_VERSION = r"(?P<sign>[<>=!~]=?=?)\s*v?(?P<release>\d+(?:\.\d+)*)(?P<any>\.\*)?"


class Found(Record):
    """A plugin as its distribution declares it; `value` is the module, or `module:object`."""

    name: str
    value: str
    distribution: str
    version: str
    needs: str
    """The versions of this package it does not do without, where this is none of them; else empty."""


def declared() -> bool:
    """True when some distribution on the path may declare a plugin; reads no more than it must."""
    for folder in dict.fromkeys(sys.path):
        try:
            names = os.listdir(folder or os.curdir)
        except NotADirectoryError:
            return True
        except OSError:
            continue
        for name in names:
            if name.endswith(_METADATA) and _names_group(os.path.join(folder, name, "entry_points.txt")):
                return True
    return False


def _names_group(path: str) -> bool:
    try:
        with open(path, "rb") as file:
            return _SECTION in file.read()
    except OSError:
        return False


def find() -> list[Found]:
    """Every plugin declared, by name and then by distribution, whatever the order of installation."""
    if not declared():
        return []
    import re
    from importlib import metadata

    found: dict[tuple[str, str], Found] = {}
    for distribution in metadata.distributions():
        title = str(distribution.metadata["Name"] or "")
        for point in distribution.entry_points:
            key = (point.name, re.sub(r"[-_.]+", "-", title).lower())
            if point.group == GROUP and key not in found:
                needs = unmet(distribution.requires or (), __version__)
                found[key] = Found(point.name, point.value, title, distribution.version, needs)
    return [found[key] for key in sorted(found)]


def unmet(requirements: Iterable[str], version: str) -> str:
    """The first requirement on this package that its version does not meet, as written; else empty."""
    import re

    for text in requirements:
        wanted = re.match(_REQUIREMENT, text.strip())
        if wanted is None or "extra" in (wanted["marker"] or ""):
            continue
        for condition in re.finditer(_VERSION, wanted["versions"]):
            release = _release(condition["release"])
            if not _meets(_release(version), condition["sign"], release, bool(condition["any"])):
                return wanted["versions"].strip()
    return ""


def _release(version: str) -> tuple[int, ...]:
    """The numbers a version begins with."""
    import re

    numbers = re.match(r"\d+(?:\.\d+)*", version)
    return tuple(int(part) for part in numbers[0].split(".")) if numbers else ()


def _meets(ours: tuple[int, ...], sign: str, wanted: tuple[int, ...], any_below: bool) -> bool:
    length = max(len(ours), len(wanted))
    a, b = (release + (0,) * (length - len(release)) for release in (ours, wanted))
    below = len(wanted) if any_below else len(wanted) - 1 if sign == "~=" else length
    alike = a[:below] == b[:below]
    return {
        "==": alike,
        "===": alike,
        "!=": not alike,
        ">=": a >= b,
        "<=": a <= b,
        ">": a > b,
        "<": a < b,
        "~=": a >= b and alike,
    }.get(sign, True)


def imported(value: str) -> Any:
    """The module or object that an entry point names: `module`, or `module:object`."""
    module, _, path = value.partition(":")
    made: Any = import_module(module.strip())
    for name in filter(None, path.strip().split(".")):
        made = getattr(made, name)
    return made


def place_of(module: object) -> str:
    """The file a module or object was loaded from, or what it is called."""
    file = getattr(module, "__file__", None)
    if file is None:
        file = getattr(sys.modules.get(getattr(module, "__module__", "")), "__file__", None)
    return str(file) if file else repr(module)


def age_of(place: str) -> int:
    """When the file was last written, in nanoseconds; 0 for what is no file."""
    try:
        return os.stat(place).st_mtime_ns
    except OSError:
        return 0
