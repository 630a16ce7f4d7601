"""Functions that plugins lend to the rule language, at run time: watched at every call.

A function sees decimals, texts and truths, and nothing of the evaluation. What it answers is always held
against the sort it declares; with GAUGEBOOK_TEST=1 also against the members and words it may answer, and it
is asked twice to see that it is pure, and once more in a process where there is no evaluation to look at. A
fault leaves the value undetermined, with the reason.
"""

from __future__ import annotations

import decimal
import os
from collections.abc import Iterable, Mapping
from decimal import Decimal
from typing import Any, NamedTuple

from .diagnostics import GaugebookError
from .extending import SLOW, Extensions, Plugin, extensions, reason_of
from .hooks import LanguageFunction, NoValue, Quantity
from .messages import NUMBER_IN, ONE_OF, TRUTH
from .runtime import EXACT, Absent
from .units import Unit, UnitError, Units

TEST_VARIABLE = "GAUGEBOOK_TEST"
NUMBER, FLAG, SERIES, TERMS = "number", "flag", "series", "terms"


class Sort(NamedTuple):
    """What an argument or result is: a number in a unit, a flag, a member or a word of a list."""

    sort: str
    detail: str = ""

    @classmethod
    def of(cls, text: str) -> Sort:
        """Read "mm2", "flag", "series:NAME" or "terms:NAME"."""
        word, colon, name = text.partition(":")
        if colon and word in (SERIES, TERMS):
            return cls(word, name.strip())
        return cls(FLAG) if text == FLAG else cls(NUMBER, text)


class Loan:
    """A function of a plugin as compiled rules call it: with values in base units."""

    def __init__(
        self,
        held_by: Extensions,
        plugin: Plugin,
        function: LanguageFunction,
        units: Units,
        lists: Mapping[Sort, Iterable[str]],
    ) -> None:
        self.held_by, self.plugin, self.function, self.units = held_by, plugin, function, units
        self.takes = [self._unit(text) for text in function.takes]
        self.gives = Sort.of(function.gives)
        self.unit = self._unit(function.gives)
        self.known = frozenset(lists.get(self.gives, ()))

    def _unit(self, text: str) -> Unit | None:
        sort = Sort.of(text)
        return self.units.unit(sort.detail) if sort.sort == NUMBER else None

    def __call__(self, *values: Any) -> Any:
        """The value; raises `Absent` where the function has none or does not work."""
        with decimal.localcontext(EXACT):
            amounts = [
                unit.from_base(value) if unit else value
                for unit, value in zip(self.takes, values, strict=True)
            ]
        made = self._call(amounts)
        if os.environ.get(TEST_VARIABLE) == "1":
            again = self._call(amounts)
            if again != made:
                raise self._fault("plugin-function-not-pure", amounts, first=made, second=again)
            self._alike_apart(amounts)
            if self.known and made not in self.known:
                raise self._unfit(amounts, repr(made))
        return made

    def _alike_apart(self, amounts: list[Any]) -> None:
        """Raise `Absent` if the function answers otherwise where it has its arguments and nothing else."""
        from .apart import apart, outcome_of

        first = self.held_by.watched(self.plugin, lambda: outcome_of(self.function.call, amounts))
        second = apart().ask(self.plugin.found.value, self.function.name, amounts)
        if first != second:
            said = {"first": " ".join(first), "second": " ".join(second)}
            raise self._fault("plugin-function-looks-around", amounts, **said)

    def _call(self, amounts: list[Any]) -> Any:
        try:
            with decimal.localcontext(EXACT):
                answer = self.held_by.watched(self.plugin, lambda: self.function.call(*amounts), SLOW)
        except NoValue as reason:
            raise Absent([str(reason)], void=True) from None
        except (Exception, SystemExit) as error:
            what = f"{self.function.name}({self._shown(amounts)})"
            raise self._fault("plugin-raises", amounts, what=what, reason=reason_of(error)) from None
        return self._in_base(answer, amounts)

    def _in_base(self, answer: Any, amounts: list[Any]) -> Any:
        """What was answered, in base units, if it is of the sort declared."""
        unit = self.unit
        if isinstance(answer, Quantity) and unit is not None:
            try:
                answer, given = answer.amount, self.units.unit(answer.unit)
            except (UnitError, TypeError):
                given = None
            if given is None or given.kind != unit.kind:
                shown = f"{answer!r}" if given is None else f"{answer} {given.text}"
                raise self._unfit(amounts, shown)
            unit = given
        sort = {NUMBER: Decimal, FLAG: bool}.get(self.gives.sort, str)
        if type(answer) is not sort or (isinstance(answer, Decimal) and not answer.is_finite()):
            raise self._unfit(amounts, f"the {type(answer).__name__} {answer!r}")
        with decimal.localcontext(EXACT):
            return unit.to_base(answer) if unit is not None and isinstance(answer, Decimal) else answer

    def _expected(self) -> str:
        if self.gives.sort == NUMBER:
            return NUMBER_IN.format(unit=self.gives.detail)
        return TRUTH if self.gives.sort == FLAG else ONE_OF.format(list=self.gives.detail)

    @staticmethod
    def _shown(amounts: list[Any]) -> str:
        texts = (f"{amount:.6g}" if isinstance(amount, Decimal) else str(amount) for amount in amounts)
        return ", ".join(texts)

    def _unfit(self, amounts: list[Any], found: str) -> Absent:
        return self._fault("plugin-function-answer", amounts, found=found, expected=self._expected())

    def _fault(self, fault: str, amounts: list[Any], **values: object) -> Absent:
        """The reason why there is no value; the fault is told besides."""
        values = {"function": self.function.name, "arguments": self._shown(amounts), **values}
        return Absent([self.held_by.reject(self.plugin, fault, **values).message])


def borrowed(lent: Mapping[str, str], units: Units, lists: Mapping[Sort, Iterable[str]]) -> dict[str, Loan]:
    """The functions a compiled book uses, by name; `lent` says from which plugin each was taken.

    Raises `GaugebookError` when one of them is not at hand in that version.
    """
    held_by = extensions()
    at_hand = {function.name: (plugin, function) for plugin, function in held_by.functions()}
    loans = {}
    for name, origin in lent.items():
        plugin, function = at_hand.get(name, (None, None))
        if plugin is None or function is None or str(plugin) != origin:
            raise GaugebookError.because("plugin-changed", function=name, plugin=origin)
        loans[name] = Loan(held_by, plugin, function, units, lists)
    return loans
