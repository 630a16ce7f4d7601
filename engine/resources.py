"""Finds the files shipped with the package."""

from importlib.resources import files
from pathlib import Path


def packaged(*parts: str) -> Path:
    """The path of a shipped file or folder, as in `packaged("grammar", "LANGUAGE.md")`.

    The first part is one of our own subpackages. Whether the path exists is for the caller to see.
    """
    package, *rest = parts
    return Path(str(files(f"{__package__}.{package}"))).joinpath(*rest)
