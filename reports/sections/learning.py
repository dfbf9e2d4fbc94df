"""Attempt by attempt: is a learner ready, has a clinician's figure moved? In order of code."""

from collections.abc import Sequence

import pandas as pd

from audit.records import AuditResults
from reports import wording
from reports.choosing import Row, is_known, rows
from reports.figures.running_totals import seen_less_expected
from reports.figures.theme import Figure, Plot
from reports.sections.learners import expected_failures, learner_blocks
from reports.sections.parts import counted_how
from reports.sections.section import Block, Caution, FigureBlock, Folded, Items, Paragraph, Subheading
from reports.tables import Column, html_table, number, plain
from reports.words_for_codes import stratum, word

_TABLE = "learning_curve"
# Attempts that nobody will make.
_BEYOND = 1e9
_TWICE = 2.0
_NO_STANDARD = "No standard of readiness is set here: reaching a limit is no ground for a sign-off."


def learning_blocks(results: AuditResults) -> list[Block]:
    """Running totals of every clinician, the charts of learners, and what crossed a limit."""
    found = rows(results, _TABLE, practice="all")
    if not found:
        return []
    drawn = [row for row in found if row["drawn"] and is_known(row["observed_minus_expected"])]
    fewest = results.settings.thresholds.clinician_attempts
    if not drawn:
        few = f"Nobody has {fewest} attempts in this log, or none was made alone to expect anything from."
        return [Subheading("Attempt by attempt: nothing to draw yet"), Paragraph(few), counted_how(_TABLE)]
    return [
        Subheading(_heading(results)),
        Paragraph(
            "A running total adds up, attempt by attempt, the failures seen less those to be expected of the "
            "women. It climbs while more fail than expected, falls while fewer do, and wanders by chance alone.",
            f"Supervised attempts belong to the trainee and are in. Below {fewest} attempts nothing is drawn.",
        ),
        *_rules(results),
        *_recent(results),
        FigureBlock(_totals(results, drawn)),
        *learner_blocks(results),
        *_limits(results),
    ]


def _heading(results: AuditResults) -> str:
    """What crossed a limit in twelve months, and which learners have reached theirs."""
    if not rows(results, "cusum_limits"):
        return "Attempt by attempt: totals without a limit"
    crossed = len(_crossed_lately(results))
    said = (
        f"{wording.number_word(crossed)} running total{'s' if crossed > 1 else ''} crossed a limit in twelve months"
        if crossed
        else "no limit crossed in twelve months"
    )
    learners = rows(results, "cusum_signals", chart="learning")
    if not learners:
        return f"Attempt by attempt: {said}"
    reached = sum(row["state"] == "signal" for row in learners)
    return (
        f"Attempt by attempt: {said}; {wording.number_word(reached)} of {_learners(len(learners))} "
        f"{'has' if reached == 1 else 'have'} reached the learning limit"
    )


def _learners(number: int) -> str:
    """How many learners, in words."""
    return f"{wording.number_word(number)} learner{'' if number == 1 else 's'}"


def _crossed_lately(results: AuditResults) -> list[Row]:
    """Monitoring charts whose latest signal lies in the twelve months to the end of the period."""
    since = results.period.last_day - pd.DateOffset(months=12)
    return [
        row
        for row in rows(results, "cusum_signals", chart="monitoring", state="signal")
        if row["latest_signal_date"] > since
    ]


def _rules(results: AuditResults) -> list[Block]:
    """What is acceptable, what is not, the limits, and how often they err and find."""
    found = rows(results, "cusum_limits")
    if not found:
        return [
            Paragraph(
                "No limit is drawn: without a local standard it rests on the service's own proportion, which needs "
                "two clinicians working alone and a failure among them. Set acceptable and unacceptable under "
                "[cusum] in the settings."
            )
        ]
    local = found[0]["level"] == "set"
    return [
        Paragraph(_levels(found[0])),
        Items(tuple(_chart_words(row) for row in found)),
        *(() if local else (Caution(_NO_STANDARD),)),
    ]


def _levels(row: Row) -> str:
    """What is acceptable and what is not, and whose choice it is."""
    low, high = wording.percent(row["acceptable"]), wording.percent(row["unacceptable"])
    if row["level"] == "set":
        return f"The service holds {low}% failed acceptable, and {high}% not."
    counts = f"{wording.count(row['events'])} of {wording.count(row['n'])}"
    times = "twice" if row["odds_ratio"] == _TWICE else f"{wording.ratio(row['odds_ratio'])} times"
    return (
        f"No standard is set locally. The service's own figure, {low}% ({counts} attempts made alone), stands for "
        f"acceptable, and {high}%, {times} its odds, for not acceptable."
    )


def _chart_words(row: Row) -> str:
    """The limit of one chart, with its chance of a false and of a true signal."""
    false, true = wording.percent(row["chance_if_false"]), wording.percent(row["chance_if_true"])
    within = wording.plural(row["within_attempts"], "attempt")
    limit = wording.ratio(row["limit"])
    if row["chart"] == "learning":
        return (
            f"Learners, all their attempts: the chart ends at a limit of {limit}. Within {within}, {true}% of "
            f"learners with acceptable failures reach it, and {false}% of those whose failures are not."
        )
    return (
        f"Everyone, attempts made alone, the women allowed for: a signal at {limit}, then from 0 again. Within "
        f"{within} it comes to {false}% with nothing amiss, and to {true}% whose failures are not acceptable."
    )


