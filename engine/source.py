"""A project as written: one layout applied, what catalogues gave filled in, and where every value stands."""

from __future__ import annotations

import os
from decimal import Decimal

from .diagnostics import Problems, Span, hint
from .digests import digest_of
from .documents import Document, read_kept

TYPE_CHECKING = False

if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Any

    from .resources import PathLike

    Path = tuple[Any, ...]

FORMAT = "project/1"
HEAD = ("gaugebook", "title", "layouts", "readings", "note")
TAKEN_FROM = "taken_from"
"""The key by which a part of a project takes values from a catalogue: `taken_from: "CATALOGUE: ITEM"`."""

SELECTORS = ("jurisdiction", "rulesets")
"""Keys of a project's one-of-a-kind sections that select the book and are not fields of it."""


class Source:
    """A project as written, with one layout applied; knows where every value stands.

    `data` is plain; `origin` maps a path that a layout wrote to where the layout wrote it; `taken` tells what
    came from catalogues.
    """

    def __init__(
        self, document: Document, layout: str | None, problems: Problems, parts: Sequence[Path] = ((),)
    ) -> None:
        """`parts` are the paths of the document that make up the project, each a patch of the ones before."""
        self.document, self.layout = document, layout
        self.origin: dict[Path, Path] = {}
        self.data: dict[str, Any] = {}
        self.taken: list[dict[str, Any]] = []
        for part in parts:
            self._patch(part)
        layouts = self.data.pop("layouts", None) or {}
        self.layouts = list(layouts) if isinstance(layouts, dict) else []
        if layout is not None:
            if layout not in self.layouts:
                span = self.span(("layouts",))
                problems.add("unknown-layout", span, name=layout, nearest=hint(layout, self.layouts))
            else:
                self._patch(self._where(("layouts", layout)))

    def _patch(self, part: Path) -> None:
        """Lay the mapping at a path of the document over what is there."""
        patch = self.document.data
        for step in part:
            patch = patch[step]
        if isinstance(patch, dict):
            self.data = self._merged(self.data, patch, (), part)

    def _merged(self, base: Any, patch: Any, path: Path, origin: Path) -> Any:
        """JSON Merge Patch (RFC 7396), remembering where each part came from."""
        if not isinstance(patch, dict):
            self.origin[path] = origin
            return patch
        if not isinstance(base, dict):
            base = {}
            self.origin[path] = origin
        merged = dict(base)
        for key, value in patch.items():
            if value is None:
                merged.pop(key, None)
            else:
                merged[key] = self._merged(merged.get(key), value, (*path, key), (*origin, key))
        return merged

    def fill(self, path: Path, values: dict[str, Any], key: str) -> None:
        """Put values into the mapping at a path; they stand where its `key` stands."""
        part: Any = self.data
        for step in path:
            part = part[step]
        at = self._where((*path, key))
        for name, value in values.items():
            part[name] = value
            self.origin[(*path, name)] = at

    def _where(self, path: Path) -> Path:
        for length in range(len(path), 0, -1):
            if path[:length] in self.origin:
                return self.origin[path[:length]] + path[length:]
        return path

    def span(self, path: Path) -> Span:
        """The value at a path of the merged data."""
        return self.document.span(self._where(path))

    def key_span(self, path: Path) -> Span:
        """The key of the value at a path of the merged data."""
        return self.document.key_span(self._where(path))

    def fact(self, name: str) -> str | None:
        """What is stated under a dotted name, as text; None where nothing, or more than one value, is."""
        found: Any = self.data
        for step in name.split("."):
            found = found.get(step) if isinstance(found, dict) else None
        if found is None or isinstance(found, (dict, list)):
            return None
        return f"{found:f}" if isinstance(found, Decimal) else str(found)

    @property
    def title(self) -> str:
        """What the project calls itself."""
        return str(self.data.get("title") or os.path.splitext(os.path.basename(self.document.name))[0])

    @property
    def digest(self) -> str:
        """The identity of the file's text."""
        return "sha256:" + digest_of(self.document.text.encode())


def read_source(path: PathLike, layout: str | None, problems: Problems) -> Source | None:
    """Read a project file; None when it is not even a mapping that says what it is."""
    document = read_kept(path, problems)
    return None if document is None else source_of(document, layout, problems)


def source_of(document: Document, layout: str | None, problems: Problems) -> Source | None:
    """The project in a document; None when it is none."""
    if not isinstance(document.data, dict):
        problems.add("not-a-project", document.span(()), format=FORMAT)
        return None
    if str(document.data.get("gaugebook", "")) != FORMAT:
        problems.add("not-a-project", document.span(("gaugebook",)), format=FORMAT)
        return None
    return Source(document, layout, problems)


def selectors(source: Source) -> dict[str, Any]:
    """What the project says about its book: `rulesets`, `jurisdiction`, wherever its sections say it."""
    found: dict[str, Any] = {}
    for section in source.data.values():
        if isinstance(section, dict):
            for key in SELECTORS:
                if key in section and not isinstance(section[key], dict):
                    found[key] = section[key]
    return found


def selector_span(source: Source, key: str) -> Span:
    """Where the project says what `selectors` answers for `key`."""
    for name, section in source.data.items():
        if isinstance(section, dict) and key in section and not isinstance(section[key], dict):
            return source.span((name, key))
    return source.span(())
