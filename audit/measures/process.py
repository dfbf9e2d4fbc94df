"""Care given at an insertion visit: what was checked, offered and said, and the plan when no device was placed.

Every item has three answers, met, not met and not recorded, and a blank is always the third. Where an item asks
for several things, one that is not met decides; met needs them all. Exceptions are counted and leave the
denominator. How many must be met is no part of this module.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from audit.statistics.summaries import with_proportions
from audit.tallies import OVERALL, begun_visits, count_states, stacked

Condition = tuple[str, tuple[str, ...]]

_UNSAID = "unknown"
# What a visit can be under an item that it belongs to.
STATES = ("met", "not_met", "not_recorded", "exception")
OUTSIDE = -1


@dataclass(frozen=True)
class Asked:
    """One thing asked of a visit: the codes that meet it and those that do not; anything else is not recorded.

    `only` limits it to the visits that meet a condition; the others need no answer.
    """

    column: str
    met: tuple[str, ...]
    not_met: tuple[str, ...]
    only: Condition | None = None


@dataclass(frozen=True)
class Item:
    """One item: everything asked for it, and whom it concerns.

    `among` names the conditions that a visit must all meet to belong; `exceptions` the groups of conditions
    that take a visit out when all of one group hold; `instead` the conditions that meet the item by themselves.
    """

    asked: tuple[Asked, ...]
    among: tuple[Condition, ...] = ()
    exceptions: tuple[tuple[Condition, ...], ...] = ()
    instead: tuple[Condition, ...] = ()


_PLACED: Condition = ("visit_outcome", ("placed",))
_EMERGENCY: Condition = ("indication", ("emergency_contraception",))
_MEASURED = ("sound", "inserter_scale", "ultrasound", "sound_and_ultrasound")
# Reasons for which an attempt may have ended before anything could be measured.
_BEFORE_MEASURING = (
    *("could_not_pass_internal_os", "could_not_sound", "cervix_not_seen", "pain", "vasovagal"),
    *("equipment_or_staff", "patient_request", "other", _UNSAID),
)

ITEMS: Mapping[str, Item] = {
    "pregnancy_excluded": Item(
        (Asked("pregnancy_excluded", ("yes_criteria", "yes_test"), ("no",)),), exceptions=((_EMERGENCY,),)
    ),
    "infection_risk": Item(
        (
            Asked("infection_risk_assessed", ("yes",), ("no",)),
            Asked(
                "sti_test",
                ("not_indicated", "offered_declined", "taken_before", "taken_same_visit"),
                ("indicated_not_offered",),
            ),
        )
    ),
    "pelvis_assessed": Item((Asked("bimanual_done", ("bimanual", "ultrasound", "both"), ("none",)),)),
    "assistant_present": Item((Asked("chaperone_or_assistant_present", ("yes",), ("no",)),)),
    "consent_and_risks": Item(
        (
            Asked("consent_recorded", ("verbal", "written"), ("no",)),
            Asked("risks_discussed", ("all",), ("partial", "no")),
        )
    ),
    "bleeding_information": Item((Asked("bleeding_change_info", ("yes",), ("no",)),)),
    "pain_options": Item((Asked("pain_options_discussed", ("yes",), ("no",)),)),
    "device_information": Item((Asked("info_device_given", ("yes",), ("no",)),), among=(_PLACED,)),
    "thread_advice": Item((Asked("thread_check_advice", ("yes",), ("no",)),), among=(_PLACED,)),
    "uterus_measured": Item(
        (
            Asked("uterus_measured_by", _MEASURED, ("not_measured",)),
            # Missing where no length is recorded: nothing says no.
            Asked("uterus_length_recorded", ("yes",), ("no",)),
        ),
        exceptions=(
            (
                ("visit_outcome", ("failed",)),
                ("failure_reason", _BEFORE_MEASURING),
                ("uterus_measured_by", ("not_measured", _UNSAID)),
            ),
        ),
    ),
    "analgesia_advice": Item(
        (Asked("analgesia_advised", ("yes",), ("no",)),),
        exceptions=((_EMERGENCY,), (("analgesia_advised", ("contraindicated",)),)),
    ),
    "resistance_handled": Item(
        # Not needed contradicts the resistance that puts the visit here.
        (Asked("second_dilation_done", ("yes",), ("no", "not_needed")),),
        among=(("resistance_met", ("firm", "impassable")),),
        exceptions=((("stopped_on_request", ("yes",)),), (("second_dilation_done", ("declined",)),)),
        instead=(("ultrasound_guidance", ("transabdominal", "transvaginal")), ("visit_outcome", ("failed",))),
    ),
    "no_routine_drugs": Item(
        (
            Asked("misoprostol_used", ("no", "yes_after_failed_attempt"), ("yes_routine",)),
            Asked("antibiotic_prophylaxis", ("no", "yes_indicated"), ("yes_routine",)),
        )
    ),
}

_PLAN = Asked(
    "onward_plan",
    (*("rebook_same_fitter", "rebook_experienced_fitter", "ultrasound_list", "hospital", "other_method"),),
    ("none",),
)
_BRIDGE = Asked("bridging_method_given", ("yes", "declined", "not_needed"), ("no",))
_ORAL = Asked("bridging_oral_ec_given", ("yes",), ("no",), only=_EMERGENCY)
SAFETY_NET: Mapping[str, Item] = {
    "whole_safety_net": Item((_PLAN, _BRIDGE, _ORAL)),
    "plan_made": Item((_PLAN,)),
    "method_covered": Item((_BRIDGE,)),
    "oral_emergency_contraception": Item((_ORAL,), among=(_EMERGENCY,)),
}


def process_of_care(
    attempts: pd.DataFrame,
    *,
    by: str = OVERALL,
    items: Collection[str] | None = None,
    recorded_floor: float = 0.8,
) -> pd.DataFrame:
    """What was checked, offered and said at insertion visits, item by item.

    Population: visits at which an insertion was begun, each woman once a day; for some items only those that
    placed a device, were planned, or met resistance. Denominator: visits at which the item is recorded, less
    the exceptions. Unknown: not recorded, counted in ``n_unknown``; ``bound_lower`` is the share met if all of
    them were not.

    Parameters
    ----------
    attempts
        The table `audit.schema.derived.ATTEMPTS`.
    by
        ``overall`` or a column of that table, such as ``site_ref``.
    items
        Names of `ITEMS`; all where None.
    recorded_floor
        Smallest share recorded at which the proportion may be used.

    Returns
    -------
    DataFrame
        Per item and stratum: ``by, stratum, item, events`` (met), ``n, n_unknown`` (not recorded),
        ``n_not_met, n_exception``, ``proportion`` and limits (0-1), ``method, caution``. Overall, an empty table
        gives a row of zeros for each item.

    Raises
    ------
    ValueError
        An item is none of these.

    Examples
    --------
    >>> import pandas as pd
    >>> rows = pd.DataFrame({"visit_outcome": "placed", "indication": "contraception",
    ...     "pregnancy_excluded": ["yes_test", "no", None]})
    >>> process_of_care(rows, items=["pregnancy_excluded"])[["events", "n", "n_unknown"]].values.tolist()
    [[1, 2, 1]]
    """
    wanted = list(ITEMS) if items is None else list(items)
    wrong = [name for name in wanted if name not in ITEMS]
    if wrong:
        raise ValueError(f"items must be among {', '.join(ITEMS)}, got {wrong[0]!r}")
    return _counted(begun_visits(attempts), {name: ITEMS[name] for name in wanted}, by, recorded_floor)


def safety_net(attempts: pd.DataFrame, *, by: str = OVERALL, recorded_floor: float = 0.8) -> pd.DataFrame:
    """Whether women who left without a device left with a plan and with contraception.

    Population: visits that ended without a device, deferred before the start or failed (stopped on request
    included), each woman once a day. Met: an onward plan, and a method supplied, declined or not needed; in an
    emergency oral emergency contraception too. Unknown: a part not recorded while none is a no.

    Parameters
    ----------
    attempts
        The table `audit.schema.derived.ATTEMPTS`.
    by
        ``overall`` or a column of that table, such as ``visit_outcome``.
    recorded_floor
        Smallest share recorded at which the proportion may be used.

    Returns
    -------
    DataFrame
        The columns of `process_of_care`; items ``whole_safety_net`` and its parts ``plan_made,
        method_covered, oral_emergency_contraception`` (emergencies only).

    Examples
    --------
    >>> import pandas as pd
    >>> rows = pd.DataFrame({"visit_outcome": ["failed", "failed", "placed"], "indication": "contraception",
    ...     "onward_plan": ["hospital", "none", None], "bridging_method_given": ["yes", None, None],
    ...     "bridging_oral_ec_given": pd.array([None] * 3, dtype="boolean")})
    >>> safety_net(rows)[["item", "events", "n", "n_unknown"]].values.tolist()[:2]
    [['whole_safety_net', 1, 2, 0], ['plan_made', 1, 2, 0]]
    """
    without = attempts[attempts["visit_outcome"].isin(["failed", "deferred"])]
    return _counted(without, SAFETY_NET, by, recorded_floor)


def care_not_met(attempts: pd.DataFrame) -> pd.DataFrame:
    """The visits behind every "not met" of `process_of_care` and `safety_net`.

    Population: as there. A visit that is not recorded, or an exception, is not listed.

    Parameters
    ----------
    attempts
        The table `audit.schema.derived.ATTEMPTS`, of the window that is asked for.

    Returns
    -------
    DataFrame
        ``figure`` (the item; ``safety_net`` for the whole of it), ``site_ref, visit_ref, date``; item by item, then
        by date. Nothing not met gives no rows.

    Examples
    --------
    >>> import pandas as pd
    >>> from audit.schema.derived import ATTEMPTS
    >>> rows = pd.DataFrame({name: [None, None] for name in ATTEMPTS.names}).assign(
    ...     visit_outcome="placed", visit_ref=["V1", "V2"], pain_options_discussed=["yes", "no"])
    >>> care_not_met(rows.assign(pain_options_discussed=pd.array([True, False], dtype="boolean")))[
    ...     ["figure", "visit_ref"]].values.tolist()
    [['pain_options', 'V2']]
    """
    without = attempts[attempts["visit_outcome"].isin(["failed", "deferred"])]
    begun = begun_visits(attempts)
    parts = [_missed(begun, name, item) for name, item in ITEMS.items()]
    parts.append(_missed(without, "safety_net", SAFETY_NET["whole_safety_net"]))
    return stacked(parts)


def _missed(visits: pd.DataFrame, figure: str, item: Item) -> pd.DataFrame:
    """The visits at which an item was not met."""
    found = visits[_states(visits, item) == STATES.index("not_met")]
    dated = found.rename(columns={"attempt_date": "date"}).sort_values(
        ["date", "site_ref", "visit_ref"], kind="stable"
    )
    listed: pd.DataFrame = dated.assign(figure=figure)[["figure", "site_ref", "visit_ref", "date"]]
    return listed


def _counted(visits: pd.DataFrame, items: Mapping[str, Item], by: str, recorded_floor: float) -> pd.DataFrame:
    """Met, not met, not recorded and exceptions of each item."""
    states = {name: _states(visits, item) for name, item in items.items()}
    table = count_states(visits, states=states, codes=STATES, by=by)
    table = table.rename(columns={"met": "events", "not_recorded": "n_unknown", "exception": "n_exception"})
    table = table.rename(columns={"not_met": "n_not_met"})
    table.insert(4, "n", table[["events", "n_not_met"]].sum(axis=1))
    return with_proportions(table, recorded_floor=recorded_floor)


def _states(visits: pd.DataFrame, item: Item) -> np.ndarray:
    """Each visit's state under an item, as a place in `STATES`."""
    answers = [_answer(visits, asked) for asked in item.asked]
    met = np.logical_and.reduce([met for met, _ in answers])
    not_met = np.logical_or.reduce([not_met for _, not_met in answers])
    excepted = [_all_hold(visits, group) for group in item.exceptions]
    instead = [_holds(visits, *condition) for condition in item.instead]
    nobody = np.zeros(len(visits), dtype=bool)
    states: np.ndarray = np.select(
        [
            ~_all_hold(visits, item.among),
            np.logical_or.reduce([nobody, *excepted]),
            np.logical_or.reduce([met, *instead]),
            not_met,
        ],
        [OUTSIDE, *(STATES.index(state) for state in ("exception", "met", "not_met"))],
        STATES.index("not_recorded"),
    )
    return states


