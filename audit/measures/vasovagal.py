"""Vasovagal reactions at insertion, by parity and by how severe they were.

What counts as a reaction decides the figure: reports run from under 1% (loss of consciousness, noted by
staff) to nearly half (any symptom, told by the woman). So each definition is a table row of its own and is never
compared with another. A blank is not a grade 0.
"""

import pandas as pd

from audit.statistics.contrasts import (
    ADJUSTED_COLUMNS,
    CONTRAST_COLUMNS,
    stratified_columns,
    trend_columns,
    two_group_columns,
)
from audit.statistics.summaries import share_of, with_proportions
from audit.tallies import begun_visits, count_outcomes, counts, tally_outcomes, tally_patterns

DEFINITIONS = ("vasovagal_any", "vasovagal_grade_2_plus", "syncope")
# Column, group of interest, group it is compared with: the wider cervix after a vaginal birth leads.
CONTRASTS = (
    ("cervical_parity", "no", "yes"),
    ("parous", "no", "yes"),
)
_CONTRAST_COLUMNS = ("by", "definition", "group", "reference", *CONTRAST_COLUMNS)
# Age comes before the insertion; anxiety and faints before would too, but a log seldom records them. What is done
# at the insertion and the pain of it come after, and are never adjusted for.
ADJUSTED_FOR = "age_band"
_ADJUSTED_COLUMNS = ("by", "definition", "adjusted_for", "group", "reference", *ADJUSTED_COLUMNS)
TREND = ("births_group", ("0", "1", "2", "3_plus"))


def vasovagal_by_parity(
    attempts: pd.DataFrame, *, by: str = "parity_group", recorded_floor: float = 0.8
) -> pd.DataFrame:
    """Vasovagal reactions as a proportion of insertion visits, per parity group and definition.

    Population: visits at which an insertion was begun, each woman once a day. Denominator: those with the
    reaction recorded. Unknown: counted in ``n_unknown``; with too many of them only the bounds can be used.

    Parameters
    ----------
    attempts
        The table `audit.schema.derived.ATTEMPTS`.
    by
        ``overall`` or a column of that table, such as ``cervical_parity`` or ``births_group``.
    recorded_floor
        Smallest share recorded at which the proportion may be used.

    Returns
    -------
    DataFrame
        ``by, stratum, definition`` (``vasovagal_any``, ``vasovagal_grade_2_plus``, ``syncope``), ``events, n,
        n_unknown, proportion`` and limits (0-1), ``method``, ``caution``.

    Examples
    --------
    >>> import pandas as pd
    >>> rows = pd.DataFrame({"visit_outcome": "placed", "cervical_parity": ["no", "no", "yes"],
    ...     "vasovagal_any": pd.array([True, False, None], dtype="boolean"),
    ...     "vasovagal_grade_2_plus": pd.array([False, False, None], dtype="boolean"),
    ...     "syncope": pd.array([False, False, None], dtype="boolean")})
    >>> table = vasovagal_by_parity(rows, by="cervical_parity")
    >>> table[["stratum", "events", "n", "n_unknown"]].values.tolist()[:2]
    [['no', 1, 2, 0], ['yes', 0, 0, 1]]
    """
    visits = begun_visits(attempts, *DEFINITIONS, by)
    tables = [_counted(visits, by, definition) for definition in DEFINITIONS]
    return with_proportions(pd.concat(tables, ignore_index=True), recorded_floor=recorded_floor)


def vasovagal_contrasts(by_parity: pd.DataFrame) -> pd.DataFrame:
    """Vasovagal reactions compared between women without and with a (vaginal) birth, and over births.

    Parameters
    ----------
    by_parity
        Rows of `vasovagal_by_parity` for ``cervical_parity``, ``parous`` and ``births_group``.

    Returns
    -------
    DataFrame
        One row per contrast and definition: ``by``, ``definition``, ``group``, ``reference``, ``events, n``
        and ``reference_events, reference_n``; ``ratio, ratio_lower, ratio_upper`` (Katz; Koopman where a group
        has no events); ``difference, difference_lower, difference_upper`` (Newcombe); ``p_value`` (Fisher,
        two-sided, minimum likelihood); ``method``. For births, ``chi_square`` and ``p_value`` are
        Cochran-Armitage's and the group is ``trend``.
    """
    rows = [
        _contrast(by_parity, by, group, reference, definition)
        for definition in DEFINITIONS
        for by, group, reference in CONTRASTS
    ]
    rows.extend(_trend(by_parity, definition) for definition in DEFINITIONS)
    return pd.DataFrame([row for row in rows if row], columns=list(_CONTRAST_COLUMNS))


