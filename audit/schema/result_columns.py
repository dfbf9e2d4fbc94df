"""What each column of the result tables means, with its unit and limits, said once.

The descriptor of the CSV files and the sheet of definitions in the workbook read it here.
"""

from collections.abc import Collection, Mapping
from dataclasses import replace

from audit.schema.column import Column, Kind
from audit.schema.result_labels import CODES, LABELS, TEXTS

SHARE = "proportion, 0 to 1"
DIFFERENCE = "difference of proportions"
_DAYS = "days"
_YEARS = "woman-years"
_PER_YEAR = "per woman-year"

_COUNTS = {
    "n": "How many the figure counts among: its denominator.",
    "events": "How many had the event: the numerator; in curves, on that day.",
    "n_unknown": "How many are left out, as it is not known whether they had the event.",
    "n_deferred": "Visits at which no insertion was begun, counted apart.",
    "n_not_yet_due": "How many are not counted, as the time to judge them has not come.",
    "n_not_due": "How many are not counted, as the time to judge them has not come.",
    "n_by_ovulation": "Of those in time, how many by days after ovulation.",
    "n_not_shown": "How many of which the log does not show whether they were in time.",
    "n_placed": "Attempts that placed a device.",
    "n_attempts": "Attempts begun.",
    "n_supervised": "Attempts under supervision.",
    "n_in_training": "Clinicians in training, who work under supervision.",
    "n_not_met": "How many did not meet it.",
    "n_not_recorded": "How many of which it is not recorded.",
    "n_exception": "How many are excepted.",
    "n_exceptions": "How many are excepted.",
    "n_earlier": "Reactions that began before the technique was used, and are not counted against it.",
    "n_strata": "Strata compared within.",
    "n_strata_used": "Strata that hold both groups and so count.",
    "n_women": "Women, some with several placements.",
    "n_complete": "Women observed as long as they could have been.",
    "n_after_unnoticed_expulsion": "Pregnancies after an expulsion that nobody had noticed.",
    "n_ectopic": "Pregnancies outside the uterus.",
    "n_pregnancies": "Pregnancies of any place.",
    "n_place_unknown": "Pregnancies whose place is not known.",
    "n_wasted_unknown": "Attempts of which the number of devices wasted is not recorded.",
    "cumulative_events": "Events up to and with that day.",
    "cumulative_censored": "How many left observation up to and with that day, without an event.",
    "at_risk": "How many are still observed on that day.",
    "at_start": "How many are observed at the start of the interval.",
    "reference_at_risk": "How many of the reference are still observed on that day.",
    "groups": "Groups compared.",
    "degrees_of_freedom": "Degrees of freedom of the test.",
    "homogeneity_degrees": "Degrees of freedom of the test of likeness between strata.",
    "parameters": "Terms of the model, the intercept among them.",
    "row": "Line of the file.",
    "source": "Number of the file.",
    "months": "End of the interval, in months since placement.",
    "devices_issued": "Devices the stock book gave out.",
    "devices_returned": "Devices that came back unused.",
    "devices_placed": "Devices the log placed.",
    "devices_wasted": "Devices the log wasted.",
    "accounted_for": "Devices placed or wasted by the log.",
    "not_accounted_for": "Devices used by the stock book that the log lacks; below zero, it holds more.",
    "then_events": "Numerator at the last audit.",
    "then_n": "Denominator at the last audit.",
    "then_n_unknown": "Left out at the last audit, as not known.",
    "now_events": "Numerator now.",
    "now_n": "Denominator now.",
    "now_n_unknown": "Left out now, as not known.",
    "n_of_kind": "How many of this kind the clinician has; the latest are listed.",
    "attempt_number": "Number of the attempt, in the order of the log.",
    "failed": "1 where the attempt failed, else 0.",
    "signals": "How often the chart reached its limit.",
    "first_signal": "Number of the attempt of the first signal.",
    "latest_signal": "Number of the attempt of the latest signal.",
    "within_attempts": "Attempts within which the chance of a false signal holds.",
}
_SHARES = {
    "proportion": "Events over the denominator.",
    "survival": "The share still free of an ending on that day.",
    "incidence": "Cumulative incidence by that day: the share that ended so, other endings allowed for.",
    "one_minus_km": "1 - Kaplan-Meier: the share that would end so if no other ending could come first.",
    "target": "The proportion to reach, or that others are compared with.",
    "detectable": "The smallest proportion above the target that would be found as a signal four times in five.",
    "shrunken_proportion": "The proportion drawn towards that of all, the more the fewer the attempts.",
    "own_weight": "Weight of the clinician's own figure in the one drawn towards all.",
    "tail_upper": "Chance of so many events or more at the target.",
    "tail_lower": "Chance of so many events or fewer at the target.",
    "case_mix_tail_upper": "Chance of so many events or more, case mix allowed for.",
    "case_mix_tail_lower": "Chance of so many events or fewer, case mix allowed for.",
    "p_value": "Chance of a difference so large or larger if there were none.",
    "adjusted_p_value": "The same, adjusted for the many comparisons of a window (Benjamini and Hochberg).",
    "homogeneity_p_value": "Chance of strata so unlike if they were alike.",
    "ask_lower": "Below this proportion a look at cases is asked for.",
    "ask_upper": "Above this proportion a look at cases is asked for.",
    "review_lower": "Below this proportion a review of cases is called for.",
    "review_upper": "Above this proportion a review of cases is called for.",
    "cause_specific": "Life-table net share that ended so, other endings allowed for.",
    "cause_deleted": "Life-table share that would end so if no other ending could come first.",
    "known_only": "The proportion among those of whom it is known.",
    "best": "The proportion if nobody unknown had the event.",
    "worst": "The proportion if everybody unknown had the event.",
    "last_known": "Incidence by the year under the rule last known.",
    "assumed_in_place": "Incidence by the year under the rule assumed in place.",
    "figure_to_reach": "A published or chosen figure to compare with.",
    "share_complete": "The share observed as long as they could have been.",
    "completeness": "How much is known of what could be: time observed over time possible, or known over all.",
    "c_statistic": "Chance that the model ranks one with the event above one without.",
    "published_rate": "The published proportion used to expect events.",
    "probability_above": "Probability that the service's figure lies above the published one.",
    "probability_below": "Probability that the service's figure lies below the published one.",
    "then_proportion": "Proportion at the last audit.",
    "then_completeness": "Share recorded at the last audit.",
    "now_proportion": "Proportion now.",
    "now_completeness": "Share recorded now.",
    "before_proportion": "Proportion before the action.",
    "before_completeness": "Share recorded before the action.",
    "after_proportion": "Proportion after the action.",
    "after_completeness": "Share recorded after the action.",
    "service": "The service's figure, where nobody is given away by it.",
    "acceptable": "The acceptable proportion of failures.",
    "unacceptable": "The unacceptable proportion of failures.",
    "false_signal": "Chance of a false signal that the limit is chosen for.",
    "chance_if_false": "Chance of a signal within those attempts where there is nothing to signal.",
    "chance_if_true": "Chance of a signal within those attempts where there is.",
}
_NUMBERS = {
    "days": ("Days since placement.", _DAYS),
    "person_years": ("Time under observation.", _YEARS),
    "rate": ("Events over the time or number they are counted in.", _PER_YEAR),
    "standard_error": ("Standard error of the figure.", "as the figure"),
    "ratio": ("The figure over that of the reference, or observed over expected.", "ratio"),
    "difference": ("The figure less that of the reference, or now less then.", DIFFERENCE),
    "odds_ratio": ("Odds of the event against the reference level, by the model.", "ratio"),
    "hazard_ratio": ("Hazard of the event against the reference level, by the model.", "ratio"),
    "chi_square": ("Statistic of the test.", ""),
    "statistic": ("Statistic of the test.", ""),
    "homogeneity_chi_square": ("Statistic of the test of likeness between strata.", ""),
    "expected": ("Events to expect.", "events"),
    "median": ("The middle value.", "as the figure"),
    "centile": ("The ninetieth centile.", "as the figure"),
    "lower_quartile": ("A quarter lie at or below it.", "as the figure"),
    "upper_quartile": ("Three quarters lie at or below it.", "as the figure"),
    "median_days": ("Median of the days.", _DAYS),
    "mean": ("Mean time in use up to the horizon.", _DAYS),
    "reference_mean": ("The same of the reference.", _DAYS),
    "reference_events": ("Events of the reference.", "events"),
    "reference_n": ("Denominator of the reference.", ""),
    "share_to_reach": (
        "The share of those unknown that must have had the event to reach it; outside 0 to 1, no share does.",
        SHARE,
    ),
    "exposed": ("Number exposed in the interval, those leaving counted half.", ""),
    "survival_standard_error": ("Standard error of the survival.", "as the figure"),
    "cause_specific_standard_error": ("Standard error of the cause-specific share.", "as the figure"),
    "cause_deleted_standard_error": ("Standard error of the cause-deleted share.", "as the figure"),
    "observed_days": ("Days observed, all women together.", _DAYS),
    "potential_days": ("Days that could have been observed to the freeze.", _DAYS),
    "intercept": ("Intercept of the model.", "log odds"),
    "calibration_slope": ("Slope of the outcome on the model's log odds; 1 is perfect.", ""),
    "expected_slope": ("The slope to expect in new data, by shrinkage.", ""),
    "estimate": ("The figure of that outcome by that day.", SHARE),
    "horizon_days": ("Day the published figure is read at; 0 where it is no curve.", _DAYS),
    "published": ("The published figure.", "as its measure"),
    "published_events": ("Its numerator.", ""),
    "published_n": ("Its denominator.", ""),
    "published_years": ("Its time under observation.", _YEARS),
    "own": ("The service's figure.", "as its measure"),
    "own_events": ("Its numerator.", ""),
    "own_n": ("Its denominator.", ""),
    "margin": ("Within this difference the two count as compatible.", "as its measure"),
    "detectable_lower": ("The nearest lower figure this service could tell from its own.", "as its measure"),
    "detectable_higher": (
        "The nearest higher figure this service could tell from its own.",
        "as its measure",
    ),
    "more_needed": ("How many more are needed to settle it.", ""),
    "papers": ("Papers with a figure of this outcome.", ""),
    "papers_lowest": ("The lowest figure of these papers.", "as its measure"),
    "papers_highest": ("The highest figure of these papers.", "as its measure"),
    "given_size": ("Sample size the plan names.", ""),
    "n_needed": ("Denominator needed before anything is said.", ""),
    "before_events": ("Numerator before the action.", ""),
    "before_n": ("Denominator before the action.", ""),
    "before_n_unknown": ("Left out before the action, as not known.", ""),
    "after_events": ("Numerator after the action.", ""),
    "after_n": ("Denominator after the action.", ""),
    "after_n_unknown": ("Left out after the action, as not known.", ""),
    "least": ("The fewest that are ordinary at the service's figure for so many.", ""),
    "most": ("The most that are ordinary at the service's figure for so many.", ""),
    "vasovagal_grade": ("Grade of the reaction, 0 to 4.", ""),
    "observed_minus_expected": ("Failures seen less those to expect.", "failures"),
    "limit": ("The value at which the chart gives a signal.", ""),
    "cusum": ("Where the chart stands.", ""),
    "highest": ("The highest the chart has stood.", ""),
    "learning_cusum": ("Where the learning chart stands.", ""),
    "monitoring_cusum": ("Where the monitoring chart stands.", ""),
    "run_if_false": ("Attempts to a signal, on average, where there is nothing to signal.", "attempts"),
    "run_if_true": ("Attempts to a signal, on average, where there is.", "attempts"),
}
_FLAGS = {
    "available": "Whether the log records what the indicator needs.",
    "used": "Whether the value was used.",
    "in_log": "Whether the log has the column at all.",
    "poolable": "Whether counts of several services add up to this figure.",
    "target_met": "Whether the target was reached.",
    "drawn": "Whether there are attempts enough to draw.",
    "service_told": "Whether the service's figure can be told without giving a colleague away.",
    "learning_signal": "Whether the learning chart reached its limit at this attempt.",
    "monitoring_signal": "Whether the monitoring chart reached its limit at this attempt.",
    "prior_failed_insertion": "Whether an insertion had failed before.",
    "cervical_surgery": "Whether the cervix had been operated on.",
    "taken_over": "Whether another clinician took over.",
    "stopped_on_request": "Whether it was stopped because she asked.",
}
_DATES = {
    "date": "Day of the visit.",
    "found": "Day it was found.",
    "latest_signal_date": "Day of the latest signal.",
    "effective_from": "Day the criterion came into force.",
    "attested_on": "Day the service stated it.",
    "first_day": "First day of the period.",
    "last_day": "Last day of the period.",
    "data_to": "Freeze: the last day the data reach to.",
    "due": "Day the action is due.",
    "done": "Day the action was carried out.",
}
_DECLARED: dict[str, Column] = {
    **{name: Column(name, meaning, "text") for name, meaning in {**LABELS, **TEXTS}.items()},
    **{name: Column(name, {**LABELS, **TEXTS}[name], "code", codes) for name, codes in CODES.items()},
    **{name: Column(name, meaning, "integer") for name, meaning in _COUNTS.items()},
    **{
        name: Column(name, meaning, "number", unit=SHARE, minimum=0, maximum=1)
        for name, meaning in _SHARES.items()
    },
    **{name: Column(name, meaning, "number", unit=unit) for name, (meaning, unit) in _NUMBERS.items()},
    **{name: Column(name, meaning, "flag") for name, meaning in _FLAGS.items()},
    **{name: Column(name, meaning, "date") for name, meaning in _DATES.items()},
}


