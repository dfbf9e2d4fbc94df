"""Drawings for a reader without scripts: the same places, limits and labels as the ones that scripts draw."""

import re
from xml.etree import ElementTree

import pytest

from audit.records import AuditResults
from reports.editions import INTERNAL
from reports.figures.curves import Curve, steps
from reports.figures.funnel import funnel, quarters
from reports.figures.intervals import Line, dots, height
from reports.figures.static import static_svg
from reports.figures.theme import ACCENT, SERIES, Plot

# Margins 10 and 14 of 640 pixels, so the axis of dots runs from 10 to 626, over 0 to 1.005 times its top.
LINES = [Line("A & B", 0.05, 0.025, 0.1, "5 of 100", "accent")]


def _drawn(lines: list[Line]) -> ElementTree.Element:
    return ElementTree.fromstring(static_svg(dots(lines, counts="Of 100", top=0.1), height(lines)))


def _plots(results: AuditResults) -> list[Plot]:
    sections = [make(results) for make in INTERNAL]
    figures = [block.figure for section in sections for block in section.blocks if block.kind == "figure"]
    return [plot for figure in figures for plot in figure.plots]


def test_a_dot_stands_at_its_value_and_its_line_reaches_to_its_limits() -> None:
    svg = _drawn(LINES)
    (dot,) = svg.findall("circle")

    def across(value: float) -> int:
        return round(10 + value / 0.1005 * (626 - 10))

    assert (dot.get("cx"), dot.get("fill")) == (str(across(0.05)), ACCENT)
    (reach,) = [path.get("d") for path in svg.findall("path") if path.get("stroke") == ACCENT]
    assert re.fullmatch(rf"M{across(0.025)} \d+H{across(0.1)}", str(reach))


def test_labels_axes_and_their_figures_are_all_there() -> None:
    texts = [text.text for text in _drawn(LINES).findall("text")]
    assert texts == ["0", "2", "4", "6", "8", "10", "Of 100", "A & B · 5 of 100"]


def test_a_label_of_the_data_cannot_open_a_tag() -> None:
    svg = _drawn([Line("<script>x</script>", 0.05, 0.02, 0.1, "")])
    assert [text.text for text in svg.findall("text")][-1] == "<script>x</script>"
    assert not svg.findall("script")


def test_a_curve_steps_at_its_days_and_has_its_band() -> None:
    found = [
        {
            "days": day,
            "at_risk": 50,
            "events": 12,
            "cumulative_events": 12,
            "survival": value,
            "ci_lower": value - 0.1,
            "ci_upper": min(1.0, value + 0.1),
        }
        for day, value in ((0, 1.0), (100, 0.8), (200, 0.5))
    ]
    svg = ElementTree.fromstring(static_svg(steps([Curve("All", found)], counts="Of 100", last_day=365), 400))
    (line,) = [path.get("d") for path in svg.findall("path") if path.get("stroke") == SERIES[0]]

    def place(day: float, value: float) -> tuple[int, int]:
        return round(58 + day / (365 * 1.01) * (508 - 58)), round(322 - value / 1.02 * (322 - 12))

    (x0, y0), (x1, y1), (x2, y2) = place(0, 1.0), place(100, 0.8), place(200, 0.5)
    assert line == f"M{x0} {y0}H{x1}V{y1}H{x2}V{y2}H{x2}"
    bands = [path for path in svg.findall("path") if str(path.get("fill", "")).startswith("rgba")]
    assert len(bands) == 1
    assert str(bands[0].get("d")).endswith("Z")


def test_every_drawing_of_the_report_has_a_still_one_with_its_labels(demo_results: AuditResults) -> None:
    plots = _plots(demo_results)
    assert len(plots) > 20
    for plot in plots:
        svg = ElementTree.fromstring(static_svg(plot.drawing, plot.height))
        texts = [text.text for text in svg.findall("text")]
        for label in plot.drawing["layout"].get("annotations", []):
            assert ElementTree.fromstring(f"<t>{label['text']}</t>").text in texts
        marked = sum(len(trace["x"]) for trace in plot.drawing["data"] if "markers" in trace["mode"])
        diamonds = [path for path in svg.findall("path") if "l5 5l-5 5l-5-5Z" in str(path.get("d"))]
        assert len(svg.findall("circle")) + len(diamonds) == marked


@pytest.mark.parametrize("width", [240, 640])
def test_nothing_of_a_still_drawing_lies_outside_its_frame(demo_results: AuditResults, width: int) -> None:
    for plot in _plots(demo_results):
        svg = ElementTree.fromstring(static_svg(plot.drawing, plot.height, width=width))
        for path in svg.findall("path"):
            d = re.sub(r"l5 5l-5 5l-5-5Z", "", str(path.get("d")))
            across = [int(x) for x in re.findall(r"[MLH](-?\d+)", d)]
            assert all(0 <= x <= width for x in across)
            up = [int(y) for y in re.findall(r"V(-?\d+)|[ML]-?\d+ (-?\d+)", d) for y in y if y]
            assert all(-6 <= y <= plot.height for y in up)


def test_a_drawing_of_a_single_day_or_of_nobody_has_axes_all_the_same() -> None:
    first_day = {"days": 0.0, "at_risk": 12, "events": 0, "cumulative_events": 0}
    first_day |= {"survival": 1.0, "ci_lower": 1.0, "ci_upper": 1.0}
    nobody = {
        "n": 0,
        "events": 0,
        "proportion": float("nan"),
        "signal": "too_few_to_classify",
        "stratum": "C1",
    }
    for drawing in (
        steps([Curve("All", [first_day])], counts="Of 100"),
        steps([], counts="Of 100"),
        funnel([nobody], []),
        funnel([], []),
        dots([], counts="Of 100"),
        quarters([], 0.0, counts="Of 100"),
    ):
        low, high = drawing["layout"]["xaxis"]["range"]
        assert low < high
        assert ElementTree.fromstring(static_svg(drawing, 300)).findall("path")
