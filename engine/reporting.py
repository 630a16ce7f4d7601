"""Report formats by name: shipped or of a plugin."""

from __future__ import annotations

from collections.abc import Callable

from .diagnostics import GaugebookError, hint
from .extending import extensions, reason_of

TYPE_CHECKING = False

if TYPE_CHECKING:
    from .session import Result


def report_format(name: str) -> Callable[[Result, bool], str]:
    """What writes a result in a format; raises `GaugebookError` where there is none of that name.

    What comes back raises `GaugebookError` too, where the plugin that gives the format fails.
    """
    held_by = extensions()
    known = held_by.report_formats()
    if name not in known:
        listed = ", ".join(known)
        raise GaugebookError.because("unknown-format", name=name, nearest=hint(name, known), known=listed)
    plugin, format = known[name]

    def render(result: Result, full: bool) -> str:
        try:
            text = held_by.watched(plugin, lambda: format.render(result, full))
        except GaugebookError:
            raise
        except Exception as error:
            raise GaugebookError(
                held_by.describe(plugin, "plugin-raises", what=f"format {name}", reason=reason_of(error))
            ) from None
        if not isinstance(text, str):
            fault = {"hook": name, "item": "text", "found": type(text).__name__}
            raise GaugebookError(held_by.describe(plugin, "plugin-wrong-answer", **fault))
        return text

    return render
