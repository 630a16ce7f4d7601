"""Rules as data: what a project comes to under the books that apply to it, with every value cited.

`size` sizes a project file, `open_book` opens a stack of rulesets; see README.md. Everything is imported
when it is first used, so that importing this package costs nothing.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from .diagnostics import Diagnostic, GaugebookError, Refused, Span
    from .session import Book, Result, open_book, size

__version__ = "0.1.0"

_HOMES = {
    "Book": "session",
    "Diagnostic": "diagnostics",
    "GaugebookError": "diagnostics",
    "Refused": "diagnostics",
    "Result": "session",
    "Span": "diagnostics",
    "open_book": "session",
    "size": "session",
}

__all__ = [
    "Book",
    "Diagnostic",
    "GaugebookError",
    "Refused",
    "Result",
    "Span",
    "__version__",
    "open_book",
    "size",
]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(f".{_HOMES[name]}", __name__), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
