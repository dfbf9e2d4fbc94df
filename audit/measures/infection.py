"""Pelvic infection after placement: the first weeks apart, since that is when a placement can bring it."""

import pandas as pd

from audit.curves import at_horizons, incidence_table, rate_table
from audit.schema.derived import ENDINGS
from audit.tallies import OVERALL

_DIAGNOSES = {"suspected_or_confirmed": ("suspected_treated", "confirmed"), "confirmed": ("confirmed",)}
_INFECTED = "pelvic_infection"


def pelvic_infection(
    placements: pd.DataFrame,
    follow_ups: pd.DataFrame,
    *,
    by: str = OVERALL,
    placement_kind: str = "all",
    early_days: float = 20,
) -> pd.DataFrame:
    """First pelvic inflammatory disease per woman-year, in the first days and later.

    Population: placements of one kind. Event: the first contact with the diagnosis while the device was in place,
    suspected and treated or confirmed; then confirmed alone. Denominator: woman-years in use, under observation
    and free of it. Unknown: both censoring rules, row by row; a contact at which nothing is recorded is none.

    Parameters
    ----------
    placements, follow_ups
        Tables of `audit.schema.derived`.
    by
        ``overall`` or a column of placements.
    placement_kind
        ``first``, ``replacement``, ``repeat`` or ``all``.
    early_days
        Last day of the first band.

    Returns
    -------
    DataFrame
        ``by, stratum, placement_kind, censoring, definition, band`` (``0 to 20``, ``over 20``, ``all``),
        ``events, person_years, rate, ci_lower, ci_upper`` (per 1 woman-year), ``method, caution``. No placement
        gives no rows.
    """
    tables = []
    for definition, diagnoses in _DIAGNOSES.items():
        told = _to_infection(placements, follow_ups, diagnoses)
        table = rate_table(
            told, {_INFECTED: (_INFECTED,)}, by=by, placement_kind=placement_kind, cuts=(early_days,)
        ).drop(columns="cause")
        table.insert(len(["by", "stratum", "placement_kind", "censoring"]), "definition", definition)
        tables.append(table)
    return pd.concat(tables, ignore_index=True) if len(tables[0]) else tables[0]


def pelvic_infection_incidence(
    placements: pd.DataFrame,
    follow_ups: pd.DataFrame,
    *,
    by: str = OVERALL,
    placement_kind: str = "all",
    horizons: tuple[float, ...] = (42,),
    at_risk_floor: int = 10,
) -> pd.DataFrame:
    """Cumulative incidence of a first pelvic infection, suspected or confirmed, a few weeks after placement.

    Population, event and unknown: as `pelvic_infection`; every ending of the device competes.

    Parameters
    ----------
    placements, follow_ups, by, placement_kind
        As in `pelvic_infection`.
    horizons
        Days to read.
    at_risk_floor
        Below this many at risk a row carries a caution.

    Returns
    -------
    DataFrame
        As `expulsion_incidence`, at the horizons only.
    """
    told = _to_infection(placements, follow_ups, _DIAGNOSES["suspected_or_confirmed"])
    table = incidence_table(
        told,
        {_INFECTED: (_INFECTED,)},
        by=by,
        placement_kind=placement_kind,
        horizons=horizons,
        at_risk_floor=at_risk_floor,
        endings=(*ENDINGS, _INFECTED),
    )
    return at_horizons(table, horizons)


def _to_infection(
    placements: pd.DataFrame, follow_ups: pd.DataFrame, diagnoses: tuple[str, ...]
) -> pd.DataFrame:
    """Placements observed to their first infection while the device was in place."""
    infected = follow_ups[follow_ups["pid_diagnosed"].isin(diagnoses)]
    day = placements["placement"].map(infected.groupby("placement")["day"].min())
    # Found on the day the device came out, it was there while the device was.
    counts = day.notna() & ~(day > placements["ending_day"])
    ending = placements["ending"].astype(object).mask(counts, _INFECTED)
    exits = {
        name: placements[name].astype("float64").mask(counts, day)
        for name in ("exit_day_last_known", "exit_day_assumed_in_place")
    }
    return placements.assign(ending=ending, **exits)
