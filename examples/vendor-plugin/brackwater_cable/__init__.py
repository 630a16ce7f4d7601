"""The Heronline cable of Brackwater Cable Works: a ruleset, a function of the language, a cutting list."""

from __future__ import annotations

from pathlib import Path

from gaugebook import LanguageFunction, ReportFormat, hookimpl

from .cutting import render_cutting_list
from .pulling import pulling_tension


@hookimpl
def provide_rulesets() -> list[Path]:
    """The layer `brackwater-2026`."""
    return [Path(__file__).parent / "rulesets"]


@hookimpl
def provide_functions() -> list[LanguageFunction]:
    """What it takes to pull a cable in."""
    return [
        LanguageFunction(
            "pulling_tension", ("kg/km", "m", "1", "1"), "N", pulling_tension,
            "tension at the end of a pull: mass per length, length, coefficient of friction, quarter bends",
        )
    ]


@hookimpl
def provide_report_formats() -> list[ReportFormat]:
    """What the shop cuts."""
    about = "Heronline pieces and the drums they are cut from"
    return [ReportFormat("cutting-list", render_cutting_list, about)]