def _answer(visits: pd.DataFrame, asked: Asked) -> tuple[np.ndarray, np.ndarray]:
    """Where one thing asked is met, and where it is not; not concerned counts as met."""
    met, not_met = _holds(visits, asked.column, asked.met), _holds(visits, asked.column, asked.not_met)
    if asked.only is None:
        return met, not_met
    concerned = _holds(visits, *asked.only)
    return met | ~concerned, not_met & concerned


def _all_hold(visits: pd.DataFrame, conditions: Collection[Condition]) -> np.ndarray:
    """Where every condition holds."""
    everybody = np.ones(len(visits), dtype=bool)
    holds: np.ndarray = np.logical_and.reduce(
        [everybody, *(_holds(visits, *condition) for condition in conditions)]
    )
    return holds


def _holds(visits: pd.DataFrame, column: str, codes: tuple[str, ...]) -> np.ndarray:
    """Where a column holds one of these codes; a blank reads as unknown, a flag as yes or no."""
    values = visits[column]
    if pd.api.types.is_bool_dtype(values.dtype):
        found = values.astype("boolean").isin([code == "yes" for code in codes if code != _UNSAID])
    else:
        found = values.isin(codes)
    blank = values.isna() if _UNSAID in codes else False
    held: np.ndarray = (found | blank).to_numpy(dtype=bool)
    return held
