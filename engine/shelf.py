"""Where rulesets and jurisdictions lie: ids to folders, and the files of one ruleset. Reads no YAML."""

from __future__ import annotations

import os
from collections.abc import Iterable

from .extending import extensions
from .inputs import note_listing
from .resources import PathLike, shipped

TYPE_CHECKING = False

if TYPE_CHECKING:
    from pathlib import Path

HEADER_FILE = "ruleset.yaml"
JURISDICTIONS = "jurisdictions"
"""The folder, beside the rulesets, of the documents that say what is adopted where and when."""
MOST_FILES = 1000
"""The files one ruleset may have."""
ASIDE = ("cases", "coverage.yaml", "schema")
"""Parts of a ruleset folder that are not sections of the ruleset."""

_NO_NAME = frozenset("/\\:\0")
"""What makes a text a path rather than the name of something in a folder."""


def ruleset_files(place: PathLike) -> list[str]:
    """The files of one ruleset, the header first; a single file is a ruleset of its own."""
    at = os.fspath(place)
    if os.path.isfile(at):
        note_listing(at, [at], ())
        return [at]
    parts, folders = _below(at)
    rest = sorted(steps for steps in parts if steps[-1] != HEADER_FILE)
    files = [os.path.join(at, *steps) for steps in [(HEADER_FILE,), *rest]]
    note_listing(at, files, folders)
    return files


def _below(top: str) -> tuple[list[tuple[str, ...]], list[str]]:
    """The YAML files with sections in a folder and its folders, each as its steps from the top; and the folders.

    However deep folders are, nothing here recurses; a link to a folder is not followed.
    """
    found: list[tuple[str, ...]] = []
    folders: list[str] = []
    waiting: list[tuple[str, tuple[str, ...]]] = [(top, ())]
    while waiting:
        folder, above = waiting.pop()
        folders.append(folder)
        try:
            entries = list(os.scandir(folder))
        except OSError:
            continue
        for entry in entries:
            steps = (*above, entry.name)
            if steps[0] in ASIDE:
                continue
            if entry.is_dir(follow_symlinks=False):
                waiting.append((entry.path, steps))
            elif entry.name.endswith(".yaml"):
                found.append(steps)
    return found, folders


class Shelf:
    """Finds rulesets and jurisdictions by id: in the folders searched, the shipped ones, those of plugins."""

    def __init__(self, folders: Iterable[PathLike] = ()) -> None:
        searched = [*folders, shipped("rulesets"), *extensions().ruleset_folders()]
        self.folders = [os.fspath(folder) for folder in searched]

    def places(self) -> dict[str, Path]:
        """Ruleset id to its folder or file; the first folder that has an id wins."""
        from pathlib import Path

        found: dict[str, Path] = {}
        for folder in self.folders:
            if not os.path.isdir(folder):
                continue
            for path in sorted(os.path.join(folder, name) for name in os.listdir(folder)):
                id = id_of(path)
                if id not in found and self._in(folder, id) == path:
                    found[id] = Path(path)
        return found

    def place(self, id: str) -> str | None:
        """The folder or file of one ruleset: what `places` says of it, without looking at all the others."""
        return next((place for folder in self.folders if (place := self._in(folder, id)) is not None), None)

    @staticmethod
    def _in(folder: str, id: str) -> str | None:
        """The ruleset's folder, else its file, in one folder; an id never leads out of the folder."""
        if not id.strip(".") or not _NO_NAME.isdisjoint(id):
            return None
        place = os.path.join(folder, id)
        if os.path.isfile(os.path.join(place, HEADER_FILE)):
            return place
        path = f"{place}.yaml"
        return path if os.path.isfile(path) and _is_ruleset_file(path) else None

    def jurisdictions(self) -> dict[str, Path]:
        """Jurisdiction id to its file; the first folder that has an id wins."""
        from pathlib import Path

        found: dict[str, Path] = {}
        for folder in self.folders:
            for path in sorted((Path(folder) / JURISDICTIONS).glob("*.yaml")):
                found.setdefault(path.stem, path)
        return found


def id_of(place: str) -> str:
    """What the ruleset in a folder or file is called."""
    name = os.path.basename(place)
    return name.removesuffix(".yaml")


def _is_ruleset_file(path: str) -> bool:
    with open(path, "rb") as file:
        return b"gaugebook: ruleset/1" in file.read(4096)
