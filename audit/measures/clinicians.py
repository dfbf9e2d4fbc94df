"""Failed insertions per clinician, against what chance and the women they see would explain.

A signal is a reason to look at cases, never a finding about a person. Reasons in order to check: the data, the
women, the setting, chance, practice. Nobody is ranked: rows come in order of code. Supervised attempts belong to
the trainee's own curve and are kept out.
"""

import numpy as np
import pandas as pd

from audit.settings import Thresholds
from audit.statistics.binomial_tails import binomial_tail, standardised_tail
from audit.statistics.expected import indirect_expected, observed_expected
from audit.statistics.funnel import funnel_limits, numbers_to, smallest_detectable_proportion
from audit.statistics.summaries import share_of, share_without, with_proportions
from audit.tallies import count_outcomes, tally_outcomes

SERVICE, EXCLUDING_OWN = "service", "service_excluding_own"
NONE, ASK, REVIEW, TOO_FEW = "none", "ask", "review", "too_few_to_classify"
_BY = "clinician_ref"


def failed_insertions_by_clinician(
    attempts: pd.DataFrame,
    *,
    target: str = SERVICE,
    case_mix: str = "parity_group",
    thresholds: Thresholds | None = None,
) -> pd.DataFrame:
    """Failed insertions per clinician, with the service as target and with the case mix allowed for.

    Population: independent operator attempts with a known outcome. Denominator: the clinician's own attempts;
    one taken over by another is a failure of the clinician who started. Unknown: counted in ``n_unknown``;
    attempts without a code are a row of their own, ``not recorded``, never classified.

    Parameters
    ----------
    attempts
        The table `audit.schema.derived.ATTEMPTS`.
    target
        ``service`` (all independent attempts), ``service_excluding_own``, or a proportion as text.
    case_mix
        The column the expected failures are standardised by.
    thresholds
        Smallest number of attempts to classify, and the one-sided tails of ``ask`` and ``review``.

    Returns
    -------
    DataFrame
        Per clinician: ``by, stratum, events, n, n_unknown, proportion`` and limits (0-1); ``target,
        target_kind``; ``tail_upper, tail_lower`` (exact chance of as many or more, as few or fewer, at the
        target); ``signal`` (``ask``, ``review``, ``none``, ``too_few_to_classify``) and ``direction``;
        ``expected`` (the service's own proportion in each case-mix group times the clinician's attempts),
        ``ratio, ratio_lower, ratio_upper`` (observed/expected), ``case_mix_tail_upper, case_mix_tail_lower``
        and ``case_mix_signal, case_mix_direction``; ``detectable`` (smallest true proportion that would give
        ``ask`` with 80% power); ``method, caution``. No attempt gives no rows.

    Notes
    -----
    The exact binomial tail decides, so that a mark beyond a drawn (stepped) limit and its verdict cannot
    disagree. Expected counts use the service including the clinician's own attempts.
    """
    limits = thresholds or Thresholds()
    own = attempts[
        (attempts["practice"] == "independent") & attempts["outcome"].isin(["placed", "failed", "unknown"])
    ]
    table = count_outcomes(
        tally_outcomes(own, outcome="outcome", by=_BY), events=("failed",), others=("placed",), by=_BY
    )
    if table.empty:
        return with_proportions(table)
    table = with_proportions(table)
    table = _against_target(table, target, limits)
    return _against_case_mix(table, own, case_mix, limits)


def funnel(table: pd.DataFrame, *, thresholds: Thresholds | None = None) -> pd.DataFrame:
    """The stepped exact limits to draw around the service's proportion.

    Parameters
    ----------
    table
        What `failed_insertions_by_clinician` returned for one target.
    thresholds
        The one-sided tails of ``ask`` and ``review``.

    Returns
    -------
    DataFrame
        ``n`` from 1 to the most attempts of any clinician, ``target`` and, as proportions, ``ask_lower,
        ask_upper, review_lower, review_upper``: the smallest and largest counts that give a signal, over n;
        nan where no count does. No rows for an empty table, nor where each clinician has a target of the own,
        since no one line could agree with every verdict.
    """
    limits = thresholds or Thresholds()
    if table.empty or table["target"].nunique() != 1:
        return pd.DataFrame(columns=["n", "target", "ask_lower", "ask_upper", "review_lower", "review_upper"])
    n = numbers_to(int(table["n"].max()))
    drawn = pd.DataFrame({"n": n, "target": float(table["target"].iloc[0])})
    for name, tail in (("ask", limits.ask_tail), ("review", limits.review_tail)):
        steps = funnel_limits(n, drawn["target"], tail_probability=tail)
        drawn[f"{name}_lower"], drawn[f"{name}_upper"] = steps["lower_proportion"], steps["upper_proportion"]
    return drawn


