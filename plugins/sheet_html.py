"""A calculation sheet as one HTML file: nothing is fetched and no script is needed.

`render(result, sheet)` takes a result as JSON data and the sheet of it (`build_sheet`), both plain data.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import Any

from .page import page, section
from .pictures import cross_section, diagram, gauge, left_out, mark
from .printing import literal, text
from .tables import items, raw_table, table

Data = dict[str, Any]

VERDICTS = {True: "passes", False: "fails", None: "open"}
HEADINGS = {True: "Passes", False: "Fails", None: "Undetermined"}
SIGNED = '<div class="signed"><p>Prepared by</p><p>Date</p><p>Reviewed by</p><p>Date</p></div>'
"""Blanks to fill in by hand, on paper only."""
CLAUSE = 30
"""Citations of no more characters are not broken at a line end."""
WEAK = {"second hand": "s", "recalled": "r", "disputed": "d", "missing": "m"}
"""How well a figure was read, as the letter printed beside a citation."""


def render(result: Data, sheet: Data) -> str:
    """The whole file."""
    parts = [(name, body) for name, body in Parts(sheet).all() if body]
    contents = "".join(
        f'<li><a href="#part-{number}">{text(name)}</a></li>' for number, (name, _) in enumerate(parts, 1)
    )
    made = "\n".join(section(number, name, body) for number, (name, body) in enumerate(parts, 1))
    running = f"{sheet['title']} · {sheet['books'][-1]['id']} · book {digest(sheet['digests']['book'])}"
    return page(
        f"{sheet['title']}: calculation sheet",
        running,
        f'{head(sheet)}\n<nav aria-label="Parts of this sheet"><ol>{contents}</ol></nav>\n'
        f'<main>\n{made}\n</main>\n<footer class="note">gaugebook {text(result["gaugebook"])}</footer>',
    )


def digest(value: str) -> str:
    """The beginning of a digest, enough to compare by eye."""
    return value.partition(":")[2][:12]


def head(sheet: Data) -> str:
    """The title block."""
    facts = [(fact["label"], fact["value"]) for fact in sheet["facts"]]
    if sheet["layout"]:
        facts.insert(0, ("Layout", sheet["layout"]))
    facts.append(("Project digest", digest(sheet["digests"]["project"])))
    facts.append(("Book digest", digest(sheet["digests"]["book"])))
    listed = "".join(f"<div><dt>{text(label)}</dt><dd>{text(value)}</dd></div>" for label, value in facts)
    idle = [book["title"] for book in sheet["books"] if book["force"] != "yes"]
    warning = f'<p class="note">Without force until adopted: {text(", ".join(idle))}.</p>' if idle else ""
    books = table(
        "Books, the lowest layer first",
        ["Book", "Version", "Document", "Digest"],
        [
            [f"{book['id']}: {book['title']}", book["version"], book["document"], digest(book["digest"])]
            for book in sheet["books"]
        ],
    )
    return f"""<header>
