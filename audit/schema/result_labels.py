"""The columns of the result tables that say what a row is about, the tables' titles and their keys."""

from audit.schema.derived import CENSORING_RULES
from audit.schema.indicators import INDICATORS

LABELS = {
    "by": "What the rows are divided by.",
    "stratum": "The group, or overall.",
    "window": "Which dates are counted: the period, the twelve months to its end, or the whole log.",
    "unit": "What is counted: visits, each operator's attempts, or women.",
    "placement_kind": "Which placements: first, replacement, repeat, or all.",
    "censoring": "How women not heard of again are treated: last known, or assumed in place.",
    "cause": "The ending or reason counted.",
    "definition": "Which events count.",
    "item": "What is counted or asked.",
    "grade": "Grade of the reaction.",
    "phase": "When the reaction began.",
    "technique": "Technique whose use is compared.",
    "group": "The group compared.",
    "reference": "The group it is compared with.",
    "adjusted_for": "What the comparison allows for.",
    "within": "Strata the groups are compared within; empty where there are none.",
    "population": "Women the figure is about.",
    "band": "Days since placement that are counted.",
    "scanned": "Why the scan was done.",
    "outcome": "What happened.",
    "reading": "How unclear cases are read.",
    "figure": "The figure, by its fixed name.",
    "criterion": "The criterion, by its fixed name.",
    "benchmark": "The published figure, by its fixed name.",
    "disposition": "What became of the rows.",
    "indicator": "The result table the indicator is in.",
    "rule": "The check that found it.",
    "column": "Column of the log.",
    "need": "Why somebody must act.",
    "month": "Month, as 2026-07.",
    "id": "The action, by its fixed name.",
    "practice": "Whether the attempt was made under supervision: supervised, independent, or all together.",
    "chart": "Which chart: learning, or monitoring.",
}
TEXTS = {
    "reason": "Why.",
    "title": "What it is called.",
    "severity": "How far it matters.",
    "message": "What was found, in words.",
    "site_ref": "The service's code for the place.",
    "visit_ref": "The service's code for the visit.",
    "requirement": "How much the audit needs the column.",
    "method": "How figure and limits were computed.",
    "caution": "What weakens the figure; empty where nothing does.",
    "standing": "Standing of the clinician.",
    "target_kind": "Where the target comes from.",
    "signal": "Whether a look at cases is asked for.",
    "direction": "On which side of the target.",
    "case_mix_signal": "The signal, case mix allowed for.",
    "case_mix_direction": "On which side, case mix allowed for.",
    "action": "What to do, or what is planned.",
    "citation": "The paper the figure is from.",
    "kind": "Structure, process or outcome; or what kind of figure.",
    "version": "Version of the criterion.",
    "better": "Which way is better.",
    "verdict": "What can be said.",
    "status": "Standing of the criterion, the comparison or the action.",
    "sentence": "The criterion as it is agreed.",
    "numerator": "What is counted.",
    "denominator": "Among whom.",
    "exceptions": "Who is excepted.",
    "changed": "What the service changed in the criterion.",
    "attested": "What the service states.",
    "measure": "What kind of figure it is, or where it stands.",
    "published_limits": "Where the limits of the published figure come from.",
    "differs": "How the published women differ from the service's, in words.",
    "differs_in": "In what they differ.",
    "probability_method": "How the probabilities were computed.",
    "can_be_settled": "Whether more women could settle it.",
    "setting": "Where the published women were seen.",
    "years": "When they were seen.",
    "identifier": "Identifier of the paper.",
    "verified": "How far the figure was checked against the paper.",
    "then_period": "Period of the last audit.",
    "now_period": "Period of this audit.",
    "definitions_version": "Version of the definitions the figure was counted by.",
    "period": "Period the figure is of.",
    "gap": "The gap that was found.",
    "owner_role": "Who owns the action.",
    "evidence": "Evidence of it.",
    "opened": "Period the action was opened in.",
    "proposed": "The status the figures propose.",
    "flag": "What is amiss with the action.",
    "before_periods": "Periods before the action.",
    "after_periods": "Periods after the action.",
    "clinician_ref": "The service's code for the clinician.",
    "what": "What happened, or why.",
    "expected_by": "How the expected number was computed.",
    "level": "Where the acceptable proportion comes from.",
    "limit_from": "Where the limit comes from.",
    "state": "How the chart stands at its last attempt.",
    "latest_visit_ref": "The service's code for the visit of the latest signal.",
    "device_class": "Class of the device.",
    "parity_group": "Births before, and of which kind.",
    "age_band": "Age, in bands.",
    "timing_group": "When the device was placed, after what.",
    "resistance_met": "Resistance met at the internal os.",
    "dilation": "How the cervix was dilated.",
    "local_anaesthetic": "Local anaesthetic given.",
    "onset_phase": "When the reaction began.",
}
CODES: dict[str, tuple[str, ...]] = {
    "censoring": CENSORING_RULES,
    "window": ("period", "rolling_12_months", "all"),
    "severity": ("notice", "warning", "error"),
    "requirement": ("required", "one_of", "recommended", "optional"),
    "better": ("lower", "higher", "neutral"),
}
# Tables that no indicator names.
_TITLES = {
    "row_accounting": "Rows in, used and set aside",
    "indicator_availability": "What this log allows to be counted",
    "finding_counts": "What was found doubtful, counted",
    "query_list": "Lines to look up and correct",
    "field_completeness": "How far each column is filled in",
    "core_completeness": "How far the core columns are filled in",
    "missingness": "What is not recorded, and where",
    "caseload": "Caseload",
    "cusum_limits": "Limits of the charts attempt by attempt, and what they do",
    "cusum_signals": "Charts attempt by attempt: how each stands",
    "learning_curve_attempts": "Attempts in order, with the running totals",
    "clinician_counts": "Each clinician's work, counted",
    "clinician_events": "Each clinician's failures and events, by visit",
    "clinician_completeness": "How far each clinician's records are filled in",
    "failed_insertion_contrasts": "Failed insertions: groups compared",
    "clinicians_certified": "Clinicians certified",
    "vasovagal_technique_contrasts": "Vasovagal reactions: techniques compared",
    "clinician_limits": "Limits to draw around the clinicians' figures",
    "failure_model": "Model of failed insertions: its terms",
    "failure_model_fit": "Model of failed insertions: how it fits",
    "vasovagal_contrasts": "Vasovagal reactions: groups compared",
    "vasovagal_adjusted": "Vasovagal reactions: groups compared, age allowed for",
    "first_year_endings": "Endings in the first year, of those known",
    "pelvic_infection_incidence": "Pelvic infection, incidence",
    "ending_incidence": "Every ending, incidence",
    "continuation_summary": "Continuation: numbers and medians",
    "continuation_tests": "Continuation: tests between groups",
    "expulsion_tests": "Expulsion: tests between groups",
    "expulsion_hazard_ratios": "Expulsion: hazard ratios",
    "expulsion_all_placements": "Expulsion, every placement counted",
    "continuation_differences": "Continuation: differences of mean time in use",
    "life_table_rates": "Life-table rates",
    "period_against_earlier": "The period's events against earlier rates",
    "follow_up_bounds": "First year, with bounds for those not known",
    "follow_up_completeness": "How complete follow-up is",
    "expulsion_sensitivity": "Expulsion under other readings of unclear cases",
    "action_list": "What needs action today",
    "first_year_in_period": "First-year figures of the period",
    "criteria": "Criteria: how far they are met",
    "criteria_definitions": "Criteria: what they say",
    "criteria_cases": "Criteria: visits that did not meet them",
    "benchmark_comparison": "The service beside published figures",
    "change_since_last": "What changed since the last audit",
    "series": "Every audit on record",
    "actions": "The action plan and what the figures say of it",
}
# Curves step by step: thousands of rows, of which a reader needs a few days.
STEP_TABLES = ("expulsion_incidence", "removal_incidence", "ending_incidence", "continuation_curve")
# Tables whose rows no set of labels tells apart without a gap.
_LISTS = (
    *("query_list", "action_list", "criteria_cases", "finding_counts", "row_accounting", "clinician_events"),
    *("benchmark_comparison", "case_ascertainment", "postpartum_balance"),
)
_KEY_ORDER = (
    *("id", "figure", "criterion", "benchmark", "indicator", "by", "stratum", "group", "window", "unit"),
    *(
        "placement_kind",
        "censoring",
        "population",
        "definition",
        "item",
        "cause",
        "technique",
        "used",
        "grade",
    ),
    *("phase", "due", "scanned", "outcome", "reading", "band", "column", "month", "months", "days"),
)
# Tables whose key is not all their labels.
_KEYS = {
    "clinician_limits": ("n",),
    "learning_curve": ("by", "stratum", "practice"),
    "cusum_limits": ("chart",),
    "cusum_signals": ("by", "stratum", "chart"),
    "learning_curve_attempts": ("by", "stratum", "attempt_number"),
    "criteria_definitions": ("criterion",),
    "actions": ("id",),
    "series": ("figure", "by", "stratum", "period"),
    "perforation_expected": ("by", "stratum", "window"),
    "failure_model_fit": ("by", "stratum"),
    "indicator_availability": ("indicator", "title"),
}


def table_title(table: str) -> str:
    """What a result table is called.

    Examples
    --------
    >>> table_title("caseload"), table_title("failed_insertions"), table_title("of_ours")
    ('Caseload', 'Failed insertions', 'Of ours')
    """
    if table in _TITLES:
        return _TITLES[table]
    spoken = table.replace("_", " ").capitalize()
    return next((one.title for one in INDICATORS if one.table == table), spoken)


def primary_key(table: str, columns: tuple[str, ...]) -> tuple[str, ...]:
    """The columns that tell the rows of a result table apart; none where it is a list.

    Examples
    --------
    >>> primary_key("caseload", ("item", "n", "window"))
    ('window', 'item')
    """
    if table in _LISTS:
        return ()
    return _KEYS.get(table) or tuple(name for name in _KEY_ORDER if name in columns)
