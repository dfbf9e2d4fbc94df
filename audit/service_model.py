"""What the whole service makes likely for a woman: the model that clinicians are held against."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from audit.statistics.expected import shares_with_one_of_all
from audit.statistics.mixture_model import MixtureModel, expected_proportions, mixture_model
from audit.statistics.summaries import share_of
from audit.tallies import kinds_of_rows, tally_patterns

# What precedes the attempt, with the level that others are compared with. Never technique nor the operator: they
# are what is asked about. No vaginal birth and younger age: Dermish AI et al, Contraception 2013;87:182-186 and
# 2016;93:533-538. An earlier failure and surgery of the cervix: common practice, no source.
CASE_MIX = {
    "cervical_parity": "yes",
    "age_band": "30_34",
    "prior_failed_insertion": "no",
    "emergency": "no",
    "cervical_surgery": "no",
}
OUTCOMES = ("placed", "failed", "unknown")
# How the failures to be expected were found.
BY_MODEL, BY_STRATUM = "expected failures by the service's logistic model", "expected failures by {}"


def independent_attempts(attempts: pd.DataFrame) -> pd.DataFrame:
    """The attempts begun by a clinician working alone."""
    return attempts[(attempts["practice"] == "independent") & attempts["outcome"].isin(OUTCOMES)]


def failure_patterns(own: pd.DataFrame, *, by: Sequence[str] = ()) -> pd.DataFrame:
    """Failures and attempts with known outcome, by the columns of the model that are there and those of `by`."""
    if "timing_group" in own:
        own = own.assign(emergency=_emergency(own["timing_group"]))
    names = [name for name in CASE_MIX if name in own]
    return tally_patterns(own, outcome="outcome", events=("failed",), others=("placed",), by=[*by, *names])


def failure_mixture(attempts: pd.DataFrame) -> MixtureModel:
    """The service's model of failure, fitted to all its independent attempts."""
    patterns = failure_patterns(independent_attempts(attempts))
    references = {name: level for name, level in CASE_MIX.items() if name in patterns}
    return mixture_model(patterns, references=references)


def expected_of_each(
    attempts: pd.DataFrame, model: MixtureModel, *, case_mix: str = "parity_group"
) -> tuple[np.ndarray, str]:
    """The proportion of failures to be expected in a woman like this one, attempt by attempt.

    Parameters
    ----------
    attempts
        Attempts with known outcome, supervised ones too. Only the independent ones settle what is expected.
    model
        From `failure_mixture`, of these attempts or of more.
    case_mix
        The column that serves where failures are too few for the model.

    Returns
    -------
    tuple
        One proportion for each attempt, and by which method. A kind of woman that the model does not know, or
        that no independent attempt met, has the proportion of all independent attempts. All nan without any.
    """
    told = (
        attempts.assign(emergency=_emergency(attempts["timing_group"]))
        if "timing_group" in attempts
        else attempts
    )
    by = list(model.coding.levels) if model.enough else [case_mix]
    kind, kinds = kinds_of_rows(told, by=by)
    own = (told["practice"] == "independent").to_numpy()
    failed = (told["outcome"] == "failed").to_numpy()
    counted = kinds.assign(
        events=np.bincount(kind, weights=own & failed, minlength=len(kinds)),
        n=np.bincount(kind, weights=own, minlength=len(kinds)),
    )
    if not model.enough:
        return shares_with_one_of_all(counted["events"], counted["n"])[kind], BY_STRATUM.format(case_mix)
    known = np.ones(len(kinds), dtype=bool)
    for name, levels in model.coding.levels.items():
        known &= kinds[name].isin(levels).to_numpy(dtype=bool)
    rates = np.full(len(kinds), share_of(counted["events"].sum(), counted["n"].sum()))
    rates[known] = expected_proportions(model, counted[known])
    return rates[kind], BY_MODEL


def _emergency(timing: pd.Series) -> pd.Series:
    """yes, no or unknown."""
    known = timing.astype(object).where(timing.notna(), "unknown").astype(str)
    return known.map({"emergency": "yes", "unknown": "unknown"}).fillna("no").astype("category")
