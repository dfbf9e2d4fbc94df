"""Sums over attempts in order: failures seen less expected, and the evidence that a learner's chart adds up."""

from collections.abc import Mapping, Sequence
from typing import Any

from reports import wording
from reports.choosing import Row, is_known
from reports.figures.funnel import STEPS, Box, touch
from reports.figures.theme import (
    ACCENT,
    DASHES,
    GREY,
    INK,
    MUTED,
    RULE,
    SERIES,
    SIZE,
    Drawing,
    Trace,
    axis,
    drawing,
    label,
)
from reports.tables import escaped

# A drawing of ordinary size, in pixels; where labels may stand beside the end of their line.
_WIDTH, _HEIGHT = 560, 340
_BESIDE = (0, -15, 15, -30, 30)


def seen_less_expected(lines: Mapping[str, Sequence[Row]], signals: Mapping[str, Sequence[Row]]) -> Drawing:
    """One line for each clinician, from 0, muted where there was no signal.

    Parameters
    ----------
    lines
        Per code, rows of ``learning_curve_attempts`` in order.
    signals
        Per code with a signal, the rows at which the monitoring chart signalled; drawn as diamonds.

    Returns
    -------
    dict
        A plotly figure: for each code a line whose ``x`` are attempts and ``y`` failures, and one trace of signals.
    """
    ends = {
        code: (_number(rows[-1]), float(rows[-1]["observed_minus_expected"])) for code, rows in lines.items()
    }
    values = [0.0, *(float(row["observed_minus_expected"]) for rows in lines.values() for row in rows)]
    low, high = min(values), max(values)
    widest = max((x for x, _ in ends.values()), default=1)
    # Lines with a signal come last, so that they lie on top.
    order = sorted(lines, key=lambda code: (code in signals, code))
    traces = [
        _line(
            [0, *map(_number, lines[code])],
            [0.0, *(float(row["observed_minus_expected"]) for row in lines[code])],
            ACCENT if code in signals else MUTED,
            1.8 if code in signals else 0.9,
        )
        for code in order
    ]
    points = [row for own in signals.values() for row in own]
    crossed = _points(points) if points else []
    return drawing(
        [*traces, *crossed],
        margin={"l": 12, "r": 64, "t": 12, "b": 44},
        xaxis=axis("Attempts in this log, in order", **_attempts(widest)),
        yaxis=_upright("Failures seen, less expected", low, high),
        annotations=_end_labels(ends, list(signals), (widest, max(high - low, 1.0))),
    )


def sums_to_a_limit(lines: Mapping[str, Sequence[Row]], limit: float) -> Drawing:
    """The learning chart of each learner, with the limit it has to reach.

    Parameters
    ----------
    lines
        Per code, rows of ``learning_curve_attempts`` in order, with ``learning_cusum``.
    limit
        The sum at which the chart signals.

    Returns
    -------
    dict
        A plotly figure: a line for the limit, and for each code one whose ``x`` are attempts and ``y`` sums.
    """
    ends = {
        code: (_number(rows[-1]), float(rows[-1]["learning_cusum"])) for code, rows in lines.items() if rows
    }
    widest = max((x for x, _ in ends.values()), default=1)
    high = max([1.12 * limit, *(y for _, y in ends.values())])
    level = _line([0, widest], [limit, limit], GREY, 1.2, "dash")
    sums = [
        _line(
            [0, *map(_number, rows)],
            [0.0, *(float(row["learning_cusum"]) for row in rows)],
            SERIES[place % len(SERIES)],
            1.6,
            DASHES[place % len(DASHES)],
        )
        for place, rows in enumerate(lines.values())
    ]
    named = label(f"limit {wording.ratio(limit)}", 0, limit, color=MUTED, xshift=4, yshift=-10)
    # Where the line of the limit runs no label can be read.
    level_box = (_WIDTH / 2, -_HEIGHT * limit / high, _WIDTH / 2, 2.0)
    return drawing(
        [level, *sums],
        margin={"l": 12, "r": 64, "t": 12, "b": 44},
        xaxis=axis("Attempts in this log, in order", **_attempts(widest)),
        yaxis=_upright("Evidence so far", 0.0, high),
        annotations=[named, *_end_labels(ends, list(ends), (widest, high), taken=[level_box], color=INK)],
    )


