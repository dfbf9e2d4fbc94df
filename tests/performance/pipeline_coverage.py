"""From an invented log to the result tables, many times: how often do the limits printed hold the truth?

Every log goes the whole way: written as CSV, read, checked, derived, counted, estimated. The service is Larkfield
with every woman followed and nobody attempted twice, so that truth is known without a bias from follow-up.
"""

from collections.abc import Iterator
from dataclasses import replace
from math import sqrt
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pandas as pd

import audit
from synthetic_data.demo import DEMO_PERIOD
from synthetic_data.generate import generate_visits
from synthetic_data.parameters import ServiceParameters, fully_followed
from synthetic_data.truth import true_values

# About 2,000 visits.
WOMEN = 560
SPELLS = {"placement_kind": "first", "censoring": "last_known", "days": 365}
# Family, result table, what picks its rows, by in the table, measure and by of the truth, its strata -> ours.
PROPORTIONS = (
    (
        "failed_insertions",
        {"window": "all", "unit": "visit"},
        "failed_insertion",
        {"overall": {"all": "overall"}, "cervical_parity": {"yes": "yes", "no": "no"}},
    ),
    (
        "vasovagal_by_parity",
        {"window": "all", "definition": "vasovagal_any"},
        "vasovagal",
        {"overall": {"all": "overall"}, "cervical_parity": {"yes": "yes", "no": "no"}},
    ),
)
DEVICES = {"lng_52": "lng_52", "copper_t_380": "copper_t_380"}
CURVES = (
    ("expulsion_incidence", {"cause": "expulsion"}, "expulsion_12_months"),
    ("removal_incidence", {"cause": "removal"}, "removal_12_months"),
    ("continuation_curve", {}, "continuation_12_months"),
)


def service(women: int = WOMEN) -> ServiceParameters:
    """The service: nobody lost, nobody attempted or fitted again."""
    followed = fully_followed()
    procedure = replace(
        followed.procedure,
        returns_after_failure=0.0,
        returns_after_deferral=0.0,
        take_over_supervised=0.0,
        take_over_alone=0.0,
    )
    removals = tuple(replace(rate, replaced_at_once=0.0) for rate in followed.hazards.removals)
    return replace(
        followed,
        women=women,
        procedure=procedure,
        hazards=replace(followed.hazards, removals=removals),
        follow_up=replace(followed.follow_up, replaced_after_expulsion=0.0),
    )


def audited(parameters: ServiceParameters, seed: int) -> dict[str, pd.DataFrame]:
    """The result tables of one invented log that went the whole way."""
    with TemporaryDirectory() as folder:
        path = Path(folder, "visits.csv")
        generate_visits(parameters, seed=seed).to_csv(path, index=False)
        log = audit.load_visits(path)
    return dict(audit.run_audit(log, period=DEMO_PERIOD).tables)


def compared(tables: dict[str, pd.DataFrame], truth: pd.DataFrame) -> Iterator[tuple[str, str, bool]]:
    """For each limit that can be set beside the truth: family, figure, and whether it holds it."""
    for name, picked, measure, strata in PROPORTIONS:
        for by, names in strata.items():
            for theirs, ours in names.items():
                row = _row(tables[name], {**picked, "by": by, "stratum": ours})
                known = _truth(truth, measure, by, theirs)
                lower, upper = (row[f"{_limits(row)}_{end}"] for end in ("lower", "upper"))
                yield "proportions", f"{name} {ours}", lower <= known <= upper
    for name, picked, measure in CURVES:
        for by, names in (("overall", {"all": "overall"}), ("device_class", DEVICES)):
            for theirs, ours in names.items():
                row = _row(tables[name], {**SPELLS, **picked, "by": by, "stratum": ours})
                known = _truth(truth, measure, by, theirs)
                if not np.isnan(row["ci_lower"]):
                    yield "curves", f"{name} {ours}", row["ci_lower"] <= known <= row["ci_upper"]


def _limits(row: pd.Series) -> str:
    """Which limits the report prints: exact ones where counts are few."""
    few = min(row["events"], row["n"] - row["events"]) <= 5 or row["n"] < 30
    return "exact" if few else "ci"


def _row(table: pd.DataFrame, picked: dict[str, object]) -> pd.Series:
    """The one row with these values."""
    wanted = np.logical_and.reduce([table[column] == value for column, value in picked.items()])
    if wanted.sum() != 1:
        raise LookupError(f"{wanted.sum()} rows with {picked}")
    return table[wanted].iloc[0]


def _truth(truth: pd.DataFrame, measure: str, by: str, stratum: str) -> float:
    """One true value."""
    rows = truth[(truth["measure"] == measure) & (truth["stratum"] == stratum)]
    return float(rows.loc[(rows["by"] == by) | (stratum == "all"), "value"].iloc[0])


def coverages(logs: int, *, seed: int = 0) -> list[tuple[str, float, float, int]]:
    """Per family: share of limits that hold the truth, its Monte Carlo error over logs, and limits compared."""
    parameters = service()
    truth = true_values(parameters, women=200_000)
    seen = []
    for number in range(logs):
        tables = audited(parameters, seed + number)
        seen += [(number, *one) for one in compared(tables, truth)]
    frame = pd.DataFrame(seen, columns=["log", "family", "figure", "held"])
    found = []
    for family, rows in frame.groupby("family", sort=True):
        # Limits of one log lean on the same women, so logs are what varies independently.
        each = rows.groupby("log")["held"].mean()
        found.append(
            (str(family), float(rows["held"].mean()), float(each.std(ddof=1)) / sqrt(logs), len(rows))
        )
    return found
