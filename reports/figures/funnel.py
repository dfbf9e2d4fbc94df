"""Clinicians around the service's figure, and quarters over time."""

from collections.abc import Sequence
from typing import Any

from reports import wording
from reports.choosing import Row, is_known, limits_of
from reports.figures.theme import (
    ACCENT,
    GREY,
    INK,
    MUTED,
    SIZE,
    Drawing,
    Trace,
    axis,
    drawing,
    label,
    nice_top,
    rounded,
    share_axis,
)
from reports.tables import escaped

_LIMITS = (
    ("ask_upper", "solid", "95%"),
    ("ask_lower", "solid", ""),
    ("review_upper", "dot", "99.8%"),
    ("review_lower", "dot", ""),
)
_SIGNALS = ("ask", "review")
STEPS = (5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10000)
# Above, below, to the right, to the left: in widths of the label, and in pixels.
_SIDES = ((0, 14), (0, -14), (1, 0), (-1, 0), (0, 26), (0, -26))

Box = tuple[float, float, float, float]


def funnel(
    clinicians: Sequence[Row], limits: Sequence[Row], *, fewest: int = 20, target: str = "service"
) -> Drawing:
    """Each clinician's figure by the number of attempts, within the stepped exact limits.

    Parameters
    ----------
    clinicians
        Rows of ``failed_insertions_by_clinician`` of one window.
    limits
        Rows of ``clinician_limits``.
    fewest
        Attempts from which a clinician is compared; the limits are drawn from there on.
    target
        What the middle line is called.

    Returns
    -------
    dict
        A plotly figure: the limits and the target as lines, the clinicians as points labelled by code; those
        beyond a limit are accented and drawn as diamonds.
    """
    limits = [row for row in limits if row["n"] >= fewest]
    top = nice_top(_highest(clinicians, limits))
    lines = [_limit(limits, name, dash) for name, dash, _ in _LIMITS] if limits else []
    beyond = [row for row in clinicians if row["signal"] in _SIGNALS]
    within = [row for row in clinicians if row["signal"] == "none"]
    apart = [row for row in clinicians if row["signal"] == "too_few_to_classify"]
    widest = max([int(row["n"]) for row in clinicians], default=0) or fewest
    return drawing(
        [
            *lines,
            _points(apart, MUTED, "circle-open"),
            _points(within, INK, "circle"),
            _points(beyond, ACCENT, "diamond"),
        ],
        margin={"l": 12, "r": 92, "t": 12, "b": 44},
        xaxis=axis("Attempts in twelve months", **_attempt_ticks(widest)),
        yaxis=share_axis("Failed, of 100 attempts", top, range=[0 - top * 0.03, top]),
        annotations=_names(clinicians, top) + _limit_names(limits, target),
    )


def _attempt_ticks(widest: int) -> dict[str, list[Any]]:
    """The range of the axis of attempts, and at most six round ticks on it."""
    step = next((size for size in STEPS if widest <= 6 * size), STEPS[-1])
    places = list(range(0, widest + 1, step))
    return {"range": [0, widest * 1.04], "tickvals": places, "ticktext": [wording.count(n) for n in places]}


def _highest(clinicians: Sequence[Row], limits: Sequence[Row]) -> float:
    """The highest point to show."""
    points = [float(row["proportion"]) for row in clinicians if is_known(row["proportion"])]
    ends = [float(row["review_upper"]) for row in limits[:1] if is_known(row["review_upper"])]
    return max([*(1.08 * point for point in points), *ends, 0.05])


def _limit(limits: Sequence[Row], name: str, dash: str) -> Trace:
    """One limit, stepping with the number of attempts."""
    return {
        "type": "scatter",
        "mode": "lines",
        "x": [int(row["n"]) for row in limits],
        "y": rounded([row[name] for row in limits]),
        "line": {"color": GREY, "width": 1, "dash": dash, "shape": "hvh"},
        "hoverinfo": "skip",
        "name": name,
    }


def _points(rows: Sequence[Row], color: str, symbol: str) -> Trace:
    """Clinicians as points; nobody without an attempt."""
    seen = [row for row in rows if is_known(row["proportion"])]
    return {
        "type": "scatter",
        "mode": "markers",
        "x": [int(row["n"]) for row in seen],
        "y": rounded([row["proportion"] for row in seen]),
        "marker": {"color": color, "size": 9, "symbol": symbol},
        "hoverinfo": "text",
        "hovertext": [escaped(f"{row['stratum']}: {wording.proportion(row)}") for row in seen],
    }


