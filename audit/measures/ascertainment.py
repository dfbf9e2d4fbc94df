"""Are all insertions in the log: devices issued against those placed, wasted and returned.

Failed attempts are the rows that go missing from a log, and each used up a device. The stock book is kept by
someone else, so what it holds beyond the log shows how many.
"""

import pandas as pd

from audit.statistics.summaries import shares_of
from audit.tallies import OVERALL, counts

_COUNTED = ["devices_issued", "devices_returned", "devices_placed", "devices_wasted", "n_wasted_unknown"]


def case_ascertainment(attempts: pd.DataFrame, issued: pd.DataFrame) -> pd.DataFrame:
    """Devices accounted for by the log, of those that left the stock, per site and month and in all.

    Population: months and sites of the stock book. Accounted for: devices placed, and devices opened and not
    left in place. Unknown: begun attempts at which the number wasted is not recorded, in ``n_wasted_unknown``.

    Parameters
    ----------
    attempts
        The table `audit.schema.derived.ATTEMPTS`.
    issued
        ``site_ref, month, devices_issued, devices_returned``, as `read_issued` gives it.

    Returns
    -------
    DataFrame
        ``by`` (``overall``, ``site_ref`` or ``site_and_month``), ``stratum, month, devices_issued,
        devices_returned, devices_placed, devices_wasted, n_wasted_unknown``, ``accounted_for`` (placed and
        wasted), ``used`` (issued less returned), ``not_accounted_for`` (negative where the log holds more than
        the stock book) and ``ratio`` (accounted for / used; nan where nothing was used).

    Examples
    --------
    >>> attempts = pd.DataFrame({"attempt_date": pd.to_datetime(["2026-07-02", "2026-07-03"]), "site_ref": "A",
    ...     "outcome": ["placed", "failed"], "device_wasted_count": [0, 1]})
    >>> issued = pd.DataFrame({"site_ref": ["A"], "month": ["2026-07"], "devices_issued": [4],
    ...     "devices_returned": [1]})
    >>> case_ascertainment(attempts, issued)[["accounted_for", "used", "not_accounted_for"]].values.tolist()[0]
    [2, 3, 1]
    """
    monthly = issued.merge(_from_log(attempts), on=["site_ref", "month"], how="left").fillna(0)
    site = monthly.groupby("site_ref", as_index=False)[_COUNTED].sum().assign(month="", by="site_ref")
    whole = monthly[_COUNTED].sum().to_frame().T.assign(site_ref=OVERALL, month="", by=OVERALL)
    table = pd.concat([whole, site, monthly.assign(by="site_and_month")], ignore_index=True)
    table = table.astype(dict.fromkeys(_COUNTED, "int64")).rename(columns={"site_ref": "stratum"})
    accounted = table["devices_placed"].add(table["devices_wasted"])
    used = table["devices_issued"].sub(table["devices_returned"])
    table = table.assign(
        accounted_for=accounted,
        used=used,
        not_accounted_for=used.sub(accounted),
        ratio=shares_of(accounted, used),
    )
    front = ["by", "stratum", "month"]
    return table[[*front, *(name for name in table.columns if name not in front)]]


def _from_log(attempts: pd.DataFrame) -> pd.DataFrame:
    """Devices placed and wasted per site and month, and attempts whose waste is not recorded."""
    begun = attempts[attempts["outcome"] != "deferred"]
    number = counts(begun)
    wasted = begun["device_wasted_count"].astype("float64")
    placed = begun["outcome"] == "placed"
    table = pd.DataFrame(
        {
            "site_ref": begun["site_ref"].astype(object).fillna("not recorded"),
            "month": begun["attempt_date"].dt.strftime("%Y-%m"),
            "devices_placed": number.where(placed, 0),
            "devices_wasted": wasted.fillna(0).mul(number),
            # A device placed at the first pass leaves nothing to record.
            "n_wasted_unknown": number.where(wasted.isna() & ~placed, 0),
        }
    )
    return table.groupby(["site_ref", "month"], as_index=False).sum()
