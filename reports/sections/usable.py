"""Whether a log can be used, and the one thing most worth putting right; decided by rule, from the tables."""

from collections.abc import Sequence
from dataclasses import dataclass

from audit.records import AuditResults
from audit.schema.indicators import INDICATORS
from audit.schema.visits import VISITS
from reports import wording
from reports.choosing import Row, one, rows
from reports.sections.data_quality import accounted, filled_in, least_complete
from reports.sections.places import at_lines, told
from reports.words_for_codes import within
from reports.words_for_columns import column_heading, column_words

# Set aside without a loss: the first are there once already, the second were left out on purpose.
_HARMLESS = ("duplicate_row", "after_data_to")
_FEW_LINES, _FEW_FIGURES = 5, 4


@dataclass(frozen=True)
class Fix:
    """What to put right: a sentence, how many rows (or figures) it touches, the section that says more, and
    what kind of work it is."""

    sentence: str
    size: int
    section: str
    label: str = "Fix first."


def usable(results: AuditResults) -> str:
    """Whether the log can be used, as a sentence."""
    into, used, aside = accounted(results)
    thresholds = results.settings.thresholds
    if not into:
        return "There is nothing to use: the log has headings and no rows."
    counts = f"{wording.count(aside)} of {wording.plural(into, 'row')}"
    if not used:
        return f"This log cannot be used: {counts} had to be set aside."
    if results.gate == "refused":
        limit = wording.percent(thresholds.set_aside_refusal, places=0)
        return (
            f"This log cannot be used as it stands: {counts} had to be set aside, and the settings allow {limit}%. "
            "An audit of it is refused."
        )
    if aside > thresholds.set_aside_banner * into:
        return f"This log can be used with care: {counts} had to be set aside, and are missing from every figure."
    found = rows(results, "indicator_availability")
    given = sum(bool(row["available"]) for row in found)
    rows_used = (
        f"all {wording.plural(into, 'row')}"
        if used == into
        else f"{wording.count(used)} of {wording.count(into)} rows"
    )
    rows_used = "its one row" if into == 1 else rows_used
    return f"This log can be used: {rows_used}, for {given} of {len(found)} figures of the audit."


def first_fix(results: AuditResults) -> Fix | None:
    """The one thing most worth putting right; None where there is nothing.

    In this order: rows set aside, where they are too many; a field that could not be read at all; a field on which
    a figure rests and which is recorded too seldom; then whatever touches the most rows; then a field that the log
    lacks and that would give a figure.
    """
    into, _, aside = accounted(results)
    if not into:
        return None
    too_many = aside > results.settings.thresholds.set_aside_banner * into
    lost, doubtful, gaps = _lost(results), _doubtful(results), _gaps(results)
    seldom = [fix for fix, enough in gaps if not enough]
    counted = [*lost, *doubtful, *(fix for fix, _ in gaps)]
    for choices in (lost if too_many else [], _unreadable(results), seldom, counted, _lacking(results)):
        if choices:
            return max(choices, key=lambda fix: fix.size)
    return None


def figures(results: AuditResults) -> tuple[tuple[str, str], ...]:
    """Counts to go on with, each with what it counts."""
    whole, least = filled_in(results), least_complete(results)
    told_of = []
    if whole is not None and least is not None:
        seldom = f"{wording.count(least['events'])} of {wording.count(least['n'])}"
        entries = (
            f"entries that every log should have are filled in ({wording.percent(whole['proportion'])}%); "
            f"least often: {column_words(least['column'])}, {seldom}"
        )
        told_of.append((f"{wording.count(whole['events'])} of {wording.count(whole['n'])}", entries))
    queries = [row for row in rows(results, "query_list") if row["used"]]
    points = (
        "point to look up in a row that is used"
        if len(queries) == 1
        else "points to look up in rows that are used"
    )
    told_of.append((wording.count(len(queries)), points))
    every = rows(results, "indicator_availability")
    off = [str(row["title"]) for row in every if not row["available"]]
    named = f": {wording.listed([within(title) for title in off])}" if 0 < len(off) <= _FEW_FIGURES else ""
    told_of.append((f"{len(off)} of {len(every)}", f"figures lack a field{named}"))
    return tuple(told_of)


