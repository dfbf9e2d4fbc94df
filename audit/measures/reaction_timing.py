"""When a reaction began, and reactions with and without dilation or an anaesthetic.

A reaction that began before a step cannot come from it, so it is kept apart. What is left is still no effect:
dilation and anaesthetic are given to women in whom difficulty is expected. Only what precedes the step, whether
the cervix has opened for a birth, is allowed for; failure and pain follow it.
"""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from audit.schema.visits import VISITS
from audit.statistics.stratified import mantel_haenszel_risk_ratio
from audit.statistics.summaries import with_proportions
from audit.tallies import OVERALL, begun_visits, count_outcomes, tally_outcomes

PARITY = "cervical_parity"
ALL_GRADES, NOT_GRADED = "all", "not_graded"
NONE, UNKNOWN = "none", "unknown"
# Each technique, and the steps that surely come before it: the uterus is sounded before dilation and after it.
TECHNIQUES: Mapping[str, tuple[str, ...]] = {
    "dilation": ("tenaculum", "local_anaesthetic"),
    "local_anaesthetic": (),
}
CHOSEN: Mapping[str, str] = {
    "dilation": "Women were dilated because difficulty was expected. This table does not show what dilation "
    "causes, and the log does not say whether it was planned before the start.",
    "local_anaesthetic": "Women were given an anaesthetic because difficulty was expected. This table does not "
    "show what an anaesthetic causes, and the log does not say whether it was planned before the start.",
}
NO_CAUSE = "The step at which a reaction began is not its cause."


def vasovagal_by_phase(
    attempts: pd.DataFrame, *, by: str = PARITY, recorded_floor: float = 0.8
) -> pd.DataFrame:
    """Reactions of each grade by the step at which they began, as a proportion of those reactions.

    Population: visits at which an insertion was begun and a reaction noted, each woman once a day. Denominator:
    reactions of that grade with the step recorded. Unknown: the step not recorded.

    Parameters
    ----------
    attempts
        The table `audit.schema.derived.ATTEMPTS`.
    by
        ``overall`` or a column of that table.
    recorded_floor
        Smallest share recorded at which the proportion may be used.

    Returns
    -------
    DataFrame
        ``by, stratum, grade`` (``all``, then each grade seen, ``not_graded``), ``phase, events, n, n_unknown,
        proportion`` and limits (0-1), ``method, caution``. No reaction gives no rows.

    Examples
    --------
    >>> import pandas as pd
    >>> rows = pd.DataFrame({"visit_outcome": "placed", "vasovagal_grade": [1.0, 2.0], "onset_phase": "sounding",
    ...     "vasovagal_any": pd.array([True, True], dtype="boolean")})
    >>> table = vasovagal_by_phase(rows, by="overall")
    >>> table[["grade", "phase", "events", "n"]].values.tolist()[:2]
    [['all', 'sounding', 2, 2], ['1', 'sounding', 1, 1]]
    """
    visits = begun_visits(attempts, "vasovagal_any", "vasovagal_grade", "onset_phase", by)
    reacted = visits[visits["vasovagal_any"].fillna(False).astype(bool)]
    grade = (
        reacted["vasovagal_grade"]
        .astype("Int64")
        .astype("string")
        .fillna(NOT_GRADED)
        .replace("0", NOT_GRADED)
    )
    phases = [
        phase
        for phase in VISITS["onset_phase"].codes
        if phase != UNKNOWN and (reacted["onset_phase"] == phase).any()
    ]
    tables = []
    for name in [ALL_GRADES, *sorted(grade.unique())] if len(reacted) else []:
        own = reacted if name == ALL_GRADES else reacted[grade == name]
        tally = tally_outcomes(own, outcome="onset_phase", by=by)
        for phase in phases:
            table = count_outcomes(
                tally, events=(phase,), others=[other for other in phases if other != phase], by=by
            )
            table.insert(2, "grade", name)
            table.insert(3, "phase", phase)
            tables.append(table)
    names = ["by", "stratum", "grade", "phase", "events", "n", "n_unknown"]
    whole = pd.concat(tables, ignore_index=True) if tables else pd.DataFrame(columns=names)
    return _with_caution(with_proportions(whole, recorded_floor=recorded_floor), NO_CAUSE)


