"""More of expulsion: displacement that needed action, expulsion after an expulsion, its dates, and device size.

Each answers a question of its own beside `expulsion_incidence`; none of them is compared with a published figure.
"""

from collections.abc import Sequence

import pandas as pd

from audit.curves import at_horizons, clustered_incidence_table, incidence_table
from audit.schema.derived import ENDINGS
from audit.tallies import OVERALL, of_kind, tally_outcomes

_EXPELLED = ("expulsion_complete", "expulsion_partial")
_EXPULSION = {"expulsion": _EXPELLED}
_CODES = dict.fromkeys(ENDINGS, len(ENDINGS)) | dict.fromkeys(_EXPELLED, 1) | {"none": 0}
_DISPLACED = "displaced"
EXPLORATORY = (
    "Exploratory: published studies disagree on whether size matters; 235 women showed no association (Bahamondes "
    "MV et al, Int J Gynaecol Obstet 2011;113:50-53)."
)
FEW_EXPULSIONS = "Too few expulsions in a group to compare."


def displacement_incidence(
    placements: pd.DataFrame,
    *,
    by: str = OVERALL,
    placement_kind: str = "first",
    horizons: Sequence[float] = (182, 365),
    at_risk_floor: int = 10,
) -> pd.DataFrame:
    """Cumulative incidence of a displacement that needed action: partial expulsion, or removal for malposition.

    Population: placements of one kind. Event: partial expulsion (any part in the cervical canal), or a removal
    whose main or second reason is malposition. Competing: every other ending. Unknown: both censoring rules. A
    device pushed back and left in place counts with the partial expulsions.

    Parameters
    ----------
    placements
        The table `audit.schema.derived.PLACEMENTS`.
    by
        ``overall`` or a column of that table.
    placement_kind
        ``first``, ``replacement``, ``repeat`` or ``all``.
    horizons
        Days to read.
    at_risk_floor
        Below this many at risk a row carries a caution.

    Returns
    -------
    DataFrame
        As `expulsion_incidence`, at the horizons only, with ``cause`` ``displacement``, ``expulsion_partial`` and
        ``removal_malposition``. No placement gives no rows.
    """
    malposed = (placements["removal_reason"] == "malposition") | (
        placements["removal_reason_second"] == "malposition"
    )
    told = placements.assign(ending_detail=placements["ending"].astype(object).mask(malposed, _DISPLACED))
    views: tuple[dict[str, tuple[str, ...]], ...] = (
        {"displacement": ("expulsion_partial", _DISPLACED)},
        {"expulsion_partial": ("expulsion_partial",), "removal_malposition": (_DISPLACED,)},
    )
    tables = [
        incidence_table(
            told,
            view,
            by=by,
            placement_kind=placement_kind,
            horizons=horizons,
            at_risk_floor=at_risk_floor,
            ending="ending_detail",
            endings=(*ENDINGS, _DISPLACED),
        )
        for view in views
    ]
    return at_horizons(pd.concat(tables, ignore_index=True), horizons)


def repeat_expulsion(
    placements: pd.DataFrame, *, horizons: Sequence[float] = (182, 365), at_risk_floor: int = 10
) -> pd.DataFrame:
    """Cumulative incidence of expulsion by whether the woman had an expulsion before.

    Population: every placement, since most women with an earlier expulsion have a later device; those of one
    woman are taken together, which needs rows and is not poolable. Event, competing and unknown: as
    `expulsion_incidence`; an earlier expulsion that is not recorded is a stratum of its own.

    Parameters
    ----------
    placements, horizons, at_risk_floor
        As in `displacement_incidence`; rows, not a tally.

    Returns
    -------
    DataFrame
        As `expulsion_all_placements`, ``by`` ``prior_expulsion``. No placement gives no rows.

    Raises
    ------
    ValueError
        A tally was given.
    """
    before = placements["prior_expulsion"].astype(object).map({True: "yes", False: "no"})
    return clustered_incidence_table(
        placements.assign(prior_expulsion=before),
        _CODES,
        cause="expulsion",
        by="prior_expulsion",
        horizons=horizons,
        at_risk_floor=at_risk_floor,
    )


