"""A draft as the text of a settings file: sure entries active, all others behind a # with their reasons."""

from collections.abc import Iterable, Sequence
from textwrap import wrap

from audit.ingest.drafting_codes import CodeMatch
from audit.ingest.drafting_columns import FileColumn
from audit.ingest.drafting_evidence import LONGEST_CODE, MOST_CODES
from audit.ingest.drafting_headings import GUESS, LIKELY, SURE, Proposal
from audit.ingest.drafting_numbers import are_numbers, is_number, match_text, meanings_of_numbers
from audit.ingest.drafting_privacy import may_be_shown
from audit.ingest.drafting_units import OPEN, Choice, date_order, decimal_comma, unit_of
from audit.ingest.parse import cleaned
from audit.ingest.parse_words import flag_words, parse_flag
from audit.schema.terms import NO_WORDS, TWO_FACED_WORDS

_OPENING = """\
# A draft made from the headings and codes of {files} with {rows}. It is a proposal: read it line by
# line, then keep it as your settings file. "iud-audit check LOG --settings FILE" says what it does.
#
#   sure     the words are known and the values fit: the line is active
#   likely   most speaks for it: take the # away if it is right
#   guess    little speaks for it: take the # away only after looking
#
# The text behind each line says why. Values that could identify anyone are never written here.

# service = "Name of your service"
"""


_FLAG_WORDS = flag_words((), (), ())


def draft_page(proposals: Sequence[Proposal], *, files: int, rows: int, sheet: str = "") -> str:
    """The settings that are proposed, as TOML with comments.

    Parameters
    ----------
    proposals
        From `audit.ingest.drafting_headings.propose_columns`.
    files, rows
        How many files and rows were looked at.
    sheet
        The sheet of a workbook, when one was named.

    Returns
    -------
    str
        TOML that `audit.read_settings` accepts as it stands, ending with a line feed.
    """
    counted = "1 file" if files == 1 else f"{files} files"
    parts = [
        _OPENING.format(files=counted, rows=_rows(rows)),
        "[layout]",
        *([f"sheet = {quoted(sheet)}"] if sheet else []),
        *_layout_lines(proposals),
        "",
        *_unit_lines(proposals),
        "# Our column = the heading in your log.",
        "[layout.headings]",
        *(_heading_line(proposal) for proposal in proposals),
        *_code_tables(proposals),
    ]
    return "\n".join(parts).rstrip() + "\n"


def quoted(text: str) -> str:
    """The text as a TOML string.

    Parameters
    ----------
    text
        Any text.

    Returns
    -------
    str

    Examples
    --------
    >>> print(quoted('Sound "cm"'))
    "Sound \\"cm\\""
    """
    shown = "".join(_escaped(character) for character in text)
    return f'"{shown}"'


def _escaped(character: str) -> str:
    """One character of a TOML string."""
    if character in '\\"':
        return f"\\{character}"
    return character if character.isprintable() else f"\\U{ord(character):08x}"


def _line(key: str, value: str, certainty: str, why: str) -> str:
    """One entry: active when sure, behind a # otherwise."""
    mark = "" if certainty == SURE else "# "
    return f"{mark}{key} = {value}  # {certainty}: {why}"


def _layout_lines(proposals: Sequence[Proposal]) -> list[str]:
    """The table [layout] without its tables."""
    order, comma = date_order(proposals), decimal_comma(proposals)
    return [
        *_choice_lines("date_order", order, quote=True),
        *(_choice_lines("decimal_comma", comma, quote=False) if comma.value else []),
        *_flag_lines(proposals),
    ]


def _choice_lines(key: str, choice: Choice, *, quote: bool) -> list[str]:
    """A setting; where it is open, every value it could have, for the user to choose from."""
    values = [quoted(value) if quote else value for value in choice.value.split("|")]
    if choice.certainty == OPEN:
        return [f"# Choose one {key}: {choice.why}.", *(f"# {key} = {value}" for value in values)]
    return [_line(key, values[0], choice.certainty, choice.why)]


def _unit_lines(proposals: Sequence[Proposal]) -> list[str]:
    """The table [layout.units], left out where every column is written in our unit."""
    lines = []
    for proposal in proposals:
        choice = unit_of(proposal)
        if choice.value:
            lines += _choice_lines(proposal.column.name, choice, quote=True)
    return ["# The unit your log writes a column in.", "[layout.units]", *lines, ""] if lines else []


def _heading_line(proposal: Proposal) -> str:
    """The heading proposed for one of our columns."""
    key, heading = proposal.column.name, quoted(proposal.values.heading)
    return _line(key, heading, proposal.certainty, proposal.why)


