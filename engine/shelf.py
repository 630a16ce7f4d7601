"""Where rulesets and jurisdictions lie: ids to folders, and the files of one ruleset. Reads no YAML."""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Iterator
from pathlib import Path

from .extending import extensions
from .inputs import note_listing
from .resources import packaged

HEADER_FILE = "ruleset.yaml"
JURISDICTIONS = "jurisdictions"
"""The folder, beside the rulesets, of the documents that say what is adopted where and when."""
MOST_FILES = 1000
"""The files one ruleset may have."""
ASIDE = ("cases", "coverage.yaml", "schema")
"""Parts of a ruleset folder that are not sections of the ruleset."""

_NO_NAME = re.compile(r"[/\\:\0]|^\.*$")
"""What makes a text a path rather than the name of something in a folder."""


def ruleset_files(place: Path) -> list[Path]:
    """The files of one ruleset, the header first; a single file is a ruleset of its own."""
    files = [place] if place.is_file() else [place / HEADER_FILE, *(place / name for name in _parts(place))]
    note_listing(place, files)
    return files


def _parts(place: Path) -> list[str]:
    """The files with sections below a ruleset's folder, in the order of their paths."""
    found = [steps for steps in _below(str(place), ()) if steps[-1] != HEADER_FILE and steps[0] not in ASIDE]
    return [os.path.join(*steps) for steps in sorted(found)]


def _below(folder: str, steps: tuple[str, ...]) -> Iterator[tuple[str, ...]]:
    """The YAML files in a folder and its folders, each as its steps from the top."""
    try:
        entries = list(os.scandir(folder))
    except OSError:
        return
    for entry in entries:
        if entry.is_dir(follow_symlinks=False):
            yield from _below(entry.path, (*steps, entry.name))
        elif entry.name.endswith(".yaml"):
            yield (*steps, entry.name)


class Shelf:
    """Finds rulesets and jurisdictions by id: in the folders searched, the shipped ones, those of plugins."""

    def __init__(self, folders: Iterable[Path] = ()) -> None:
        self.folders = [*folders, packaged("rulesets"), *extensions().ruleset_folders()]

    def places(self) -> dict[str, Path]:
        """Ruleset id to its folder or file; the first folder that has an id wins."""
        found: dict[str, Path] = {}
        for folder in self.folders:
            if not folder.is_dir():
                continue
            for path in sorted(folder.iterdir()):
                id = path.stem if path.suffix == ".yaml" else path.name
                if id not in found and self._in(folder, id) == path:
                    found[id] = path
        return found

    def place(self, id: str) -> Path | None:
        """The folder or file of one ruleset: what `places` says of it, without looking at all the others."""
        return next((place for folder in self.folders if (place := self._in(folder, id)) is not None), None)

    @staticmethod
    def _in(folder: Path, id: str) -> Path | None:
        """The ruleset's folder, else its file, in one folder; an id never leads out of the folder."""
        if _NO_NAME.search(id):
            return None
        if (folder / id / HEADER_FILE).is_file():
            return folder / id
        path = folder / f"{id}.yaml"
        return path if path.is_file() and _is_ruleset_file(path) else None

    def jurisdictions(self) -> dict[str, Path]:
        """Jurisdiction id to its file; the first folder that has an id wins."""
        found: dict[str, Path] = {}
        for folder in self.folders:
            for path in sorted((folder / JURISDICTIONS).glob("*.yaml")):
                found.setdefault(path.stem, path)
        return found


def _is_ruleset_file(path: Path) -> bool:
    with path.open("rb") as file:
        return b"gaugebook: ruleset/1" in file.read(4096)
