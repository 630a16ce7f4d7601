"""A price list: what turns the totals of a comparison into money.

The list belongs to the user, and so does its currency, a word that nothing is converted from or to. What it
gives no price for is told beside the sums, which are then marked as incomplete; nothing is ever taken as free.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

from .amounts import Line
from .diagnostics import Problems, hint
from .documents import Document, read
from .loading import as_list
from .results import plain
from .rulebook import Attribute, Rulebook
from .runtime import EXACT
from .schema import validate
from .units import UnitError

SCHEMA = "prices"
DECIMALS = 2
NOTHING = Decimal(0)

Data = dict[str, Any]
Address = tuple[str | int, ...]
"""Where something stands in a document."""


@dataclass
class Price:
    """What a quantity of a total costs; `where` holds the values of the parts it is for."""

    of: str
    where: dict[str, list[Any]]
    price: Decimal
    per: Decimal
    said: str

    def fits(self, line: Line) -> bool:
        """Whether it is a price of this part of a total."""
        group = dict(line.group)
        return self.of == line.name and all(
            name in group and group[name] in values for name, values in self.where.items()
        )

    def of_amount(self, amount: Decimal) -> Decimal:
        """The money for an amount in base units."""
        return EXACT.multiply(EXACT.divide(amount, self.per), self.price)


class PriceList:
    """The prices of a document, understood by the books whose totals they are for."""

    def __init__(self, document: Document, prices: list[Price]) -> None:
        data = document.data
        self.title, self.currency = str(data["title"]), str(data["currency"])
        self.decimals = int(data.get("decimals", DECIMALS))
        self.count = {str(each): Decimal(number) for each, number in (data.get("count") or {}).items()}
        self.left_out = {str(name): str(says) for name, says in (data.get("leave_out") or {}).items()}
        self.prices = prices

    def cost(self, lines: Sequence[Line], columns: int) -> Data:
        """What the designs cost, as JSON data (see `rulesets/schema/compare.json`)."""
        sums: dict[str | None, Sum] = {None: Sum(columns)}
        titles = {line.name: line.title for line in lines}
        priced, wanting = [], []
        for line in lines:
            if line.name in self.left_out:
                continue
            total = sums.setdefault(line.each, Sum(columns))
            price = next((price for price in self.prices if price.fits(line)), None)
            if price is None:
                wanting.append(line.to_data())
            money = [_money(price, amount) for amount in line.amounts]
            total.add(money)
            if price is not None:
                told = {"price": float(price.price), "per": price.said, "amounts": _plain(money)}
                priced.append(line.to_data() | told)
        return {
            "title": self.title,
            "currency": self.currency,
            "decimals": self.decimals,
            "lines": priced,
            "sums": [{"each": each, **total.to_data()} for each, total in sums.items()],
            "together": self._together(sums),
            "not_priced": wanting,
            "left_out": [
                {"name": name, "title": titles[name], "says": says}
                for name, says in self.left_out.items()
                if name in titles
            ],
        }

    def _together(self, sums: dict[str | None, Sum]) -> Data | None:
        """Everything in one sum; none where the list does not say how often what recurs counts."""
        recurring = [each for each in sums if each is not None]
        if not recurring or any(each not in self.count for each in recurring):
            return None
        whole = Sum(len(sums[None].amounts))
        for each, total in sums.items():
            whole.take(total, Decimal(1) if each is None else self.count[each])
        return {"count": {each: float(self.count[each]) for each in recurring}, **whole.to_data()}


class Sum:
    """Money by column, and in which columns nothing is wanting in it."""

    def __init__(self, columns: int) -> None:
        self.amounts, self.complete = [NOTHING] * columns, [True] * columns

    def add(self, money: Sequence[Decimal | None]) -> None:
        """Take in the money of a line; None is not known."""
        for number, amount in enumerate(money):
            if amount is None:
                self.complete[number] = False
            else:
                self.amounts[number] = EXACT.add(self.amounts[number], amount)

    def take(self, other: Sum, times: Decimal) -> None:
        """Take in another sum so many times."""
        self.add([EXACT.multiply(amount, times) for amount in other.amounts])
        self.complete = [a and b for a, b in zip(self.complete, other.complete, strict=True)]

    def to_data(self) -> Data:
        """As JSON data."""
        return {"amounts": _plain(self.amounts), "complete": self.complete}


def _money(price: Price | None, amount: Decimal | None) -> Decimal | None:
    """What an amount costs; nothing at all costs nothing, whether it has a price or not."""
    if amount is None or (price is None and amount):
        return None
    return NOTHING if price is None else price.of_amount(amount)


def _plain(money: Iterable[Decimal | None]) -> list[float | None]:
    return [None if amount is None else float(amount) for amount in money]


def read_prices(path: Path | str, books: Sequence[Rulebook]) -> PriceList:
    """A price list for comparisons under these books; raises `Refused` with everything wrong in it."""
    problems = Problems()
    document = read(path, problems)
    prices: list[Price] = []
    if document is not None and validate(document, SCHEMA, problems):
        reader = Reader(document, books, problems)
        prices = list(reader.prices())
        reader.check_rest()
    problems.refuse_if_any()
    assert document is not None
    return PriceList(document, prices)


class Reader:
    """Understands a document of the right shape; what means nothing under any of the books is reported."""

    def __init__(self, document: Document, books: Sequence[Rulebook], problems: Problems) -> None:
        self.document, self.problems = document, problems
        self.homes: dict[str, Rulebook] = {}
        for book in books:
            for name in book.frozen["totals"]:
                self.homes.setdefault(name, book)

    def prices(self) -> Iterator[Price]:
        """Every price that can be understood."""
        for number, item in enumerate(self.document.data["prices"]):
            place: Address = ("prices", number)
            name = str(item["of"])
            if not self._known(name, (*place, "of")):
                continue
            book = self.homes[name]
            where = {
                str(by): self._values(book, name, str(by), as_list(words), (*place, "where", by))
                for by, words in (item.get("where") or {}).items()
            }
            per = self._per(book, name, str(item["per"]), (*place, "per"))
            if per is not None:
                yield Price(name, where, Decimal(item["price"]), per, str(item["per"]))

    def check_rest(self) -> None:
        """Report what is left out or counted without being there."""
        data = self.document.data
        priced = [str(item["of"]) for item in data["prices"]]
        for name in data.get("leave_out") or {}:
            if self._known(str(name), ("leave_out", name), key=True) and str(name) in priced:
                self.problems.add(
                    "priced-and-left-out", self.document.key_span(("leave_out", name)), name=name
                )
        recurring = {
            str(total["each"])
            for book in self.homes.values()
            for total in book.frozen["totals"].values()
            if total["each"]
        }
        for each in data.get("count") or {}:
            if str(each) not in recurring:
                span, near = self.document.key_span(("count", each)), hint(str(each), recurring)
                self.problems.add("nothing-recurs", span, name=each, nearest=near)

    def _known(self, name: str, place: Address, key: bool = False) -> bool:
        if name not in self.homes:
            span = self.document.key_span(place) if key else self.document.span(place)
            known = ", ".join(self.homes) or "none"
            near = hint(name, self.homes)
            self.problems.add("unknown-total", span, name=name, nearest=near, known=known)
        return name in self.homes

    def _values(self, book: Rulebook, total: str, by: str, words: list[Any], place: Address) -> list[Any]:
        """The values a part may have, as the groups of a total hold them."""
        body = book.frozen["totals"][total]
        if by not in body["by"]:
            known, near = ", ".join(body["by"]) or "nothing", hint(by, body["by"])
            span = self.document.key_span(place)
            self.problems.add("total-not-split-by", span, total=total, name=by, known=known, nearest=near)
            return []
        attribute = book.attributes[body["of"]][by]
        return [self._value(book, attribute, str(word), place) for word in words]

    def _value(self, book: Rulebook, attribute: Attribute, text: str, place: Address) -> Any:
        span = self.document.span(place)
        if attribute.unit is not None:
            try:
                return plain(book.units.quantity_as(text, attribute.unit), attribute.unit)
            except UnitError as error:
                self.problems.take(error, span)
                return None
        known = _words(book, attribute)
        if known and text not in known:
            among = ", ".join(known[:12])
            self.problems.add("unknown-word", span, word=text, among=among, nearest=hint(text, known))
        return text == "yes" if attribute.sort == "truth" else text

    def _per(self, book: Rulebook, total: str, text: str, place: Address) -> Decimal | None:
        body = book.frozen["totals"][total]
        unit = book.attributes[body["of"]][body["sum"]].unit
        assert unit is not None
        try:
            per = book.units.quantity_as(text, unit)
        except UnitError as error:
            self.problems.take(error, self.document.span(place))
            return None
        if per <= 0:
            self.problems.add("price-per-nothing", self.document.span(place), text=text)
            return None
        return per


def _words(book: Rulebook, attribute: Attribute) -> list[str]:
    if attribute.sort == "truth":
        return ["yes", "no"]
    if attribute.sort == "word":
        return [str(word) for word in as_list(book.frozen["terms"].get(attribute.detail))]
    return list(book.ranks.get(str(attribute.detail), {}))
