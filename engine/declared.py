"""What a declaration of a book says: the type of a value, and values as they are written."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, NamedTuple

from .diagnostics import Problems, hint
from .entries import Book, Entry
from .loading import as_list
from .messages import TOMBSTONE
from .runtime import DASH, MISSING
from .units import Unit, UnitError, Units


class Type(NamedTuple):
    """What a value is: `sort` with its detail.

    number (Kind), truth, word (name of a terms list), member (name of a series), thing and things
    (name of a kind), text, nothing, wrong (already reported).
    """

    sort: str
    detail: Any = None
    optional: bool = False

    def maybe(self) -> Type:
        """The same, or none."""
        return self._replace(optional=True)


WRONG = Type("wrong")
TRUTH = Type("truth")
TEXT = Type("text")
NOTHING = Type("nothing", None, True)


@dataclass
class SeriesModel:
    """An ordered list to choose from."""

    name: str
    entry: Entry
    labels: list[str]
    type: Type
    unit: Unit | None
    values: list[Any]
    properties: dict[str, tuple[Type, Unit | None, dict[str, Any]]] = field(default_factory=dict)


class Declarations:
    """What types refer to: the kinds, lists of words and series of a book; what is said wrongly goes to `problems`."""

    def __init__(self, book: Book, units: Units, problems: Problems) -> None:
        self.book, self.units, self.problems = book, units, problems
        self.kinds: dict[str, dict[str, Any]] = {name: e.body for name, e in book.section("kinds").items()}
        self.terms: dict[str, list[str]] = {
            name: [str(word) for word in as_list(entry.body.get("words", entry.body.get("is")))]
            for name, entry in book.section("terms").items()
        }
        self.readings: dict[str, Entry] = book.section("readings")
        for name, entry in self.readings.items():
            self.terms[f"reading {name}"] = list(entry.body.get("options") or {})
        self.series: dict[str, SeriesModel] = {}
        for name, entry in book.section("series").items():
            self.series[name] = self._series(name, entry)

    def _series(self, name: str, entry: Entry) -> SeriesModel:
        labels = [str(member) for member in as_list(entry.body.get("members"))]
        if len(set(labels)) != len(labels):
            twice = next(label for label in labels if labels.count(label) > 1)
            self.problems.add("member-twice", entry.place("members").span(), series=name, member=twice)
        if "unit" in entry.body:
            unit = self.unit(entry, str(entry.body["unit"]), "unit")
            kind = Type("number", unit.kind) if unit else WRONG
            values = [self.value(entry, kind, unit, label, "members", i) for i, label in enumerate(labels)]
            made = SeriesModel(name, entry, labels, kind, unit, values)
        else:
            made = SeriesModel(name, entry, labels, Type("member", name), None, list(labels))
        for prop, body in (entry.body.get("properties") or {}).items():
            type, unit = self.type_of(entry, body, "properties", prop)
            texts = [str(text) for text in as_list(body.get("values"))]
            if len(texts) != len(labels):
                self.problems.add(
                    "property-length",
                    entry.place("properties", prop).span(),
                    series=name,
                    property=prop,
                    found=len(texts),
                    expected=len(labels),
                )
            cells = {
                label: text
                if text in (DASH, MISSING)
                else self.value(entry, type, unit, text, "properties", prop, "values", i)
                for i, (label, text) in enumerate(zip(labels, texts, strict=False))
            }
            made.properties[prop] = (type, unit, cells)
        return made

    def type_of(self, entry: Entry, body: dict[str, Any], *path: str | int) -> tuple[Type, Unit | None]:
        """The type that `unit`, `terms`, `series`, `flag`, `text`, `link` or `links` of a declaration states."""
        optional = str(body.get("may_be_none", "no")) == "yes"
        made: tuple[Type, Unit | None]
        if "unit" in body:
            unit = self.unit(entry, str(body["unit"]), *path, "unit")
            made = (Type("number", unit.kind), unit) if unit else (WRONG, None)
        elif "terms" in body:
            made = self._named(entry, "terms", body, self.terms, "word", *path)
        elif "series" in body:
            made = self._named(entry, "series", body, self.series, "member", *path)
            series = self.series.get(str(body["series"]))
            if series is not None:
                made = series.type, series.unit
        elif "link" in body:
            made = self._named(entry, "link", body, self.kinds, "thing", *path)
        elif "links" in body:
            made = self._named(entry, "links", body, self.kinds, "things", *path)
        elif "flag" in body:
            made = TRUTH, None
        elif "text" in body or "date" in body:
            made = TEXT, None
        else:
            self.problems.add("type-not-stated", entry.place(*path).key_span(), entry=entry.id)
            made = WRONG, None
        return (made[0].maybe() if optional else made[0]), made[1]

    def _named(
        self,
        entry: Entry,
        word: str,
        body: dict[str, Any],
        known: dict[str, Any],
        sort: str,
        *path: str | int,
    ) -> tuple[Type, Unit | None]:
        name = str(body[word])
        if name not in known:
            self.problems.add(
                "unknown-name",
                entry.place(*path, word).span(),
                what=word,
                name=name,
                nearest=self.hint(name, known),
            )
            return WRONG, None
        return Type(sort, name), None

    def unit(self, entry: Entry, text: str, *path: str | int) -> Unit | None:
        """A unit by its text; a problem when there is none."""
        try:
            return self.units.unit(text)
        except UnitError as error:
            self.problems.take(error, entry.place(*path).span())
            return None

    def quantity(self, text: str, unit: Unit) -> Decimal:
        """A written quantity in base units; a bare number is taken in `unit`."""
        bare = text[-1:].isdigit() and " " not in text and unit.text != "1"
        return self.units.quantity_as(f"{text} {unit.text}" if bare else text, unit)

    def value(self, entry: Entry, type: Type, unit: Unit | None, text: str, *path: str | int) -> Any:
        """A written value as the engine keeps it: a decimal in base units, a word, a member's label.

        A bare number is taken in `unit`; None after a problem.
        """
        if type.sort == "number":
            try:
                return self.quantity(text, unit) if unit else None
            except UnitError as error:
                self.problems.take(error, entry.place(*path).span())
                return None
        known: list[str] = []
        if type.sort == "word":
            known = self.terms[type.detail]
        elif type.sort == "member":
            known = self.series[type.detail].labels
        elif type.sort == "truth":
            known = ["yes", "no"]
        if known and text not in known:
            self.problems.add(
                "unknown-word",
                entry.place(*path).span(),
                word=text,
                among=", ".join(known[:12]),
                nearest=hint(text, known),
            )
            return None
        return text == "yes" if type.sort == "truth" else text

    def hint(self, name: str, known: Iterable[str]) -> str:
        """The end of a message about an unknown name: who removed what it meant, else the nearest names."""
        gone = self.book.remover(name)
        if gone is None:
            return hint(name, known)
        return TOMBSTONE.format(entry=gone[0], layer=gone[1].layer)