def _own(name: str, meaning: str, kind: Kind, unit: str = "") -> Column:
    """A column that means something else in one table."""
    return Column(name, meaning, kind, unit=unit)


# Where a name means something else in one table.
_IN_TABLE: Mapping[tuple[str, str], Column] = {
    ("vasovagal_by_technique", "used"): _own("used", "Whether the technique was used.", "text"),
    ("case_ascertainment", "used"): _own(
        "used", "Devices used by the stock book: issued less returned.", "integer"
    ),
    ("case_ascertainment", "ratio"): _own(
        "ratio", "Devices the log accounts for over those used by the stock book.", "number", "ratio"
    ),
    ("failure_model_fit", "used"): _own("used", "Whether the model is used to expect failures.", "flag"),
    ("criteria_definitions", "source"): _own("source", "Where the criterion comes from.", "text"),
    ("clinician_completeness", "requirement"): _own(
        "requirement", "How much the audit needs the column; of all columns together, all.", "text"
    ),
    ("position_verified", "due"): _own("due", "The window in which the check is due.", "text"),
    ("devices_wasted", "rate"): _own("rate", "Devices wasted for each attempt.", "number", "per attempt"),
    ("continuation_differences", "difference"): _own(
        "difference", "Mean time in use less that of the reference.", "number", _DAYS
    ),
    ("benchmark_comparison", "difference"): _own(
        "difference", "The service's figure less the published one.", "number", "as its measure"
    ),
    ("waiting_time", "median"): _own("median", "The middle value.", "number", _DAYS),
    ("removal_on_request", "median"): _own("median", "The middle value.", "number", _DAYS),
    ("waiting_time", "centile"): _own("centile", "The ninetieth centile.", "number", _DAYS),
    ("removal_on_request", "centile"): _own("centile", "The ninetieth centile.", "number", _DAYS),
    ("pain_scores", "median"): _own("median", "The middle score.", "number", "score, 0 to 10"),
}
# Whose limits the columns ci_lower and ci_upper are: the first of these that the table has.
_LIMITED = (
    *("proportion", "incidence", "estimate", "known_only", "survival", "rate", "odds_ratio", "hazard_ratio"),
)
_LIMITS = {
    "exact": ("proportion", "exact (Clopper-Pearson) 95% limit"),
    "bound": ("proportion", "bound, with everybody unknown counted one way,"),
    "km": ("one_minus_km", "95% limit"),
    "median": ("median_days", "95% limit"),
    "slope": ("calibration_slope", "95% limit"),
    "c": ("c_statistic", "95% limit"),
    "shrunken": ("shrunken_proportion", "95% limit"),
    "then_ci": ("then_proportion", "95% limit"),
    "now_ci": ("now_proportion", "95% limit"),
    "before_ci": ("before_proportion", "95% limit"),
    "after_ci": ("after_proportion", "95% limit"),
    **{
        f"{when}_exact": (f"{when}_proportion", "exact (Clopper-Pearson) 95% limit")
        for when in ("then", "now", "before", "after")
    },
}


