"""What one audit criterion is: a standard of care, the figure that shows whether it was met, and its level.

The criteria that come with the package are in ``audit/criteria.toml``; `audit.criteria` reads them.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from audit.schema.indicators import BY_TABLE
from audit.schema.indicators_of_attempts import CARE_ITEMS

KINDS = ("structure", "process", "outcome")
AT_LEAST, AT_MOST = "at_least", "at_most"
DIRECTIONS = (AT_LEAST, AT_MOST)
ATTESTED = "attested"
NO_SOURCE = "local standard, common practice, no source"

Answer = Literal["yes", "no", ""]


@dataclass(frozen=True)
class Counted:
    """Where the audit holds a figure: its result table, the labels of its rows, and its declaration.

    With `others`, what meets the criterion is everyone but the events of the table.
    """

    table: str
    labels: Mapping[str, str] = field(default_factory=dict)
    indicator: str = ""
    others: bool = False


@dataclass(frozen=True)
class Criterion:
    """One criterion as it is in force.

    `figure` is a key of `FIGURES`, or ``attested`` for what no log can show; `by` and `stratum` narrow it to one
    group of women. `target` is None where none is set. `changed` says what the service changed, `attested` what it
    answered and `attested_on` when (ISO).
    """

    id: str
    kind: str
    title: str
    sentence: str
    figure: str
    source: str
    version: str
    effective_from: str
    numerator: str = ""
    denominator: str = ""
    exceptions: str = "none"
    target: float | None = None
    direction: str = AT_LEAST
    by: str = "overall"
    stratum: str = "overall"
    changed: str = ""
    retired: bool = False
    attested: Answer = ""
    attested_on: str = ""


# What a criterion may count. How many removals there are, and continuation, are not here: a target for them would
# reward reluctance to take a device out. How soon a removal follows a request is.
FIGURES: Mapping[str, Counted] = {
    **{care.item: Counted(care.table, {"item": care.item}, care.item) for care in CARE_ITEMS},
    "safety_net": Counted("safety_net", {"item": "whole_safety_net"}, "safety_net"),
    "emergency_placement_in_time": Counted("emergency_placement_in_time"),
    "clinicians_certified": Counted("clinicians_certified", indicator="clinician_volume"),
    "threads_not_seen_resolved": Counted("threads_not_seen", {"definition": "not_resolved"}, others=True),
    "check_done": Counted("check_done"),
    "check_in_higher_risk": Counted("check_in_higher_risk"),
    "position_after_first_cycle": Counted(
        "position_verified", {"due": "first_cycle", "definition": "either"}
    ),
    "position_at_six_months": Counted("position_verified", {"due": "six_months", "definition": "either"}),
    "removal_on_request": Counted("removal_on_request"),
    "outcome_known": Counted("outcome_known"),
    "first_pass_success": Counted("first_pass_success"),
    "failed_insertions": Counted("failed_insertions", {"unit": "visit"}),
    "vasovagal_any": Counted(
        "vasovagal_by_parity", {"definition": "vasovagal_any"}, indicator="vasovagal_by_parity"
    ),
    "vasovagal_grade_2_plus": Counted(
        "vasovagal_by_parity", {"definition": "vasovagal_grade_2_plus"}, indicator="vasovagal_by_parity"
    ),
    "syncope": Counted("vasovagal_by_parity", {"definition": "syncope"}, indicator="vasovagal_by_parity"),
    "perforation": Counted("perforation", {"definition": "confirmed"}),
    "expulsion_first_year": Counted("first_year_endings", {"cause": "expulsion"}, indicator="outcome_known"),
}
# What a service may be tempted to set a target for, and why it cannot.
UNTARGETED = ("continuation", "removal")
WHY_UNTARGETED = (
    "Continuation and removal have no target: a target would reward reluctance to take a device out when a woman "
    "asks. They are described, never judged"
)


def indicator_of(figure: str) -> str:
    """The name of the declaration in `BY_TABLE` that says how a figure is counted; empty for what is attested."""
    if figure == ATTESTED:
        return ""
    counted = FIGURES[figure]
    return counted.indicator or counted.table


def counted_words(criterion: Criterion) -> tuple[str, str]:
    """Numerator and denominator of a criterion in words: its own, else those of its figure's declaration."""
    if criterion.figure == ATTESTED:
        return (
            criterion.numerator or "The service states that it is so.",
            criterion.denominator or "One statement.",
        )
    declared = BY_TABLE[indicator_of(criterion.figure)]
    return criterion.numerator or declared.numerator, criterion.denominator or declared.denominator
