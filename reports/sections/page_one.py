"""Page one: whether to believe it, what happened, what is out of the ordinary, and what needs doing today."""

from dataclasses import dataclass

from markupsafe import Markup

from audit.records import AuditResults
from reports import wording
from reports.choosing import Row, is_known, limits_of, one, rows
from reports.sections import benchmarks, clinicians, rates, standards
from reports.sections.actions import decided
from reports.sections.data_quality import accounted, filled_in, least_complete, set_aside_banner
from reports.sections.follow_up import site_apart
from reports.sections.parts import CASES_NOT_PEOPLE, WHOLE
from reports.sections.statements import Statement, legend, statements
from reports.tables import Column, html_table, number, plain
from reports.words_for_codes import quarter, stratum, word
from reports.words_for_columns import column_words


@dataclass(frozen=True)
class Believe:
    """The first answer: a sentence, and two figures with what they are and the names the methods have for them."""

    sentence: str
    figures: tuple[tuple[str, str, tuple[str, ...]], ...]


@dataclass(frozen=True)
class PageOne:
    """Everything page one prints."""

    service: str
    facts: tuple[tuple[str, str], ...]
    at_once: tuple[tuple[str, str, str], ...]
    banner: str
    believe: Believe
    statements: tuple[Statement, ...]
    legend: str
    beyond: tuple[str, ...]
    by_chance: str
    action_heading: str
    actions: Markup | None
    decided: str
    decisions: tuple[str, ...]


def page_one(results: AuditResults) -> PageOne:
    """The first page of the report, from the result tables alone."""
    said, top = statements(results)
    beyond = beyond_chance(results)
    actions = rows(results, "action_list")
    answer, decisions = decided(results)
    return PageOne(
        service=results.service,
        facts=_facts(results),
        at_once=(*standards.at_once(results), *_at_once(beyond, actions)),
        banner=set_aside_banner(results),
        believe=_believe(results),
        statements=said,
        legend=legend(said, top),
        beyond=beyond,
        by_chance=_by_chance(results),
        action_heading=_action_heading(actions),
        actions=_actions(actions) if actions else None,
        decided=answer,
        decisions=decisions,
    )


def _facts(results: AuditResults) -> tuple[tuple[str, str], ...]:
    """Period, freeze, edition and rows."""
    into, used, aside = accounted(results)
    period = results.period
    dates = f"{wording.day(period.first_day)} to {wording.day(period.last_day)}"
    data_version = results.settings.calendar.data_version
    version = [("Data version", data_version)] if data_version else []
    return (
        ("Period", f"{quarter(period.label)} ({dates})"),
        ("Data to", wording.day(results.data_to)),
        *version,
        ("Edition", "internal, not for release"),
        ("Rows", f"{wording.count(used)} used, {wording.count(aside)} set aside, of {wording.count(into)}"),
    )


def _at_once(beyond: tuple[str, ...], actions: list[Row]) -> tuple[tuple[str, str, str], ...]:
    """What a reader in a hurry must not miss: how much is out of the ordinary, how much needs doing, and where."""
    return (
        ("Beyond chance", _how_many(len(beyond)), "beyond-heading"),
        ("Needs action today", _how_many(len(actions)), "action-heading"),
    )


def _how_many(number: int) -> str:
    """A count, or the word for none."""
    return wording.count(number) if number else "none"


_BELIEVE = {
    "last_known_leads": "Yes, with care: enough outcomes at 12 months are known for the figures below to stand.",
    "both_as_equals": "In part: what rests on follow-up is shown in two ways, and neither alone is safe.",
    "bounds_only": "Not for anything that rests on follow-up: too few outcomes are known.",
    "not_yet_due": "Not yet for anything that rests on follow-up: no placement is old enough.",
}


