"""Tries inputs on a target: nothing but clean diagnostics may come back, in bounded time and memory."""

from __future__ import annotations

import faulthandler
import hashlib
import mmap
import os
import random
import re
import resource
import signal
import sys
import time
import traceback
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import NamedTuple

from mutating import Mutator

from gaugebook.diagnostics import Diagnostic, GaugebookError, Problems, render

MOST_SECONDS = 1.5
"""Of computing, after which an input is looked at; when the next such time is over, it is stopped."""

MOST_BYTES = 1 << 29
"""Of memory, for one input, above what the program holds to begin with."""

HUNG = 600
"""Seconds, on a busy machine too, after which a process that no longer answers is ended, with its stack."""

ROUND = 32
"""Inputs after which the clock is looked at."""


class Target(NamedTuple):
    """What inputs are tried on: answers the diagnostics of one; any exception but ours is a finding."""

    name: str
    about: str
    seeds: Sequence[bytes]
    words: Sequence[bytes]
    run: Callable[[bytes], Iterable[Diagnostic]]
    longest: int
    """Bytes of an input that is made; small ones are many."""

    large: Sequence[bytes] = ()
    """Tried as they are and not changed."""

    others: Mapping[str, bytes] = {}
    """Files that an input can lead to, by their names."""


class Finding(Exception):
    """Something that is neither an answer nor a clean diagnostic."""


def some(problems: Problems) -> list[Diagnostic]:
    """The problems; that there is none is a finding."""
    found = list(problems)
    if not found:
        raise Finding("refused without a reason")
    return found


def putter(path: Path) -> Callable[[bytes], None]:
    """Puts inputs into one file, opened once."""
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT, 0o600)

    def put(given: bytes) -> None:
        os.pwrite(descriptor, given, 0)
        os.ftruncate(descriptor, len(given))

    return put


class TooLong(BaseException):
    """An input took more than its time."""


class Tally(NamedTuple):
    """What came of the inputs of one target."""

    target: str
    inputs: int
    seconds: float
    """Of computing."""

    outcomes: int
    slowest: float
    grown: int
    """Bytes by which the largest memory of the process grew over all inputs."""

    findings: dict[str, Path]
    """What was found -> the input that shows it."""


def tried(target: Target, inputs: int, seconds: float, seed: int, keep: Path) -> Tally:
    """Try the seeds and then inputs made of them, until there were so many or it took so long."""
    mutator = Mutator(target.seeds, target.words, target.longest, random.Random(f"{target.name} {seed}"))
    findings: dict[str, Path] = {}
    seen: set[frozenset[str]] = set()
    listed = [*target.seeds, *target.large]
    slowest, number = 0.0, 0
    current = _Current(keep / f"{target.name}.current")
    watch = _Watch()
    signal.signal(signal.SIGVTALRM, watch.look)
    signal.setitimer(signal.ITIMER_VIRTUAL, MOST_SECONDS, MOST_SECONDS)
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    begun, worked = time.monotonic(), time.process_time()
    grown = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    before = _limit_memory()
    try:
        for number in range(1, inputs + 1):
            if number % ROUND == 1:
                faulthandler.dump_traceback_later(HUNG, exit=True)
                if seconds and time.monotonic() - begun > seconds:
                    number -= 1
                    break
            given = listed[number - 1] if number <= len(listed) else mutator.make()
            current.note(given)
            watch.number = number
            start = time.thread_time()
            outcome = _outcome(target, given, findings, keep)
            slowest = max(slowest, time.thread_time() - start)
            if outcome is not None and outcome not in seen:
                seen.add(outcome)
                if number > len(listed):
                    mutator.learn(given)
    except KeyboardInterrupt:
        number -= 1
    finally:
        signal.setitimer(signal.ITIMER_VIRTUAL, 0)
        faulthandler.cancel_dump_traceback_later()
        resource.setrlimit(resource.RLIMIT_AS, before)
        current.close()
    grown = 1024 * (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - grown)
    return Tally(target.name, number, time.process_time() - worked, len(seen), slowest, grown, findings)


