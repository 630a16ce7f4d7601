"""Derivations for a printed sheet: titles in place of names, and typographic signs."""

from __future__ import annotations

from pathlib import PurePath
from typing import Any

from .evaluating import Run, Thing
from .explaining import KEPT, lines
from .hits import Tree
from .shown import spoken

SIGNS = {" * ": " × ", " >= ": " ≥ ", " <= ": " ≤ "}


def steps(trees: list[Tree], run: Run, thing: Thing, document: str) -> list[dict[str, Any]]:
    """The lines of derivations of a thing: depth, text, cites, transcription (empty where it is strong)."""
    short = PurePath(document).name
    return [
        {
            "depth": line.depth,
            "text": _typeset(line.text.replace(document, short)),
            "cites": list(line.cite.clauses),
            "transcription": spoken(line.cite.weak),
        }
        for tree in trees
        for line in lines(Labels(run, thing).tree(tree), False)
    ]


def _typeset(text: str) -> str:
    for sign, printed in SIGNS.items():
        text = text.replace(sign, printed)
    return text.replace(KEPT, " ")


class Labels:
    """Rewrites the ids of a tree as titles, seen from one thing."""

    def __init__(self, run: Run, thing: Thing) -> None:
        self.rulebook, self.run, self.thing = run.rulebook, run, thing

    def tree(self, node: Tree) -> Tree:
        """The tree with labels for ids."""
        made = node | {"id": self.label(node["id"])}
        for key in ("checks", "inputs"):
            if key in node:
                made[key] = [self.tree(child) for child in node[key]]
        return made

    def label(self, id: str) -> str:
        """`Title`, and of which thing where it is another one."""
        entry = self.rulebook.entries.get(id)
        if entry is not None:
            return str(entry.get("title") or spoken(id.partition("/")[2]))
        path, _, name = id.rpartition(".")
        owner = self.run.things.get(path)
        if owner is None:
            return id
        title = self._title(owner, name)
        if owner is self.thing:
            return title
        return f"{title} ({path.removeprefix(f'{self.thing.path}.').rpartition('.')[2] or path})"

    def _title(self, owner: Thing, name: str) -> str:
        attribute = self.rulebook.attributes[owner.kind].get(name)
        if attribute is not None:
            field = (attribute.field or {}).get("entry") if attribute.role in ("field", "relation") else None
            entry = self.rulebook.entries.get(str(field or attribute.entry), {})
        else:
            entry = self.rulebook.entries.get(self.rulebook.checks[name]["entry"], {})
        return str(entry.get("title") or spoken(name)).strip()
