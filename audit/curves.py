"""Curves of placements as result tables: tally, statistics and labels in one step, for every measure alike."""

from collections.abc import Mapping, Sequence

import pandas as pd

from audit.schema.derived import CENSORING_RULES, ENDINGS
from audit.statistics.clustered_incidence import COLUMNS as CLUSTERED_COLUMNS
from audit.statistics.clustered_incidence import clustered_incidence
from audit.statistics.grouped_curves import (
    compare_groups,
    incidence_by_group,
    median_by_group,
    survival_by_group,
)
from audit.statistics.restricted_means import COLUMNS as MEAN_COLUMNS
from audit.statistics.restricted_means import restricted_mean_columns
from audit.statistics.summaries import rates_by_group
from audit.tallies import ALL_KINDS, OVERALL, coded_spells, require_rows, stacked

Causes = Mapping[str, Sequence[str]]

_FRONT = ["by", "stratum", "placement_kind", "censoring"]


def incidence_table(
    placements: pd.DataFrame,
    causes: Causes,
    *,
    by: str,
    placement_kind: str,
    horizons: Sequence[float],
    at_risk_floor: int,
    ending: str = "ending",
    endings: Sequence[str] = ENDINGS,
) -> pd.DataFrame:
    """Cumulative incidence of each cause under both censoring rules, as a result table.

    `causes` maps a cause to the codes of the column `ending` that count as it; any other code of `endings` but
    ``none`` competes, death included.
    """
    names = {cause: number for number, cause in enumerate(causes, start=1)}
    codes = {code: len(names) + 1 for code in endings if code != "none"}
    codes |= {code: names[cause] for cause, own in causes.items() for code in own}
    tables = []
    for rule in CENSORING_RULES:
        spells = coded_spells(
            placements,
            by=by,
            censoring=rule,
            codes=codes,
            placement_kind=placement_kind,
            ending=ending,
        )
        table = incidence_by_group(spells, causes=names, horizons=horizons, at_risk_floor=at_risk_floor)
        tables.append(_labelled(table, by, placement_kind, rule))
    return stacked(tables)


def clustered_incidence_table(
    placements: pd.DataFrame,
    codes: Mapping[str, int],
    *,
    cause: str,
    by: str,
    horizons: Sequence[float],
    at_risk_floor: int,
) -> pd.DataFrame:
    """Cumulative incidence over all placements under both censoring rules, those of one woman one unit of chance.

    `codes` gives each ending its number: 1 for the cause, 0 for none, any other competes. It takes rows, one a
    placement: a tally does not tell women apart.
    """
    require_rows(placements)
    stratum = placements[by].astype(object) if by != OVERALL else pd.Series(OVERALL, index=placements.index)
    groups = placements.groupby(stratum.where(stratum.notna(), "not recorded").astype(str), sort=True)
    tables = []
    for name, own in groups:
        endings = own["ending"].astype(object).map(codes).fillna(0).astype("int64")
        for rule in CENSORING_RULES:
            table = clustered_incidence(
                own[f"exit_day_{rule}"],
                endings,
                own["patient_ref"],
                horizons=list(horizons),
                at_risk_floor=at_risk_floor,
            )
            table = _labelled(table.assign(stratum=name, cause=cause, poolable=False), by, ALL_KINDS, rule)
            tables.append(table)
    names = {"time": "days", "n_clusters": "n_women"}
    columns = [names.get(column, column) for column in CLUSTERED_COLUMNS]
    ordered = [*_FRONT, "cause", *columns[: columns.index("method")], "poolable", "method", "caution"]
    if not tables:
        return pd.DataFrame(columns=ordered)
    return pd.concat(tables, ignore_index=True).rename(columns=names)[ordered]


def survival_table(
    placements: pd.DataFrame,
    ended_by: Sequence[str],
    *,
    by: str,
    placement_kind: str,
    horizons: Sequence[float],
    at_risk_floor: int,
) -> pd.DataFrame:
    """Kaplan-Meier curves under both censoring rules, as a result table; other endings censor."""
    tables = []
    for rule, spells in _spells(placements, ended_by, by, placement_kind).items():
        table = survival_by_group(spells, horizons=horizons, at_risk_floor=at_risk_floor)
        tables.append(_labelled(table, by, placement_kind, rule))
    return stacked(tables)


