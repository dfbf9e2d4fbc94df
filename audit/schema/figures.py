"""The figures an audit compares with its own past, and which way is better, said once.

The audit cycle, the action plan and the report read them here.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal

# Raised whenever what a figure counts changes; figures of two versions are never compared.
DEFINITIONS_VERSION = "1"

Better = Literal["lower", "higher", "neutral"]


@dataclass(frozen=True)
class HeadlineFigure:
    """One figure: the row of a result table that holds it, and which way is better.

    `labels` are the key columns of that row. `value` names the column of the figure: ``proportion``, or a column
    of a curve. A figure that is `neutral` is described and never judged: a target for it would reward keeping a
    device that a woman wants removed.
    """

    id: str
    title: str
    table: str
    better: Better
    labels: Mapping[str, object] = field(default_factory=lambda: MappingProxyType({}))
    value: str = "proportion"
    by: str = "overall"
    stratum: str = "overall"


_PERIOD = {"window": "period"}
_REACTIONS = {
    "vasovagal_any": "Vasovagal reaction, any grade",
    "vasovagal_grade_2_plus": "Vasovagal reaction, grade 2 or more",
    "syncope": "Loss of consciousness",
}
_PARITIES = (
    ("", "overall", "overall", ""),
    ("_vaginal_birth", "cervical_parity", "yes", ", a vaginal birth before"),
    ("_no_vaginal_birth", "cervical_parity", "no", ", no vaginal birth before"),
)
# Of women in whom nothing happens one hears late: "last known" would end their time before the period does.
_YEAR = {"placement_kind": "first", "censoring": "assumed_in_place"}

FIGURES: tuple[HeadlineFigure, ...] = (
    HeadlineFigure(
        "failed_insertions_per_visit",
        "Failed insertions, per visit",
        "failed_insertions",
        "lower",
        {**_PERIOD, "unit": "visit"},
    ),
    HeadlineFigure(
        "failed_insertions_per_operator_attempt",
        "Failed insertions, per operator attempt",
        "failed_insertions",
        "lower",
        {**_PERIOD, "unit": "operator_attempt"},
    ),
    *(
        HeadlineFigure(
            f"{definition}{ending}",
            f"{title}{among}",
            "vasovagal_by_parity",
            "lower",
            {**_PERIOD, "definition": definition},
            by=by,
            stratum=stratum,
        )
        for definition, title in _REACTIONS.items()
        for ending, by, stratum, among in _PARITIES
    ),
    HeadlineFigure(
        "check_done",
        "Check at 4 to 6 weeks done",
        "check_done",
        "higher",
        {**_PERIOD, "placement_kind": "all"},
    ),
    HeadlineFigure(
        "outcome_known",
        "Outcome known at 12 months",
        "outcome_known",
        "higher",
        {**_PERIOD, "placement_kind": "first"},
    ),
    HeadlineFigure(
        "emergency_placement_in_time",
        "Emergency placement in time",
        "emergency_placement_in_time",
        "higher",
        _PERIOD,
    ),
    HeadlineFigure(
        "expulsion_12_months",
        "Expulsion within 12 months",
        "first_year_in_period",
        "lower",
        {**_YEAR, "figure": "expulsion"},
        value="incidence",
    ),
    HeadlineFigure(
        "continuation_12_months",
        "Still in use at 12 months",
        "first_year_in_period",
        "neutral",
        {**_YEAR, "figure": "continuation"},
        value="incidence",
    ),
)