def _recent(results: AuditResults) -> list[Block]:
    """A sentence for each monitoring chart that signalled in twelve months, and what chance does."""
    monitored = rows(results, "cusum_signals", chart="monitoring")
    if not monitored:
        return []
    by_chance = sum(float(row["chance_if_false"]) for row in monitored)
    told = (
        f"Over the whole log chance alone would have marked about {by_chance:.1f} of "
        f"{wording.plural(len(monitored), 'clinician')} at least once."
    )
    sentences = tuple(
        f"{stratum(row['by'], row['stratum'])}: failures became more frequent than these women explain; signal at "
        f"attempt {wording.count(row['latest_signal'])}, {wording.day(row['latest_signal_date'])}, visit "
        f"{row['latest_visit_ref']}. Look at the cases before it."
        for row in _crossed_lately(results)
    )
    items: list[Block] = [Items(sentences)] if sentences else []
    return [*items, Paragraph(told)]


def _totals(results: AuditResults, drawn: Sequence[Row]) -> Figure:
    """The running totals with the table of every clinician."""
    lines = _lines(results, drawn)
    signals = {code: [row for row in own if row["monitoring_signal"]] for code, own in lines.items()}
    marked = [code for code, own in signals.items() if own]
    monitored = {row["stratum"]: row for row in rows(results, "cusum_signals", chart="monitoring")}
    title = _title(len(lines), marked, len(_crossed_lately(results)))
    note = "Diamonds: the monitoring chart reached its limit. Grey: it never did. "
    if not monitored:
        title, note = f"Running totals of {wording.plural(len(lines), 'clinician')}, without a limit", ""
    every = rows(results, _TABLE, practice="all")
    ends = [float(row["observed_minus_expected"]) for row in drawn]
    columns = [
        Column("Clinician", lambda row: stratum(row["by"], row["stratum"]), "label"),
        Column("Attempts", number("n")),
        Column("Failed", number("events")),
        Column(
            "Expected for these women",
            lambda row: expected_failures(row) if row["drawn"] else wording.NOTHING,
        ),
        Column(
            "Seen less expected",
            lambda row: _difference(row["observed_minus_expected"]) if row["drawn"] else wording.NOTHING,
        ),
        Column("Outcome not known", number("n_unknown")),
        Column("Monitoring, attempts alone", lambda row: _state(monitored.get(row["stratum"])), "text"),
    ]
    foot = (
        "The whole log to the end of the period, in order of code. Monitoring: the sum allows for the women."
    )
    return Figure(
        "running-totals",
        title,
        (
            Plot(
                "running-totals-plot",
                seen_less_expected(lines, {code: signals[code] for code in marked}),
                420,
            ),
        ),
        f"{title}. Running totals of failures seen less expected, one line a clinician, from 0 at the first "
        f"attempt to between {_difference(min(ends))} and {_difference(max(ends))} at the latest.",
        html_table(
            "Failed insertions in order of attempt, whole log", columns, every, foot=foot, counted=(_TABLE,)
        ),
        f"{note}A line that ends above 0 has seen more failures than its women explain, by chance or not.",
        counted=(_TABLE,),
    )


def _title(drawn: int, marked: list[str], lately: int) -> str:
    """How many of the charts signalled."""
    if not marked:
        return f"No running total of {wording.plural(drawn, 'clinician')} ever signalled"
    number = wording.number_word(len(marked)).capitalize()
    when = "none" if not lately else wording.number_word(lately)
    return (
        f"{number} of {wording.plural(drawn, 'running total')} signalled at some time: {wording.listed(marked)}; "
        f"{when} in twelve months"
    )


def _lines(results: AuditResults, drawn: Sequence[Row]) -> dict[str, list[Row]]:
    """The attempts of each clinician drawn."""
    lines: dict[str, list[Row]] = {str(row["stratum"]): [] for row in drawn}
    for row in rows(results, "learning_curve_attempts"):
        if str(row["stratum"]) in lines:
            lines[str(row["stratum"])].append(row)
    return {code: own for code, own in lines.items() if own}


def _difference(value: float) -> str:
    """A number of failures with its sign."""
    if not is_known(value):
        return wording.NOTHING
    return f"{value:+.1f}".replace("-", "−")


def _state(row: Row | None) -> str:
    """What a monitoring chart has shown so far."""
    if row is None:
        return wording.NOTHING
    if row["state"] != "signal":
        return f"No signal ({wording.ratio(row['highest'])} at most)"
    times = "" if row["signals"] == 1 else f", {wording.count(row['signals'])} in all"
    when = wording.day(row["latest_signal_date"])
    return f"Signal at attempt {wording.count(row['latest_signal'])}, {when}{times}"


def _limits(results: AuditResults) -> list[Block]:
    """The limits, and what they do, one click away."""
    found = rows(results, "cusum_limits")
    if not found:
        return []
    columns = [
        Column("Chart", lambda row: word(row["chart"]), "label"),
        Column("Acceptable, %", lambda row: wording.percent(row["acceptable"])),
        Column("Not acceptable, %", lambda row: wording.percent(row["unacceptable"])),
        Column("Odds ratio", lambda row: wording.ratio(row["odds_ratio"])),
        Column("Limit", lambda row: wording.ratio(row["limit"])),
        Column("Attempts to a false signal, on average", lambda row: _run(row["run_if_false"])),
        Column("To a true one", lambda row: _run(row["run_if_true"])),
        Column("Method", plain("method"), "text"),
    ]
    foot = (
        "A false signal passes a learner whose failures are not acceptable, or marks someone with whom nothing is "
        "amiss; a true one, the other way about. From a Markov chain, on the women of attempts made alone."
    )
    return [
        Folded(
            "The limits, and what they do",
            html_table("Limits of the charts", columns, found, foot=foot, counted=(_TABLE,)),
        )
    ]


def _run(attempts: float) -> str:
    """A number of attempts, whole."""
    return wording.count(round(attempts)) if is_known(attempts) and attempts < _BEYOND else "beyond reach"
