"""More questions a clinic asks, end to end: clinicians, nothing seen, checks done, and what no table can show.

Outside sources: exact and Wilson limits by statsmodels, binomial tails by scipy; both also as rounded in R 4.2.2.
"""

import re
from collections.abc import Callable, Iterator
from datetime import date, timedelta
from typing import Any

import pytest
from scipy.stats import binom
from statsmodels.stats.proportion import proportion_confint

Table = list[dict[str, Any]]
Audited = Callable[..., dict[str, Table]]
Pick = Callable[..., dict[str, Any]]
Row = dict[str, object]
Rows = Callable[..., Iterator[Row]]
Percent = Callable[..., tuple[float, ...]]


# Words that say of one thing that it brought about another.
CAUSAL = re.compile(
    r"\b(?:caus\w*|because|due to|owing to|leads?|led to|results? in|makes?|provok\w*|trigger\w*|induc\w*|"
    r"rais\w*|increas\w*|reduc\w*|prevent\w*|protect\w*|effects?|affect\w*|responsible|explain\w*|risk factors?)\b",
    re.IGNORECASE,
)


def test_six_failures_of_48_stand_beside_the_service_with_its_tail_and_no_rank(
    audited: Audited, pick: Pick, section: Callable[[str], str], insertions: Rows
) -> None:
    failed, placed = {"insertion_outcome": "failed"}, {"insertion_outcome": "placed"}
    rows = [
        *insertions(6, {**failed, "clinician_ref": "C07"}),
        *insertions(42, {**placed, "clinician_ref": "C07"}, start=6),
        *insertions(25, {**failed, "clinician_ref": "C01"}, start=48),
        *insertions(567, {**placed, "clinician_ref": "C01"}, start=73),
    ]
    tables = audited(rows, period="2026-Q3", data_to="2026-09-30")
    found = pick(tables["failed_insertions_by_clinician"], stratum="C07", window="rolling_12_months")
    assert (found["events"], found["n"], found["target_kind"]) == (6, 48, "service")
    assert found["target"] == pytest.approx(31 / 640, rel=1e-12)
    assert found["tail_upper"] == pytest.approx(binom.sf(5, 48, 31 / 640), rel=1e-9)
    # More than 2.5% by chance alone: inside the limits, though hardly.
    assert (round(found["tail_upper"], 4), found["signal"]) == (0.0277, "none")
    assert "rank" not in found
    assert [row["stratum"] for row in tables["failed_insertions_by_clinician"]][:2] == ["C01", "C07"]

    apart = audited(
        rows, period="2026-Q3", data_to="2026-09-30", settings='funnel_target = "service_excluding_own"\n'
    )
    beside = pick(apart["failed_insertions_by_clinician"], stratum="C07", window="rolling_12_months")
    assert (beside["target_kind"], beside["target"]) == ("service_excluding_own", pytest.approx(25 / 592))
    assert beside["tail_upper"] == pytest.approx(binom.sf(5, 48, 25 / 592), rel=1e-9)
    # Outside 2.5% and inside 0.1%: another target, another answer, so the page must name it.
    assert (round(beside["tail_upper"], 4), beside["signal"]) == (0.0152, "ask")
    text = section("clinicians")
    assert "the other clinicians together, their own attempts left out" in text
    assert not re.search(r"\b(?:rank|best|worst|poor|worse|better)\w*", text, re.IGNORECASE)


def test_no_perforation_in_240_is_no_proof_of_fewer_than_published(
    audited: Audited, pick: Pick, insertions: Rows
) -> None:
    rows = list(insertions(240, {"insertion_outcome": "placed", "perforation_suspected": "no"}))
    tables = audited(rows, period="2026-Q3", data_to="2026-09-30")
    found = pick(tables["perforation"], by="overall", definition="confirmed", window="period")
    assert (found["events"], found["n"]) == (0, 240)
    assert found["exact_upper"] == pytest.approx(proportion_confint(0, 240, method="beta")[1], rel=1e-9)
    assert round(100 * found["exact_upper"], 1) == 1.5
    compared = [row for row in tables["benchmark_comparison"] if row["outcome"] == "perforation"]
    judged = {row["verdict"] for row in compared if row["own_n"] == 240}
    assert judged == {"cannot_tell"}