def median_table(
    placements: pd.DataFrame, ended_by: Sequence[str], *, by: str, placement_kind: str
) -> pd.DataFrame:
    """Number, endings and median days under both censoring rules, as a result table."""
    tables = []
    for rule, spells in _spells(placements, ended_by, by, placement_kind).items():
        table = median_by_group(spells).rename(columns={"median": "median_days"})
        tables.append(_labelled(table, by, placement_kind, rule))
    return stacked(tables)


def comparison_table(
    placements: pd.DataFrame, ended_by: Sequence[str], *, by: str, placement_kind: str
) -> pd.DataFrame:
    """Log-rank tests under both censoring rules, as a result table; unknown groups are left out."""
    known = placements[placements[by].notna() & (placements[by] != "unknown")]
    rows = [
        {"by": by, "placement_kind": placement_kind, "censoring": rule, **compare_groups(spells)}
        for rule, spells in _spells(known, ended_by, by, placement_kind).items()
        if len(spells)
    ]
    return pd.DataFrame(rows)


def mean_difference_table(
    placements: pd.DataFrame,
    ended_by: Sequence[str],
    *,
    by: str,
    pairs: Sequence[tuple[str, str]],
    placement_kind: str,
    horizon: float,
    at_risk_floor: int,
) -> pd.DataFrame:
    """Differences between the restricted means of pairs of groups under both censoring rules."""
    rows = []
    for rule, spells in _spells(placements, ended_by, by, placement_kind).items():
        for group, reference in pairs:
            figures = restricted_mean_columns(
                spells, group=group, reference=reference, horizon=horizon, at_risk_floor=at_risk_floor
            )
            if figures:
                labels = {"by": by, "group": group, "reference": reference, "placement_kind": placement_kind}
                rows.append({**labels, "censoring": rule, "days": horizon, **figures})
    front = ["by", "group", "reference", "placement_kind", "censoring", "days"]
    return pd.DataFrame(rows, columns=[*front, *MEAN_COLUMNS])


def rate_table(
    placements: pd.DataFrame, causes: Causes, *, by: str, placement_kind: str, cuts: Sequence[float]
) -> pd.DataFrame:
    """Rates per person-year of each cause, by band of days since placement, under both censoring rules."""
    numbers = {cause: number for number, cause in enumerate(causes, start=1)}
    codes = {code: numbers[cause] for cause, own in causes.items() for code in own}
    tables = []
    for rule in CENSORING_RULES:
        spells = coded_spells(placements, by=by, censoring=rule, codes=codes, placement_kind=placement_kind)
        table = rates_by_group(spells, causes=numbers, cuts=cuts)
        tables.append(_labelled(table, by, placement_kind, rule))
    return stacked(tables)


def _spells(
    placements: pd.DataFrame, ended_by: Sequence[str], by: str, placement_kind: str
) -> dict[str, pd.DataFrame]:
    """Coded spells under each censoring rule."""
    codes = dict.fromkeys(ended_by, 1)
    return {
        rule: coded_spells(placements, by=by, censoring=rule, codes=codes, placement_kind=placement_kind)
        for rule in CENSORING_RULES
    }


def _labelled(table: pd.DataFrame, by: str, placement_kind: str, rule: str) -> pd.DataFrame:
    """The table with what it is about in front."""
    named = table.rename(columns={"group": "stratum", "time": "days"})
    named = named.assign(by=by, placement_kind=placement_kind, censoring=rule)
    return named[[*_FRONT, *(name for name in named.columns if name not in _FRONT)]]


def at_horizons(table: pd.DataFrame, horizons: Sequence[float]) -> pd.DataFrame:
    """The rows of a curve's table at the horizons alone."""
    return table[table["days"].isin(list(horizons))].reset_index(drop=True)
