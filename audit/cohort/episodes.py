"""Attempts of one woman that belong together: did she have a device in the end, whoever placed it."""

from itertools import pairwise

import numpy as np
import pandas as pd

from audit.cohort.columns import codes_of, whole_days
from audit.schema.derived import EPISODE_OUTCOMES


def episode_outcome(attempts: pd.DataFrame, days: int, data_to: pd.Timestamp) -> pd.Categorical:
    """Per woman within `days` of a first attempt: placed, not placed, unknown, or not yet due."""
    tried = attempts[attempts["outcome"] != "deferred"]
    result = (
        tried["outcome"].map({"placed": "placed", "failed": "not_placed"}).astype(object).fillna("unknown")
    )
    outcome = pd.Series(None, index=attempts.index, dtype=object)
    outcome[tried.index] = result
    # One woman at a time only where she tried more than once: the rest is one attempt, one episode.
    several = tried[tried.duplicated("patient_ref", keep=False)]
    day, told = whole_days(several["attempt_date"]), result[several.index].to_numpy(dtype=object)
    starts = np.flatnonzero(~several.duplicated("patient_ref"))
    episodes = [
        _episodes(list(day[start:stop]), list(told[start:stop]), days)
        for start, stop in pairwise([*starts, len(several)])
    ]
    outcome[several.index] = [one for mine in episodes for one in mine]
    last_due = data_to - pd.Timedelta(days=days)
    outcome[(attempts["attempt_date"] > last_due) & outcome.notna()] = "not_yet_due"
    return codes_of(outcome.to_numpy(dtype=object), EPISODE_OUTCOMES)


def _episodes(day: list[int], result: list[str], days: int) -> list[str | None]:
    """The outcome of each episode of one woman, on its first attempt; None on the later ones."""
    outcome: list[str | None] = [None] * len(day)
    first, closed = 0, True
    for i in range(len(day)):
        if closed or day[i] > day[first] + days:
            first, closed = i, False
            outcome[first] = result[i]
        # Placed settles it; a result that is not known leaves open whether she had a device.
        if result[i] != "not_placed":
            outcome[first] = result[i]
        closed = result[i] == "placed"
    return outcome
