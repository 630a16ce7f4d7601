"""A calculation sheet as Markdown, part by part as in print, for a repository or a wiki."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby
from typing import Any

Data = dict[str, Any]

ACTIVE = "\\|*_`<>[]#~&"
"""Characters that Markdown or HTML would act on."""
WORDS = {True: "pass", False: "FAIL", None: "open"}
HEADINGS = {True: "Passes", False: "Fails", None: "Undetermined"}


def render(sheet: Data) -> str:
    """The whole page; a part with nothing in it is left out."""
    head = [f"# {text(sheet['title'])}", "\n".join(_head(sheet))]
    made = [f"## {text(title)}\n\n{body}" for title, body in _parts(sheet) if body]
    return "\n\n".join([*head, *made]) + "\n"


def text(value: Any) -> str:
    """A text on one line, with nothing in it that Markdown would act on."""
    flat = str(value).replace("\n", " ").replace("\u00a0", " ")
    return "".join(f"\\{character}" if character in ACTIVE else character for character in flat)


def table(headers: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    """A table; nothing where it has no rows."""
    lines = [f"| {' | '.join(text(cell) for cell in row)} |" for row in rows]
    return (
        "\n".join([f"| {' | '.join(map(text, headers))} |", "|" + " --- |" * len(headers), *lines])
        if lines
        else ""
    )


def items(texts: Iterable[str]) -> str:
    """A list of finished Markdown."""
    return "\n".join(f"- {one}" for one in texts)


def _head(sheet: Data) -> Iterator[str]:
    yield f"**{HEADINGS[sheet['passes']]}**: {text(sheet['told'])}\n"
    if sheet["layout"]:
        yield f"- Layout: {text(sheet['layout'])}"
    for fact in sheet["facts"]:
        yield f"- {text(fact['label'])}: {text(fact['value'])}"
    for name, digest in sheet["digests"].items():
        yield f"- Digest of the {text(name)}: {text(digest)}"
    for book in sheet["books"]:
        force = "" if book["force"] == "yes" else ", without force until adopted"
        known = f"{text(book['id'])} {text(book['version'])}, {text(book['document'])}"
        yield f"- {text(book['title'])} ({known}{force})"


def _parts(sheet: Data) -> Iterator[tuple[str, str]]:
    for one in sheet["diagrams"]:
        yield one["title"], "\n".join(line for root in one["roots"] for line in _tree(root))
    for one in sheet["schedules"]:
        rows = [[row["name"], *row["cells"]] for row in one["rows"]]
        yield one["title"], table([one["of"], *one["columns"]], rows)
    headers = ["No.", "Of", "Requirement", "Verdict", "Actual", "Limit", "Margin", sheet["document"]]
    yield (
        "Checks",
        table(
            headers,
            [
                [
                    f"C-{one['number']:02d}",
                    one["called"],
                    "; ".join([one["title"], *one["why"]]),
                    WORDS[one["passes"]],
                    one["actual"],
                    one["limit"],
                    one["margin"],
                    "; ".join(one["cites"]),
                ]
                for one in sheet["checks"]
            ],
        ),
    )
    yield (
        "Stated, where the rules would choose otherwise",
        items(
            f"{text(one['called'])}: {text(one['title'])} {text(one['value'])}, "
            f"the rules would choose {text(one['would'])}"
            for one in sheet["stated"]
            if one["would"] != one["value"]
        ),
    )
    for title, group in groupby(sheet["derivations"], key=lambda one: str(one["title"])):
        yield title, "\n\n".join(_derivation(one) for one in group)
    yield (
        "Candidates rejected",
        table(
            ["Of", "Choice", "Rejected", "By", "Limit", sheet["document"]],
            [
                [
                    one["called"],
                    one["choice"],
                    ", ".join(member["member"] for member in one["members"]),
                    one["title"],
                    one["limit"],
                    "; ".join(one["cites"]),
                ]
                for one in sheet["rejected"]
            ],
        ),
    )
    for title, group in groupby(sheet["sections"], key=lambda one: str(one["title"])):
        yield title, items(_section(one) for one in group)
    for one in sheet["grounds"]:
        yield one["title"], _listed(one)
    headers = ["Entry", "Name", "How it was read", "Source"]
    entries = table(
        headers,
        [
            [one["title"], one["entry"], one["transcription"], ", ".join(one["source"])]
            for one in sheet["unchecked"]
        ],
    )
    sources = items(
        f"**{text(one['key'])}** of {text(one['layer'])}: {text(one['text'])}" for one in sheet["sources"]
    )
    yield "Not compared with the published text", "\n\n".join(part for part in (entries, sources) if part)
    for one in sheet["remarks"]:
        yield one["title"], _listed(one)


def _listed(one: Data) -> str:
    return items(
        f"**{text(item['head'])}**: {text(item['text'])}" if item["head"] else text(item["text"])
        for item in one["items"]
    )


def _tree(node: Data) -> Iterator[str]:
    """A diagram as a nested list, from where everything ends back to where it begins."""
    yield f"- {text(', '.join(node['text']) or 'joint')}"
    for line in node["lines"]:
        names = line["things"]
        name = names[0] if len(names) == 1 else f"{len(names)} × {names[0]} … {names[-1]}"
        parts = [*line["text"], *(" ".join(mark["text"]) for mark in line["marks"])]
        parts += [", ".join(segment) for segment in line["segments"]]
        yield f"  - **{text(name)}**: {text('; '.join(part for part in parts if part))}"
        if line["from"]["text"] or line["from"]["lines"]:
            yield from (f"    {inner}" for inner in _tree(line["from"]))


def _derivation(one: Data) -> str:
    also = f" (and alike: {text(', '.join(one['also']))})" if one["also"] else ""
    lines = []
    for step in one["steps"]:
        cite = "; ".join(step["cites"])
        weak = f", {step['transcription']}" if step["transcription"] else ""
        lines.append(
            f"{'  ' * step['depth']}- {text(step['text'])}{f' ({text(cite)}{text(weak)})' if cite else ''}"
        )
    return "\n".join([f"### {text(one['name'])}{also}\n", *lines])


def _section(one: Data) -> str:
    inside = ", ".join(f"{body['count']} × {body['text']}" for body in one["contents"])
    return f"**{text(one['name'])}**: {text('; '.join([*one['text'], inside]))}"
