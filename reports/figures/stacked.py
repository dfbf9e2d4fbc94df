"""What became of 100: the ways of ending stacked above those that go on, as steps over the time since the start."""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass

from reports.choosing import Row
from reports.figures.curves import TICKS, Curve, faint, observed_below, short_time
from reports.figures.theme import (
    DASHES,
    INK,
    SERIES,
    Drawing,
    Trace,
    axis,
    drawing,
    label,
    rounded,
    share_axis,
)
from reports.tables import escaped

# A step smaller than this cannot be seen at 400 pixels.
_LEAST = 1 / 400
_APART = 0.07


@dataclass(frozen=True)
class Layer:
    """One way of ending: its label, and its cumulative incidence as rows with ``days`` and ``incidence``."""

    label: str
    rows: Sequence[Row]


def stacked(
    layers: Sequence[Layer], observed: Sequence[Row], *, going_on: str, counts: str, last_day: float
) -> Drawing:
    """Layers from the top down, the rest below them, labelled at their ends.

    Parameters
    ----------
    layers
        The ways of ending, from the top of the drawing down; they and the rest make up the whole.
    observed
        Rows with ``days`` and ``at_risk``: how many are still observed at each tick.
    going_on
        What the rest is called.
    counts
        What the upright axis counts.
    last_day
        Where the drawing stops.

    Returns
    -------
    dict
        A plotly figure: a line for each boundary, the space above it filled. Where the last steps of the layers lie
        the labels stand, moved apart where they would touch.
    """
    days = _days(layers, last_day)
    bounds = _bounds(layers, days)
    kept = _visible(days, bounds)
    ticks = [tick for tick in TICKS if tick <= last_day * 1.02]
    traces: list[Trace] = [_edge(kept, [1.0] * len(kept))]
    for number, (layer, bound) in enumerate(zip(layers, bounds, strict=True)):
        values = [bound[days.index(day)] for day in kept]
        traces.append(_boundary(layer.label, kept, values, number))
    below = [row for row in observed if row["days"] <= last_day]
    return drawing(
        traces,
        margin={"l": 12, "r": 132, "t": 12, "b": 78},
        xaxis=axis(
            range=[0, last_day * 1.01],
            tickvals=ticks,
            ticktext=["0" if not tick else short_time(tick) for tick in ticks],
        ),
        yaxis=share_axis(counts, 1.0, range=[0, 1.02]),
        annotations=[
            *_labels(layers, [bound[-1] for bound in bounds], going_on, last_day),
            *observed_below([(Curve("", below, color=INK), list(below))] if below else [], ticks),
        ],
    )


def _days(layers: Sequence[Layer], last_day: float) -> list[float]:
    """Every day on which any layer steps, the start and the ticks."""
    stepped = {float(row["days"]) for layer in layers for row in layer.rows if row["days"] <= last_day}
    return sorted(stepped | {0.0, float(last_day)} | {float(tick) for tick in TICKS if tick <= last_day})


def _bounds(layers: Sequence[Layer], days: Sequence[float]) -> list[list[float]]:
    """The lower edge of each layer on each day: the whole less this layer and those above it."""
    edge = [1.0] * len(days)
    bounds = []
    for layer in layers:
        edge = [above - part for above, part in zip(edge, _at(layer.rows, days), strict=True)]
        bounds.append(edge)
    return bounds


def _at(rows: Sequence[Row], days: Sequence[float]) -> list[float]:
    """A cumulative incidence on each day: that of its last step."""
    stepped = [float(row["days"]) for row in rows]
    found = [bisect_right(stepped, day) for day in days]
    return [float(rows[place - 1]["incidence"]) if place else 0.0 for place in found]


def _visible(days: Sequence[float], bounds: Sequence[Sequence[float]]) -> list[float]:
    """The days at which some boundary has moved by what an eye can see."""
    kept: list[float] = []
    last: list[float] = []
    for place, day in enumerate(days):
        here = [bound[place] for bound in bounds]
        moved = not kept or any(abs(new - old) >= _LEAST for new, old in zip(here, last, strict=True))
        if moved or day == days[-1] or day in TICKS:
            kept.append(day)
            last = here
    return kept


def _edge(days: Sequence[float], values: Sequence[float]) -> Trace:
    """The top of the drawing, unseen: what the first layer is filled up to."""
    return {
        "type": "scatter",
        "mode": "lines",
        "x": list(days),
        "y": list(values),
        "line": {"shape": "hv", "width": 0, "color": INK},
        "hoverinfo": "skip",
    }


def _boundary(name: str, days: Sequence[float], values: Sequence[float], number: int) -> Trace:
    """The lower edge of a layer, its space filled."""
    color = SERIES[number % len(SERIES)]
    return {
        "type": "scatter",
        "mode": "lines",
        "name": escaped(name),
        "x": list(days),
        "y": rounded(values),
        "line": {"shape": "hv", "width": 1.6, "color": color, "dash": DASHES[number % len(DASHES)]},
        "fill": "tonexty",
        "fillcolor": faint(color, 0.2),
        "hovertemplate": "%{y:.1%} lie below on day %{x}<extra></extra>",
    }


def _labels(
    layers: Sequence[Layer], ends: Sequence[float], going_on: str, last_day: float
) -> list[dict[str, object]]:
    """The name of each layer at the middle of its end, from the lowest up, moved apart where two would touch."""
    tops = [1.0, *ends[:-1]]
    middles = [
        (layer.label, (top + end) / 2, SERIES[number % len(SERIES)])
        for number, (layer, top, end) in enumerate(zip(layers, tops, ends, strict=True))
    ]
    labels, last = [], 0.0
    for text, middle, color in [(going_on, ends[-1] / 2, INK), *reversed(middles)]:
        place = max(middle, last + _APART)
        last = place
        labels.append(label(text, last_day, place, color=color, name="end", xshift=6))
    return labels