def result_column(table: str, name: str, beside: Collection[str]) -> Column | None:
    """What a column of a result table means.

    Parameters
    ----------
    table
        Name of the result table.
    name
        Name of the column.
    beside
        All columns of that table: whose limits ``ci_lower`` and ``ci_upper`` are, they tell.

    Returns
    -------
    Column or None
        Its meaning, kind, unit and limits; None where nothing is declared.

    Examples
    --------
    >>> column = result_column("failed_insertions", "ci_lower", ["events", "n", "proportion", "ci_lower"])
    >>> column.meaning, column.unit
    ('Lower 95% limit of proportion.', 'proportion, 0 to 1')
    >>> result_column("failed_insertions", "no_such_column", []) is None
    True
    """
    own = _IN_TABLE.get((table, name)) or _DECLARED.get(name)
    return own or _limit(table, name, beside)


def _limit(table: str, name: str, beside: Collection[str]) -> Column | None:
    """A limit of another column of the table, in the unit of that column."""
    stem, _, side = name.rpartition("_")
    if side not in ("lower", "upper") or not stem:
        return None
    of, words = _whose(stem, beside)
    whole = None if of == name else result_column(table, of, beside)
    if whole is None:
        return None
    meaning = f"{side.capitalize()} {words} of {of}."
    return replace(whole, name=name, meaning=meaning, kind="number")


def _whose(stem: str, beside: Collection[str]) -> tuple[str, str]:
    """The column that limits belong to, and what kind of limits they are."""
    if stem == "ci":
        return next((name for name in _LIMITED if name in beside), "proportion"), "95% limit"
    if stem in _LIMITS and stem not in beside:
        return _LIMITS[stem]
    return stem, "95% limit"