def _lost(results: AuditResults) -> list[Fix]:
    """Rows set aside, by reason and field."""
    groups: dict[tuple[str, str], list[Row]] = {}
    for row in rows(results, "set_aside"):
        if row["reason"] not in _HARMLESS:
            groups.setdefault((str(row["reason"]), str(row["column"])), []).append(row)
    return [
        Fix(
            f"{wording.plural(len(own), 'row')} set aside{at_lines(own, most=_FEW_LINES)}. "
            f"{told(own[0]['message'])}",
            len(own),
            "set-aside",
        )
        for own in groups.values()
    ]


def _doubtful(results: AuditResults) -> list[Fix]:
    """Points to check, by rule and field."""
    found = rows(results, "finding_counts", severity="warning")
    queries = rows(results, "query_list")
    fixes = []
    for row in found:
        own = [item for item in queries if (item["rule"], item["column"]) == (row["rule"], row["column"])]
        where = at_lines(own, most=_FEW_LINES)
        fixes.append(
            Fix(
                f"{wording.plural(row['n'], 'row')} to check{where}. {told(row['message'])}",
                row["n"],
                "queries",
            )
        )
    return fixes


def _unreadable(results: AuditResults) -> list[Fix]:
    """Fields of which no value could be used."""
    found = rows(results, "finding_counts", rule="wrong_scale")
    return [Fix(told(row["message"]), int(row["n"]), "queries") for row in found]


def _gaps(results: AuditResults) -> list[tuple[Fix, bool]]:
    """Fields on which figures rest and from which something is missing; and whether enough is recorded.

    Of fields that can stand for each other the fullest counts.
    """
    fields = {
        str(row["column"]): row for row in rows(results, "field_completeness", by="overall") if row["n"]
    }
    resting: dict[str, list[str]] = {}
    for indicator in INDICATORS:
        for group in indicator.needs:
            here = [fields[name] for name in group if name in fields]
            if here:
                fullest = max(here, key=lambda row: float(row["proportion"]))
                resting.setdefault(str(fullest["column"]), []).append(indicator.title)
    floor = results.settings.thresholds.recorded_floor
    return [
        (_gap(results, column, titles), float(fields[column]["proportion"]) >= floor)
        for column, titles in resting.items()
        if fields[column]["events"] < fields[column]["n"]
    ]


def _gap(results: AuditResults, column: str, titles: Sequence[str]) -> Fix:
    """A field that is not filled in everywhere, and what rests on it."""
    row = one(results, "missingness", by="overall", column=column) or {"events": 0, "n": 0}
    more = [wording.plural(len(titles[3:]), "more figure")] if titles[3:] else []
    figures = wording.listed([*(f"“{title}”" for title in titles[:3]), *more])
    rest = "rests" if len(titles) == 1 else "rest"
    advice = " If a blank there means no, declare it under charted_by_exception." if _says_no(column) else ""
    return Fix(
        f"“{column_heading(column)}” is missing from {wording.count(row['events'])} of "
        f"{wording.plural(row['n'], 'row')} it applies to; {figures} {rest} on it. Fill it in.{advice}",
        int(row["events"]),
        "missing",
    )


def _says_no(column: str) -> bool:
    """Whether a field has a value that means no."""
    declared = VISITS[column]
    return declared.kind == "flag" or bool({"no", "none"} & set(declared.codes))


def _lacking(results: AuditResults) -> list[Fix]:
    """Fields that the log lacks, with the figures that each alone would give."""
    here = {str(row["column"]) for row in rows(results, "missingness", by="overall") if row["in_log"]}
    gives: dict[str, list[str]] = {}
    for indicator in INDICATORS:
        lacking = [group for group in indicator.needs if not here & set(group)]
        for column in lacking[0] if len(lacking) == 1 else ():
            gives.setdefault(column, []).append(within(indicator.title))
    return [
        Fix(
            f"Nothing needs correcting. If the log also recorded “{column_words(column)}” ({column}), it would "
            f"give {wording.plural(len(titles), 'more figure')}: {wording.listed(titles)}.",
            len(titles),
            "figures",
            "Add first.",
        )
        for column, titles in gives.items()
    ]