def _believe(results: AuditResults) -> Believe:
    """Whether the data carry the report, with two figures."""
    known = one(results, "outcome_known", by="overall", window=WHOLE)
    least = least_complete(results)
    figures: list[tuple[str, str, tuple[str, ...]]] = []
    if known is not None and known["n"]:
        percentage, limits = wording.percent(known["proportion"]), wording.span(*limits_of(known)[:2])
        said = f"women: their outcome at 12 months is known ({percentage}%, {limits}){_fewest(results)}"
        figures.append(
            (f"{wording.count(known['events'])} of {wording.count(known['n'])}", said, ("outcome_known",))
        )
    whole = filled_in(results)
    if whole is not None and least is not None:
        seldom = f"{wording.count(least['events'])} of {wording.count(least['n'])}"
        said = (
            f"entries that every log should have are filled in ({wording.percent(whole['proportion'])}%); least "
            f"often: {column_words(least['column'])}, {seldom}"
        )
        figures.append((f"{wording.count(whole['events'])} of {wording.count(whole['n'])}", said, ()))
    return Believe(_BELIEVE.get(results.gate, _BELIEVE["not_yet_due"]), tuple(figures))


def _fewest(results: AuditResults) -> str:
    """The site at which the fewest outcomes are known, if it lies apart from all the others."""
    sites = [row for row in rows(results, "outcome_known", by="site_ref", window=WHOLE) if row["n"]]
    row = site_apart(sites)
    if row is None:
        return ""
    counts = f"{wording.count(row['events'])} of {wording.count(row['n'])}"
    return f"; fewest at {stratum(row['by'], row['stratum'])}, {counts}"


def beyond_chance(results: AuditResults) -> tuple[str, ...]:
    """A sentence for everything that crosses a stated limit."""
    found = rows(results, "failed_insertions_by_clinician", window="rolling_12_months")
    return (
        *(clinicians.mark_sentence(row) for row in clinicians.beyond(found)),
        *(rates.crossed_sentence(row) for row in rates.crossed(results)),
        *(benchmarks.apart_sentence(row) for row in benchmarks.apart(results)),
    )


def _by_chance(results: AuditResults) -> str:
    """How many such crossings chance alone would give."""
    found = rows(results, "failed_insertions_by_clinician", window="rolling_12_months")
    people = clinicians.judged(found)
    causes, papers = rates.judged(results), benchmarks.judged(results)
    looked = people + causes + papers
    if not looked:
        return "Nothing could be compared, so nothing can cross a limit."
    most = 2 * results.settings.thresholds.ask_tail * looked
    parts = [
        wording.plural(people, "clinician") if people else "",
        f"{wording.plural(causes, 'rate')} against the time before" if causes else "",
        wording.plural(papers, "published figure") if papers else "",
    ]
    made = wording.plural(looked, "comparison was", "comparisons were")
    return (
        f"{made} made: {wording.listed([part for part in parts if part])}. Even if nothing were amiss, chance "
        f"alone would carry some across a limit: at most {most:.1f} on average. {CASES_NOT_PEOPLE}"
    )


def _action_heading(actions: list[Row]) -> str:
    """How many points are open."""
    if not actions:
        return "Nothing is open"
    return f"{wording.plural(len(actions), 'point is', 'points are')} open"


def _actions(actions: list[Row]) -> Markup:
    """One line per kind of need, with its visit references."""
    kinds = dict.fromkeys(str(row["need"]) for row in actions)
    grouped = [
        {
            "need": word(kind),
            "n": sum(row["need"] == kind for row in actions),
            "action": next(str(row["action"]) for row in actions if row["need"] == kind),
            "visits": _by_site([row for row in actions if row["need"] == kind]),
        }
        for kind in kinds
    ]
    return html_table(
        "Needs action today, by visit reference",
        [
            Column("What", plain("need"), "label"),
            Column("Points", number("n")),
            Column("What to do", plain("action"), "text"),
            Column("Visits", plain("visits"), "text"),
        ],
        grouped,
    )


def _by_site(actions: list[Row]) -> str:
    """The visits of one kind of need, site by site."""
    sites: dict[str, list[str]] = {}
    for row in actions:
        site = str(row["site_ref"]) if is_known(row["site_ref"]) else ""
        sites.setdefault(site, []).append(str(row["visit_ref"]))
    return "; ".join(
        f"{site}: {', '.join(visits)}" if site else ", ".join(visits) for site, visits in sites.items()
    )