def _outcome(target: Target, given: bytes, findings: dict[str, Path], keep: Path) -> frozenset[str] | None:
    """The names of the diagnostics of an input; a finding is kept and answers none."""
    try:
        try:
            said = list(target.run(given))
        except GaugebookError as error:
            said = list(error.diagnostics)
            if not said:
                raise Finding("a refusal without a reason") from None
        for diagnostic in said[:20]:
            _sound(diagnostic, given, target.others)
            if diagnostic.name == "plugin-raises":
                raise Finding(diagnostic.message)
    except (Exception, TooLong, SystemExit) as error:
        what = _described(error)
        if what not in findings:
            digest = hashlib.sha256(given).hexdigest()[:10]
            findings[what] = keep / f"{target.name}-{type(error).__name__}-{digest}"
            findings[what].write_bytes(given)
            findings[what].with_suffix(".txt").write_text("".join(traceback.format_exception(error)[-30:]))
            print(f"{target.name}: {what}: {findings[what]}", file=sys.stderr, flush=True)
        return None
    return frozenset(diagnostic.name for diagnostic in said)


def _sound(diagnostic: Diagnostic, given: bytes, others: Mapping[str, bytes]) -> None:
    """Raise `Finding` if a diagnostic is not what a user can read and find."""
    text = render(diagnostic)
    if not diagnostic.message.strip() or not all(line.isprintable() for line in text.split("\n")):
        raise Finding(f"{diagnostic.name} cannot be read: {text!r}"[:200])
    if len(text) > 2000 + 2 * len(given):
        raise Finding(f"{diagnostic.name} says {len(text)} characters about {len(given)} bytes")
    span = diagnostic.span
    if span is None:
        return
    file = others.get(Path(span.file).name, given) if others else given
    lines = file.count(b"\n") + file.count(b"\r") + 1
    ends = (span.line, span.column) <= (span.end_line, span.end_column)
    if not (1 <= span.line <= lines + 1 and span.column >= 1 and ends):
        raise Finding(f"{diagnostic.name} points nowhere: {span} to {span.end_line}:{span.end_column}")


def _described(error: BaseException) -> str:
    """The sort of a finding: what was raised, and the last line of ours that it went through."""
    if isinstance(error, Finding):
        return re.sub(r"\d+", "N", str(error))[:60]
    passed = [Path(frame.filename) for frame in traceback.extract_tb(error.__traceback__)]
    ours = [path.name for path in passed if {"gaugebook", "engine", "grammar"} & set(path.parts)]
    return f"{type(error).__name__} in {ours[-1] if ours else passed[-1].name}"


class _Watch:
    """Looks every so often whether it is still the same input, and stops it then: after once to twice the time."""

    def __init__(self) -> None:
        self.number = self.before = 0

    def look(self, *_: object) -> None:
        """The timer has run out."""
        if self.number == self.before:
            raise TooLong
        self.before = self.number


def _limit_memory() -> tuple[int, int]:
    """Let the process have no more than it holds now and what one input may take; the limits before."""
    before = resource.getrlimit(resource.RLIMIT_AS)
    try:
        pages = int(Path("/proc/self/statm").read_text().split()[0])
    except OSError:
        return before
    resource.setrlimit(resource.RLIMIT_AS, (pages * mmap.PAGESIZE + MOST_BYTES, before[1]))
    return before


class _Current:
    """The input at work, in a file, so that it is known even when the process is gone."""

    def __init__(self, path: Path) -> None:
        self.path = path
        path.write_bytes(bytes(1 << 20))
        self.file = path.open("r+b")
        self.map = mmap.mmap(self.file.fileno(), 1 << 20)

    def note(self, given: bytes) -> None:
        """Put down an input, its length first."""
        part = given[: (1 << 20) - 8]
        self.map[:8] = len(part).to_bytes(8, "big")
        self.map[8 : 8 + len(part)] = part

    def close(self) -> None:
        """The input was survived."""
        self.map.close()
        self.file.close()
        self.path.unlink()
