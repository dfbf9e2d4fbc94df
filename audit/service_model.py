"""What the whole service makes likely for a woman: the model that clinicians are held against."""

from collections.abc import Sequence

import pandas as pd

from audit.statistics.mixture_model import MixtureModel, mixture_model
from audit.tallies import tally_patterns

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


def _emergency(timing: pd.Series) -> pd.Series:
    """yes, no or unknown."""
    known = timing.astype(object).where(timing.notna(), "unknown").astype(str)
    return known.map({"emergency": "yes", "unknown": "unknown"}).fillna("no").astype("category")
