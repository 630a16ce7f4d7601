"""Rules as data: what a project comes to under the books that apply to it, with every value cited.

`size` sizes a project file, `open_book` opens a stack of rulesets; see README.md. Everything is imported
when it is first used, so that importing this package costs nothing.
"""

from __future__ import annotations

from importlib import import_module

TYPE_CHECKING = False

if TYPE_CHECKING:
    from typing import Any

    from .blocks import Grid, Heading, Items, Paragraph, as_html, as_markdown, as_text
    from .contents import read_content
    from .diagnostics import Diagnostic, GaugebookError, Problems, Refused, Span, hint
    from .explanation import Explanation, explain
    from .hooks import (
        CaseReader,
        Catalogue,
        Command,
        DesignTemperatures,
        ImportedProject,
        LanguageFunction,
        NoValue,
        ProjectReader,
        Quantity,
        ReportFormat,
        Taken,
        hookimpl,
    )
    from .partitions import batch_job, size_frame
    from .questions import Comparison, Limits, compare, limits
    from .rendering import render_markdown, render_text
    from .session import Book, Result, open_book, size
    from .sheet import build_sheet, share_used

__version__ = "0.1.0"

_HOMES = {
    "Book": "session",
    "CaseReader": "hooks",
    "Catalogue": "hooks",
    "Command": "hooks",
    "DesignTemperatures": "hooks",
    "Comparison": "questions",
    "Diagnostic": "diagnostics",
    "Explanation": "explanation",
    "GaugebookError": "diagnostics",
    "Grid": "blocks",
    "Heading": "blocks",
    "ImportedProject": "hooks",
    "Items": "blocks",
    "LanguageFunction": "hooks",
    "Limits": "questions",
    "NoValue": "hooks",
    "Paragraph": "blocks",
    "Problems": "diagnostics",
    "ProjectReader": "hooks",
    "Quantity": "hooks",
    "Refused": "diagnostics",
    "ReportFormat": "hooks",
    "Result": "session",
    "Span": "diagnostics",
    "Taken": "hooks",
    "as_html": "blocks",
    "as_markdown": "blocks",
    "as_text": "blocks",
    "batch_job": "partitions",
    "build_sheet": "sheet",
    "compare": "questions",
    "explain": "explanation",
    "hint": "diagnostics",
    "hookimpl": "hooks",
    "limits": "questions",
    "open_book": "session",
    "read_content": "contents",
    "render_markdown": "rendering",
    "render_text": "rendering",
    "share_used": "sheet",
    "size": "session",
    "size_frame": "partitions",
}

__all__ = [
    "Book",
    "CaseReader",
    "Catalogue",
    "Command",
    "Comparison",
    "DesignTemperatures",
    "Diagnostic",
    "Explanation",
    "GaugebookError",
    "Grid",
    "Heading",
    "ImportedProject",
    "Items",
    "LanguageFunction",
    "Limits",
    "NoValue",
    "Paragraph",
    "Problems",
    "ProjectReader",
    "Quantity",
    "Refused",
    "ReportFormat",
    "Result",
    "Span",
    "Taken",
    "__version__",
    "as_html",
    "as_markdown",
    "as_text",
    "batch_job",
    "build_sheet",
    "compare",
    "explain",
    "hint",
    "hookimpl",
    "limits",
    "open_book",
    "read_content",
    "render_markdown",
    "render_text",
    "share_used",
    "size",
    "size_frame",
]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(f".{_HOMES[name]}", __name__), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
