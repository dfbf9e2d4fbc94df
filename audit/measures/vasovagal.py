"""Vasovagal reactions at insertion, by parity and by how severe they were.

What counts as a reaction decides the figure: reports run from under 1% (loss of consciousness, noted by
staff) to nearly half (any symptom, told by the woman). So each definition is a table row of its own and is never
compared with another. A blank is not a grade 0.
"""

import pandas as pd

from audit.statistics.estimates import Estimate
from audit.statistics.odds import fisher_exact
from audit.statistics.summaries import with_proportions
from audit.statistics.trend import cochran_armitage
from audit.statistics.two_groups import difference_interval, risk_ratio
from audit.tallies import count_outcomes, tally_outcomes

DEFINITIONS = ("vasovagal_any", "vasovagal_grade_2_plus", "syncope")
# Column, group of interest, group it is compared with: the wider cervix after a vaginal birth leads.
CONTRASTS = (
    ("cervical_parity", "no", "yes"),
    ("parous", "no", "yes"),
)
_CONTRAST_COLUMNS = (
    *("by", "definition", "group", "reference", "events", "n", "reference_events", "reference_n"),
    *("ratio", "ratio_lower", "ratio_upper", "difference", "difference_lower", "difference_upper"),
    *("chi_square", "p_value", "method"),
)
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
    visits = begun_visits(attempts)
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


def begun_visits(attempts: pd.DataFrame) -> pd.DataFrame:
    """The visits at which an insertion was begun: the first attempt of each woman and day."""
    return attempts[attempts["visit_outcome"].notna() & (attempts["visit_outcome"] != "deferred")]


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
    four = int(one["events"]), int(one["n"]), int(two["events"]), int(two["n"])
    events, n, reference_events, reference_n = four
    if not (n and reference_n):
        return {}
    unbounded = events == 0 or reference_events == 0
    ratio = risk_ratio(*four, method="koopman" if unbounded else "katz")
    difference = difference_interval(*four)
    return {
        "by": by,
        "definition": definition,
        "group": group,
        "reference": reference,
        "events": events,
        "n": n,
        "reference_events": reference_events,
        "reference_n": reference_n,
        **_named(ratio, "ratio"),
        **_named(difference, "difference"),
        "p_value": fisher_exact(*four).p_value,
        "method": f"risk ratio {ratio.method}; difference {difference.method}; Fisher, minimum likelihood",
    }


def _named(estimate: Estimate, name: str) -> dict[str, float]:
    """An estimate as three columns."""
    return {
        name: float(estimate.value),
        f"{name}_lower": float(estimate.ci_lower),
        f"{name}_upper": float(estimate.ci_upper),
    }


def _trend(by_parity: pd.DataFrame, definition: str) -> dict[str, object]:
    """The trend over the number of births; empty where fewer than two groups are there."""
    by, groups = TREND
    rows = by_parity[(by_parity["by"] == by) & (by_parity["definition"] == definition)].set_index("stratum")
    rows = rows.reindex([name for name in groups if name in rows.index])
    if rows.empty:
        return {}
    test = cochran_armitage(rows["events"], rows["n"], scores=[groups.index(name) for name in rows.index])
    return {
        "by": by,
        "definition": definition,
        "group": "trend",
        "reference": test.direction,
        "events": int(rows["events"].sum()),
        "n": int(rows["n"].sum()),
        "chi_square": test.chi_square,
        "p_value": test.p_value,
        "method": "Cochran-Armitage trend over births 0, 1, 2, 3 or more",
    }
