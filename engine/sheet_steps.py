"""Derivations for a printed sheet: titles in place of names, and typographic signs."""

from __future__ import annotations

import re
from itertools import chain
from typing import Any

from .evaluating import Run, Thing
from .explaining import KEPT, lines, references
from .hits import Tree
from .shown import spoken
from .templates import several, short

SIGNS = {" * ": " × ", " >= ": " ≥ ", " <= ": " ≤ "}
NAME = re.compile(r"\b[a-z][a-z0-9]*(?:_[a-z0-9]+)+\b")


def steps(trees: list[Tree], labels: Labels) -> list[dict[str, Any]]:
    """The lines of derivations of a thing: depth, text, cites, transcription (empty where it is strong)."""
    labelled = [labels.tree(tree) for tree in trees]
    told = [tree for tree in labelled if "reference" not in tree]
    retold = sorted((tree for tree in labelled if "like" in tree), key=lambda tree: str(tree["like"]))
    return [
        {
            "depth": line.depth,
            "text": labels.typeset(line.text),
            "cites": list(line.cite.clauses),
            "transcription": spoken(line.cite.weak),
        }
        for line in chain(references(retold, 1), *(lines(tree, False) for tree in told))
    ]


class Labels:
    """Rewrites the ids of a tree as titles and names of the book as words, seen from one thing."""

    def __init__(self, run: Run, thing: Thing) -> None:
        self.rulebook, self.run, self.thing = run.rulebook, run, thing
        self.named = {part for path in run.things for part in path.split(".")}

    def typeset(self, text: str) -> str:
        """A line with printed signs, and with words for every name that is not one of the project."""
        for sign, printed in SIGNS.items():
            text = text.replace(sign, printed)
        text = NAME.sub(lambda found: found[0] if found[0] in self.named else spoken(found[0]), text)
        return text.replace(KEPT, " ")

    def tree(self, node: Tree) -> Tree:
        """The tree with labels for ids."""
        made = node | {"id": self.label(node["id"])}
        if "like" in node:
            made["like"] = short(self.run.things[node["like"]])
        if "name" in node.get("route", {}) and node["route"]["name"] == "otherwise":
            made["route"] = {key: part for key, part in node["route"].items() if key != "name"}
        if "rejected" in node:
            made["rejected"] = [
                one | {"check": str(one.get("title", one["check"]))} for one in node["rejected"]
            ]
        for key in ("checks", "inputs"):
            if key in node:
                made[key] = self._merged([self.tree(child) for child in node[key]])
        return made

    def _merged(self, nodes: list[Tree]) -> list[Tree]:
        """The nodes, with references to one value of several things as one."""
        made: list[Tree] = []
        met: dict[tuple[str, ...], tuple[Tree, list[str]]] = {}
        for node in nodes:
            title, _, thing = str(node["id"]).partition(" (")
            key = title, str(node["value"]), str(node.get("like"))
            if "reference" not in node or not thing:
                made.append(node)
            elif key in met:
                met[key][1].append(thing.removesuffix(")"))
            else:
                met[key] = dict(node), [thing.removesuffix(")")]
                made.append(met[key][0])
        for (title, *_), (node, things) in met.items():
            node["id"] = f"{title} ({several(things)})"
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
        return f"{title} ({short(owner).removeprefix(f'{short(self.thing)}, ')})"

    def _title(self, owner: Thing, name: str) -> str:
        attribute = self.rulebook.attributes[owner.kind].get(name)
        if attribute is not None:
            field = (attribute.field or {}).get("entry") if attribute.role in ("field", "relation") else None
            entry = self.rulebook.entries.get(str(field or attribute.entry), {})
        else:
            entry = self.rulebook.entries.get(self.rulebook.checks[name]["entry"], {})
        return str(entry.get("title") or spoken(name)).strip()
