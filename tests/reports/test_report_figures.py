"""Drawings: they hold the table's numbers, and stop where the page must stop."""

import itertools
import math

import numpy as np
import pandas as pd
import plotly.graph_objects as go
import pytest

from audit.measures.clinicians import failed_insertions_by_clinician
from audit.measures.clinicians import funnel as clinician_limits
from audit.records import AuditResults
from audit.statistics.summaries import with_proportions
from reports.choosing import rows
from reports.editions import INTERNAL
from reports.figures.curves import Curve, drawn_rows, steps
from reports.figures.funnel import funnel, quarters
from reports.figures.intervals import Line, dots
from reports.figures.marks import Mark, interval_mark
from reports.figures.theme import ACCENT, DARK, INK, MUTED, PAPER, SERIES, Figure, nice_top, ticks

Rgb = np.ndarray


def _figures(results: AuditResults) -> list[Figure]:
    """Every figure of the internal edition."""
    sections = [make(results) for make in INTERNAL]
    return [block.figure for section in sections for block in section.blocks if block.kind == "figure"]


def _curve(at_risk: list[int], events: list[int]) -> list[dict[str, object]]:
    """Rows of a curve."""
    return [
        {
            "days": float(30 * number),
            "at_risk": n,
            "events": e,
            "cumulative_events": sum(events[: number + 1]),
            "survival": 1 - 0.01 * number,
            "ci_lower": 0.9 - 0.01 * number,
            "ci_upper": 1.0,
        }
        for number, (n, e) in enumerate(zip(at_risk, events, strict=True))
    ]


def test_every_drawing_is_a_figure_that_plotly_accepts(demo_results: AuditResults) -> None:
    plots = [plot for figure in _figures(demo_results) for plot in figure.plots]
    assert len(plots) > 20
    for plot in plots:
        go.Figure(plot.drawing)
        assert {trace["type"] for trace in plot.drawing["data"]} <= {"scatter", "bar"}


def test_every_figure_has_a_title_a_sentence_and_a_table(demo_results: AuditResults) -> None:
    figures = _figures(demo_results)
    assert len({figure.id for figure in figures}) == len(figures)
    for figure in figures:
        assert figure.title
        assert figure.alt.startswith(figure.title)
        assert "<tbody>" in figure.table


def test_dots_stand_at_the_proportions_of_the_table_and_reach_to_its_limits() -> None:
    lines = [Line("A", 0.05, 0.03, 0.08, "5 of 100"), Line("B", 0.2, 0.1, 0.3, "20 of 100", "grey")]
    own, published = dots(lines, counts="of 100")["data"]
    assert (own["x"], published["x"]) == ([0.05], [0.2])
    assert own["error_x"]["array"] == pytest.approx([0.03])
    assert own["error_x"]["arrayminus"] == pytest.approx([0.02])
    assert own["y"] > published["y"]


def test_a_line_without_an_estimate_is_named_and_not_drawn() -> None:
    nan = math.nan
    drawing = dots([Line("Few", nan, nan, nan, "1 of 4")], counts="of 100")
    assert drawing["data"] == []
    assert [label["text"] for label in drawing["layout"]["annotations"]] == ["Few · 1 of 4"]


def test_a_curve_stops_before_fewer_than_ten_are_observed() -> None:
    found = _curve([100, 60, 10, 9, 40], [4, 4, 4, 4, 4])
    assert [row["at_risk"] for row in drawn_rows(found, 10)] == [100, 60, 10]
    line = steps([Curve("All", found)], counts="of 100")["data"][-1]
    assert line["x"] == [0, 30, 60]
    assert line["y"] == [1.0, 0.99, 0.98]


def test_a_drawn_curve_keeps_every_step_that_can_be_seen(demo_results: AuditResults) -> None:
    found = rows(
        demo_results, "continuation_curve", by="overall", placement_kind="first", censoring="last_known"
    )
    line = steps([Curve("All", found)], counts="of 100")["data"][-1]
    drawn = dict(zip(line["x"], line["y"], strict=True))
    shown = math.nan
    for row in drawn_rows(found, 10):
        shown = drawn.get(int(row["days"]), shown)
        # A step curve holds its last value, so every day is shown to within a 500th of the axis.
        assert shown == pytest.approx(row["survival"], abs=1 / 500 + 1e-4)
    assert len(drawn) < len(found)


def test_a_curve_with_fewer_than_ten_events_is_drawn_as_points_with_counts() -> None:
    found = _curve([100, 90, 80], [0, 4, 5])
    (points,) = steps([Curve("All", found)], counts="of 100")["data"]
    assert points["mode"] == "markers+text"
    assert (points["x"], points["text"]) == ([30, 60], ["", "9"])


def test_the_number_observed_stands_under_every_curve_on_one_grid(demo_results: AuditResults) -> None:
    found = rows(
        demo_results, "continuation_curve", by="overall", placement_kind="first", censoring="last_known"
    )
    labels = steps([Curve("All", found)], counts="of 100")["layout"]["annotations"]
    at_year = next(row for row in found if row["days"] == 365)
    assert f"{at_year['at_risk']:,}" in [label["text"] for label in labels if label["x"] == 365]


