"""What makes a failed insertion likely before anybody touches an instrument, in the whole service.

The model is what clinicians are held against. It knows the woman and her history only: dilation, anaesthetic,
passes, ultrasound and the operator belong to what is asked about, and adjusting for them would hide it.
"""

import pandas as pd

from audit.service_model import failure_mixture, failure_patterns, independent_attempts
from audit.statistics.mixture_model import TERM_COLUMNS, MixtureModel, model_quality, model_terms

TOO_FEW = "Fewer than 10 failures for each term: expected failures are by parity group instead."
_REPEATED = "Several attempts by one woman count as independent."


def failure_model(attempts: pd.DataFrame, *, model: MixtureModel | None = None) -> pd.DataFrame:
    """Odds ratios of a failed insertion by what precedes the attempt, all adjusted for each other.

    Population: independent operator attempts with a known outcome. Terms: a vaginal birth, age band, an earlier
    failed insertion, emergency placement and cervical surgery, where the log records them. Unknown: what is not
    recorded of a woman is a level of its own; attempts with unknown outcome are left out.

    Parameters
    ----------
    attempts
        The table `audit.schema.derived.ATTEMPTS`.
    model
        The model fitted to these attempts, from `audit.service_model.failure_mixture`, to save doing it again.

    Returns
    -------
    DataFrame
        One row per level but the reference: ``by`` (variable), ``stratum`` (level), ``reference``, ``events, n``
        of the level, ``odds_ratio, ci_lower, ci_upper, p_value``, ``method, caution``. No rows with fewer than
        10 failures for each term, when the model is not used.
    """
    patterns = failure_patterns(independent_attempts(attempts))
    fitted = model or failure_mixture(attempts)
    if not fitted.enough:
        return pd.DataFrame(columns=list(TERM_COLUMNS))
    return model_terms(fitted, patterns)


def failure_model_fit(attempts: pd.DataFrame, *, model: MixtureModel | None = None) -> pd.DataFrame:
    """How well the service's model tells failures from placements, and whether it is used.

    Population, denominator and unknowns are those of `failure_model`.

    Parameters
    ----------
    attempts
        The table `audit.schema.derived.ATTEMPTS`.
    model
        The model fitted to these attempts, from `audit.service_model.failure_mixture`, to save doing it again.

    Returns
    -------
    DataFrame
        One row: ``by, stratum`` (``overall``), ``used`` (True or False), ``events, n, parameters, intercept``
        (log odds at every reference), ``c_statistic, c_lower, c_upper``, ``calibration_slope, slope_lower,
        slope_upper`` (over the data fitted, where maximum likelihood gives 1), ``expected_slope`` (what to expect
        in new data; far below 1 the model promises too much), ``method, caution``.
    """
    patterns = failure_patterns(independent_attempts(attempts))
    fitted = model or failure_mixture(attempts)
    found = model_quality(fitted, patterns)
    cautions = (str(found["caution"]), _REPEATED if fitted.enough else TOO_FEW)
    row = {"by": "overall", "stratum": "overall", "used": fitted.enough, **found}
    return pd.DataFrame([row | {"caution": " ".join(caution for caution in cautions if caution)}])
