"""Finds the files shipped with the package."""

from importlib import import_module
from pathlib import Path


def packaged(*parts: str) -> Path:
    """The path of a shipped file or folder, as in `packaged("grammar", "LANGUAGE.md")`.

    The first part is one of our own subpackages. Whether the path exists is for the caller to see.
    """
    package, *rest = parts
    place = Path(__file__).parent / package
    if not place.is_dir():  # installed for editing: our subpackages lie elsewhere
        place = Path(import_module(f"{__package__}.{package}").__path__[0])
    return place.joinpath(*rest)