def _number(row: Row) -> int:
    """The number of an attempt."""
    return int(row["attempt_number"])


def _line(x: Sequence[int], y: Sequence[float], color: str, width: float, dash: str = "solid") -> Trace:
    """A line, its values short enough to draw; what is missing ends it."""
    pairs = [(at, round(value, 2)) for at, value in zip(x, y, strict=True) if is_known(value)]
    return {
        "type": "scatter",
        "mode": "lines",
        "x": [at for at, _ in pairs],
        "y": [value for _, value in pairs],
        "line": {"color": color, "width": width, "dash": dash},
        "hoverinfo": "skip",
    }


def _points(found: Sequence[Row]) -> list[Trace]:
    """The attempts at which a chart signalled."""
    return [
        {
            "type": "scatter",
            "mode": "markers",
            "x": [_number(row) for row in found],
            "y": [round(float(row["observed_minus_expected"]), 2) for row in found],
            "marker": {"color": ACCENT, "size": 8, "symbol": "diamond"},
            "hoverinfo": "text",
            "hovertext": [escaped(f"{row['stratum']}: signal at attempt {_number(row)}") for row in found],
        }
    ]


def _attempts(widest: int) -> dict[str, Any]:
    """The range of the axis of attempts, and at most six round ticks on it."""
    step = next((size for size in STEPS if widest <= 6 * size), STEPS[-1])
    places = list(range(0, widest + 1, step))
    return {"range": [0, widest * 1.02], "tickvals": places, "ticktext": [wording.count(n) for n in places]}


def _upright(title: str, low: float, high: float) -> dict[str, Any]:
    """An upright axis of sums, ruled at round numbers, with the level 0 on it."""
    reach = max(high - low, 1.0)
    step = next((size for size in (1, *STEPS) if reach <= 6 * size), STEPS[-1])
    places = [step * number for number in range(-int(-low // step) - 1, int(high // step) + 2)]
    places = [place for place in places if low - reach * 0.04 <= place <= high + reach * 0.04]
    return axis(
        title,
        range=[low - reach * 0.05, high + reach * 0.08],
        tickvals=places,
        ticktext=[f"+{place}" if place > 0 and low < 0 else f"{place}".replace("-", "−") for place in places],
        showgrid=True,
        gridcolor=RULE,
        showline=False,
        ticks="",
    )


def _end_labels(
    ends: Mapping[str, tuple[int, float]],
    marked: Sequence[str],
    spans: tuple[float, float],
    *,
    taken: Sequence[Box] = (),
    color: str = ACCENT,
) -> list[dict[str, Any]]:
    """The code at the end of each line where it touches no other; on a narrow page only of those marked."""
    held, labels = list(taken), []
    for code in sorted(ends, key=lambda code: (code not in marked, code)):
        (x, y), half = ends[code], 4.2 * len(code)
        spot = (_WIDTH * x / spans[0] + 6 + half, -_HEIGHT * y / spans[1])
        boxes = {up: (spot[0], spot[1] - up, half, 7.0) for up in _BESIDE}
        free = (up for up, box in boxes.items() if not any(touch(box, other) for other in held))
        up = next(free, 0 if code in marked else None)
        # The table names everyone; a label that nobody can read is left out.
        if up is None:
            continue
        held.append(boxes[up])
        font = {"size": SIZE if code in marked else SIZE - 2, "color": color if code in marked else MUTED}
        name = "limit" if code in marked else "wide"
        labels.append(label(code, x, y, name=name, xshift=6, yshift=up, font=font))
    return labels
