"""What a result rests on and what must be told beside it, as lists of a head and a text."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import Any

from .shown import shown, spoken

Data = dict[str, Any]


class Rest:
    """The lists at the end of a sheet.

    `cites` shortens citations, `called` is what a reader calls the things at some paths, `title` that of an entry.
    """

    def __init__(
        self,
        found: Data,
        cites: Callable[[list[str]], list[str]],
        called: Callable[..., str],
        title: Callable[[str], str],
    ) -> None:
        self.found, self.cites, self.called, self.title = found, cites, called, title

    def grounds(self) -> Iterator[Data]:
        """What it takes for granted: assumptions, figures from catalogues, readings of the text."""
        found = self.found
        yield _listed("Assumed, because not stated", self._assumptions())
        yield _listed(
            "Taken from catalogues",
            (
                (
                    self.called(item["thing"]),
                    f"{item['item']} of {item['catalogue']}; {_spaced(item['source'], item['says'])}",
                )
                for item in found["taken"]
            ),
        )
        yield _listed(
            "Readings of the text that were used",
            (
                (
                    item["question"],
                    f"{spoken(item['option'])}, settled by {item['settled_by']} "
                    f"({'; '.join([item['reading'], *self.cites(item['cites'])])})",
                )
                for item in found["readings"]
            ),
        )

    def _assumptions(self) -> Iterator[tuple[str, str]]:
        """What was assumed of which things, those of which the same was assumed together."""
        alike: dict[tuple[str, str], list[str]] = {}
        for item in self.found["assumptions"]:
            text = _spaced(shown(item["value"], None), item.get("says", ""))
            alike.setdefault((self.title(item["entry"]), text), []).append(item["thing"])
        for (title, text), things in alike.items():
            yield title, f"{text} ({self.called(*things)})"

    def remarks(self) -> Iterator[Data]:
        """What a reader must be told: gaps, disagreements, what is to be made, cautions."""
        found = self.found
        yield _listed(
            "Not part of this book yet",
            (
                (
                    str(part.get("layer", "")),
                    "; ".join(str(text) for key, text in part.items() if key != "layer"),
                )
                for part in found["not_encoded"]
            ),
        )
        yield _listed("Layers that may not agree", (("", item["says"]) for item in found["findings"]))
        yield _listed("To be made beside the work", map(self._output, found["outputs"]))
        yield _listed("Cautions", (("", text) for text in found["cautions"]))

    def _output(self, item: Data) -> tuple[str, str]:
        """One thing to be made: for what, in what form, saying what, showing which values."""
        shows = [
            f"{spoken(name)} {shown(side['value'], side['unit'])}" for name, side in item["shows"].items()
        ]
        sure = "" if item["certain"] else " (if it applies, which is undetermined)"
        text = f"{spoken(item['form'])}: {item['says']}{sure}"
        return self.called(item["thing"]), "; ".join([text, *shows, *self.cites(item["cites"])])


def _listed(title: str, items: Iterable[tuple[str, str]]) -> Data:
    return {"title": title, "items": [{"head": head, "text": text} for head, text in items]}


def _spaced(*texts: str) -> str:
    return ", ".join(text for text in texts if text)