<div class="plate {VERDICTS[sheet["passes"]]}">
<p class="kind">Calculation sheet</p>
<h1>{text(sheet["title"])}</h1>
<p class="verdict"><strong>{HEADINGS[sheet["passes"]]}:</strong> {text(sheet["told"])}</p>
{tally(sheet["checks"])}
</div>
<dl class="facts">{listed}</dl>
{books}
{warning}
{SIGNED}
</header>"""


def tally(checks: Sequence[Data]) -> str:
    """One cell for each check, in the order of the list."""
    rows = min(3, -(-len(checks) // 80))
    across = -(-len(checks) // max(rows, 1))
    step, tall = min(12.0, 480 / max(across, 1)), 16
    wide = max(step - 2.6, step * 0.4)
    cells = []
    for place, check in enumerate(checks):
        x, y = place % across * step + 1, place // across * (tall + 3) + 1
        name = VERDICTS[check["passes"]]
        shape = f"M{x:.1f} {y} h{wide:.1f} v{tall - 2} h-{wide:.1f} Z"
        shape += f" l{wide:.1f} {tall - 2} m0 -{tall - 2} l-{wide:.1f} {tall - 2}" * (name == "fails")
        cells.append(f'<path class="{name}" d="{shape}"/>')
    width, height = round(across * step) + 2, rows * (tall + 3)
    return (
        (
            f'<svg class="tally" aria-hidden="true" viewBox="0 0 {width} {height}" width="{width}" '
            f'height="{height}">{"".join(cells)}</svg>'
        )
        if checks
        else ""
    )


def listed(one: Data) -> str:
    """A list of a head and a text each."""
    return items(
        f"<b>{text(item['head'])}</b>: {text(item['text'])}" if item["head"] else text(item["text"])
        for item in one["items"]
    )


def cites(clauses: Sequence[str]) -> str:
    """Citations, each kept on one line unless that would take the room of the other columns."""
    return "; ".join(
        f'<span class="clause">{text(clause)}</span>' if len(clause) <= CLAUSE else text(clause)
        for clause in clauses
    )


def candidate(one: Data) -> str:
    """A rejected candidate with what it came to, or why it came to nothing."""
    said = one["actual"] if one["actual"] != one["member"] else ""
    said = said or "; ".join(one["why"])
    return f"{one['member']} ({said})" if said else str(one["member"])


class Parts:
    """The parts of a sheet in order, each with its heading; empty where there is nothing to say."""

    def __init__(self, sheet: Data) -> None:
        self.sheet = sheet

    def all(self) -> Iterator[tuple[str, str]]:
        """Every part."""
        sheet = self.sheet
        for one in sheet["diagrams"]:
            pictures = diagram(one["title"], one["roots"], sheet["symbols"])
            yield (
                one["title"],
                f'<div class="diagram" tabindex="0" role="region" aria-label="{literal(one["title"])}">'
                f"{pictures}</div>",
            )
        for one in sheet["schedules"]:
            rows = [[row["name"], *row["cells"]] for row in one["rows"]]
            yield one["title"], table(one["title"], [one["of"], *one["columns"]], rows, hidden=True)
        yield "Checks", self._checks()
        yield (
            "Stated, where the rules would choose otherwise",
            items(
                f"<b>{text(one['called'])}</b>: {text(one['title'])} {text(one['value'])}, "
                f"the rules would choose {text(one['would'])}"
                for one in sheet["stated"]
                if one["would"] != one["value"]
            ),
        )
        for name, group in groupby(sheet["derivations"], key=lambda one: str(one["title"])):
            yield name, self._key() + "".join(self._derivation(one) for one in group)
        yield "Candidates rejected", self._rejected()
        for name, group in groupby(sheet["sections"], key=lambda one: str(one["title"])):
            yield name, self._sections(list(group))
        for one in sheet["grounds"]:
            yield one["title"], listed(one)
        yield "Not compared with the published text", self._unchecked()
        for one in sheet["remarks"]:
            yield one["title"], listed(one)

    def _checks(self) -> str:
        width = max(2, len(str(len(self.sheet["checks"]))))
        groups = []
        for (_, called), checks in groupby(
            self.sheet["checks"], key=lambda one: (one["passes"], str(one["called"]))
        ):
            groups.append((text(called), [self._check(check, width) for check in checks]))
        note = (
            f'<p class="note">Clauses are of {text(self.sheet["document"])} unless another document is named. '
            "The bar shows how much of what is allowed is used; the upright line is the limit.</p>"
        )
        headers = ["No.", "Requirement", "Verdict", "Actual", "Limit", "Used", "Margin", "Clause"]
        return note + raw_table("Checks", headers, groups, hidden=True, kind="checks")

    @staticmethod
    def _check(check: Data, width: int) -> list[str]:
        verdict = VERDICTS[check["passes"]]
        way = f" <small>by way of {text(check['way'])}</small>" if check["way"] else ""
        why = "".join(f" <small>{text(reason)}</small>" for reason in check["why"])
        return [
            f'<span class="number">C-{check["number"]:0{width}d}</span>',
            f"{text(check['title'])}{way}{why}",
            f'<span class="{verdict}">{verdict}</span>',
            text(check["actual"]),
            text(check["limit"]),
            gauge(check["used"]),
            f'<span class="even">{text(check["margin"])}</span>' * bool(check["margin"]),
            cites(check["cites"]),
        ]

    def _key(self) -> str:
        used = {step["transcription"] for one in self.sheet["derivations"] for step in one["steps"]}
        said = [f"<b>{letter}</b> {text(word)}" for word, letter in WEAK.items() if word in used]
        return (
            f'<p class="note">Beside a clause, how its figure was read: {", ".join(said)}.</p>'
            if said
            else ""
        )

    @staticmethod
    def _derivation(one: Data) -> str:
        also = (
            f'<p class="note">The same holds for {text(", ".join(one["also"]))}.</p>' if one["also"] else ""
        )
        lines = []
        for step in one["steps"]:
            weak = step["transcription"]
            letter = f' <abbr title="{literal(weak)}">{WEAK.get(weak, text(weak))}</abbr>' if weak else ""
            clause = f'<span class="margin">{cites(step["cites"])}{letter}</span>' if step["cites"] else ""
            lines.append(
                f'<li class="d{min(step["depth"], 9)}"><span>{text(step["text"])}</span>{clause}</li>'
            )
        more = f" and {len(one['also'])} alike" if one["also"] else ""
        return (
            f"<details><summary>{text(one['name'])}{more} <small>{len(one['steps'])} steps</small></summary>"
            f'{also}<ul class="steps">{"".join(lines)}</ul></details>'
        )

    def _rejected(self) -> str:
        groups = []
        for called, found in groupby(self.sheet["rejected"], key=lambda one: str(one["called"])):
            rows = [
                [
                    text(one["choice"]),
                    text(", ".join(map(candidate, one["members"]))),
                    text(one["title"]),
                    text(one["limit"]),
                    cites(one["cites"]),
                ]
                for one in found
            ]
            groups.append((text(called), rows))
        headers = ["Choice", "Rejected", "By", "Limit", "Clause"]
        return raw_table("Candidates rejected", headers, groups, hidden=True) if groups else ""

    @staticmethod
    def _sections(found: list[Data]) -> str:
        widest = max(one["diameter"] for one in found)
        made = []
        for one in found:
            inside = items(
                f"<b>{mark(place)}</b> {body['count']} × {text(body['text'])}"
                for place, body in enumerate(one["contents"])
            )
            missing = left_out(one)
            note = f'<p class="note">{missing} more find no place in the drawing.</p>' if missing else ""
            lines = "<br>".join(text(line) for line in one["text"])
            made.append(
                f"<figure>{cross_section(one, widest)}<figcaption><b>{text(one['name'])}</b><br>"
                f"{lines}{inside}{note}</figcaption></figure>"
            )
        return f'<p class="note">Drawn to one scale.</p><div class="sections">{"".join(made)}</div>'

    def _unchecked(self) -> str:
        entries = sorted(self.sheet["unchecked"], key=lambda one: str(one["transcription"]))
        if not entries:
            return ""
        made = []
        for how, group in groupby(entries, key=lambda one: str(one["transcription"])):
            told = [
                f"{text(one['title'])} <code>{text(one['entry'])}</code> {text(', '.join(one['source']))}"
                for one in group
            ]
            made.append(f"<h3>{text(how[:1].upper() + how[1:])}: {len(told)}</h3>{items(told)}")
        sources = items(
            f"<b>{text(one['key'])}</b> <code>{text(one['layer'])}</code> {text(one['text'])}"
            for one in self.sheet["sources"]
        )
        legend = f"<h3>The sources named above</h3>{sources}" if sources else ""
        return (
            f"<p>{len(entries)} entries that this result leans on were not compared with the published text "
            f'itself.</p><details class="fine"><summary>The {len(entries)} entries and their sources</summary>'
            f"{''.join(made)}{legend}</details>"
        )
