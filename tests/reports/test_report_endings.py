"""What became of 100 devices, drawn: the layers and the rest make up the whole on every day."""

from dataclasses import replace
from typing import Any

import pytest

from audit.records import AuditResults
from reports.choosing import rows
from reports.figures.stacked import Layer, stacked
from reports.sections.endings import ending_blocks
from reports.sections.section import FigureBlock

# Two ways of ending among ten: one at day 10 and day 400, the other at day 200.
_OUT = [{"days": 10.0, "incidence": 0.1}, {"days": 400.0, "incidence": 0.3}]
_LOST = [{"days": 200.0, "incidence": 0.2}]


def _drawn(last_day: float = 730) -> dict[str, Any]:
    """The two ways stacked."""
    observed = [{"days": day, "at_risk": 10} for day in (0.0, 365.0)]
    layers = [Layer("Lost", _LOST), Layer("Out", _OUT)]
    return stacked(layers, observed, going_on="In use", counts="Of 100", last_day=last_day)


def _value(trace: dict[str, Any], day: float) -> float:
    """The height of a stepped line on a day."""
    return [y for x, y in zip(trace["x"], trace["y"], strict=True) if x <= day][-1]


def test_each_boundary_is_the_whole_less_what_ended_above_it() -> None:
    top, lost, out = _drawn()["data"]
    assert set(top["y"]) == {1.0}
    assert [_value(lost, day) for day in (0, 199, 200, 730)] == [1.0, 1.0, 0.8, 0.8]
    assert [_value(out, day) for day in (9, 10, 200, 400, 730)] == [1.0, 0.9, 0.7, 0.5, 0.5]


def test_the_labels_stand_in_their_layers_from_the_lowest_up() -> None:
    ends = [label for label in _drawn()["layout"]["annotations"] if label["name"] == "end"]
    assert [(label["text"], round(label["y"], 3)) for label in ends] == [
        ("In use", 0.25),
        ("Out", 0.65),
        ("Lost", 0.9),
    ]


def test_nothing_is_drawn_beyond_the_last_day() -> None:
    assert max(_drawn(365)["data"][1]["x"]) == 365
    assert _value(_drawn(365)["data"][2], 365) == 0.7


@pytest.mark.parametrize(
    ("gate", "drawn"), [("last_known_leads", 1), ("both_as_equals", 2), ("bounds_only", 0)]
)
def test_there_is_a_drawing_for_each_rule_that_may_be_drawn(
    demo_results: AuditResults, gate: str, drawn: int
) -> None:
    blocks = ending_blocks(replace(demo_results, gate=gate))
    assert len(blocks) == (1 if drawn else 0)
    assert sum(len(block.figure.plots) for block in blocks if isinstance(block, FigureBlock)) == drawn


def test_the_drawing_ends_where_the_table_says(demo_results: AuditResults) -> None:
    (block,) = ending_blocks(demo_results)
    assert isinstance(block, FigureBlock)
    lines = block.figure.plots[0].drawing["data"]
    at = {
        row["cause"]: float(row["incidence"])
        for row in rows(demo_results, "ending_incidence", by="overall", days=365, censoring="last_known")
    }
    in_use = next(
        row["survival"]
        for row in rows(demo_results, "continuation_curve", by="overall", censoring="last_known", days=365)
        if row["placement_kind"] == "first"
    )
    assert _value(lines[-1], 365) == pytest.approx(1 - sum(at.values()), abs=0.003)
    # Death is an ending among the others and censoring for continuation.
    assert _value(lines[-1], 365) == pytest.approx(in_use, abs=0.003 + at["death"])
    assert f"{100 * at['removal']:.1f} had been taken out" in block.figure.title
