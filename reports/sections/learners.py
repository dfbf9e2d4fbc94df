"""Learners on their way to the learning limit, their supervised attempts apart. In order of code."""

from audit.records import AuditResults
from reports import wording
from reports.choosing import Row, is_known, one, rows
from reports.figures.running_totals import sums_to_a_limit
from reports.figures.theme import Figure, Plot
from reports.sections.section import Block, FigureBlock, Items
from reports.tables import PROPORTION_FOOT, Column, html_table, proportion_columns
from reports.words_for_codes import stratum

_TABLE = "learning_curve"
_PRACTICES = {"all": "all", "supervised": "supervised", "independent": "alone"}


def expected_failures(row: Row) -> str:
    """A cell with the failures to be expected of the women."""
    return f"{row['expected']:.1f}" if is_known(row["expected"]) else wording.NOTHING


def learner_blocks(results: AuditResults) -> list[Block]:
    """What each learner's chart says, with the supervised attempts apart."""
    found = rows(results, "cusum_signals", chart="learning")
    row = one(results, "cusum_limits", chart="learning")
    if not found or row is None:
        return []
    own = {str(each["stratum"]): each for each in found}
    lines = {
        code: [
            each
            for each in rows(results, "learning_curve_attempts", stratum=code)
            if is_known(each["learning_cusum"])
        ]
        for code in own
    }
    reached = [code for code, each in own.items() if each["state"] == "signal"]
    title = f"Reached the learning limit: {wording.listed(reached) if reached else 'no learner yet'}"
    parts = [part for part in rows(results, _TABLE) if str(part["stratum"]) in own]
    figure = Figure(
        "learning",
        title,
        (Plot("learning-plot", sums_to_a_limit(lines, float(row["limit"])), 320),),
        f"{title}. The evidence that failures are as rare as acceptable, by attempt, against a limit of "
        f"{wording.ratio(row['limit'])}; it falls with each failure and never below 0.",
        html_table(
            "Learners, supervised attempts apart",
            _learner_columns(),
            parts,
            foot=PROPORTION_FOOT,
            counted=(_TABLE,),
        ),
        "All attempts, supervised or alone; the women are not allowed for. A line ends at the limit.",
        counted=(_TABLE,),
    )
    return [
        Items(tuple(_learner_words(each, results) for each in found)),
        FigureBlock(figure),
    ]


def _learner_columns() -> list[Column]:
    """The columns of the table of learners."""
    label = Column(
        "Learner, practice", lambda row: f"{row['stratum']}, {_PRACTICES[row['practice']]}", "label"
    )
    return [
        *proportion_columns(label, events="Failed", of="Attempts"),
        Column("Expected for these women", expected_failures),
        Column(
            "Seen / expected (95% interval)",
            lambda row: (
                f"{wording.ratio(row['ratio'])} ({wording.ratio_span(row['ratio_lower'], row['ratio_upper'])})"
                if is_known(row["ratio"])
                else wording.NOTHING
            ),
            "interval",
        ),
    ]


def _learner_words(row: Row, results: AuditResults) -> str:
    """One learner in a sentence: counts, what the chart says, and whether it could have said more."""
    parts = {str(part["practice"]): part for part in rows(results, _TABLE, stratum=row["stratum"])}
    counted = wording.listed(
        [
            f"{wording.count(parts[name]['events'])} of {wording.count(parts[name]['n'])} {_PRACTICES[name]}"
            for name in ("supervised", "independent")
            if name in parts and parts[name]["n"]
        ]
    )
    code, due = stratum(row["by"], row["stratum"]), expected_failures(parts["all"])
    seen = f"{code}: {counted} failed; {due} were to be expected."
    if row["state"] == "signal":
        return f"{seen} The learning limit was reached at attempt {wording.count(row['first_signal'])}."
    n = wording.plural(row["n"], "attempt")
    return (
        f"{seen} The limit is not reached ({wording.ratio(row['cusum'])} of {wording.ratio(row['limit'])}). "
        "That does not show the opposite: of learners at the acceptable level "
        f"{wording.percent(row['chance_if_true'])}% would have reached it within {n}."
    )
