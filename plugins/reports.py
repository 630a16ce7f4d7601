"""The report formats: a page for a terminal, JSON, the calculation sheet, values and checks as CSV."""

from __future__ import annotations

from gaugebook import ReportFormat, Result, hookimpl, render_text

VALUE_COLUMNS = (
    "what",
    "thing",
    "name",
    "value",
    "unit",
    "passes",
    "limit",
    "margin",
    "transcription",
    "cites",
    "entry",
)


@hookimpl
def provide_report_formats() -> list[ReportFormat]:
    """Every shipped way to write a result."""
    return [
        ReportFormat("table", render_text, "a page for a terminal"),
        ReportFormat("json", _json, "everything, as 'gaugebook schema result' describes it"),
        ReportFormat("markdown", render_sheet_markdown, "the calculation sheet as Markdown"),
        ReportFormat("html", render_sheet, "the calculation sheet to print, in one file"),
        ReportFormat("schedule", render_schedule, "the schedule of the calculation sheet, as CSV"),
        ReportFormat("csv", render_csv, "one row for each value and each check"),
    ]


def render_sheet(result: Result, full: bool = False) -> str:
    """The calculation sheet as one HTML file."""
    from gaugebook import build_sheet

    from .sheet_html import render

    return render(result.data, build_sheet(result))


def render_sheet_markdown(result: Result, full: bool = False) -> str:
    """The calculation sheet as Markdown."""
    from gaugebook import build_sheet

    from .sheet_markdown import render

    return render(build_sheet(result))


def render_schedule(result: Result, full: bool = False) -> str:
    """The first schedule of the calculation sheet as CSV, all of them with `full`; texts as on the sheet."""
    import csv
    import io

    from gaugebook import build_sheet

    text = io.StringIO(newline="")
    table = csv.writer(text, lineterminator="\n")
    schedules = build_sheet(result)["schedules"]
    for place, schedule in enumerate(schedules if full else schedules[:1]):
        if place:
            table.writerow([])
        table.writerow(map(_inert, [schedule["of"], *schedule["columns"]]))
        for row in schedule["rows"]:
            table.writerow(map(_inert, [row["name"], *row["cells"]]))
    return text.getvalue()


def _json(result: Result, full: bool) -> str:
    return result.to_json()


def render_csv(result: Result, full: bool = False) -> str:
    """The values and the checks of a result as one table; numbers as they are, in the unit beside them.

    Without `full`, a value that does not exist is left out.
    """
    import csv
    import io

    text = io.StringIO(newline="")
    table = csv.writer(text, lineterminator="\n")
    table.writerow(VALUE_COLUMNS)
    for name, value in result.values.items():
        thing, _, attribute = name.rpartition(".")
        if value["value"] is None and not full:
            continue
        table.writerow(
            map(
                _cell,
                [
                    "value",
                    thing,
                    attribute,
                    value["value"],
                    value["unit"],
                    "",
                    "",
                    "",
                    value.get("transcription"),
                    value["cites"],
                    value["entry"],
                ],
            )
        )
    for check in result.checks:
        actual, limit = check["actual"] or {}, check["limit"] or {}
        table.writerow(
            map(
                _cell,
                [
                    "check",
                    check["thing"],
                    check["check"],
                    actual.get("value"),
                    actual.get("unit"),
                    "undetermined" if check["passes"] is None else check["passes"],
                    limit.get("value"),
                    check["margin"],
                    "",
                    check["cites"],
                    check["entry"],
                ],
            )
        )
    return text.getvalue()


def _cell(value: object) -> object:
    """Yes and no as words, a list as one text, every text inert, everything else as it is."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, (list, tuple)):
        value = "; ".join(str(item) for item in value)
    return _inert(value) if isinstance(value, str) else value


def _inert(text: str) -> str:
    """A text that no spreadsheet takes for a formula."""
    text = text.replace("\u00a0", " ")
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t", "\r") else text