def test_of_214_checks_due_in_the_quarter_171_were_done(
    audited: Audited, pick: Pick, insertions: Rows, contacts: Rows, as_percent: Percent
) -> None:
    placed: Row = {"insertion_outcome": "placed"}
    seen: Row = {"device_in_situ": "in_situ_confirmed"}
    june = date(2026, 6, 1)
    rows = [
        *insertions(214, placed, day=june),
        *contacts(range(171), june + timedelta(days=30), seen),
        # Not due: too recent, or expelled before the check.
        *insertions(10, placed, start=214, day=date(2026, 9, 15)),
        *insertions(3, placed, start=224, day=june),
        *contacts(range(224, 227), june + timedelta(days=10), {"device_in_situ": "complete_expulsion"}),
    ]
    tables = audited(rows, period="2026-Q3", data_to="2026-09-30")
    found = pick(tables["check_done"], by="overall", window="period")
    assert (found["events"], found["n"]) == (171, 214)
    assert as_percent(found, "proportion", "ci_lower", "ci_upper") == (79.9, 74.0, 84.7)
    assert (found["ci_lower"], found["ci_upper"]) == pytest.approx(
        proportion_confint(171, 214, method="wilson"), rel=1e-9
    )


def test_whether_dilation_makes_women_faint_no_table_and_no_sentence_says(
    audited: Audited, pick: Pick, section: Callable[[str], str], insertions: Rows
) -> None:
    placed: Row = {"insertion_outcome": "placed", "vaginal_births": 0}
    dilated, plain = placed | {"dilation": "graduated_metal"}, placed | {"dilation": "none"}
    rows = [
        *insertions(12, dilated | {"vasovagal_grade": 1, "onset_phase": "dilation"}),
        *insertions(4, dilated | {"vasovagal_grade": 1, "onset_phase": "sounding"}, start=12),
        *insertions(3, dilated | {"vasovagal_grade": 1, "onset_phase": "tenaculum"}, start=16),
        *insertions(81, dilated | {"vasovagal_grade": 0}, start=19),
        *insertions(10, plain | {"vasovagal_grade": 1, "onset_phase": "device_placement"}, start=100),
        *insertions(190, plain | {"vasovagal_grade": 0}, start=110),
    ]
    tables = audited(rows, period="2026-Q3", data_to="2026-09-30")
    for name in ("vasovagal_by_technique", "vasovagal_technique_contrasts"):
        about = [row for row in tables[name] if row["technique"] == "dilation"]
        assert about
        for row in about:
            assert "difficulty was expected" in row["caution"]
            assert "does not show what dilation causes" in row["caution"]
    used = {"by": "overall", "technique": "dilation", "window": "rolling_12_months"}
    yes, no = (pick(tables["vasovagal_by_technique"], used=word, **used) for word in ("yes", "no"))
    assert (no["events"], no["n"]) == (10, 200)
    # A reaction at the tenaculum came before the dilation and cannot be laid at its door.
    assert (yes["events"], yes["n"], yes["n_earlier"]) == (16, 97, 3)

    steps = {"by": "overall", "grade": "all", "window": "rolling_12_months"}
    began = {
        row["phase"]: row["events"]
        for row in tables["vasovagal_by_phase"]
        if all(row[name] == value for name, value in steps.items())
    }
    assert began == {"tenaculum": 3, "sounding": 4, "dilation": 12, "device_placement": 10}
    text = section("vasovagal")
    for cautious in (
        "Women were dilated because difficulty was expected. This table does not show what dilation causes",
        "The step at which a reaction began is not its cause.",
    ):
        assert cautious in text
        text = text.replace(cautious, "")
    assert "Dilation and reactions: ratio" in text
    assert "Reacted at that step or after" in text
    assert not CAUSAL.findall(text)


RANGE: Row = {"device_min_sound_mm": 60, "device_max_sound_mm": 90}
# Length by sound and range, women, and how many of them were expelled.
BY_SIZE: dict[str, tuple[tuple[Row, int, int], ...]] = {
    "fits": (({"sound_length_mm": 75, **RANGE}, 40, 3),),
    "too_short": (({"sound_length_mm": 55, **RANGE}, 20, 6),),
    "too_long": (({"sound_length_mm": 95, **RANGE}, 15, 2),),
    "not_assessable": ((RANGE, 12, 1), ({"sound_length_mm": 55}, 9, 1)),
}