def vasovagal_by_technique(attempts: pd.DataFrame, *, recorded_floor: float = 0.8) -> pd.DataFrame:
    """Reactions that began with or after a step, in visits with and without it, by vaginal birth.

    Population: visits at which an insertion was begun, each woman once a day. Denominator: those with technique
    and reaction recorded and no reaction before the step. Unknown: either not recorded, or a reaction whose
    beginning is not; visits that do not say whether the technique was used are left out of both groups.

    Parameters
    ----------
    attempts
        The table `audit.schema.derived.ATTEMPTS`.
    recorded_floor
        Smallest share recorded at which the proportion may be used.

    Returns
    -------
    DataFrame
        ``by`` (``overall, cervical_parity``), ``stratum, technique, used`` (``yes, no``), ``events, n,
        n_unknown, n_earlier`` (reactions before the step), ``proportion`` and limits (0-1), ``method``;
        ``caution``, which always says that women were chosen for it.
    """
    visits = begun_visits(attempts, "vasovagal_any", "onset_phase", PARITY, *TECHNIQUES)
    tables = []
    for technique, earlier in TECHNIQUES.items():
        told = visits.assign(began=_began(visits, earlier))
        given = visits[technique]
        for used, group in (("yes", given.notna() & ~given.isin([NONE, UNKNOWN])), ("no", given == NONE)):
            for by in (OVERALL, PARITY):
                tally = tally_outcomes(told[group], outcome="began", by=by)
                table = count_outcomes(tally, events=("after",), others=(NONE,), apart=("earlier",), by=by)
                table.insert(2, "technique", technique)
                table.insert(3, "used", used)
                tables.append(table)
    whole = with_proportions(pd.concat(tables, ignore_index=True), recorded_floor=recorded_floor)
    return _with_caution(whole, whole["technique"].map(CHOSEN))


def vasovagal_technique_contrasts(by_technique: pd.DataFrame) -> pd.DataFrame:
    """Reactions with and without each technique compared, vaginal birth allowed for.

    Parameters
    ----------
    by_technique
        What `vasovagal_by_technique` returned.

    Returns
    -------
    DataFrame
        ``technique``, ``events, n, reference_events, reference_n`` (with it, and without), ``ratio, ratio_lower,
        ratio_upper`` pooled over women without and with a vaginal birth (nan where no stratum holds both),
        ``n_strata, method, caution``. Women whose births are not known are left out.
    """
    strata = by_technique[(by_technique["by"] == PARITY) & by_technique["stratum"].isin(["yes", "no"])]
    rows = []
    for technique in dict.fromkeys(strata["technique"]):
        own = strata[strata["technique"] == technique].set_index("stratum")
        groups = [
            own.loc[own["used"] == used, ["events", "n"]].reindex(["yes", "no"]).fillna(0)
            for used in ("yes", "no")
        ]
        with_it, without = groups
        pooled = mantel_haenszel_risk_ratio(with_it["events"], with_it["n"], without["events"], without["n"])
        rows.append(
            {
                "technique": technique,
                "events": int(with_it["events"].sum()),
                "n": int(with_it["n"].sum()),
                "reference_events": int(without["events"].sum()),
                "reference_n": int(without["n"].sum()),
                "ratio": pooled.value,
                "ratio_lower": pooled.ci_lower,
                "ratio_upper": pooled.ci_upper,
                "n_strata": pooled.n_strata_used,
                "method": pooled.method,
                "caution": f"{CHOSEN[technique]} {pooled.caution}".strip(),
            }
        )
    return pd.DataFrame(rows, columns=list(_CONTRASTS))


_CONTRASTS = (
    *("technique", "events", "n", "reference_events", "reference_n"),
    *("ratio", "ratio_lower", "ratio_upper", "n_strata", "method", "caution"),
)


def _began(visits: pd.DataFrame, earlier: tuple[str, ...]) -> np.ndarray:
    """Whether a reaction began before a step, or with or after it; none, or not known."""
    reacted = visits["vasovagal_any"]
    yes, no = reacted.fillna(False).to_numpy(dtype=bool), (~reacted).fillna(False).to_numpy(dtype=bool)
    phase = visits["onset_phase"]
    before = phase.isin(earlier).to_numpy()
    # Where nothing comes before the step, when a reaction began makes no difference.
    later = (phase.notna() & (phase != UNKNOWN) | (not earlier)).to_numpy(dtype=bool)
    return np.select([yes & before, yes & later, no], ["earlier", "after", NONE], UNKNOWN)


def _with_caution(table: pd.DataFrame, first: "str | pd.Series") -> pd.DataFrame:
    """The table with a sentence before whatever its caution says."""
    always = pd.Series(first, index=table.index, dtype=object)
    return table.assign(caution=always.str.cat(table["caution"].astype(object), sep=" ").str.strip())
