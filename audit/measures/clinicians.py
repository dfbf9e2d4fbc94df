"""Failed insertions per clinician, against what chance and the women they see would explain.

A signal is a reason to look at cases, never a finding about a person. Reasons in order to check: the data, the
women, the setting, chance, practice. Nobody is ranked: rows come in order of code. Supervised attempts belong to
the trainee's own curve and are kept out.
"""

from functools import partial

import numpy as np
import pandas as pd

from audit.service_model import (
    BY_MODEL,
    BY_STRATUM,
    failure_mixture,
    failure_patterns,
    independent_attempts,
)
from audit.settings import Thresholds
from audit.statistics.beta_binomial import beta_binomial
from audit.statistics.binomial_tails import binomial_tail, standardised_tail
from audit.statistics.expected import indirect_expected, observed_expected
from audit.statistics.funnel import funnel_limits, numbers_to, smallest_detectable_proportion
from audit.statistics.mixture_model import MixtureModel, expected_proportions
from audit.statistics.shrinkage import shrunken_proportions
from audit.statistics.summaries import share_of, share_without, shares_of, with_proportions
from audit.tallies import count_outcomes, tally_outcomes, tally_patterns

SERVICE, EXCLUDING_OWN = "service", "service_excluding_own"
NONE, ASK, REVIEW, TOO_FEW = "none", "ask", "review", "too_few_to_classify"
_BY, _NOBODY = "clinician_ref", "not recorded"


def failed_insertions_by_clinician(
    attempts: pd.DataFrame,
    *,
    target: str = SERVICE,
    case_mix: str = "parity_group",
    thresholds: Thresholds | None = None,
    model: MixtureModel | None = None,
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
        The column the expected failures are standardised by where failures are too few for the model.
    thresholds
        Smallest number of attempts to classify, and the one-sided tails of ``ask`` and ``review``.
    model
        The service's model of failure, from `audit.service_model.failure_mixture` of these attempts or of more;
        fitted to `attempts` where None.

    Returns
    -------
    DataFrame
        Per clinician: ``by, stratum, events, n, n_unknown, proportion`` and limits (0-1); ``target,
        target_kind``; ``tail_upper, tail_lower`` (exact chance of as many or more, as few or fewer, at the
        target); ``signal`` (``ask``, ``review``, ``none``, ``too_few_to_classify``) and ``direction``;
        ``expected`` (failures that the service's model, or its own proportion in each group of `case_mix`, makes
        likely in her women: ``method`` says which), ``ratio, ratio_lower, ratio_upper`` (observed/expected),
        ``case_mix_tail_upper, case_mix_tail_lower``
        and ``case_mix_signal, case_mix_direction``; ``detectable`` (smallest true proportion that would give
        ``ask`` with 80% power); ``shrunken_proportion, shrunken_lower, shrunken_upper, own_weight`` (the
        proportion drawn towards those of all, 95% limits, and the share of the own figure in it, 0-1; nan for
        attempts without a code); ``method, caution``. No attempt gives no rows.

    Notes
    -----
    The exact binomial tail decides, so that a mark beyond a drawn (stepped) limit and its verdict cannot
    disagree. Expected counts use the service including the clinician's own attempts. The model
    (`failure_model`) serves where at least 10 failures were seen for each of its terms; its level is
    moved so that expected failures add up to those of `attempts`.
    """
    limits = thresholds or Thresholds()
    own = independent_attempts(attempts)
    table = count_outcomes(
        tally_outcomes(own, outcome="outcome", by=_BY), events=("failed",), others=("placed",), by=_BY
    )
    if table.empty:
        return with_proportions(table)
    table = with_proportions(table)
    table = _with_shrunken(_against_target(table, target, limits))
    expected, method = _expected(own, model or failure_mixture(attempts), case_mix)
    return _against_case_mix(
        table.assign(method=[f"{said}; {method}" for said in table["method"]]), expected, limits
    )


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


def _with_shrunken(table: pd.DataFrame) -> pd.DataFrame:
    """Each clinician's proportion drawn towards those of all, by as much as the attempts are few."""
    named = table["stratum"] != _NOBODY
    events, n = table.loc[named, "events"], table.loc[named, "n"]
    drawn = shrunken_proportions(events, n, beta_binomial(events, n)).set_index(events.index)
    names = {"ci_lower": "shrunken_lower", "ci_upper": "shrunken_upper", "weight": "own_weight"}
    drawn = drawn.rename(columns=names)[["shrunken_proportion", *names.values()]]
    return pd.concat([table, drawn.reindex(table.index)], axis=1)


def _expected(own: pd.DataFrame, model: MixtureModel, case_mix: str) -> tuple[pd.DataFrame, str]:
    """Attempts by clinician and kind of woman with the proportion expected of her, and by which method."""
    named = own.assign(**{_BY: own[_BY].astype(object).where(own[_BY].notna(), _NOBODY)})
    if model.enough:
        rows = failure_patterns(named, by=[_BY])
        return rows.assign(rate=expected_proportions(model, rows)), BY_MODEL
    counted = partial(tally_patterns, outcome="outcome", events=("failed",), others=("placed",))
    service = counted(own, by=[case_mix]).set_index(case_mix)
    rates = pd.Series(shares_of(service["events"], service["n"]), index=service.index)
    rows = counted(named, by=[_BY, case_mix])
    return rows.assign(rate=rows[case_mix].map(rates)), BY_STRATUM.format(case_mix)


def _against_case_mix(table: pd.DataFrame, rows: pd.DataFrame, limits: Thresholds) -> pd.DataFrame:
    """Observed and expected failures, given the women each clinician saw."""
    of_each = {name: (own["n"], own["rate"].astype("float64")) for name, own in rows.groupby(_BY)}
    nobody = (rows["n"].head(0), rows["rate"].head(0).astype("float64"))
    seen = [of_each.get(name, nobody) for name in table["stratum"]]
    expected = np.array([indirect_expected(rates, n) for n, rates in seen])
    ratio = observed_expected(table["events"], expected)
    upper, lower = (
        np.array(
            [
                standardised_tail(int(events), n, rates, tail=side)
                for events, (n, rates) in zip(table["events"], seen, strict=True)
            ]
        )
        for side in ("upper", "lower")
    )
    signal, direction = _signal(table, upper, lower, limits)
    return table.assign(
        expected=expected,
        ratio=ratio.value,
        ratio_lower=ratio.ci_lower,
        ratio_upper=ratio.ci_upper,
        case_mix_tail_upper=upper,
        case_mix_tail_lower=lower,
        case_mix_signal=signal,
        case_mix_direction=direction,
    )