def _names(rows: Sequence[Row], top: float) -> list[dict[str, Any]]:
    """The code beside each point that is compared, on the first side where it touches nothing."""
    widest = max([int(row["n"]) for row in rows], default=0) or 1
    named = [row for row in rows if row["signal"] in (*_SIGNALS, "none")]
    spots = [_spot(row, widest, top) for row in named]
    taken = [(x, y, 6.0, 6.0) for x, y in spots]
    labels = []
    for row, (x, y) in zip(named, spots, strict=True):
        marked = row["signal"] in _SIGNALS
        code = str(row["stratum"])
        text = f"{code}: {wording.count(row['events'])} of {wording.count(row['n'])}" if marked else code
        half = 4.0 * len(text)
        boxes = [(x + dx * (half + 9), y + dy, half, 7.0) for dx, dy in _SIDES]
        others = [box for box in taken if box[:2] != (x, y)]
        box = next((box for box in boxes if not any(touch(box, other) for other in others)), boxes[0])
        taken.append(box)
        labels.append(
            label(
                text,
                int(row["n"]),
                float(row["proportion"]),
                xanchor="center",
                xshift=round(box[0] - x),
                yshift=round(box[1] - y),
                font={"size": SIZE + 1 if marked else SIZE - 1, "color": ACCENT if marked else MUTED},
            )
        )
    return labels


def _spot(row: Row, widest: int, top: float) -> tuple[float, float]:
    """Where a point lies, in pixels of a drawing of ordinary size."""
    return 640 * int(row["n"]) / widest, 370 * float(row["proportion"]) / top


def touch(one: Box, other: Box) -> bool:
    """Whether two boxes, each a centre with half its width and height, touch."""
    return abs(one[0] - other[0]) < one[2] + other[2] and abs(one[1] - other[1]) < one[3] + other[3]


def _limit_names(limits: Sequence[Row], target: str) -> list[dict[str, Any]]:
    """The names of the limits and of the target at their right end."""
    if not limits:
        return []
    last = limits[-1]
    named = [
        label(name, int(last["n"]), float(last[column]), color=MUTED, name="limit", xshift=8)
        for column, _, name in _LIMITS
        if name and is_known(last[column])
    ]
    middle = label(
        f"{target} {wording.percent(last['target'])}%",
        int(last["n"]),
        float(last["target"]),
        color=MUTED,
        name="limit",
        xshift=8,
    )
    return [*named, middle]


def quarters(rows: Sequence[Row], overall: float, *, counts: str) -> Drawing:
    """One point with its interval per quarter, in order of time, over a grey line for the whole log.

    Parameters
    ----------
    rows
        Rows of a proportion, one per quarter.
    overall
        The proportion of the whole log (0-1).
    counts
        What the y axis counts.

    Returns
    -------
    dict
        A plotly figure: one trace of points with ``error_y``, one line.
    """
    seen = [row for row in rows if row["n"]]
    top = nice_top(max([limits_of(row)[1] for row in seen], default=0.1))
    end = len(seen) - 0.5
    named = label(f"all {wording.percent(overall)}%", end, overall, color=MUTED, name="end", xshift=8)
    return drawing(
        [_level(overall, end), _quarter_points(seen)],
        margin={"l": 12, "r": 92, "t": 12, "b": 50},
        xaxis=axis(
            range=[-0.5, max(0.5, end)],
            tickvals=list(range(len(seen))),
            ticktext=[escaped(row["label"]).replace(" ", "<br>") for row in seen],
            ticks="",
        ),
        yaxis=share_axis(counts, top),
        annotations=[named] if seen and is_known(overall) else [],
    )


def _level(overall: float, end: float) -> Trace:
    """A grey line for the whole log."""
    return {
        "type": "scatter",
        "mode": "lines",
        "x": [-0.5, end],
        "y": rounded([overall, overall]),
        "line": {"color": GREY, "width": 1.2, "dash": "dash"},
        "hoverinfo": "skip",
    }


def _quarter_points(seen: Sequence[Row]) -> Trace:
    """One point with its interval per quarter."""
    values = [float(row["proportion"]) for row in seen]
    pairs = list(zip(values, (limits_of(row) for row in seen), strict=True))
    return {
        "type": "scatter",
        "mode": "markers",
        "x": list(range(len(seen))),
        "y": rounded(values),
        "error_y": {
            "type": "data",
            "symmetric": False,
            "array": rounded([upper - value for value, (_, upper, _) in pairs]),
            "arrayminus": rounded([value - lower for value, (lower, _, _) in pairs]),
            "color": INK,
            "thickness": 1.6,
            "width": 0,
        },
        "marker": {"color": INK, "size": 8},
        "hoverinfo": "text",
        "hovertext": [escaped(f"{row['label']}: {wording.proportion(row)}") for row in seen],
    }
