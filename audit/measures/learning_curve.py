"""Failed insertions in the order they were attempted, against what the women make likely.

A supervised attempt is the trainee's own. Attempts of one day come in the order of the references of their visits,
the shorter first; without references, of their lines in the log. Nobody is ranked: rows come in order of code.
"""

import numpy as np
import pandas as pd

from audit.service_model import CASE_MIX, OUTCOMES, expected_of_each, failure_mixture
from audit.settings import Thresholds
from audit.statistics.cusum import observed_minus_expected
from audit.statistics.expected import observed_expected
from audit.statistics.mixture_model import MixtureModel
from audit.statistics.summaries import with_proportions
from audit.tallies import count_outcomes, stacked, tally_outcomes

ALL = "all"
PRACTICES = (ALL, "supervised", "independent")
TOO_FEW = "Too few attempts to draw: counts only."
_BY = "clinician_ref"
# What settles the failures to be expected.
_SETTLE = ("practice", "timing_group", *CASE_MIX)


def attempts_in_order(
    attempts: pd.DataFrame, *, model: MixtureModel | None = None, case_mix: str = "parity_group"
) -> pd.DataFrame:
    """The attempts of each clinician in order, with the failures to be expected of the women.

    Population: operator attempts with a clinician's code, supervised ones included; one taken over by another is
    a failure of the clinician who started. Unknown: attempts without a known outcome, or without a code, are
    left out here and counted in `learning_curve` and in the figures per clinician.

    Parameters
    ----------
    attempts
        The table `audit.schema.derived.ATTEMPTS`.
    model
        The service's model of failure, from `audit.service_model.failure_mixture`; fitted to `attempts` where None.
    case_mix
        The column the expected failures are taken by where failures are too few for the model.

    Returns
    -------
    DataFrame
        Clinician by clinician in order of code: ``stratum`` (the code), ``attempt_number`` (from 1, in this
        log), ``attempt_date, visit_ref, practice``, ``failed`` (0 or 1), ``expected`` (0-1; nan where the log
        holds no independent attempt), ``expected_by`` (how it was found).
    """
    wanted = {_BY, "attempt_date", "visit_ref", "source", "row", "outcome", case_mix, *_SETTLE}
    # A copy of every column of a large log would take longer than all that follows.
    slim = attempts[[name for name in attempts if name in wanted]]
    known = slim[slim["outcome"].isin(["placed", "failed"])]
    expected, method = expected_of_each(known, model or failure_mixture(attempts), case_mix=case_mix)
    code = known[_BY].astype("category")
    visit = known["visit_ref"].astype(str)
    keys = known[["attempt_date", "source", "row"]].assign(
        code=code.cat.codes, expected=expected, length=visit.str.len(), visit=visit
    )
    order = keys[code.notna()].sort_values(
        ["code", "attempt_date", "length", "visit", "source", "row"], kind="stable"
    )
    own = known.loc[order.index]
    ordered = pd.DataFrame(
        {
            "stratum": own[_BY].astype(object),
            "attempt_number": order.assign(one=1).groupby("code")["one"].cumsum(),
            "attempt_date": own["attempt_date"],
            "visit_ref": own["visit_ref"],
            "practice": own["practice"].astype(object),
            "failed": (own["outcome"] == "failed").astype("int64"),
            "expected": order["expected"],
            "expected_by": method,
        }
    )
    return ordered.reset_index(drop=True)


def learning_curve(
    attempts: pd.DataFrame, ordered: pd.DataFrame | None = None, *, thresholds: Thresholds | None = None
) -> pd.DataFrame:
    """Failures of each clinician over the whole log, supervised and not, against those expected of the women.

    Population: operator attempts with a clinician's code. Denominator: those with known outcome. Unknown: counted
    in ``n_unknown``.

    Parameters
    ----------
    attempts
        The table `audit.schema.derived.ATTEMPTS`.
    ordered
        What `attempts_in_order` returned of it, to save doing it again.
    thresholds
        Smallest number of attempts to draw.

    Returns
    -------
    DataFrame
        ``by, stratum`` (the code), ``practice`` (``all, supervised, independent``), ``events, n, n_unknown,
        proportion`` and limits (0-1), ``expected`` (failures; nan where the log holds no independent attempt),
        ``observed_minus_expected`` (failures), ``ratio, ratio_lower, ratio_upper`` (observed / expected),
        ``drawn`` (whether there are attempts enough), ``method, caution``. Practices in which a clinician has no
        attempt are left out. No attempt gives no rows.
    """
    fewest = (thresholds or Thresholds()).clinician_attempts
    slim = attempts[[_BY, "outcome", "practice"]]
    begun = slim[slim["outcome"].isin(OUTCOMES) & slim[_BY].notna()]
    rows = attempts_in_order(attempts) if ordered is None else ordered
    table = stacked([_counted(begun, rows, practice) for practice in PRACTICES])
    if table.empty:
        return table
    place = table["practice"].map(PRACTICES.index)
    table = table.assign(place=place).sort_values(["stratum", "place"], kind="stable", ignore_index=True)
    ratio = observed_expected(table["events"], table["expected"].fillna(0))
    few = table.groupby("stratum")["n"].transform("max") < fewest
    return table.drop(columns=["place", "method", "caution"]).assign(
        ratio=ratio.value,
        ratio_lower=ratio.ci_lower,
        ratio_upper=ratio.ci_upper,
        drawn=~few,
        method=table["method"],
        caution=np.where(few, TOO_FEW, table["caution"]),
    )


def _counted(begun: pd.DataFrame, ordered: pd.DataFrame, practice: str) -> pd.DataFrame:
    """Failures of each clinician in one practice, with those expected."""
    own = begun if practice == ALL else begun[begun["practice"] == practice]
    known = ordered if practice == ALL else ordered[ordered["practice"] == practice]
    tally = tally_outcomes(own, outcome="outcome", by=_BY)
    table = with_proportions(count_outcomes(tally, events=("failed",), others=("placed",), by=_BY))
    table.insert(2, "practice", practice)
    groups = known.groupby("stratum")
    excess = {code: observed_minus_expected(part["failed"], part["expected"])[-1] for code, part in groups}
    expected = table["stratum"].map(groups["expected"].sum(min_count=1)).astype("float64")
    how = known["expected_by"].head(1).sum() or "nothing to expect"
    return table.assign(
        expected=expected,
        observed_minus_expected=table["stratum"].map(excess).astype("float64").where(expected.notna()),
        method=[f"{said}; {how}" for said in table["method"]],
    )