def test_the_funnel_draws_the_limits_and_marks_only_signals(demo_results: AuditResults) -> None:
    found = rows(demo_results, "failed_insertions_by_clinician", window="rolling_12_months")
    limits = rows(demo_results, "clinician_limits")
    drawing = funnel(found, limits)
    upper = next(trace for trace in drawing["data"] if trace.get("name") == "ask_upper")
    by_n = {row["n"]: row["ask_upper"] for row in limits}
    assert upper["x"][0] == 20
    assert upper["y"] == [round(by_n[n], 4) for n in upper["x"]]
    marked = [trace for trace in drawing["data"] if trace.get("marker", {}).get("color") == ACCENT]
    beyond = [row for row in found if row["signal"] in ("ask", "review")]
    assert marked[0]["x"] == [row["n"] for row in beyond]


def test_a_mark_lies_on_or_beyond_the_drawn_limit_exactly_when_it_is_a_signal() -> None:
    # Many made-up clinicians around one service figure: the verdict and the picture must always agree.
    random = np.random.default_rng(7)
    frames = [
        pd.DataFrame(
            {
                "clinician_ref": f"C{number:02d}",
                "practice": "independent",
                "parity_group": "unknown",
                "outcome": np.where(random.random(n) < rate, "failed", "placed"),
            }
        )
        for number, (n, rate) in enumerate(zip(range(20, 180, 8), itertools.cycle([0.02, 0.06, 0.15])))
    ]
    table = failed_insertions_by_clinician(pd.concat(frames, ignore_index=True))
    limits = clinician_limits(table).set_index("n")
    for row in table.to_dict("records"):
        at = limits.loc[row["n"]]
        above, below = row["proportion"] >= at["ask_upper"], row["proportion"] <= at["ask_lower"]
        assert (row["signal"] in ("ask", "review")) == (above or below)


def test_quarters_stand_in_order_of_time_with_the_limits_the_table_prints() -> None:
    table = with_proportions(pd.DataFrame({"events": [8, 2], "n": [100, 90], "n_unknown": [0, 0]}))
    found = table.assign(label=["2026 Q1", "2026 Q2"]).to_dict("records")
    line, points = quarters(found, 0.05, counts="of 100")["data"]
    assert points["y"] == [0.08, round(2 / 90, 4)]
    # Two events: the exact upper limit, not Wilson's.
    assert points["error_y"]["array"][1] == pytest.approx(table["exact_upper"][1] - 2 / 90, abs=1e-4)
    assert line["y"] == [0.05, 0.05]


def test_nothing_to_draw_draws_an_empty_frame() -> None:
    for drawing in (dots([], counts=""), steps([], counts=""), funnel([], []), quarters([], 0.0, counts="")):
        go.Figure(drawing)


@pytest.mark.parametrize("largest", [0.0004, 0.013, 0.081, 0.19, 0.33, 0.999])
def test_an_axis_holds_what_it_must_and_ticks_read_well(largest: float) -> None:
    top = nice_top(largest)
    assert largest <= top <= max(4 * largest, 0.001)
    assert all(len(f"{100 * tick:.3g}") <= 4 for tick in ticks(top))


def test_a_small_drawing_puts_the_dot_where_the_value_lies() -> None:
    markup = interval_mark(Mark(0.05, 0.0, 0.1, band=(0.02, 0.04)), [0.0, 0.05, 0.1], "5%")
    assert 'cx="120.0"' in markup
    assert 'class="band" x="51.6"' in markup


def _linear(color: str) -> Rgb:
    """A colour in linear light."""
    channels = np.array([int(color[start : start + 2], 16) for start in (1, 3, 5)]) / 255
    return np.where(channels <= 0.04045, channels / 12.92, ((channels + 0.055) / 1.055) ** 2.4)


def _contrast(one: str, two: str) -> float:
    """The contrast ratio of the Web Content Accessibility Guidelines 2.2."""
    weights = np.array([0.2126, 0.7152, 0.0722])
    high, low = sorted((float(_linear(one) @ weights), float(_linear(two) @ weights)), reverse=True)
    return (high + 0.05) / (low + 0.05)


# Machado GM, Oliveira MM, Fernandes LA. IEEE Trans Vis Comput Graph 2009;15:1291-1298, severity 1.0.
_SIGHT = {
    "normal": np.eye(3),
    "protan": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "deutan": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "tritan": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}


def _lab(linear: Rgb) -> Rgb:
    """CIE L*a*b* of a colour in linear light, D65."""
    matrix = np.array(
        [
            [0.4124564, 0.3575761, 0.1804375],
            [0.2126729, 0.7151522, 0.0721750],
            [0.0193339, 0.119192, 0.9503041],
        ]
    )
    xyz = matrix @ np.clip(linear, 0, 1) / np.array([0.95047, 1.0, 1.08883])
    f = np.where(xyz > 0.008856, np.cbrt(xyz), 7.787 * xyz + 16 / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("sight", list(_SIGHT))
def test_colours_of_groups_stay_apart_for_every_kind_of_sight(theme: str, sight: str) -> None:
    colours = [color if theme == "light" else DARK[color] for color in SERIES]
    seen = [_lab(_SIGHT[sight] @ _linear(color)) for color in colours]
    nearest = min(float(np.linalg.norm(one - two)) for one, two in itertools.combinations(seen, 2))
    assert nearest >= 20


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_text_and_lines_stand_out_from_the_paper(theme: str) -> None:
    def shown(color: str) -> str:
        return color if theme == "light" else DARK[color]

    assert _contrast(shown(INK), shown(PAPER)) > 7
    assert _contrast(shown(MUTED), shown(PAPER)) > 4.5
    assert _contrast(shown(ACCENT), shown(PAPER)) > 4.5
    assert min(_contrast(shown(color), shown(PAPER)) for color in SERIES) > 3
