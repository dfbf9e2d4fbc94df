"""The placements behind a "not met" of what follow-up should bring: the check done, the outcome known."""

import pandas as pd

from audit.tallies import of_kind

# Of each figure the column that says so, and the placements that it counts.
_COUNTED = {
    "check_done": ("check_done", "all"),
    "check_in_higher_risk": ("check_done", "all"),
    "outcome_known": ("outcome_known", "first"),
}
_RISK = "higher_risk"
_ANSWERS = {True: "yes", False: "no"}


def follow_up_not_met(placements: pd.DataFrame, *, figure: str) -> pd.DataFrame:
    """The placements whose check was not done in its window, or whose first year's outcome is not known.

    Population: as in `audit.measures.follow_up`; those that its figure counts in ``n`` and not in ``events``. Not
    yet due is not listed.

    Parameters
    ----------
    placements
        The table `audit.schema.derived.PLACEMENTS`, of the window that is asked for.
    figure
        ``check_done``, ``check_in_higher_risk`` or ``outcome_known``.

    Returns
    -------
    DataFrame
        ``figure, site_ref, visit_ref, date`` (of the visit at which the device was placed), ``higher_risk``
        (``yes``, ``no``, ``not recorded``), by date; none, no rows.

    Raises
    ------
    ValueError
        The figure is none of these.

    Examples
    --------
    >>> import pandas as pd
    >>> rows = pd.DataFrame({"placement_kind": "first", "site_ref": "QUAY", "visit_ref": ["V1", "V2", "V3"],
    ...     "placement_date": pd.to_datetime(["2026-07-01", "2026-07-02", "2026-09-20"]),
    ...     "check_done": pd.array([True, False, None], dtype="boolean"),
    ...     "higher_risk": pd.array([None, True, False], dtype="boolean")})
    >>> follow_up_not_met(rows, figure="check_done")[["visit_ref", "higher_risk"]].values.tolist()
    [['V2', 'yes']]
    """
    if figure not in _COUNTED:
        raise ValueError(f"figure must be among {', '.join(_COUNTED)}, got {figure!r}")
    column, kind = _COUNTED[figure]
    own = of_kind(placements, kind)
    answer = own[column].astype("boolean")
    missed = own[(~answer).fillna(False).to_numpy(dtype=bool)].rename(columns={"placement_date": "date"})
    risk = missed[_RISK].astype(object).map(_ANSWERS).fillna("not recorded")
    listed = missed.assign(figure=figure, **{_RISK: risk})
    listed = listed.sort_values(["date", "site_ref", "visit_ref"], kind="stable")
    return listed[["figure", "site_ref", "visit_ref", "date", _RISK]].reset_index(drop=True)
