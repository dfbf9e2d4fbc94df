"""What the first year after placement looks like to the woman-time of one period, read at its last day.

A curve of the whole log shares its women with the curve of the audit before. One of the time lived in the period
alone does not, and can be compared with the last.
"""

from dataclasses import replace

import pandas as pd

from audit.measures.continuation import continuation_curve
from audit.measures.expulsion import expulsion_incidence
from audit.period import observed_in_period
from audit.records import Period
from audit.settings import AuditSettings

COLUMNS = (
    *("by", "stratum", "figure", "placement_kind", "censoring", "days", "at_risk", "events"),
    *("incidence", "standard_error", "ci_lower", "ci_upper", "method", "caution"),
)


def first_year_in_period(
    placements: pd.DataFrame, rules: AuditSettings, *, period: Period, data_to: pd.Timestamp
) -> pd.DataFrame:
    """Expulsion and continuation by 12 months, from the time that was lived in the period.

    Population: first placements that are no replacement, whenever placed, from the day they enter the period to
    the day they leave it. Unknown: both censoring rules, row by row.

    Parameters
    ----------
    placements
        The table `audit.schema.derived.PLACEMENTS`.
    rules
        Their `windows.year_days` is the day read.
    period, data_to
        The period, and the freeze.

    Returns
    -------
    DataFrame
        ``by, stratum, figure`` (``expulsion``: cumulative incidence; ``continuation``: proportion still in use),
        ``placement_kind, censoring, days, at_risk, events`` (up to that day), ``incidence, standard_error,
        ci_lower, ci_upper`` (0-1), ``method, caution``. No time in the period gives no rows.

    Notes
    -----
    Women enter late at the age their device had when the period began, so that quarters share no woman-time and
    their estimates are independent. It is period analysis as used for cancer survival: what would become of a
    device that met the hazards of this period throughout its first year. The period is read up to the reporting
    lag before the freeze: later than that only women in trouble are heard of. For the same reason the rule ``last
    known`` understates here what lasts, most of all in the latest period: follow ``assumed in place``.

    References
    ----------
    Brenner H, Gefeller O. An alternative approach to monitoring cancer patient survival. Cancer
    1996;78:2004-2010.
    """
    heard_to = data_to - pd.Timedelta(days=rules.windows.reporting_lag_days)
    span = replace(period, last_day=min(period.last_day, heard_to))
    lived = observed_in_period(placements, span)
    year = rules.windows.year_days
    floor = rules.thresholds.at_risk_floor
    expelled = expulsion_incidence(lived, horizons=(year,), at_risk_floor=floor)
    used = continuation_curve(lived, horizons=(year,), at_risk_floor=floor)
    parts = [
        expelled[expelled["cause"] == "expulsion"].assign(figure="expulsion"),
        used.assign(figure="continuation", incidence=used["survival"]),
    ]
    filled = [part for part in parts if len(part)] or parts[:1]
    read = pd.concat(filled, ignore_index=True)
    read = read[read["days"] == year].assign(events=lambda rows: rows["cumulative_events"])
    return read[list(COLUMNS)].reset_index(drop=True)