def vasovagal_adjusted(attempts: pd.DataFrame, *, recorded_floor: float = 0.8) -> pd.DataFrame:
    """Vasovagal reactions in women without against those with a vaginal birth, their ages allowed for.

    Population: visits at which an insertion was begun, each woman once a day. Denominator: those with the
    reaction and the births recorded. Unknown: counted in ``n_unknown``; an age that is not recorded is an age
    band of its own.

    Parameters
    ----------
    attempts
        The table `audit.schema.derived.ATTEMPTS`.
    recorded_floor
        Below this share recorded a row carries a caution.

    Returns
    -------
    DataFrame
        One row per definition: ``by, definition, adjusted_for`` (``age_band``), ``group, reference``, ``events,
        n, reference_events, reference_n, n_unknown, n_strata, n_strata_used``; ``ratio, ratio_lower,
        ratio_upper`` and ``difference, difference_lower, difference_upper`` (Mantel-Haenszel); ``chi_square,
        p_value`` (Cochran-Mantel-Haenszel); ``homogeneity_chi_square, homogeneity_degrees,
        homogeneity_p_value`` (whether the odds ratio is the same at every age, Tarone); ``method, caution``. No
        row for a definition that is recorded in nobody.
    """
    visits = begun_visits(attempts, *DEFINITIONS, *dict.fromkeys(row[0] for row in CONTRASTS), ADJUSTED_FOR)
    rows = [_adjusted(visits, *CONTRASTS[0], definition, recorded_floor) for definition in DEFINITIONS]
    return pd.DataFrame([row for row in rows if row], columns=[*_ADJUSTED_COLUMNS, "n_unknown"])


def _adjusted(
    visits: pd.DataFrame, by: str, group: str, reference: str, definition: str, floor: float
) -> dict[str, object]:
    """One comparison within ages; empty where nobody is recorded."""
    cells = tally_patterns(visits, outcome=definition, events=("yes",), others=("no",), by=[by, ADJUSTED_FOR])
    cells = cells[cells[by].isin((group, reference))]
    wide = cells.pivot(index=ADJUSTED_FOR, columns=by, values=["events", "n"])
    four = [(count, own) for own in (group, reference) for count in ("events", "n")]
    wide = wide.reindex(columns=pd.MultiIndex.from_tuples(four)).fillna(0)
    if wide.empty:
        return {}
    compared = stratified_columns(*(wide[name] for name in four))
    everyone, told = int(counts(visits).sum()), int(cells["n"].sum())
    unrecorded = int(counts(visits[_unrecorded(visits, by, definition)]).sum())
    few = "" if share_of(told, everyone) >= floor else f"Recorded in fewer than {floor:.0%} of visits."
    caution = " ".join(said for said in (few, str(compared["caution"])) if said)
    labels = {"by": by, "definition": definition, "adjusted_for": ADJUSTED_FOR}
    sides = {"group": group, "reference": reference, "n_unknown": unrecorded}
    return {**labels, **sides, **compared, "caution": caution}


def _unrecorded(visits: pd.DataFrame, by: str, definition: str) -> pd.Series:
    """The visits of which the reaction or the births are not recorded."""
    births = visits[by]
    missing: pd.Series = visits[definition].isna() | births.isna() | (births == "unknown")
    return missing


def _counted(visits: pd.DataFrame, by: str, definition: str) -> pd.DataFrame:
    """Counts by stratum under one definition."""
    tally = tally_outcomes(visits, outcome=definition, by=by)
    table = count_outcomes(tally, events=("yes",), others=("no",), by=by)
    table.insert(2, "definition", definition)
    return table


def _contrast(
    by_parity: pd.DataFrame, by: str, group: str, reference: str, definition: str
) -> dict[str, object]:
    """One comparison of two groups; empty where a group is missing."""
    strata = by_parity[(by_parity["by"] == by) & (by_parity["definition"] == definition)].set_index("stratum")
    if group not in strata.index or reference not in strata.index:
        return {}
    one, two = strata.loc[group], strata.loc[reference]
    compared = two_group_columns(int(one["events"]), int(one["n"]), int(two["events"]), int(two["n"]))
    if not compared:
        return {}
    return {"by": by, "definition": definition, "group": group, "reference": reference, **compared}


def _trend(by_parity: pd.DataFrame, definition: str) -> dict[str, object]:
    """The trend over the number of births; empty where fewer than two groups are there."""
    by, groups = TREND
    rows = by_parity[(by_parity["by"] == by) & (by_parity["definition"] == definition)].set_index("stratum")
    rows = rows.reindex([name for name in groups if name in rows.index])
    if rows.empty:
        return {}
    columns, direction = trend_columns(rows["events"], rows["n"], [groups.index(name) for name in rows.index])
    return {
        "by": by,
        "definition": definition,
        "group": "trend",
        "reference": direction,
        **columns,
        "method": "Cochran-Armitage trend over births 0, 1, 2, 3 or more",
    }
