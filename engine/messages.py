"""Every wording a user can meet: name of the fault -> (message, help).

The only place where such text lives. Templates are `str.format` templates; the code that reports a fault
names it and hands over the values. Names are public: they can be searched, explained and linked, so they
change only with notice. `{nearest}` is filled by
`diagnostics.hint`.
"""

NEAREST = "; nearest: {words}"

PARTY = "{layer} ({cites}; {source}; {place}) says '{value}'"
"""One side of a disagreement between layers."""

FINDING = {
    "breach": "{upper} says '{new}' for {entry}, {part}; {lower} says '{old}' and lets no other text ask for less or "
    "differ ({relation}), so {stands} stands",
    "undecided": "{upper} says '{new}' for {entry}, {part}, where {lower} says '{old}'; the two cannot be ordered, so "
    "whether that is allowed ({relation}) is open, and {stands} is used",
}
"""What a sheet says about a layer that oversteps, or may overstep, what another lets it do."""

TOMBSTONE = "; {layer} has removed {entry}"
"""What stands in place of the nearest words where a name means a removed entry."""

NUMBER_IN = "a finite Decimal in {unit}"
ONE_OF = "a text of the list {list}"
TRUTH = "True or False"
"""What a function of a plugin may have to answer."""

MESSAGES: dict[str, tuple[str, str | None]] = {
    # --- the cache: notes only ----------------------------------------------------------------
    "cache-ignored": ("what was kept at {path} is ignored: {reason}", None),
    "cache-not-kept": ("nothing could be kept at {path}: {reason}", None),
    # --- documents: a file as text and as YAML -------------------------------------------------
    "file-unreadable": ("the file cannot be read: {reason}", None),
    "file-too-large": (
        "the file has {size} bytes; the limit is {limit}",
        "split it, where it is a ruleset: the files of a folder are read together",
    ),
    "unpacks-too-large": (
        "the file unpacks to {size} bytes; the limit is {limit}",
        "save what is needed of it as CSV",
    ),
    "not-utf-8": ("byte {offset} of the file is not UTF-8", "save the file as UTF-8"),
    "control-character": (
        "the character U+{code} is not allowed: it cannot be seen",
        "delete it; only line ends and tabs are accepted of the unprintable characters",
    ),
    "yaml-syntax": ("this does not read as YAML: {problem}", None),
    "yaml-tab": ("a tab is used where YAML wants spaces", "indent with spaces"),
    "yaml-colon": (
        "a second ': ' on one line",
        "put quotes around the text that holds the colon, or start a new line for the inner key",
    ),
    "yaml-dash": (
        "a dash starts an item of a list, and none can stand here",
        "a dash meant as text is written in quotes: '-'; keys and items do not mix",
    ),
    "yaml-start": (
        "plain text cannot start with {character}",
        "put the whole text in quotes",
    ),
    "several-documents": (
        "a second YAML document starts here; one file holds one document",
        "move it to a file of its own",
    ),
    "duplicate-key": (
        "the key '{key}' stands twice; it was given first on line {first}",
        "keep one of the two",
    ),
    "merge-key": ("the merge key '<<' is not part of these files", "write the keys out"),
    "bad-key": ("a key is one word, text or number", None),
    "yaml-tag": ("the tag '{tag}' is not part of these files", "remove it"),
    "unknown-alias": ("the alias '*{alias}' names no anchor above it{nearest}", None),
    "alias-of-itself": ("the alias '*{alias}' stands inside the value it repeats", None),
    "too-many-aliases": ("more than {limit} aliases in one file", "write the values out"),
    "nested-too-deep": ("nested more than {limit} levels deep", None),
    "too-many-values": ("more than {limit} values in one file", "split it into several files"),
    "too-many-faults": ("more than {limit} faults; nothing was looked at after them", "mend the first ones"),
    "too-many-files": ("the ruleset has more than {limit} files", "join those of one topic"),
    "no-regular-file": ("this is no regular file", "a ruleset is made of plain files"),
    "number-too-long": (
        "a number with {digits} digits; numbers are exact up to {limit} digits",
        "shorten it, or put quotes around it if it is a text",
    ),
    # --- schema: the shape of a file ------------------------------------------------------------
    "unknown-key": ("'{key}' is not a key known here{nearest}", None),
    "unknown-key-today": (
        "'{key}' is not a key known here{nearest}",
        "if one of these layers asks for it: they are not in force on the day that counts: {layers}",
    ),
    "unknown-key-without-value": (
        "'{key}' is not a key known here{nearest}, and nothing stands behind it",
        "between braces a comma begins the next key: put quotes around a text that has commas in it",
    ),
    "key-missing": ("{place} lacks the key '{key}'", None),
    "not-allowed-here": ("'{value}' is not allowed here; allowed: {allowed}", None),
    "wrong-shape": ("{place} is not what is expected here: {expected}", None),
    "one-of-keys": ("exactly one of these keys is due here: {keys}", None),
    "bad-pattern": (
        "'{value}' is not a valid identifier",
        "small letters and digits, words joined by single hyphens: {pattern}",
    ),
    # --- rulesets: layers and operations ----------------------------------------------------------
    "unknown-ruleset": (
        "there is no ruleset '{id}'{nearest}",
        "'gaugebook ruleset list' shows what there is; '--rulesets DIR' adds a folder to search",
    ),
    "ruleset-misnamed": (
        "the ruleset calls itself '{id}' and stands in a folder or file named '{folder}'",
        None,
    ),
    "rulesets-extend-each-other": ("these rulesets extend each other: {chain}", None),
    "entry-given-twice": ("{entry} is given twice in this ruleset", None),
    "entry-exists-below": (
        "{entry} exists already: {layer} gives it",
        "change it with an operation under 'amend': set, replace, remove or except",
    ),
    "target-not-found": (
        "there is no entry '{entry}' to change{nearest}",
        "the layer below may have renamed it; 'gaugebook ruleset show' lists the entries",
    ),
    "target-removed": ("there is no entry '{entry}' to change: {layer} has {what} it", None),
    "target-touched-twice": (
        "this ruleset changes {aspect} of {entry} twice",
        "one operation says what it shall be",
    ),
    "property-not-found": ("{entry} has no property '{property}'{nearest}", None),
    "cell-not-found": ("{table} has no cell at [{cell}]{nearest}", None),
    "parent-says-otherwise": (
        "{entry}: this change expects '{was}', and the layer below says '{now}'",
        "read the layer below again, then correct 'was' and, if need be, 'to'",
    ),
    "layers-conflict": (
        "{entry}, {part}: two layers disagree and nothing says which is heard: {parties}",
        "say it in the header of {upper}: 'over: {{{lower}: later_wins}}', or stricter_wins, at_least_as_strict, "
        "may_not_differ or specific_wins",
    ),
    "layers-not-ordered": (
        "{entry}, {part}: {relation} is to decide between two layers, and cannot: {parties}",
        "which figure asks for more is said by the entry ('stricter: less' or 'greater'; a layer may set it: "
        "'set: {entry}, property: stricter'), exceptions alone are more specific; or state another relation between "
        "{upper} and {lower}",
    ),
    "label-not-found": (
        "no entry carries the label '{label}'{nearest}",
        "give the entries meant 'labels: [{label}]'",
    ),
    "entry-renamed": ("{old} is called {new} now", "use the new name; the old one still works"),
    "renamed-to-nothing": ("there is no entry '{new}' for the old name '{old}' to mean{nearest}", None),
    "renamed-and-kept": (
        "{old} is still an entry, so its name cannot mean {new} as well",
        "remove {old}, or leave it out of 'renamed'",
    ),
    "stated-under-both-names": (
        "'{name}' is stated twice, under the name it had and the one it has",
        "state it once, as '{name}'",
    ),
    "no-such-section": (
        "'{entry}' does not say which section the entry belongs to",
        "write SECTION/NAME; the sections are: {sections}",
    ),
    "check-exists": (
        "this list becomes {entry}, and {layer} has an entry of that name",
        "give the list a 'name' of its own",
    ),
    "nothing-to-allow": (
        "{entry} is no list of words, and no field or choice holds a word of one",
        "name the list (terms/NAME), a field (fields/KIND.NAME) or a choice (choices/NAME)",
    ),
    "nothing-to-retire": (
        "{layer} changes nothing about {entry} that could be taken back{nearest}",
        "'gaugebook ruleset show ID ENTRY' lists who changed an entry",
    ),
    "nothing-to-borrow": ("{ruleset} has no entry '{entry}' to borrow{nearest}", None),
    "rulesets-borrow-in-circle": ("these rulesets borrow from each other: {chain}", None),
    "row-exists": (
        "{table} already has the row '{row}'",
        "change its cells with 'cells', or remove the row first",
    ),
    "word-not-found": ("{entry} does not list '{word}'{nearest}", None),
    "word-exists": ("{entry} lists '{word}' already", "leave it out here"),
    "members-have-properties": (
        "the members of {entry} have properties, and a word alone gives the new member none",
        "replace the whole series, or add the member together with its properties in the layer below",
    ),
    "exception-not-here": (
        "{entry} cannot have an exception; these sections can: {sections}",
        "set the property that shall differ",
    ),
    "exception-says-wrongly": (
        "an exception to {entry} has no use for '{key}'",
        "in rules an exception says 'is'; in checks it says 'require', or only 'when', which lifts the check",
    ),
    "exception-says-nothing": (
        "the exception {exception} to {entry} does not say what the value is",
        "give it 'is'",
    ),
    "exception-without-condition": (
        "the exception {exception} to {entry} has no condition, so the entry would never hold",
        "give it 'when', or remove the entry",
    ),
    "alternative-not-here": ("{entry} is no check, so nothing can be enough for it", None),
    "text-not-found": (
        "the words '{text}' stand in no title, message or question here",
        "'gaugebook ruleset show' prints the titles as they are",
    ),
    "exception-exists": ("{entry} already has an exception named '{exception}'", None),
    "row-twice": ("{table} prints the row '{row}' twice", "remove one of the two"),
    # --- rulesets: worth a look ------------------------------------------------------------------------
    "operation-without-cites": (
        "the change of {target} cites nothing",
        "say which section orders it: 'cites: ...'",
    ),
    "no-citation": ("{entry} cites nothing", "give it 'cites'"),
    "no-provenance": ("{entry} has no '{key}'", "say where the figure was read, and how well"),
    "unknown-source": (
        "the source '{key}' is in no layer's list of sources",
        "list it in the header under 'sources'",
    ),
    "unused": ("nothing uses {entry}", None),
    "never-applies": ("{entry} never applies: its condition contradicts itself", None),
    "way-never-holds": ("{entry}: '{way}' can never hold: its condition contradicts itself", None),
    "ways-always-clash": (
        "{entry}: '{way}' and '{other}' have the same rank and the same condition, so they always clash",
        "give one of them a higher 'rank'",
    ),
    "way-shadowed": (
        "{entry}: '{way}' is never reached: '{other}' has the same condition and stands before it",
        None,
    ),
    "table-gap": (
        "{table} says nothing for {key}: {lacking}",
        "a value asked for there is not permitted; write '-' or 'missing'",
    ),
    "odd-step": ("{table}: the column turns at [{cell}], and only there", "compare the cell with the text"),
    "days-reversed": ("the change of {target} ends before it begins", None),
    "ruleset-exists": (
        "there is something at {path} already",
        "choose another id, or another folder with '--folder'",
    ),
    # --- adoption: which rulesets apply where, and from which day -----------------------------------
    "unknown-jurisdiction": (
        "there is no jurisdiction '{id}'{nearest}",
        "known here: {known}; '--rulesets DIR' adds a folder whose 'jurisdictions' are searched too",
    ),
    "not-a-day": ("'{text}' is not a day", "write it as year-month-day, 2021-03-15"),
    "unknown-event": (
        "'{text}' is no day, and no event with a day{nearest}",
        "state it where this file begins: 'events: {{EVENT: 2021-03-15}}', or 'unknown' while nobody can date it",
    ),
    "amount-missing": (
        "'{text}' does not say by how much",
        "add days, weeks, months or years; the day itself is 'on'",
    ),
    "amount-astray": (
        "'{text}' takes no days, weeks, months or years",
        "count them 'after' or 'before' a day",
    ),
    "no-day-for-adoption": (
        "{id} asks for a day, and the project states none",
        "state one of: {fields}; or give '--date'",
    ),
    "day-not-covered": (
        "{id} says nothing about {day} ({event})",
        "covered: {ranges}; for another day name the rulesets yourself",
    ),
    "election-needed": (
        "{id} leaves the choice to the applicant on this day: {periods}",
        "say which in '{field}'",
    ),
    "unknown-election": ("{id} knows no period '{name}' to elect{nearest}", None),
    "election-not-open": ("'{name}' cannot be elected for this day: it is open {days}", None),
    "election-without-field": (
        "'{name}' is open to election, and the document does not say where an election is stated",
        "give the document 'election: section.field'",
    ),
    "several-adopted": (
        "{id} adopts several stacks for this day: {periods}",
        "end one before the other begins, or let the applicant choose with 'elect: yes'",
    ),
    "adoption-needs-field": (
        "{id} asks for '{field}' to say what applies, and the project does not state it",
        None,
    ),
    "adoption-condition": (
        "'{text}' is more than an adoption can ask",
        "ask for words: 'site.field is word', is one of, is given",
    ),
    "periods-overlap": (
        "the periods '{one}' and '{other}' overlap",
        "end the first before the second begins, or use 'elect: yes'",
    ),
    "periods-gap": (
        "nothing is adopted between the periods '{one}' (until {end}) and '{other}' (from {start})",
        None,
    ),
    "checksum-differs": (
        "the figures of {table} are not those its checksum was written for",
        "compare the table with its source once more; if it is right, write checksum: {found}",
    ),
    # --- rulesets: declarations -------------------------------------------------------------------
    "type-not-stated": (
        "{entry} does not say what kind of value it is",
        "state one of: unit, terms, series, flag, text, date, link, links",
    ),
    "unknown-name": ("there is no {what} named '{name}'{nearest}", None),
    "unknown-word": ("'{word}' is not one of the words allowed here: {among}{nearest}", None),
    "member-twice": ("the series {series} lists '{member}' twice", None),
    "property-length": (
        "the property {property} of {series} has {found} values and the series {expected} members",
        None,
    ),
    "column-width": ("a column of {table} has {found} keys where {expected} are due", None),
    "row-length": ("the row '{row}' of {table} has {found} cells where {expected} are due", None),
    "key-without-order": (
        "the key {key} of {table} is no number, and only numbers have an order to be met '{match}' in",
        "leave 'match' out: such a key is met exactly",
    ),
    "line-across": (
        "the key {key} of {table} is linear, and only the first key can be",
        "put it first, so that its values name the rows",
    ),
    "no-line": ("{table} is read between its rows, which takes two rows or more, and numbers in them", None),
    "attribute-twice": ("{kind} already has an attribute '{attribute}', given by {entry}", None),
    "never-reached": (
        "{entry}: '{route}' is never reached: the way before it always applies",
        "give the way before it a 'when', or remove this one",
    ),
    "rule-says-nothing": ("{entry} has no 'is', no 'branches' and no 'otherwise'", None),
    "leans-on-itself": ("the value of a {kind} leans on itself: {path}", None),
    "bases-differ": (
        "{left} is printed for {key} {left_base} and {right} for {right_base}: their product means nothing",
        "use the correction table that belongs to the basis",
    ),
    # --- rulesets: the meaning of an expression -----------------------------------------------------
    "unknown-name-in-rule": ("'{name}' means nothing here{nearest}", None),
    "unknown-attribute": ("a {kind} has no '{name}'{nearest}", None),
    "unknown-property": ("the members of {series} have no property '{name}'{nearest}", None),
    "unknown-table": ("there is no table '{name}'{nearest}", None),
    "unknown-series": ("there is no series '{name}'{nearest}", None),
    "unknown-function": ("there is no function '{name}'{nearest}", None),
    "word-of-several-lists": (
        "'{word}' is a word of several lists: {lists}",
        "compare it with something that says which",
    ),
    "nothing-inside": ("{found} has nothing named '{name}' inside", None),
    "value-of-many": (
        "there are several things of kind {kind} here, so '{name}' has several values",
        "say which: sum of, greatest of, least of, any of, all of {name} over ...",
    ),
    "key-count": ("the table {table} takes {expected} keys ({names}) and is given {found}", None),
    "wrong-key": ("the key {key} of {table} is {expected}, and this is {found}", None),
    "wrong-arguments": ("{name} takes {why}", None),
    "wrong-type": ("this is {found} where {expected} is due", None),
    "may-be-none": (
        "this may be none where {found} is due",
        "say what then holds: if x is none then ... else x",
    ),
    "not-a-number": ("this is {found}, and only a number can be calculated with", None),
    "not-a-condition": (
        "this is {found} where a condition is due",
        "a condition is yes or no, as 'a >= b' is",
    ),
    "no-order": ("{found} has no order, so only 'is' and 'is not' compare it", None),
    "branches-differ": ("'then' is {left} and 'else' is {right}", None),
    "not-several-things": ("this is {found} where several things are due, as a relation gives them", None),
    "cannot-aggregate": ("'{op} of' does not work on {found}", None),
    # --- projects -----------------------------------------------------------------------------------
    "not-a-project": ("this is not a project", "a project begins with the line 'gaugebook: {format}'"),
    "no-ruleset-named": (
        "nothing says under which rules to work",
        "name them: '--ruleset ID', or 'rulesets: [ID]' in the project's site",
    ),
    "unknown-layout": ("there is no layout '{name}'{nearest}", None),
    "unknown-reading": ("there is no reading '{name}'{nearest}", None),
    "unknown-option": (
        "the reading '{reading}' has no option '{option}'; it has: {options}{nearest}",
        None,
    ),
    "too-many-things": ("more than {limit} things in one project", "split it into several projects"),
    "not-a-mapping": ("'{key}' should hold keys with values", None),
    "not-a-list": ("'{key}' should be a list", None),
    "not-one-value": ("'{key}' should be a single value", None),
    "field-missing": ("{thing} does not state '{field}'{ask}", None),
    "out-of-range": ("'{key}' is {side} {bound}", None),
    "unknown-thing": ("{section} has nothing named '{name}'{nearest}", None),
    "things-feed-each-other": ("'{key}' leads back to where it began: {path}", None),
    "unknown-total": (
        "nothing called '{name}' is added up here{nearest}",
        "what is added up: {known}",
    ),
    "not-an-amount": ("'{name}' is not an amount, which is what is wanted here", None),
    "total-not-split-by": (
        "the total '{total}' is not split by '{name}'{nearest}",
        "it is split by {known}",
    ),
    "price-per-nothing": (
        "'{text}' is nothing to pay for",
        "write how much costs the price, as 1 m or 100 ft",
    ),
    "priced-and-left-out": ("'{name}' is left out and has a price too", "keep one of the two"),
    "nothing-recurs": ("nothing is added up that recurs each '{name}'{nearest}", None),
    "unknown-input": ("no numeric input is called '{name}'{nearest}", None),
    "unknown-value": ("there is no '{name}' to explain{nearest}", None),
    # --- cases ------------------------------------------------------------------------------------------
    "case-needs-project": ("the case '{case}' has neither 'given' nor 'project', or both", None),
    "case-without-expectation": ("the case '{case}' expects nothing", "give it 'expect' or 'checks'"),
    "unknown-check": ("there is no check '{name}' on a {kind}{nearest}", None),
    "bad-check-key": ("'{key}' does not name a check", "write the thing, a space, and the name of the check"),
    "unknown-place": ("the project has no thing '{name}'{nearest}", None),
    "value-not-derived": ("a {kind} has no value '{name}'{nearest}", None),
    # --- the call -----------------------------------------------------------------------------------------
    "bad-call": ("{problem}", "'{program} --help' shows what can be asked"),
    "bad-pair": ("'{text}' does not settle a reading", "write NAME=OPTION"),
    "not-a-folder": ("there is no folder {path}", None),
    # --- batches ----------------------------------------------------------------------------------------
    "case-file-kind": ("'{path}' is no table of cases: its name ends in none of {known}", None),
    "case-without-header": (
        "the table has no header",
        "the first line names a field and its unit for each column",
    ),
    "case-column-twice": ("the column '{name}' is there twice", None),
    "case-column-decides": (
        "the column '{name}' would decide row by row which rulesets apply; all rows of a batch work under the same "
        "ones",
        "make a table for each day and place, and say which with '--date' and '--jurisdiction', or with '--ruleset'",
    ),
    "unknown-case-field": (
        "no field is called '{name}'{nearest}",
        "a header names a field of the project and its unit, as in 'section.thing.field [unit]'; "
        "a header without a dot is a label and is carried through",
    ),
    "case-field-without-unit": ("'{name}' has no unit, and the header says '{unit}'", None),
    "case-cell-too-long": (
        "a cell or a line has more than {limit} characters",
        "is a quotation mark left open?",
    ),
    "case-cells": ("it has {found} cells and the header has {expected}", None),
    "bad-case": ("row {row}, column '{column}': {reason}", None),
    "bad-row": ("row {row}: {reason}", None),
    "bad-cases-more": ("{count} more rows cannot be used; the column 'error' says why", None),
    "case-labels": ("carried through as labels, because they name no field: {names}", None),
    "batch-goes-on": ("{path} holds {rows} rows of the same batch; going on after them", None),
    "batch-starts-anew": ("{path} belongs to another batch; starting anew", None),
    "batch-row-by-row": (
        "no program of its own can be made for {stack}; each row is evaluated by itself",
        None,
    ),
    "frame-columns": ("a data frame has the columns {found}, the job has {expected}", None),
    "batch-without-columns": (
        "{stack} cannot be worked out for many rows at once; each row is evaluated by its own program",
        None,
    ),
    "batch-without-numpy": (
        "numpy is not installed; each row of {stack} is evaluated by its own program",
        "install gaugebook[columns] to work out many rows at once",
    ),
    "batch-running": ("another process is writing {path}", None),
    "batch-stopped": ("stopped after {rows} rows", "the same call goes on from there"),
    "output-is-input": ("the output would overwrite the input {path}", None),
    "extra-missing": ("{what} needs {package}", "pip install 'gaugebook[{extra}]'"),
    "cannot-write": ("the file {path} cannot be written: {reason}", None),
    "unknown-entry": ("{ruleset} has no entry '{entry}'{nearest}", None),
    "no-such-table": ("{ruleset} has no table '{name}' whose cells could be changed{nearest}", None),
    "entry-without-changes": ("--entry says whose cells are changed", "add --change-cells"),
    "unknown-ruleset-or-path": (
        "'{text}' is neither a ruleset known here nor a file or folder of one{nearest}",
        "'gaugebook ruleset list' shows what there is; '--rulesets DIR' adds a folder to search",
    ),
    # --- plugins -----------------------------------------------------------------------------------------
    "unknown-plugin": (
        "there is no plugin '{name}' to switch off{nearest}",
        "'gaugebook plugins' lists them",
    ),
    "plugin-import": (
        "the plugin {plugin} cannot be imported: {reason}",
        "reinstall or update {by}, or leave it alone: --without-plugin {plugin_name}",
    ),
    "plugin-needs-other-version": (
        "the plugin {plugin} needs gaugebook {needs}, and this is {version}; it is left alone",
        "update gaugebook, or install the {by} made for {version}",
    ),
    "plugin-signature": (
        "the plugin {plugin} does not fit its hooks: {reason}",
        "a hook is a function without arguments (plugins/README.md lists them); update {by}, or leave it alone: "
        "--without-plugin {plugin_name}",
    ),
    "plugin-unknown-hook": (
        "the plugin {plugin} answers the hook '{hook}', which there is none of{nearest}",
        "correct the name, or update gaugebook if the hook is newer; --without-plugin {plugin_name} leaves the "
        "plugin alone",
    ),
    "plugin-answers-nothing": (
        "the plugin {plugin} answers no hook",
        "mark its functions with @gaugebook.hookimpl, or uninstall {by}",
    ),
    "plugin-name-taken": (
        "the plugin {plugin} has the name of {other} and is left alone",
        "one of the two needs another name for its entry point; --without-plugin {by} leaves this one alone",
    ),
    "plugin-duplicate": (
        "the plugin {plugin} gives the {adds} '{item}', which {other} gives already; the first one is used",
        "rename it in {by}, or leave one plugin alone: --without-plugin {plugin_name}",
    ),
    "plugin-raises": (
        "the plugin {plugin} fails in {what}: {reason}",
        "update {by}, or leave it alone: --without-plugin {plugin_name}",
    ),
    "plugin-wrong-answer": (
        "the plugin {plugin} answers {hook} with something that is no {item}: {found}",
        "a hook answers a list of gaugebook.{item}; update {by}, or leave it alone: --without-plugin {plugin_name}",
    ),
    "plugin-no-temperature": (
        "the plugin {plugin} gives {field} as '{found}' in {what}, which is no temperature with its unit",
        "provide_design_temperatures gives temperatures alone, everything else belongs to provide_catalogues; "
        "update {by}, or leave it alone: --without-plugin {plugin_name}",
    ),
    "plugin-prints": (
        "the plugin {plugin} prints to standard output, which belongs to the answer: '{text}'",
        "print to standard error, or return the text; what it printed is dropped",
    ),
    "plugin-slow": (
        "the plugin {plugin} took {seconds} s",
        "it should import what is heavy inside the functions that need it; --without-plugin {plugin_name} leaves "
        "it alone",
    ),
    "plugin-bad-signature": (
        "the plugin {plugin} gives the function '{function}' with '{part}', which is not understood: {reason}",
        "the text of a unit, 'flag', 'series:NAME' or 'terms:NAME'; update {by}, or leave it alone: "
        "--without-plugin {plugin_name}",
    ),
    "plugin-function-answer": (
        "the plugin {plugin} answered {function}({arguments}) with {found} where {expected} is due",
        "a function answers what it declares: a decimal.Decimal, a text or a truth; update {by}, or leave it alone: "
        "--without-plugin {plugin_name}",
    ),
    "plugin-function-not-pure": (
        "the plugin {plugin} answered {function}({arguments}) first with {first} and then with {second}",
        "a function answers the same for the same arguments; update {by}, or leave it alone: --without-plugin "
        "{plugin_name}",
    ),
    "plugin-function-looks-around": (
        "the plugin {plugin} answered {function}({arguments}) with {first} beside the evaluation and with {second} "
        "in a process of its own",
        "a function goes by its arguments alone, not by what else it finds in the process; update {by}, or leave "
        "it alone: --without-plugin {plugin_name}",
    ),
    "plugin-changed": (
        "this book was compiled with the function '{function}' of {plugin}, which is not at hand now",
        "install it again, or leave out what was compiled",
    ),
    # --- what plugins read -------------------------------------------------------------------------------
    "unknown-format": ("there is no report format '{name}'{nearest}", "known: {known}"),
    "unknown-catalogue": (
        "there is no catalogue '{name}'{nearest}",
        "'gaugebook plugins' lists the catalogues; known: {known}",
    ),
    "catalogue-without-item": ("'{text}' does not say what to take", "write 'CATALOGUE: ITEM'"),
    "catalogue-several": (
        "'{item}' means more than one item of the catalogue {name}: {names}",
        "write the name exactly as it is listed here",
    ),
    "catalogue-lacks": ("the catalogue {name} has no '{item}'{nearest}", None),
    "weather-line": ("this line of the weather file does not read as {expected}", None),
    "weather-hours": (
        "the weather file holds {found} hours, and a year has 8760 or 8784",
        "give a file of one whole year",
    ),
    "weather-header": ("the weather file lacks {what}", "known formats: EPW, and TMY3 as CSV"),
    "sheet-header-twice": ("the column '{header}' is given twice in this section", None),
    "sheet-header-inside": (
        "'{header}' is a part of '{outer}', which is given a value of its own",
        "keep one of the two columns",
    ),
    "sheet-header-empty": ("this cell stands below no column header", "name the column, or empty the cell"),
    "sheet-row-unnamed": ("this row has no name", "the first column names what the row is about"),
    "sheet-row-twice": ("the section {section} already has a row '{name}', in line {line}", None),
    "sheet-row-of-nothing": ("there is no '{name}' in {section} for this row to belong to{nearest}", None),
    "sheet-section-twice": ("the section {section} is given twice", None),
    "sheet-formula": (
        "this cell holds a formula without its result",
        "open the file in a spreadsheet program and save it again",
    ),
    "sheet-unreadable": ("this does not read as a {what}: {reason}", None),
    # --- evaluation -----------------------------------------------------------------------------------
    "exceptions-contradict": (
        "{thing}.{attribute}: these exceptions have the same rank and all hold: {names}",
        "give one of them a higher rank",
    ),
    "too-much-work": (
        "working this out takes more than {limit} steps",
        "make the project smaller; where it is small, a rule or choice asks for the same things over and over",
    ),
    "leans-too-deep": (
        "the values of this project lean on each other through too many things in a row to be followed",
        "shorten the chain: join things that follow each other into one",
    ),
    "book-changed": ("the files of {stack} were changed while they were in use", "run it again"),
    "values-lean-on-each-other": ("these values lean on each other: {path}", None),
    # --- units and quantities ------------------------------------------------------------------
    "unknown-unit": ("unknown unit '{unit}'{nearest}", None),
    "bad-unit": (
        "'{unit}' does not read as a unit",
        "symbols are joined by * or / without spaces; a number after a symbol is its power",
    ),
    "unit-astray": (
        "'{unit}' and the base unit of its kind are more than {figures} figures apart",
        "lower its powers",
    ),
    "not-a-quantity": (
        "'{text}' does not read as a quantity",
        "write a number and a unit, as in '{example}'; fractions such as 7/8 and 3 1/2 are fine",
    ),
    "missing-unit": ("'{text}' has no unit", "write '{text} {example}', if that is the unit meant"),
    "wrong-kind-of-quantity": (
        "'{text}' is of the kind {given}; wanted here: {expected}",
        "give it in {example} or another unit of that kind",
    ),
    "cannot-add": ("cannot add {right} to {left}", None),
    "cannot-subtract": ("cannot subtract {right} from {left}", None),
    "cannot-multiply": ("cannot multiply {left} by {right}", None),
    "cannot-divide": ("cannot divide {left} by {right}", None),
    "cannot-compare": ("cannot compare {left} with {right}", None),
    "cannot-negate": ("cannot take the negative of {left}", None),
    "cannot-raise": ("cannot raise {left} to the power {power}", None),
    "cannot-take-root": ("{left} has no root of degree {degree} that is a quantity", None),
    # --- the coverage register -----------------------------------------------------------------
    "no-register": ("neither {ruleset} nor a ruleset below it has a coverage register", None),
    "section-twice": ("the section {section} is listed twice", None),
    "section-has-entries": (
        "{section} is said not to be encoded, and lies behind {entries}",
        "say 'partly', and why, or correct the citation of the entry",
    ),
    "section-without-entries": (
        "{section} is said to be {status}, and no entry cites it",
        "name its entries, or say 'not_encoded' and why",
    ),
    "section-lacks-cells": (
        "{section} is said to be encoded, and {cells} cells of {table} are missing",
        "say 'partly', and why",
    ),
    "section-not-complete": (
        "the section is said to be encoded, and the header says that {cites} is not: {what}",
        "say 'partly', and why",
    ),
    "entry-outside-register": (
        "{entry} lies under no section of the coverage register; it cites {cites}",
        "list the section, or name the entry under one",
    ),
    # --- the table of units --------------------------------------------------------------------
    "unit-table-key": ("the table of units: {place} has no use for '{key}'{nearest}", None),
    "unit-table-lacks": ("the table of units: {place} lacks '{key}'", None),
    "unit-table-number": (
        "the table of units: '{value}' for {place} is not an exact number",
        "write a whole number, a decimal or a fraction; a scale is above zero",
    ),
    "unit-table-symbol": (
        "the table of units: '{unit}' cannot be a symbol",
        "a symbol has no digit, space, * or /, so that it can stand in a compound",
    ),
    "unit-table-twice": ("the table of units: '{unit}' is defined twice", None),
    "unit-table-base": (
        "the table of units: '{unit}' cannot be the base of {dimension}",
        "a base unit has that dimension and the scale 1; the base of points also has its zero at 0",
    ),
    "unknown-dimension": (
        "the table of units: {place} names the unknown dimension '{dimension}'{nearest}",
        "a dimension may be made only of those written above it",
    ),
}