def _against_target(table: pd.DataFrame, target: str, limits: Thresholds) -> pd.DataFrame:
    """Target, exact tails, signal and what could have been detected."""
    levels = _targets(table, target)
    events, n = table["events"], table["n"]
    upper = binomial_tail(events, n, levels, tail="upper")
    lower = binomial_tail(events, n, levels, tail="lower")
    signal, direction = _signal(table, upper, lower, limits)
    return table.assign(
        target=levels,
        target_kind=target,
        tail_upper=upper,
        tail_lower=lower,
        signal=signal,
        direction=direction,
        detectable=smallest_detectable_proportion(n, levels, tail_probability=limits.ask_tail),
    )


def _targets(table: pd.DataFrame, target: str) -> np.ndarray:
    """The proportion each clinician is compared with."""
    events, n = int(table["events"].sum()), int(table["n"].sum())
    if target == SERVICE:
        levels = np.full(len(table), share_of(events, n)).tolist()
    elif target == EXCLUDING_OWN:
        levels = [share_without(mine, events, own, n) for mine, own in table[["events", "n"]].to_numpy()]
    else:
        levels = np.full(len(table), float(target)).tolist()
    # With nobody to compare with, the clinician's own proportion is the target and gives no signal.
    return np.where(np.isnan(levels), table["proportion"].fillna(0), levels)


def _signal(
    table: pd.DataFrame, upper: np.ndarray, lower: np.ndarray, limits: Thresholds
) -> tuple[np.ndarray, np.ndarray]:
    """What the tails call for, and on which side."""
    tail = np.minimum(upper, lower)
    few = (table["n"] < limits.clinician_attempts) | (table["stratum"] == "not recorded")
    signal = np.select(
        [few, tail <= limits.review_tail, tail <= limits.ask_tail], [TOO_FEW, REVIEW, ASK], NONE
    )
    side = np.where(upper <= lower, "more", "fewer")
    return signal, np.where(np.isin(signal, [ASK, REVIEW]), side, "")


def _against_case_mix(
    table: pd.DataFrame, own: pd.DataFrame, case_mix: str, limits: Thresholds
) -> pd.DataFrame:
    """Observed and expected failures, given the women each clinician saw."""
    mix = count_outcomes(
        tally_outcomes(own, outcome="outcome", by=case_mix),
        events=("failed",),
        others=("placed",),
        by=case_mix,
    )
    service = with_proportions(mix).set_index("stratum")["proportion"]
    known = own[own["outcome"] != "unknown"]
    seen = tally_outcomes(known, outcome=case_mix, by=_BY)
    numbers = seen.pivot(index="stratum", columns="outcome", values="n")
    numbers = numbers.reindex(index=table["stratum"], columns=service.index).fillna(0)
    rates = service.fillna(0)
    expected = indirect_expected(rates, numbers)
    ratio = observed_expected(table["events"], expected)
    tails = {
        side: np.array(
            [
                standardised_tail(int(events), row, rates, tail=side)
                for events, row in zip(table["events"], numbers.to_numpy(), strict=True)
            ]
        )
        for side in ("upper", "lower")
    }
    signal, direction = _signal(table, tails["upper"], tails["lower"], limits)
    return table.assign(
        expected=expected,
        ratio=ratio.value,
        ratio_lower=ratio.ci_lower,
        ratio_upper=ratio.ci_upper,
        case_mix_tail_upper=tails["upper"],
        case_mix_tail_lower=tails["lower"],
        case_mix_signal=signal,
        case_mix_direction=direction,
    )
