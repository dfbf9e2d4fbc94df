"""How each figure is counted, what the words mean, and what this report cannot do."""

from markupsafe import Markup

from audit.records import AuditResults
from audit.schema.checklists import CHECKLISTS
from audit.schema.indicator import Indicator
from audit.schema.indicators import INDICATORS
from audit.settings import AuditSettings, definitions_version
from reports import wording
from reports.choosing import table
from reports.sections.clinicians import target_words
from reports.sections.parts import CASES_NOT_PEOPLE, files_read
from reports.sections.section import Folded, Items, Paragraph, Section, Subheading, TableBlock, Terms
from reports.tables import Column, html_table, plain
from reports.words_for_codes import word
from reports.words_for_columns import column_words

_GLOSSARY = {
    "Attempt": "An insertion begun: an instrument passed the external os, or a tenaculum was applied.",
    "Assumed in place": "A woman who reported nothing is taken to have kept her device until shortly before the "
    "freeze. It errs towards too few endings.",
    "Censored": "No longer observed, though the device had not ended as far as anyone knows.",
    "Confidence interval, 95%": "The range of true figures compatible with what was seen. In 20 such intervals, "
    "about one misses.",
    "Cumulative incidence": "The chance that something has happened by a time, other endings allowed for.",
    "Deferred": "Stopped before an instrument was used; not an attempt.",
    "Expected": "What the service's own figures, group by group, would have given these women.",
    "Freeze": "The last day of data in this report.",
    "Funnel limits": "How far a figure may stray by chance alone at each number of attempts.",
    "Interval placement": "Not soon after a birth or an abortion, and not for an emergency.",
    "Kaplan-Meier": "The share still in use, counting only those still observed at each day.",
    "Last known": "A woman is observed to the last day her device was known in place. It errs towards too many "
    "endings, as women in trouble come back.",
    "1 − Kaplan-Meier": "The chance of an ending if no other could come first: larger than the cumulative "
    "incidence.",
    "Parous, nulliparous": "With, and without, a birth.",
    "Woman-year": "One woman observed for one year with a device, or two for half a year.",
}
_CAUTIONS = (
    "This report informs audit and teaching. Local guidelines and licensed practice decide.",
    CASES_NOT_PEOPLE,
    "What is not recorded is not the same as what did not happen.",
    "Groups differ in more than the thing they are divided by: a difference does not say why.",
    "This edition holds exact counts and visit references. It is not for release.",
)


def methods_section(results: AuditResults) -> Section:
    """Every figure with its definition, method and sources."""
    terms = tuple((indicator.title, _counted(indicator)) for indicator in INDICATORS)
    ids = tuple(f"how-{indicator.item or indicator.table}" for indicator in INDICATORS)
    return Section(
        "methods",
        "Methods and references",
        "How every figure is counted",
        (
            Paragraph(
                "Limits printed beside a proportion are Wilson's, and exact ones (Clopper-Pearson) where either "
                "count is 5 or fewer or the denominator is below 30. Below 10 there are counts and no percentage.",
            ),
            Paragraph(
                "With many comparisons some p-values are small by chance. Adjusted ones (Benjamini Y, Hochberg Y, "
                "J R Stat Soc B 1995;57:289-300) hold the expected share of false finds among all comparisons of "
                "one window: of failed insertions and of reactions between groups and over time, for the whole log "
                "also of expulsion and continuation, under both rules. Terms of models are not adjusted.",
            ),
            Terms(terms, ids),
            Subheading("Rules of this audit"),
            TableBlock(_rules(results)),
            Subheading("What was read and what read it"),
            TableBlock(_fingerprints(results)),
            _checklists(results),
        ),
    )


# Where the report itself has another name for a place.
_PLACES = {
    "page-one": "Page one",
    "data-quality": "The data",
    "benchmarks": "Published figures",
    "actions": "Actions and re-audit",
}


def _checklists(results: AuditResults) -> Folded:
    """Where this report answers what two guides on reporting ask; what the tool cannot know is not supplied."""
    found = []
    for asked in CHECKLISTS:
        answered = asked.section and (not asked.table or len(table(results, asked.table)))
        place = _PLACES.get(asked.section, word(asked.section)) if answered else "not supplied"
        found.append({"item": f"{asked.guide} {asked.number}", "topic": asked.topic, "place": place})
    columns = [
        Column("Item", plain("item"), "label"),
        Column("What it asks", plain("topic"), "text"),
        Column("Where", plain("place"), "short"),
    ]
    summary = "Where two guides on reporting (RECORD, SQUIRE 2.0) are answered"
    return Folded(summary, html_table("Two guides on reporting, in our own words", columns, found))