def _flag_lines(proposals: Sequence[Proposal]) -> list[str]:
    """What to do with texts in columns of yes and no that are neither."""
    columns = [item.values for item in proposals if item.column.kind == "flag" and item.certainty != GUESS]
    counts: dict[str, int] = {}
    seen: set[str] = set()
    for values in columns:
        for text, number in zip(values.texts, values.rows, strict=True):
            word = cleaned(text).casefold()
            seen.add(word)
            if parse_flag(text, words=_FLAG_WORDS).reason:
                counts[word] = counts.get(word, 0) + number
    two_faced = [word for word in counts if word in TWO_FACED_WORDS]
    lines = [_two_faced_line(word, counts.pop(word), seen) for word in two_faced]
    shown = [quoted(word) for word, number in counts.items() if may_be_shown(word, number)]
    if shown:
        lines.append(
            f"# Neither yes nor no: {', '.join(shown[:MOST_CODES])}. Add each to one of these lists:"
        )
        lines += ["# yes = []", "# no = []", "# unknown = []"]
    return [*lines, *(_number_line(*item) for item in meanings_of_numbers(columns))]


def _number_line(text: str, meaning: str, rows: int, said: bool) -> str:
    """A number in columns of yes and no, and what it may mean."""
    why = "a heading says so" if said else f"often used for {meaning}; look in your coding list"
    return _line(meaning, f"[{quoted(text)}]", LIKELY if said else GUESS, f"{_rows(rows)}; {why}")


def _two_faced_line(word: str, number: int, seen: set[str]) -> str:
    """A word that is yes in one language and no in another: the other words of the log point one way."""
    meaning = "yes" if seen & set(NO_WORDS) else "no"
    why = f"{_rows(number)}; the word is yes in one language and no in another"
    return _line(meaning, f"[{quoted(word)}]", GUESS, why)


def _code_tables(proposals: Sequence[Proposal]) -> list[str]:
    """The tables of words for codes."""
    lines = []
    for proposal in proposals:
        if proposal.column.kind == "code":
            lines += _code_table(proposal)
    return lines


def _code_table(proposal: Proposal) -> list[str]:
    """The words of one column; nothing where all of them are read without an entry."""
    name, values = proposal.column.name, proposal.values
    matches = _distinct(values, name)
    own = [match.text for match, _ in matches if match.certainty == "own"]
    entries = [
        _code_line(match, number)
        for match, number in matches
        if match.certainty != "own" and _is_listed(match, number, matches)
    ]
    hidden = sum(1 for match, _ in matches if match.certainty != "own") - len(entries)
    read = _remark(f"Read as they are: {', '.join(map(quoted, own))}.") if own else []
    left = [f"# {hidden:,} more texts are not understood; they are not shown."] if hidden else []
    if not entries:
        return ["", f"# {name}", *read, *left] if read or left else []
    codes = _remark(f"Codes of {name}: {', '.join(proposal.column.codes)}.")
    return ["", *codes, f"[layout.codes.{name}]", *read, *entries, *left]


def _remark(text: str) -> list[str]:
    """A remark over as many lines as it needs."""
    return wrap(text, 108, initial_indent="# ", subsequent_indent="#   ", break_on_hyphens=False)


def _distinct(values: FileColumn, name: str) -> list[tuple[CodeMatch, int]]:
    """Each text of a column once, whatever its case and space, with its match and its rows."""
    if len(values.texts) > MOST_CODES:
        return []
    counts: dict[str, tuple[str, int]] = {}
    for text, number in zip(values.texts, values.rows, strict=True):
        key = cleaned(text).casefold()
        first, so_far = counts.get(key, (cleaned(text), 0))
        counts[key] = (first, so_far + number)
    found = [(match_text(text, name, values.heading), number) for text, number in counts.values()]
    if are_numbers(values):
        return sorted(found, key=lambda item: item[0].text.zfill(2))
    return sorted(found, key=lambda item: (-item[1], item[0].text))


def _is_listed(match: CodeMatch, number: int, matches: Iterable[tuple[CodeMatch, int]]) -> bool:
    """Whether a text may stand in the draft: our own words may, others only where they are no one's own."""
    if match.certainty == SURE:
        return len(match.text) <= LONGEST_CODE
    if is_number(match.text) or parse_flag(match.text, words=_FLAG_WORDS).value is not None:
        return True
    understood = sum(rows for other, rows in matches if other.certainty in ("own", SURE))
    return may_be_shown(match.text, number) and understood * 3 >= sum(rows for _, rows in matches)


def _code_line(match: CodeMatch, number: int) -> str:
    """One word of the log and the code it may stand for."""
    if not match.code:
        return f'# {quoted(match.text)} = ""  # {_rows(number)}; {match.why}: choose a code'
    return _line(quoted(match.text), quoted(match.code), match.certainty, f"{_rows(number)}; {match.why}")


def _rows(number: int) -> str:
    """A number of rows with its noun."""
    return "1 row" if number == 1 else f"{number:,} rows"
