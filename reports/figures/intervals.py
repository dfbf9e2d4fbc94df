"""Dots with intervals, each line with its label above it, so that they read alike on a phone and on paper."""

from collections.abc import Sequence
from dataclasses import dataclass

from reports.figures.theme import (
    ACCENT,
    GREY,
    INK,
    MUTED,
    RULE,
    SIZE,
    Drawing,
    Trace,
    axis,
    drawing,
    label,
    nice_top,
    ticks,
)
from reports.tables import escaped

ROW_HEIGHT, EDGES = 46, 62
_NEAR = 0.72


@dataclass(frozen=True)
class Line:
    """One estimate to draw: label, value and limits (0-1), counts in words, and whether it is ours to look at.

    `tone` is ``ink``, ``accent`` or ``grey`` (published figures). A value that is missing draws the label only.
    """

    label: str
    value: float
    lower: float
    upper: float
    counts: str
    tone: str = "ink"


_TONES = {"ink": INK, "accent": ACCENT, "grey": GREY}


def height(lines: Sequence[Line]) -> int:
    """How tall the drawing of these lines is, in pixels."""
    return round(ROW_HEIGHT * (max(_places(lines), default=0.0) + 1)) + EDGES


def _places(lines: Sequence[Line]) -> list[float]:
    """How high each line stands, the last at 0; a published figure stands close below ours."""
    steps = [_NEAR if line.tone == "grey" else 1.0 for line in lines[1:]]
    return [round(sum(steps[number:]), 4) for number in range(len(lines))]


def _is_drawn(line: Line, tone: str) -> bool:
    """Whether a line has this tone and something to draw."""
    return line.tone == tone and line.upper == line.upper


def dots(lines: Sequence[Line], *, counts: str, scale: float = 100, top: float | None = None) -> Drawing:
    """One dot with its interval per line, on one axis from 0.

    Parameters
    ----------
    lines
        What to draw, from the top.
    counts
        What the axis counts, such as ``of 100 visits``.
    scale
        The axis is written in parts of this many.
    top
        End of the axis (0-1, or per woman-year); where None, a round number that holds every interval.

    Returns
    -------
    dict
        A plotly figure: one trace per tone, with ``x`` the values and ``error_x`` the limits.
    """
    end = top or nice_top(max([line.upper for line in lines if line.upper == line.upper], default=0.0))
    places = _places(lines)
    return drawing(
        [trace for tone in _TONES if (trace := _dots(lines, places, tone))],
        margin={"l": 10, "r": 14, "t": 14, "b": 44},
        xaxis=axis(
            counts,
            range=[0, end * 1.005],
            tickvals=ticks(end),
            ticktext=[f"{scale * tick:.3g}" for tick in ticks(end)],
            showgrid=True,
            gridcolor=RULE,
        ),
        yaxis=axis(
            range=[-0.55, max(places, default=0.0) + 0.8],
            showticklabels=False,
            showline=False,
            ticks="",
            zeroline=False,
        ),
        annotations=[_row_label(line, place) for line, place in zip(lines, places, strict=True)],
    )


def _dots(lines: Sequence[Line], places: Sequence[float], tone: str) -> Trace | None:
    """The lines of one tone as dots with their intervals; nothing where none has an estimate."""
    drawn = [pair for pair in zip(lines, places, strict=True) if _is_drawn(pair[0], tone)]
    if not drawn:
        return None
    return {
        "type": "scatter",
        "mode": "markers",
        "x": [round(line.value, 5) for line, _ in drawn],
        "y": [place for _, place in drawn],
        "error_x": {
            "type": "data",
            "symmetric": False,
            "array": [round(line.upper - line.value, 5) for line, _ in drawn],
            "arrayminus": [round(line.value - line.lower, 5) for line, _ in drawn],
            "color": _TONES[tone],
            "thickness": 1.8,
            "width": 0,
        },
        "marker": {"color": _TONES[tone], "size": 9, "symbol": "diamond" if tone == "grey" else "circle"},
        "hoverinfo": "text",
        "hovertext": [escaped(f"{line.label}: {line.counts}") for line, _ in drawn],
    }


def _row_label(line: Line, place: float) -> dict[str, object]:
    """The label above a line, with its counts."""
    return label(
        f"{line.label} · {line.counts}" if line.counts else line.label,
        0,
        place,
        name="row",
        xref="paper",
        yshift=14,
        # Grey is dark enough for a mark, not for small text.
        font={"size": SIZE, "color": MUTED if line.tone == "grey" else _TONES[line.tone]},
    )