def _counted(indicator: Indicator) -> str:
    """One figure's definition in a paragraph, whole, so that a reader sent here need not look further."""
    parts = {
        "Counted": indicator.numerator,
        "Of": indicator.denominator,
        "Not known": indicator.unknowns,
        "Method": indicator.method,
        "Sources": indicator.source,
    }
    return " ".join([indicator.question, *(f"{name}: {text}" for name, text in parts.items())])


def _rules(results: AuditResults) -> Markup:
    """The thresholds and windows that the settings hold, beside those of a service that sets none."""
    here, unset = (_told(settings) for settings in (results.settings, AuditSettings()))
    return html_table(
        "Rules that the service can set",
        [
            Column("Rule", plain("rule"), "label"),
            Column("Here", plain("here"), "text"),
            Column("Where a service sets none", plain("unset"), "text"),
        ],
        [
            {"rule": rule, "here": value, "unset": "the same" if unset[rule] == value else unset[rule]}
            for rule, value in here.items()
        ],
    )


def _told(settings: AuditSettings) -> dict[str, str]:
    """Each rule in words."""
    windows, thresholds = settings.windows, settings.thresholds
    return {
        "Check due": f"day {windows.check_from_day} to {windows.check_to_day} after placement",
        "First year's outcome known": f"an ending, or in place on day {windows.known_from_day} or later",
        "Position verified": _position_windows(settings),
        "A new device continues the method": f"up to {windows.method_gap_days} days after the last",
        "Removal in time": f"up to {windows.removal_delay_days} days after she asked",
        "Reporting lag, assumed in place": f"{windows.reporting_lag_days} days before the freeze",
        "Last known leads from": f"{wording.percent(thresholds.known_leads)}% of outcomes known",
        "Bounds only below": f"{wording.percent(thresholds.known_floor)}% of outcomes known",
        "Curves stop below": f"{thresholds.at_risk_floor} still observed",
        "Clinicians compared with": target_words(settings.funnel_target),
        "Warning on page one": f"above {wording.percent(thresholds.set_aside_banner)}% of rows set aside",
        "Charted by exception": _charted(settings),
        "Clinicians compared from": wording.plural(thresholds.clinician_attempts, "attempt"),
        "Limits of a funnel, each side": _tails(settings),
        "Margins set": _margins(settings),
    }


def _position_windows(settings: AuditSettings) -> str:
    """The two windows in which a position is to be verified."""
    windows = settings.windows
    first = f"day {windows.first_cycle_from_day} to {windows.first_cycle_to_day}"
    return f"{first}, and {windows.six_months_from_day} to {windows.six_months_to_day}"


def _charted(settings: AuditSettings) -> str:
    """The columns in which a blank reads no."""
    columns = settings.charted_by_exception
    return wording.listed([column_words(column) for column in columns]) or "no column: a blank is not known"


def _tails(settings: AuditSettings) -> str:
    """The one-sided tails of the two limits."""
    thresholds = settings.thresholds
    ask, review = thresholds.ask_tail, thresholds.review_tail
    return f"{wording.percent(ask)}% (ask) and {wording.percent(review)}% (review)"


def _margins(settings: AuditSettings) -> str:
    """The differences the service holds too small to matter."""
    margins = settings.margins
    if not margins:
        return "none, so no published figure can be called compatible"
    return "; ".join(
        f"{word(name)} {wording.percent(size, places=wording.decimals(size))} points"
        for name, size in sorted(margins.items())
    )


def _fingerprints(results: AuditResults) -> Markup:
    """Files with their fingerprints, and versions."""
    told = files_read(results)
    told.append(("definitions", definitions_version(results.settings)))
    told.extend((name, str(version)) for name, version in results.versions.items())
    return html_table(
        "Files and versions",
        [Column("What", plain("name"), "label"), Column("Which", plain("value"), "text")],
        [{"name": name, "value": value} for name, value in told],
        foot="The whole fingerprint of every file is in manifest.json.",
    )


def glossary_section(results: AuditResults) -> Section:
    """What the words mean."""
    return Section("glossary", "Glossary", "What the words mean", (Terms(tuple(_GLOSSARY.items())),))


def cautions_section(results: AuditResults) -> Section:
    """What this report is for, and what it cannot say."""
    return Section("cautions", "Cautions", "What this report can and cannot do", (Items(_CAUTIONS),))