def expulsion_sensitivity(
    placements: pd.DataFrame,
    *,
    by: str = OVERALL,
    placement_kind: str = "first",
    horizons: Sequence[float] = (42, 182, 365),
    at_risk_floor: int = 10,
) -> pd.DataFrame:
    """Cumulative incidence of expulsion read in three ways that the definitions leave open.

    An expulsion is dated when it is found, or when she says it happened; it may have happened at any time since
    the device was last known in place. Both ends of that stretch are read. A partial expulsion ends the spell even
    where the device was put right and left in place; the third reading lets that spell go on.

    Parameters
    ----------
    placements, by, placement_kind, horizons, at_risk_floor
        As in `displacement_incidence`.

    Returns
    -------
    DataFrame
        As `expulsion_incidence`, at the horizons only, with ``reading``: ``latest`` (as everywhere else),
        ``earliest`` (the last day known in place) and ``put_right_goes_on``. No placement gives no rows.
    """
    expelled = placements["ending"].isin(_EXPELLED)
    earliest = {
        name: placements[name].astype("float64").mask(expelled, placements["ending_earliest_day"])
        for name in ("exit_day_last_known", "exit_day_assumed_in_place")
    }
    left = {name: placements[f"{name}_if_left"] for name in ("ending", *earliest)}
    readings = {
        "latest": placements,
        "earliest": placements.assign(**earliest),
        "put_right_goes_on": placements.assign(**left),
    }
    tables = []
    for reading, told in readings.items():
        table = incidence_table(
            told,
            _EXPULSION,
            by=by,
            placement_kind=placement_kind,
            horizons=horizons,
            at_risk_floor=at_risk_floor,
        )
        table.insert(3, "reading", reading)
        tables.append(at_horizons(table, horizons))
    return pd.concat(tables, ignore_index=True)


def size_mismatch(
    placements: pd.DataFrame,
    *,
    placement_kind: str = "first",
    horizons: Sequence[float] = (365,),
    at_risk_floor: int = 10,
    fewest_expulsions: int = 5,
) -> pd.DataFrame:
    """Cumulative incidence of expulsion by whether the uterus lay in the device's range: exploratory.

    Population: placements of one kind. Strata: the length by sound fits the range that the local protocol gives
    for the device, is shorter, is longer, or cannot be assessed. Event, competing and unknown: as
    `expulsion_incidence`.

    Parameters
    ----------
    placements, placement_kind, horizons, at_risk_floor
        As in `displacement_incidence`.
    fewest_expulsions
        With fewer in a group the caution says that it cannot be compared (common practice, no source).

    Returns
    -------
    DataFrame
        As `expulsion_incidence`, at the horizons only, ``by`` ``size_fit``, with ``n`` (placements of the group);
        every row says that it is exploratory. No placement gives no rows.

    References
    ----------
    Bahamondes MV et al, Int J Gynaecol Obstet 2011;113:50-53: no association of expulsion with the length of the
    cavity in 235 women.
    """
    table = incidence_table(
        placements,
        _EXPULSION,
        by="size_fit",
        placement_kind=placement_kind,
        horizons=horizons,
        at_risk_floor=at_risk_floor,
    )
    table = at_horizons(table, horizons)
    numbers = tally_outcomes(of_kind(placements, placement_kind), outcome="size_fit", by=OVERALL)
    counted = table["stratum"].map(numbers.set_index("outcome")["n"])
    table.insert(list(table.columns).index("at_risk"), "n", counted.astype("int64"))
    few = table["cumulative_events"] < fewest_expulsions
    table["caution"] = [
        f"{caution} {FEW_EXPULSIONS}".strip() if less else caution
        for caution, less in zip(table["caution"], few, strict=True)
    ]
    return _said(table, EXPLORATORY)


def _said(table: pd.DataFrame, sentence: str) -> pd.DataFrame:
    """The table with a sentence in front of each row's caution."""
    return table.assign(caution=[f"{sentence} {caution}".strip() for caution in table["caution"]])
