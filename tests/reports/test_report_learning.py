"""Clinicians attempt by attempt on the page: what is said of limits, of learners, and what is drawn."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pandas as pd
import plotly.graph_objects as go
import pytest

from audit.measures.cusum import cusum_charts, cusum_limits, cusum_signals, learning_curve_attempts
from audit.measures.learning_curve import attempts_in_order, learning_curve
from audit.records import AuditResults
from audit.schema.cusum_rules import CusumRules
from reports.choosing import rows
from reports.figures.running_totals import seen_less_expected, sums_to_a_limit
from reports.figures.theme import ACCENT, Figure
from reports.sections.clinicians import clinicians_section
from reports.sections.learning import learning_blocks
from reports.sections.section import Block

TABLES = ("learning_curve", "learning_curve_attempts", "cusum_limits", "cusum_signals")
Told = tuple[str, str, str, str]


def said(blocks: list[Block]) -> str:
    """All text of some blocks, tables and figures included."""
    parts = []
    for block in blocks:
        figure = getattr(block, "figure", None)
        shown = (figure.title, figure.note, figure.alt, figure.table) if figure else ()
        own = (getattr(block, name, "") for name in ("text", "note", "summary", "table"))
        parts.extend(str(part) for part in (*own, *getattr(block, "items", ()), *shown))
    return " ".join(part for part in parts if part)


def figures(blocks: list[Block]) -> dict[str, Figure]:
    """The figures by their id."""
    return {block.figure.id: block.figure for block in blocks if block.kind == "figure"}


def tables_of(*told: Told, rules: CusumRules | None = None) -> dict[str, pd.DataFrame]:
    """The tables of attempts made one a day from a day on: clinician, practice, first day, and f or p."""
    frames = [
        pd.DataFrame(
            {
                "clinician_ref": code,
                "practice": practice,
                "parity_group": "unknown",
                "outcome": ["failed" if letter == "f" else "placed" for letter in letters],
                "attempt_date": pd.Timestamp(first) + pd.to_timedelta(np.arange(len(letters)), unit="D"),
                "visit_ref": [f"{code}-{number}" for number in range(1, len(letters) + 1)],
                "source": 1,
                "row": np.arange(len(letters)),
            }
        )
        for code, practice, first, letters in told
    ]
    attempts = pd.concat(frames, ignore_index=True)
    ordered = attempts_in_order(attempts)
    limits = cusum_limits(ordered, rules=rules)
    charts = cusum_charts(ordered, limits)
    made = (
        learning_curve(attempts, ordered),
        learning_curve_attempts(charts),
        limits,
        cusum_signals(charts, limits, ordered),
    )
    return dict(zip(TABLES, made, strict=True))


STEADY = "ppppppppppppppppppfp" * 5
SERVICE = (("C1", "independent", "2025-01-01", STEADY), ("C2", "independent", "2025-01-01", STEADY))


def test_the_demo_says_which_limits_hold_and_what_they_do(demo_results: AuditResults) -> None:
    text = said(learning_blocks(demo_results))
    limits = {row["chart"]: row for row in rows(demo_results, "cusum_limits")}
    assert (
        "No standard is set locally. The service's own figure, 6.7% (276 of 4,134 attempts made alone)"
        in text
    )
    assert f"{100 * limits['learning']['chance_if_true']:.1f}% of learners with acceptable failures" in text
    assert f"it comes to {100 * limits['monitoring']['chance_if_false']:.1f}% with nothing amiss" in text
    by_chance = sum(row["chance_if_false"] for row in rows(demo_results, "cusum_signals", chart="monitoring"))
    assert f"about {by_chance:.1f} of 14 clinicians" in text
    assert "no ground for a sign-off" in text


def test_the_planted_clinician_is_marked_and_nobody_is_put_in_order_of_the_figure(
    demo_results: AuditResults,
) -> None:
    blocks = learning_blocks(demo_results)
    figure = figures(blocks)["running-totals"]
    assert "C11" in figure.title
    codes = [row["stratum"] for row in rows(demo_results, "learning_curve", practice="all")]
    assert codes == sorted(codes)
    table = str(figure.table)
    places = [table.index(f'<th scope="row">{code}</th>') for code in codes]
    assert places == sorted(places)


def test_every_learner_has_a_sentence_and_a_line_and_nobody_else(demo_results: AuditResults) -> None:
    blocks = learning_blocks(demo_results)
    text = said(blocks)
    for row in rows(demo_results, "cusum_signals", chart="learning"):
        assert f"{row['stratum']}: " in text
        assert (row["state"] == "signal") == (f"reached at attempt {row['first_signal']}." in text)
    (plot,) = figures(blocks)["learning"].plots
    named = {label["text"] for label in plot.drawing["layout"]["annotations"]}
    assert {"C12", "C13", "C14"} <= named
    assert "C01" not in named


def test_a_signal_in_the_last_twelve_months_leads_to_the_cases_and_to_no_finding(
    make_results: Callable[..., AuditResults],
) -> None:
    made = tables_of(*SERVICE, ("C3", "independent", "2026-08-01", "p" * 20 + "f" * 6))
    blocks = learning_blocks(make_results(made))
    text = said(blocks)
    assert "one running total crossed a limit in twelve months" in text
    assert "C3: failures became more frequent than these women explain; signal at attempt 25" in text
    assert "25 August 2026, visit C3-25. Look at the cases before it." in text
    earlier = tables_of(*SERVICE, ("C3", "independent", "2024-08-01", "p" * 20 + "f" * 6))
    text = said(learning_blocks(make_results(earlier)))
    assert "no limit crossed in twelve months" in text
    assert "signalled at some time: C3; none in twelve months" in text


def test_a_local_standard_is_named_as_such(make_results: Callable[..., AuditResults]) -> None:
    learner = ("T3", "supervised", "2026-01-01", "p" * 30)
    rules = CusumRules(acceptable=0.1, unacceptable=0.25)
    text = said(learning_blocks(make_results(tables_of(*SERVICE, learner, rules=rules))))
    assert "The service holds 10.0% failed acceptable, and 25.0% not." in text
    assert "no ground for a sign-off" not in text
    assert "T3: 0 of 30 supervised failed; 1.5 were to be expected." in text
    assert "No running total of 3 clinicians ever signalled" in text


def test_below_twenty_attempts_the_counts_stand_alone(make_results: Callable[..., AuditResults]) -> None:
    few = ("C3", "independent", "2026-01-01", "f" + "p" * 18)
    table = str(figures(learning_blocks(make_results(tables_of(*SERVICE, few))))["running-totals"].table)
    row = table[table.index('<th scope="row">C3</th>') :]
    cells = [cell.split(">")[-1] for cell in row[: row.index("</tr>")].split("</td>")[:-1]]
    assert cells == ["19", "1", "–", "–", "0", "–"]


def test_where_no_limit_can_be_set_the_totals_stand_alone_and_say_why(
    make_results: Callable[..., AuditResults],
) -> None:
    blocks = learning_blocks(make_results(tables_of(SERVICE[0])))
    text = said(blocks)
    assert "totals without a limit" in text
    assert "No limit is drawn" in text
    assert "Running totals of 1 clinician, without a limit" in text
    assert "signalled" not in text
    assert list(figures(blocks)) == ["running-totals"]


def test_a_log_of_supervised_attempts_alone_says_that_nothing_is_to_be_expected(
    make_results: Callable[..., AuditResults],
) -> None:
    results = make_results(tables_of(("T3", "supervised", "2026-01-01", "p" * 30)))
    assert "nothing to draw yet" in said(learning_blocks(results))
    section = clinicians_section(results)
    assert "nothing to draw yet" in said(list(section.blocks))


def test_without_the_tables_there_is_nothing_to_say(
    demo_results: AuditResults, make_results: Callable[..., AuditResults]
) -> None:
    assert learning_blocks(make_results()) == []
    for name in TABLES:
        others = {other: table for other, table in demo_results.tables.items() if other != name}
        assert clinicians_section(replace(demo_results, tables=others)).blocks


def test_a_line_begins_at_0_and_ends_where_the_table_says(demo_results: AuditResults) -> None:
    lines = {
        code: rows(demo_results, "learning_curve_attempts", stratum=code) for code in ("C01", "C11", "C14")
    }
    signals = {"C11": [row for row in lines["C11"] if row["monitoring_signal"]]}
    drawing = seen_less_expected(lines, signals)
    drawn = [trace for trace in drawing["data"] if trace["mode"] == "lines"]
    assert all((trace["x"][0], trace["y"][0]) == (0, 0.0) for trace in drawn)
    ends = {row["stratum"]: row for row in rows(demo_results, "learning_curve", practice="all")}
    for code, trace in zip(("C01", "C14", "C11"), drawn, strict=True):
        assert trace["x"][-1] == ends[code]["n"]
        assert trace["y"][-1] == pytest.approx(ends[code]["observed_minus_expected"], abs=0.006)
    assert [trace["line"]["color"] == ACCENT for trace in drawn] == [False, False, True]
    (marks,) = (trace for trace in drawing["data"] if trace["mode"] == "markers")
    assert marks["x"] == [row["attempt_number"] for row in signals["C11"]]


def test_labels_that_would_lie_on_one_another_are_moved_or_left_out() -> None:
    def line(code: str, end: float) -> list[dict[str, object]]:
        return [
            {
                "stratum": code,
                "attempt_number": 50,
                "observed_minus_expected": end,
                "monitoring_signal": False,
            }
        ]

    lines = {f"C{number:02d}": line(f"C{number:02d}", 0.001 * number) for number in range(30)}
    lines["C99"] = line("C99", 20.0)
    labels = seen_less_expected(lines, {})["layout"]["annotations"]
    assert len(labels) == 6
    places = [label["yshift"] for label in labels if label["text"] != "C99"]
    assert len(set(places)) == len(places)


def test_a_learning_line_ends_with_its_signal_at_the_limit(demo_results: AuditResults) -> None:
    found = rows(demo_results, "learning_curve_attempts", stratum="C12")
    charted = [row for row in found if row["learning_cusum"] == row["learning_cusum"]]
    drawing = sums_to_a_limit({"C12": charted}, 2.95)
    level, line = drawing["data"]
    assert level["y"] == [2.95, 2.95]
    assert line["y"][-1] >= 2.95 > max(line["y"][:-1])


def test_nothing_to_draw_draws_an_empty_frame() -> None:
    for drawing in (seen_less_expected({}, {}), sums_to_a_limit({}, 2.0)):
        go.Figure(drawing)
