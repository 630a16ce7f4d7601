"""Finds the files shipped with the package."""

from __future__ import annotations

import os

TYPE_CHECKING = False

if TYPE_CHECKING:
    from pathlib import Path

PathLike = str | os.PathLike[str]
"""Whatever names a file or a folder."""


def packaged(*parts: str) -> Path:
    """The path of a shipped file or folder, as in `packaged("grammar", "LANGUAGE.md")`.

    The first part is one of our own subpackages. Whether the path exists is for the caller to see.
    """
    from pathlib import Path

    return Path(shipped(*parts))


def shipped(*parts: str) -> str:
    """The same as text, which takes no library of paths."""
    package, *rest = parts
    place = os.path.join(os.path.dirname(os.path.abspath(__file__)), package)
    if not os.path.isdir(place):  # installed for editing: our subpackages lie elsewhere
        place = _elsewhere(package)
    return os.path.join(place, *rest)


def _elsewhere(package: str) -> str:
    from importlib.util import find_spec

    spec = find_spec(f"{__package__}.{package}")
    if spec is None or not spec.submodule_search_locations:
        raise ModuleNotFoundError(f"{__package__}.{package}")
    return spec.submodule_search_locations[0]
