"""A published cohort of IUD users through the command line, from visit log to record.

Data: weeks to discontinuation because of bleeding in 18 women with an intrauterine device, and of women still
using it when last seen (World Health Organization, 1987), printed in Collett D, Modelling Survival Data in
Medical Research, table 1.1, and stored in R's package collett. Values to full precision were computed in
R 4.2.2 with survival 3.5-3; the four printed digits of the survivor table are from memory, reproduced by
computation.
"""

import csv
import json
from datetime import date, timedelta
from pathlib import Path

import pytest

from audit.cli import main

COHORT = Path(__file__).parent / "data" / "iud18.csv"
PLACED = date(2021, 1, 4)
EXACT = {"rel": 1e-9, "abs": 1e-12}
OVERALL_LAST_KNOWN = {
    "by": "overall",
    "stratum": "overall",
    "placement_kind": "first",
    "censoring": "last_known",
}

# week, at risk, survival, standard error, printed survival, printed standard error
SURVIVOR_TABLE = [
    (10, 18, 0.944444444444, 0.0539902953226, 0.9444, 0.0540),
    (19, 15, 0.881481481481, 0.0789891941390, 0.8815, 0.0790),
    (30, 13, 0.813675213675, 0.0977770012848, 0.8137, 0.0978),
    (36, 12, 0.745868945869, 0.1106701948958, 0.7459, 0.1107),
    (59, 8, 0.652635327635, 0.1303197470249, 0.6526, 0.1303),
    (75, 7, 0.559401709402, 0.1411672788749, 0.5594, 0.1412),
    (93, 6, 0.466168091168, 0.1451991202425, 0.4662, 0.1452),
    (97, 5, 0.372934472934, 0.1429929653774, 0.3729, 0.1430),
    (107, 3, 0.248622981956, 0.1392471955932, 0.2486, 0.1392),
]
# week, lower and upper 95% limit by log(-log), as R's conf.type = "log-log" and lifelines give them
LIMITS = [
    (10, 0.666390168335, 0.991982923674),
    (36, 0.453598638770, 0.896957023145),
    (93, 0.182984680464, 0.709657870585),
    (107, 0.046759545447, 0.531266263940),
]


def written_as_visits(path: Path) -> Path:
    """The cohort as a visit log: one placement each, then a removal for bleeding or a check with it in place."""
    lines = ["patient_ref,visit_date,visit_kind,insertion_outcome,device_in_situ,removal_reason_main"]
    with COHORT.open(encoding="utf-8", newline="") as file:
        women = list(csv.DictReader(file))
    for number, woman in enumerate(women):
        last = PLACED + timedelta(weeks=int(woman["week"]))
        lines.append(f"W{number},{PLACED},insertion,placed,,")
        if woman["event"] == "1":
            lines.append(f"W{number},{last},removal,,removed_here,bleeding")
        else:
            lines.append(f"W{number},{last},follow_up,,in_situ_confirmed,")
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def tables(tmp_path_factory):
    """The tables of the record that the command line writes of the cohort."""
    folder = tmp_path_factory.mktemp("cohort")
    log = written_as_visits(folder / "visits.csv")
    assert main(["run", str(log), "--period", "2021-Q1", "--out", str(folder / "out"), "--quiet"]) == 0
    return json.loads((folder / "out" / "record.json").read_text(encoding="utf-8"))["tables"]


def rows_of(table, **wanted):
    return [row for row in table if all(row[name] == value for name, value in wanted.items())]


def in_week(tables, week):
    (row,) = rows_of(tables["continuation_curve"], **OVERALL_LAST_KNOWN, days=7 * week)
    return row


@pytest.mark.parametrize(("week", "at_risk", "survival", "error", "printed", "printed_error"), SURVIVOR_TABLE)
def test_the_published_survivor_table_comes_out_of_the_record(
    tables, week, at_risk, survival, error, printed, printed_error
):
    found = in_week(tables, week)
    assert (found["at_risk"], found["events"]) == (at_risk, 1)
    assert found["survival"] == pytest.approx(survival, **EXACT)
    assert found["standard_error"] == pytest.approx(error, **EXACT)
    assert (round(found["survival"], 4), round(found["standard_error"], 4)) == (printed, printed_error)


@pytest.mark.parametrize(("week", "lower", "upper"), LIMITS)
def test_the_limits_are_those_of_log_minus_log(tables, week, lower, upper):
    found = in_week(tables, week)
    assert (found["ci_lower"], found["ci_upper"]) == (
        pytest.approx(lower, **EXACT),
        pytest.approx(upper, **EXACT),
    )


def test_the_curve_steps_nowhere_else(tables):
    curve = rows_of(tables["continuation_curve"], **OVERALL_LAST_KNOWN)
    assert [row["days"] // 7 for row in curve if row["events"]] == [row[0] for row in SURVIVOR_TABLE]


def test_the_median_is_93_weeks_with_no_upper_limit(tables):
    # 93 (36, not reached) by R's survfit with conf.type = "log-log"; lifelines gives (36, inf).
    (found,) = rows_of(tables["continuation_summary"], **OVERALL_LAST_KNOWN)
    assert (found["n"], found["events"]) == (18, 9)
    assert (found["median_days"], found["median_lower"], found["median_upper"]) == (651, 252, None)


def test_every_ending_of_the_cohort_is_a_removal_for_bleeding(tables):
    last = max(
        rows_of(tables["removal_incidence"], **OVERALL_LAST_KNOWN, cause="bleeding_or_pain"),
        key=lambda row: row["days"],
    )
    assert last["cumulative_events"] == 9
    # With one kind of ending only, its cumulative incidence is what is left of the survivor function.
    in_107 = rows_of(
        tables["removal_incidence"], **OVERALL_LAST_KNOWN, cause="bleeding_or_pain", days=7 * 107
    )
    assert in_107[0]["incidence"] == pytest.approx(1 - 0.248622981956, **EXACT)
