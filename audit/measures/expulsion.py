"""Expulsion: how many devices come out by themselves, wholly or in part, and by when.

Two numbers that are not the same stand side by side. The *cumulative incidence* is a woman's chance, other
endings allowed for. *One minus Kaplan-Meier* is what papers mostly print: the chance if nothing else could end
the spell. Interval placements lead; placements soon after a birth or an abortion stand apart and are never
pooled with them.
"""

from collections.abc import Sequence

import pandas as pd

from audit.curves import clustered_incidence_table, incidence_table
from audit.schema.derived import CENSORING_RULES, ENDINGS
from audit.statistics.grouped_curves import compare_incidences
from audit.statistics.hazard_ratios import hazard_ratios_by_level
from audit.tallies import OVERALL, of_kind, require_rows, spell_patterns, stacked

# Two ways of looking: either kind together, and each kind apart.
_VIEWS = (
    {"expulsion": ("expulsion_complete", "expulsion_partial")},
    {"expulsion_complete": ("expulsion_complete",), "expulsion_partial": ("expulsion_partial",)},
)
# Expulsion is cause 1; every other ending competes under one other code, death included.
_CODES = dict.fromkeys(ENDINGS, len(ENDINGS)) | {"none": 0} | dict.fromkeys(_VIEWS[0]["expulsion"], 1)
TIMING, FIRST, REPEATED = "timing_group", "first", "woman_with_several"
# What each model holds, with the level that others are compared with, and whom it is fitted to. Timing is a term
# of its own model: what age, births and device do is told within one timing, never over all of them.
_WOMEN = {"age_band": "30_34", "parous": "yes", "device_family": "hormonal"}
_MODELS = {
    "all_timings": (None, {TIMING: "interval", **_WOMEN}, (TIMING, OVERALL)),
    "interval": ("interval", _WOMEN, (*_WOMEN, OVERALL)),
    "postpartum": ("postpartum", _WOMEN, (*_WOMEN, OVERALL)),
}


def expulsion_incidence(
    placements: pd.DataFrame,
    *,
    by: str = OVERALL,
    placement_kind: str = "first",
    horizons: Sequence[float] = (42, 91, 182, 365, 730, 1095),
    at_risk_floor: int = 10,
) -> pd.DataFrame:
    """Cumulative incidence of expulsion, complete, partial and both, by days since placement.

    Population: placements of one kind. Event: complete expulsion, or partial (any part in the cervical canal),
    dated when found. Competing: removal, pregnancy, perforation, unrecorded endings, death. Unknown: both
    censoring rules, row by row.

    Parameters
    ----------
    placements
        The table `audit.schema.derived.PLACEMENTS`, or a tally of it.
    by
        ``overall`` or a column of that table, such as ``timing_group`` or ``parity_group``.
    placement_kind
        ``first``, ``replacement``, ``repeat`` or ``all``.
    horizons
        Days to read besides the days with an expulsion.
    at_risk_floor
        Below this many at risk a row carries a caution.

    Returns
    -------
    DataFrame
        ``by, stratum, placement_kind, censoring, cause`` (``expulsion``, ``expulsion_complete``,
        ``expulsion_partial``), ``days, at_risk, events, cumulative_events``, ``survival`` (no ending of any
        kind), ``incidence, standard_error, ci_lower, ci_upper`` and ``one_minus_km, km_lower, km_upper`` (0-1),
        ``method, caution``. No placement gives no rows.
    """
    tables = [
        incidence_table(
            placements,
            view,
            by=by,
            placement_kind=placement_kind,
            horizons=horizons,
            at_risk_floor=at_risk_floor,
        )
        for view in _VIEWS
    ]
    return pd.concat(tables, ignore_index=True)


def expulsion_tests(placements: pd.DataFrame, *, placement_kind: str = "first") -> pd.DataFrame:
    """Gray's test that groups are alike in their cumulative incidence of expulsion.

    Population: placements of one kind. Event: expulsion, complete or partial; other endings compete. Groups: the
    timing of placement; and device classes, compared within each timing. Unknown: placements whose group is
    unknown are left out; both censoring rules, row by row.

    Parameters
    ----------
    placements
        The table `audit.schema.derived.PLACEMENTS`, or a tally of it by these columns.
    placement_kind
        ``first``, ``replacement``, ``repeat`` or ``all``.

    Returns
    -------
    DataFrame
        ``by`` (``timing_group``, ``device_class``), ``within`` (empty, ``timing_group``), ``placement_kind,
        censoring, statistic, degrees_of_freedom, p_value, groups, events, n, method``; nan where no test can be
        made. No placement gives no rows.
    """
    rows = []
    for by, within in ((TIMING, None), ("device_class", TIMING)):
        for rule in CENSORING_RULES:
            columns = list(dict.fromkeys((by, TIMING)))
            spells = _spells(placements, columns, rule, placement_kind)
            spells = spells.assign(group=spells[by])[spells[by] != "unknown"]
            if len(spells):
                labels = {
                    "by": by,
                    "within": within or "",
                    "placement_kind": placement_kind,
                    "censoring": rule,
                }
                rows.append(labels | compare_incidences(spells, strata=within))
    return pd.DataFrame(rows)


