"""Finds the files shipped with the package."""

from importlib import import_module
from pathlib import Path


def packaged(*parts: str) -> Path:
    """The path of a shipped file or folder, as in `packaged("grammar", "LANGUAGE.md")`.

    The first part is one of our own subpackages. Whether the path exists is for the caller to see.
    """
    package, *rest = parts
    return Path(import_module(f"{__package__}.{package}").__path__[0]).joinpath(*rest)
