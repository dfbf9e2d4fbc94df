"""Which figure of this audit answers which published one: its result table, its labels and its columns."""

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class OwnKind:
    """Where this audit holds the figure for an outcome: table, fixed labels, and its value and limits.

    `follow_up` says that it rests on time since placement; `whenever` that it counts what was found at any time up
    to the freeze; `share_of` names the count that its events are a share of, where the table gives a rate only;
    `counted` is False for what is no count of events, such as a median.
    """

    table: str
    labels: Mapping[str, object]
    columns: tuple[str, str, str] = ("proportion", "ci_lower", "ci_upper")
    follow_up: bool = False
    whenever: bool = False
    share_of: str = ""
    counted: bool = True


_KM = ("one_minus_km", "km_lower", "km_upper")
_INCIDENCE = ("incidence", "ci_lower", "ci_upper")
_RATE = ("rate", "ci_lower", "ci_upper")
_CHOSEN = {"placement_kind": "first", "censoring": "last_known"}
_WHOLE_RATE = {**_CHOSEN, "band": "all", "window": "all"}
_EXACT = ("proportion", "exact_lower", "exact_upper")
_EVERY = {"placement_kind": "all", "censoring": "last_known"}
UNITS = {
    "per_operator_attempt": "operator_attempt",
    "per_visit": "visit",
    "per_woman_first_attempt": "woman_first_attempt",
    # Likeness says that the paper does not say.
    "not_stated": "visit",
}
# Definitions of a paper that this audit can match, as the labels of its own rows.
DEFINITIONS: Mapping[tuple[str, str], Mapping[str, object]] = {
    ("vasovagal", "syncope_or_similar"): {"definition": "syncope"},
    ("vasovagal", "syncope"): {"definition": "syncope"},
    ("perforation", "complete"): {"definition": "complete"},
    ("malposition", "low_lying"): {"definition": "low_in_cavity"},
    ("pelvic_infection", "after_20_days"): {"band": "over 20"},
}
BREASTFEEDING = {
    ("up to 36", True): "to_36_weeks_breastfeeding",
    ("up to 36", False): "to_36_weeks_not_breastfeeding",
    ("more than 36", True): "after_36_weeks_breastfeeding",
    ("more than 36", False): "after_36_weeks_not_breastfeeding",
}
OWN = {
    ("failed_insertion", "proportion"): OwnKind("failed_insertions", {"window": "all"}),
    ("vasovagal", "proportion"): OwnKind("vasovagal_by_parity", {"window": "all"}),
    ("perforation", "proportion"): OwnKind(
        "perforation", {"definition": "confirmed", "window": "all"}, _EXACT, whenever=True
    ),
    ("perforation", "rate"): OwnKind(
        "person_time_rates", {**_WHOLE_RATE, "cause": "perforation"}, _RATE, follow_up=True, whenever=True
    ),
    ("expulsion", "one_minus_km"): OwnKind(
        "expulsion_incidence", {**_CHOSEN, "cause": "expulsion"}, _KM, follow_up=True
    ),
    ("expulsion", "cumulative_incidence"): OwnKind(
        "expulsion_incidence", {**_CHOSEN, "cause": "expulsion"}, _INCIDENCE, follow_up=True
    ),
    ("expulsion", "rate"): OwnKind(
        "person_time_rates", {**_WHOLE_RATE, "cause": "expulsion"}, _RATE, follow_up=True
    ),
    ("continuation", "survival"): OwnKind(
        "continuation_curve", _CHOSEN, ("survival", "ci_lower", "ci_upper"), follow_up=True
    ),
    ("removal_bleeding_or_pain", "one_minus_km"): OwnKind(
        "removal_incidence", {**_CHOSEN, "cause": "bleeding_or_pain"}, _KM, follow_up=True
    ),
    ("pregnancy", "rate"): OwnKind("pregnancy", _EVERY, _RATE, follow_up=True),
    ("pregnancy", "one_minus_km"): OwnKind(
        "ending_incidence", {**_CHOSEN, "cause": "pregnancy"}, _KM, follow_up=True
    ),
    ("pregnancy", "cumulative_incidence"): OwnKind(
        "ending_incidence", {**_CHOSEN, "cause": "pregnancy"}, _INCIDENCE, follow_up=True
    ),
    ("pregnancy_after_emergency_placement", "proportion"): OwnKind("pregnancy_after_emergency", {}, _EXACT),
    ("ectopic_pregnancy", "rate"): OwnKind("ectopic_pregnancy", _EVERY, _RATE, follow_up=True),
    ("ectopic_share_of_pregnancies", "proportion"): OwnKind(
        "ectopic_pregnancy", _EVERY, _EXACT, whenever=True, share_of="n_pregnancies"
    ),
    ("pelvic_infection", "rate"): OwnKind(
        "pelvic_infection",
        {**_EVERY, "definition": "suspected_or_confirmed", "band": "all"},
        _RATE,
        follow_up=True,
    ),
    **{
        (outcome, "proportion"): OwnKind("threads_not_seen", {"definition": definition}, whenever=True)
        for outcome, definition in (
            ("threads_not_seen", "not_seen"),
            ("threads_not_seen_device_in_place", "in_uterus"),
            ("threads_not_seen_expelled", "expelled"),
            ("threads_not_seen_perforated", "outside_uterus"),
        )
    },
    # Of scans led by symptoms more find something: papers on those have no figure of ours.
    ("malposition", "proportion"): OwnKind(
        "malposition", {"scanned": "routine", "definition": "malposition"}, whenever=True
    ),
    ("insertion_pain", "median"): OwnKind(
        "pain_scores", {"window": "all"}, ("median", "median_lower", "median_upper"), counted=False
    ),
    ("severe_insertion_pain", "proportion"): OwnKind("pain_scores", {"window": "all"}),
    ("outcome_known", "proportion"): OwnKind("outcome_known", {"window": "all", "placement_kind": "first"}),
    ("check_done", "proportion"): OwnKind("check_done", {"window": "all", "placement_kind": "all"}),
}
