"""A plugin's function asked in a process of its own, where there is no evaluation that it could look at.

Python cannot keep code from looking around in the process it runs in: at the frames above it, at every
object there is, at what modules hold. Whether a function does so shows when it answers otherwise where there
is nothing to see. Used with GAUGEBOOK_TEST=1 only; see `lending`.
"""

from __future__ import annotations

import atexit
import contextlib
import decimal
import json
import os
import sys
import threading
from collections.abc import Callable, Sequence
from decimal import Decimal
from typing import IO, TYPE_CHECKING, Any

from .finding import imported
from .hooks import Argument, LanguageFunction, NoValue, Quantity
from .runtime import EXACT

if TYPE_CHECKING:
    import subprocess

START = "import json, sys; sys.path[:] = json.loads(sys.argv[1]); from gaugebook.apart import serve; serve()"
ENDED = ["raises", "the process ended"]

Outcome = list[str]
"""What came of a call, as texts: the sort of the answer and the answer, or how it failed."""


def outcome_of(call: Callable[..., Any], arguments: Sequence[Argument]) -> Outcome:
    """Call a function as rules do, and say what came of it."""
    try:
        with decimal.localcontext(EXACT):
            return written(call(*arguments))
    except NoValue as reason:
        return ["no value", str(reason)]
    except (Exception, SystemExit) as error:
        return ["raises", type(error).__name__]


def written(answer: Any) -> Outcome:
    """An argument or an answer as texts."""
    if isinstance(answer, Quantity):
        return ["quantity", str(answer.amount), str(answer.unit)]
    return [type(answer).__name__, str(answer)]


def read(texts: Outcome) -> Argument:
    """The argument that was written so."""
    sort, text = texts
    return Decimal(text) if sort == Decimal.__name__ else text == "True" if sort == bool.__name__ else text


class Apart:
    """A process that imports plugins and calls their functions."""

    def __init__(self) -> None:
        import subprocess

        call = [sys.executable, "-c", START, json.dumps(sys.path)]
        quiet = subprocess.DEVNULL
        self.process: subprocess.Popen[str] = subprocess.Popen(
            call, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=quiet, encoding="utf-8"
        )
        self.made_for = _place()
        self.one_at_a_time = threading.Lock()

    def ask(self, plugin: str, function: str, arguments: Sequence[Argument]) -> Outcome:
        """What comes of a call there; `plugin` is the module or object that its entry point names."""
        question = [plugin, function, [written(argument) for argument in arguments]]
        assert self.process.stdin and self.process.stdout
        try:
            with self.one_at_a_time:
                self.process.stdin.write(json.dumps(question) + "\n")
                self.process.stdin.flush()
                answer = self.process.stdout.readline()
            return list(json.loads(answer)) if answer else ENDED
        except OSError:
            return ENDED

    def close(self) -> None:
        """End the process."""
        assert self.process.stdin and self.process.stdout
        with contextlib.suppress(OSError):
            self.process.stdin.close()
        self.process.wait()
        self.process.stdout.close()


_apart: Apart | None = None


def apart() -> Apart:
    """The process for this one, made anew where it is gone or modules are looked for elsewhere."""
    global _apart
    if _apart is None or _apart.made_for != _place() or _apart.process.poll() is not None:
        end()
        _apart = Apart()
    return _apart


def _place() -> tuple[int, list[str]]:
    return os.getpid(), list(sys.path)


@atexit.register
def end() -> None:
    """End the process of this one, if it has one."""
    global _apart
    if _apart is not None and _apart.made_for[0] == os.getpid():
        _apart.close()
    _apart = None


def serve() -> None:
    """Answer questions on standard input until it ends; whatever a plugin prints goes nowhere."""
    asked, answers = os.fdopen(os.dup(0), encoding="utf-8"), os.fdopen(os.dup(1), "w", encoding="utf-8")
    nowhere = os.open(os.devnull, os.O_RDWR)
    for standard in (0, 1):
        os.dup2(nowhere, standard)
    _serve(asked, answers)


def _serve(asked: IO[str], answers: IO[str]) -> None:
    known: dict[tuple[str, str], Callable[..., Any]] = {}
    for line in asked:
        plugin, function, arguments = json.loads(line)
        try:
            if (plugin, function) not in known:
                known[plugin, function] = _found(plugin, function)
            outcome = outcome_of(known[plugin, function], [read(argument) for argument in arguments])
        except (Exception, SystemExit) as error:
            outcome = ["raises", type(error).__name__]
        answers.write(json.dumps(outcome) + "\n")
        answers.flush()


def _found(plugin: str, function: str) -> Callable[..., Any]:
    """The function of a plugin, as its hook gives it."""
    made = imported(plugin)
    offered: list[LanguageFunction] = made.provide_functions()
    return next(item.call for item in offered if item.name == function)
