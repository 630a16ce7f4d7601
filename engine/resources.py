"""Finds the files shipped with the package."""

from pathlib import Path


def packaged(*parts: str) -> Path:
    """The path of a shipped file or folder, as in `packaged("grammar", "LANGUAGE.md")`.

    The first part is one of our own subpackages. Whether the path exists is for the caller to see.
    """
    package, *rest = parts
    place = Path(__file__).parent / package
    if not place.is_dir():  # installed for editing: our subpackages lie elsewhere
        place = Path(_elsewhere(package))
    return place.joinpath(*rest)


def _elsewhere(package: str) -> str:
    from importlib.util import find_spec

    spec = find_spec(f"{__package__}.{package}")
    if spec is None or not spec.submodule_search_locations:
        raise ModuleNotFoundError(f"{__package__}.{package}")
    return spec.submodule_search_locations[0]
