"""Inputs made out of other inputs: a few changes at random places, and texts that have broken programs before."""

from __future__ import annotations

import random
import re
from collections.abc import Callable, Sequence

MOST_KEPT = 3000
"""Inputs that showed something new and are changed further."""

NASTY = [
    b"\x00", b"\xef\xbb\xbf", b"\xff\xfe", b"\xc3\x28", b"\xed\xa0\x80", b"\xf4\x90\x80\x80", b"\r\n", b"\r", b"\t",
    b"\x0b", b"\x1b[31m", b"\x7f", "\u2028".encode(), "\u202e".encode(), "\ufeff".encode(), "\u00a0".encode(),
    "\u0661\u0662".encode(), "\u00bd".encode(), "\u00b2".encode(), "\u2212".encode(), "\U0001f600".encode(),
    "\u0130".encode(), "\u00df".encode(), "e\u0301".encode(), "\u212a".encode(),
    b"1e999999999", b"1e-999999999", b"-1e308", b"9" * 50, b"9" * 51, b"0." + b"0" * 60 + b"1", b"1/0", b"0/0",
    b"1/3", b"7/8", b"-0", b"+5", b".5", b"5.", b"0x10", b"1_000", b"NaN", b"sNaN", b"-Infinity", b".inf", b"1,5",
    b"2^62", b"1" * 400, b"x" * 400, b"=1+1", b"@x", b"%s%n", b"{0.__class__}", b"{}", b"${HOME}", b"../../etc/passwd",
    b"__class__", b"__import__('os')", b"lambda", b"None", b"True", b"yes", b"no", b"none", b"null", b"~", b"~~",
    b"!!python/object/apply:os.system [x]", b"!!binary x", b"&a", b"*a", b"<<: *a", b"? ", b"- ", b": ", b"# ", b"|",
    b">", b"|2-", b">+", b"---\n", b"...\n", b"%YAML 9.9\n", b"'", b'"', b"\\", b'"\\x00"', b'"\\uD800"', b"[", b"]",
    b"{", b"}", b"(", b")", b",", b";", b"\n", b"\n\n", b"    ", b"[" * 70, b"(" * 200, b"{a: " * 70, b"- " * 70,
    b"-" * 300, b"not " * 300, b"a." * 300, b"1 + " * 300, b"[[[[", b"]]]]",
]  # fmt: skip
"""Put into any input."""

_WORD = re.compile(rb"[A-Za-z_][A-Za-z0-9_-]*|\d[\d.]*|[^\sA-Za-z0-9_]+")
_NUMBER = re.compile(rb"\d+(?:\.\d+)?")


class Mutator:
    """Makes inputs of no more than `longest` bytes from `seeds`; `words` are put in besides `NASTY`."""

    def __init__(
        self, seeds: Sequence[bytes], words: Sequence[bytes], longest: int, chance: random.Random
    ) -> None:
        self.seeds, self.pool = list(seeds), list(seeds)
        self.longest, self.chance = longest, chance
        found = {word for seed in seeds for word in _WORD.findall(seed)}
        self.words = [*sorted(found | set(words)), *NASTY]
        self.ways: list[Callable[[bytearray], None]] = [
            self._byte, self._put, self._put, self._replace, self._replace, self._replace, self._number, self._cut,
            self._repeat, self._splice, self._line, self._line,
        ]  # fmt: skip

    def make(self) -> bytes:
        """The next input: every other one of a seed, since what is only a little wrong gets furthest."""
        made = bytearray(self.chance.choice(self.chance.choice((self.seeds, self.pool))))
        for _ in range(self.chance.choice((1, 1, 1, 2, 2, 3, 4, 8))):
            self.chance.choice(self.ways)(made)
        return bytes(made[: self.longest])

    def learn(self, found: bytes) -> None:
        """Keep an input that showed something new."""
        if len(self.pool) < MOST_KEPT:
            self.pool.append(found)
        else:
            self.pool[self.chance.randrange(MOST_KEPT)] = found

    def _place(self, made: bytearray) -> int:
        return self.chance.randrange(len(made) + 1)

    def _byte(self, made: bytearray) -> None:
        if made:
            made[self.chance.randrange(len(made))] = self.chance.randrange(256)

    def _put(self, made: bytearray) -> None:
        place = self._place(made)
        made[place:place] = self.chance.choice(self.words)

    def _replace(self, made: bytearray) -> None:
        found = _WORD.search(made, self._place(made))
        if found:
            made[found.start() : found.end()] = self.chance.choice(self.words)

    def _number(self, made: bytearray) -> None:
        found = _NUMBER.search(made, self._place(made))
        if found:
            some = (
                b"0",
                b"1",
                b"-1",
                b"1e%d" % self.chance.randrange(400),
                b"%d" % self.chance.getrandbits(64),
            )
            made[found.start() : found.end()] = self.chance.choice(some)

    def _cut(self, made: bytearray) -> None:
        start = self._place(made)
        del made[start : start + self.chance.choice((1, 1, 2, 4, 16, 64))]

    def _repeat(self, made: bytearray) -> None:
        start = self._place(made)
        part = made[start : start + self.chance.choice((1, 2, 8, 32, 128))]
        made[start:start] = part * self.chance.choice((1, 2, 3, 30))

    def _splice(self, made: bytearray) -> None:
        other = self.chance.choice(self.pool)
        if other:
            start = self.chance.randrange(len(other))
            place = self._place(made)
            made[place:place] = other[start : start + self.chance.choice((4, 16, 64, 256))]

    def _line(self, made: bytearray) -> None:
        lines = bytes(made).split(b"\n")
        one, two = (self.chance.randrange(len(lines)) for _ in range(2))
        way = self.chance.randrange(5)
        if way == 0:
            lines[one], lines[two] = lines[two], lines[one]
        elif way == 1:
            lines.insert(two, lines[one])
        elif way == 2:
            del lines[one]
        elif way == 3:
            lines[one] = b" " * self.chance.choice((1, 2, 4)) + lines[one]
        else:
            lines[one] = lines[one].lstrip()
        made[:] = b"\n".join(lines)
