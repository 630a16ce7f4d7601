"""A plan as one function where places are asked for in many spots: each of those gets a function inside it.

What `specialising` does with slots is done here with variables that the functions inside share; a place asked for in
one spot only is still written there.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable

from .meaning import Op
from .planning import Key, Place, Plan
from .straight_choices import Choices

EMPTY = object()
"""In a variable: not worked out yet."""


class Sharing(Choices):
    """Writes rules, checks and choices, with a function for each place that is shared."""

    most_lines = 20_000

    def __init__(self, plan: Plan, exact: bool) -> None:
        super().__init__(plan, exact, recorded=False)
        self.names["EMPTY"] = EMPTY
        readers: list[int | Key] = [*range(len(plan.places)), *plan.checks]
        spots = Counter(
            step.parts[0]
            for reader in readers
            for op in plan.ops(reader)
            for step in op.walk()
            if step.code == "place"
        )
        constrained = {key for place in plan.places for key in place.checks}
        twice = {
            step.parts[0]
            for key in constrained
            for op in plan.ops(key)
            for step in op.walk()
            if step.code == "place"
        }  # in the choice and in the verdict
        self.shared = {
            place.number
            for place in plan.places
            if place.chosen or (place.rule and (spots[place.number] > 1 or place.number in twice))
        }
        self.functions: list[str] = []
        self._written: set[int] = set()
        self._waiting: list[int] = []

    def finish(self) -> list[str]:
        """The variables and the functions inside, once everything that is wanted has been written."""
        outer, known = self.lines, self.known
        while self._waiting:
            number = self._waiting.pop()
            self.lines, self.known, self.depth = [], dict(self.inputs), 2
            place = self.plan.places[number]
            with self.block(f"p{number}"):
                if place.rule is not None:
                    self._alone(place.rule.routes)
                    self._routes(place, place.rule.routes)
                else:
                    self._bind(place)
            self.put(f"return p{number}")
            held = [f"p{number}", *self._held(place)]
            self.functions += [f"    def q{number}():", f"        nonlocal {', '.join(held)}", *self.lines]
        self.lines, self.known, self.depth = outer, known, 1
        first = [f"    p{number} = EMPTY" for number in sorted(self.shared)]
        first += [f"    m{number} = False" for number in sorted(self.mutual)]
        return [*first, *self.functions]

    def _held(self, place: Place) -> list[str]:
        """What the function of a choice changes besides its own place."""
        if not place.chosen:
            return []
        own = [f"r{place.number}", *([f"m{place.number}"] if place.number in self.mutual else [])]
        return own + [f"p{other}" for other in place.leaning if other in self.shared]

    def _place(self, op: Op, number: int) -> str:
        if number not in self.shared:
            return super()._place(op, number)
        if number not in self.known:
            self.ask(number)
        if self.known[number]:
            self.void_if(f"y{number} is VOID")
            self.known[number] = False
        return f"y{number}"

    def answer(self, key: Key) -> str:
        """What is wanted, in a variable that nothing changes afterwards."""
        number = self.plan.numbers.get(key)
        if number is None:
            return super().answer(key)
        if number not in self.known:
            self.ask(number)
        name = self.fresh("c")
        self.put(f"{name} = y{number}")
        return name

    def ask(self, number: int) -> None:
        """Have the value of a shared place in a variable of its own."""
        self.put(f"y{number} = p{number}")
        with self.under(f"if y{number} is EMPTY:"):
            self.put(f"y{number} = q{number}()")
        self.known[number] = True
        if number not in self._written:
            self._written.add(number)
            self._waiting.append(number)

    def _bind(self, place: Place) -> None:
        """The first member that passes every check while it stands in the place."""
        number = place.number
        self.names[f"M{number}"] = tuple(self.numbers.of(member) for member in place.members)
        if place.when is not None:
            with self.under(f"if not {self.write(place.when)}:"):
                self.put(f"p{number} = None")
                self.exits[-1].append(dict(self.known))
                self.put("break")
        self.put(f"r{number} = []")
        if number in self.mutual:
            self.put(f"m{number} = True")
        self.exits.append([])
        with self.under(f"for y{number} in M{number}:"):
            self.put(f"p{number} = y{number}")
            self._empty(place)
            leaning = self.leaning[number]
            self.known = {other: state for other, state in self.known.items() if other not in leaning}
            self.known[number] = False
            for spot in range(len(place.checks)):
                with self._voided(self._rejecting(place, spot)):
                    self._try(place, spot)
            self.put("break")
        with self.under("else:"):
            self.put(f"p{number} = VOID")
            self._empty(place)
        self.exits.pop()
        if number in self.mutual:
            self.put(f"m{number} = False")

    def _rejecting(self, place: Place, spot: int) -> Callable[[], None]:
        return lambda: self._reject(place, self._rejected(spot))

    def _empty(self, place: Place) -> None:
        """Forget what leans on a choice, except choices that are being made around it."""
        leaning = [other for other in place.leaning if other in self.shared]
        plain = [f"p{other}" for other in leaning if other not in self.mutual]
        if plain:
            self.put(f"{' = '.join(plain)} = EMPTY")
        for other in leaning:
            if other in self.mutual:
                self.put(f"if not m{other}: p{other} = EMPTY")