def test_whether_size_matters_is_explored_only_where_length_and_range_are_known(
    audited: Audited, pick: Pick, section: Callable[[str], str], insertions: Rows, contacts: Rows
) -> None:
    placed, start, rows = date(2025, 1, 6), 0, list[Row]()
    for number, expelled, values in (
        (number, expelled, values) for groups in BY_SIZE.values() for values, number, expelled in groups
    ):
        women = range(start, start + number)
        rows += insertions(number, {"insertion_outcome": "placed", **values}, start=start, day=placed)
        out, still = women[:expelled], women[expelled:]
        rows += contacts(out, placed + timedelta(days=50), {"device_in_situ": "complete_expulsion"})
        rows += contacts(still, placed + timedelta(days=370), {"device_in_situ": "in_situ_confirmed"})
        start += number
    tables = audited(rows, period="2025-Q1", data_to="2026-01-31")
    for group, parts in BY_SIZE.items():
        found = pick(tables["size_mismatch"], stratum=group, censoring="last_known", days=365)
        events, n = sum(part[2] for part in parts), sum(part[1] for part in parts)
        assert (found["cumulative_events"], found["n"]) == (events, n)
        # Nobody is lost, so that the incidence is the plain proportion.
        assert found["incidence"] == pytest.approx(events / n, rel=1e-12)
        assert found["caution"].startswith("Exploratory: ")
        assert "2011;113:50-53" in found["caution"]
        assert ("Too few expulsions" in found["caution"]) == (events < 5)
    text = section("expulsion")
    _, _, shown = text.partition("Device size, exploratory")
    assert "Cannot be assessed Last known 21 2 19 9.5 (1.6 to 26.1)" in shown
    assert "Exploratory: published studies disagree" in shown
    assert "Int J Gynaecol Obstet 2011;113:50-53" in shown


def test_a_messy_log_is_read_with_every_change_said_and_no_row_lost(
    audited: Audited, pick: Pick, insertions: Rows
) -> None:
    messy: Row = {"insertion_outcome": "placed", "visit_date": "14/07/2026", "vasovagal_grade": 1}
    rows = [
        {**row, **messy, **values}
        for row, values in zip(
            insertions(6, {}),
            [
                {"sound_length_mm": "7", "parity_text": "Nullip", "vasovagal_grade": ""},
                {"sound_length_mm": "7cm", "parity_text": "P2", "visit_date": "03/08/2026"},
                {"sound_length_mm": "70", "parity_text": "nullip", "vasovagal_grade": 0},
                {"sound_length_mm": "70 mm", "parity_text": "G2P1"},
                {"sound_length_mm": "seven", "parity_text": "P0"},
                {"sound_length_mm": "70", "parity_text": "P1", "visit_date": "31/02/2026"},
            ],
            strict=True,
        )
    ]
    rows.append(rows[2])
    tables = audited(
        rows, period="2026-Q3", data_to="2026-09-30", settings='[layout]\ndate_order = "day_month_year"\n'
    )
    counted = {(row["disposition"], row["reason"]): row["n"] for row in tables["row_accounting"]}
    assert counted["in", ""] == 7 == counted["used", ""] + 2
    assert {reason for disposition, reason in counted if disposition == "set_aside"} == {
        "duplicate_row",
        "not_a_date",
    }
    told = {(row["rule"], row["column"]): row["n"] for row in tables["finding_counts"]}
    assert told["read_as_cm", "sound_length_mm"] == 1
    assert told["unreadable_value", "sound_length_mm"] == 1
    assert told["dates_fit_either_order", "visit_date"] == 1
    # Line 1 of the file is the heading.
    listed = {(row["row"], row["rule"]) for row in tables["query_list"]}
    assert {(6, "unreadable_value"), (7, "not_a_date"), (8, "duplicate_row")} <= listed
    period = {"window": "period", "definition": "vasovagal_any"}
    whole = pick(tables["vasovagal_by_parity"], by="overall", **period)
    assert (whole["events"], whole["n"], whole["n_unknown"]) == (3, 4, 1)
    parous = pick(tables["vasovagal_by_parity"], by="parous", stratum="no", **period)
    assert (parous["n"], parous["n_unknown"]) == (2, 1)


def test_a_log_that_names_only_those_who_took_over_is_audited_without_sheets(
    audited: Callable[..., Any], insertions: Callable[..., Any], pick: Callable[..., Any]
) -> None:
    placed = {"insertion_outcome": "placed", "completed_by_ref": "C2"}
    tables = audited([*insertions(30, placed)], period="2026-Q3", data_to="2026-10-14")
    assert "clinician_counts" not in tables
    assert pick(tables["failed_insertions"], by="overall", window="period", unit="visit")["n"] == 30