def expulsion_hazard_ratios(placements: pd.DataFrame, *, placement_kind: str = "first") -> pd.DataFrame:
    """Hazard ratios of expulsion, each adjusted for the others (Cox, cause-specific).

    Population: placements of one kind; of all timings for the ratios of timing, and of one timing for those of
    age, births and device, so that placements soon after a birth are never pooled with interval ones. Event:
    expulsion, complete or partial; other endings censor. Unknown: a level of its own; both censoring rules, row
    by row. Of any kind but first placements a woman may have several: limits and p-values then take those of one
    woman together, which needs rows and is not poolable.

    Parameters
    ----------
    placements, placement_kind
        As in `expulsion_tests`; rows, not a tally, unless of first placements.

    Returns
    -------
    DataFrame
        ``population`` (``all_timings``, ``interval``, ``postpartum``), ``placement_kind, censoring, by``
        (``timing_group``, ``age_band``, ``parous``, ``device_family``), ``stratum, reference, events, n,
        hazard_ratio, ci_lower, ci_upper, p_value, poolable, method, caution``. With fewer than 10 expulsions for
        each term a population has one row, ``overall``, that says so. No placement gives no rows.

    Raises
    ------
    ValueError
        A tally was given of other than first placements.
    """
    alone = placement_kind == FIRST
    told = placements if alone else _with_repeats(of_kind(placements, placement_kind))
    tables = []
    for population, (timing, references, shown) in _MODELS.items():
        for rule in CENSORING_RULES:
            spells = _spells(told, [TIMING, *_WOMEN, *([] if alone else [REPEATED])], rule, placement_kind)
            if timing is not None:
                spells = spells[spells[TIMING] == timing].reset_index(drop=True)
            table = hazard_ratios_by_level(
                _apart(spells), references=references, clusters=None if alone else REPEATED
            )
            table = table[table["by"].isin(shown)]
            table.insert(list(table.columns).index("method"), "poolable", alone)
            table.insert(0, "population", population)
            table.insert(1, "placement_kind", placement_kind)
            table.insert(2, "censoring", rule)
            tables.append(table)
    return stacked(tables)


def expulsion_all_placements(
    placements: pd.DataFrame,
    *,
    by: str = OVERALL,
    horizons: Sequence[float] = (42, 91, 182, 365, 730, 1095),
    at_risk_floor: int = 10,
) -> pd.DataFrame:
    """Cumulative incidence of expulsion over all placements, those of one woman taken together.

    Population: every placement, replacements and later ones included. Event, competing endings and unknown: as in
    `expulsion_incidence`. A woman with several placements is one unit of chance, so that this figure needs rows:
    it cannot be worked out from tallies and is not poolable.

    Parameters
    ----------
    placements
        The table `audit.schema.derived.PLACEMENTS`, one row a placement.
    by, horizons, at_risk_floor
        As in `expulsion_incidence`; the incidence is given at the horizons only.

    Returns
    -------
    DataFrame
        ``by, stratum, placement_kind`` (``all``), ``censoring, cause`` (``expulsion``), ``days, at_risk,
        cumulative_events, n`` (placements), ``n_women``, ``incidence, standard_error, ci_lower, ci_upper`` (0-1),
        ``poolable`` (False), ``method, caution``. No placement gives no rows.

    Raises
    ------
    ValueError
        A tally was given.
    """
    return clustered_incidence_table(
        placements, _CODES, cause="expulsion", by=by, horizons=horizons, at_risk_floor=at_risk_floor
    )


def _with_repeats(placements: pd.DataFrame) -> pd.DataFrame:
    """The placements with the woman's number where she has several; the others can then be tallied."""
    require_rows(placements)
    women = placements["patient_ref"]
    return placements.assign(**{REPEATED: women.where(women.duplicated(keep=False))})


def _apart(spells: pd.DataFrame) -> pd.DataFrame:
    """The spells with no name for the women who have one placement each."""
    if REPEATED not in spells:
        return spells
    named = spells[REPEATED]
    return spells.assign(**{REPEATED: named.where(named != "unknown")})


def _spells(placements: pd.DataFrame, by: list[str], rule: str, placement_kind: str) -> pd.DataFrame:
    """Spells by several columns, expulsion apart from the endings that compete with it."""
    return spell_patterns(placements, by=by, censoring=rule, codes=_CODES, placement_kind=placement_kind)
