"""Step curves over the time since placement, stopped where too few are still observed."""

from collections.abc import Sequence
from dataclasses import dataclass

from reports import wording
from reports.choosing import Row
from reports.figures.theme import (
    DASHES,
    MUTED,
    SERIES,
    SIZE,
    Drawing,
    Trace,
    axis,
    drawing,
    label,
    rounded,
    share_axis,
)
from reports.tables import escaped

_HALF_YEAR, _YEAR = 182, 365
# Less than a pixel of a drawing 400 pixels tall, and of a panel of 150.
_LEAST, _LEAST_NARROW = 1 / 500, 1 / 200
TICKS = (0, _HALF_YEAR, 365, 730, 1095, 1460, 1825)


@dataclass(frozen=True)
class Curve:
    """One curve to draw: its label, the rows of a result table in order of days, and which columns to read."""

    label: str
    rows: Sequence[Row]
    value: str = "survival"
    lower: str = "ci_lower"
    upper: str = "ci_upper"
    color: str = SERIES[0]
    dash: str = "solid"


def styled(curves: Sequence[Curve]) -> list[Curve]:
    """The curves with a colour and a dash each."""
    return [
        Curve(
            curve.label,
            curve.rows,
            curve.value,
            curve.lower,
            curve.upper,
            SERIES[number % len(SERIES)],
            DASHES[number % len(DASHES)],
        )
        for number, curve in enumerate(curves)
    ]


def drawn_rows(rows: Sequence[Row], floor: int) -> list[Row]:
    """The rows up to the last day on which at least `floor` are still observed."""
    kept = []
    for row in rows:
        if row["at_risk"] < floor:
            break
        kept.append(row)
    return kept


def steps(
    curves: Sequence[Curve],
    *,
    counts: str,
    floor: int = 10,
    top: float = 1.0,
    narrow: bool = False,
    last_day: float | None = None,
) -> Drawing:
    """Step curves with their intervals, labelled at their ends, with the number observed below the axis.

    Parameters
    ----------
    curves
        What to draw.
    counts
        What the y axis counts, such as ``Still using, of 100``.
    floor
        A curve stops before the first day with fewer than this many still observed.
    top
        End of the y axis, 0-1.
    narrow
        A panel among others: no label at the end, no numbers below the axis, fewer ticks.
    last_day
        End of the x axis; where None, the end of the longest curve.

    Returns
    -------
    dict
        A plotly figure: for each curve a band (two traces) and a line, whose ``x`` are days and ``y`` values.
    """
    drawn = [(curve, drawn_rows(curve.rows, floor)) for curve in styled(curves)]
    drawn = [(curve, rows) for curve, rows in drawn if rows]
    ends = [float(rows[-1]["days"]) for _, rows in drawn]
    end = last_day or max(ends, default=0.0) or _YEAR
    days = [tick for tick in TICKS if tick <= end * 1.02]
    days = [tick for tick in days if not narrow or tick in (0, 365, 730, 1095)]
    least = top * (_LEAST_NARROW if narrow else _LEAST)
    traces = [trace for curve, rows in drawn for trace in _traces(curve, rows, least)]
    below = [] if narrow else observed_below(drawn, days)
    labels = [] if narrow else _end_labels(drawn, top)
    return drawing(
        traces,
        margin={"l": 12, "r": 10 if narrow else 132, "t": 12, "b": 34 if narrow else 58 + 20 * len(drawn)},
        xaxis=axis(
            range=[0, end * 1.01],
            tickvals=days,
            ticktext=["0" if not tick else short_time(tick) for tick in days],
        ),
        yaxis=share_axis(counts, top, range=[0, top * 1.02]),
        annotations=labels + below,
    )


def _visible(curve: Curve, rows: Sequence[Row], least: float) -> list[Row]:
    """The rows at which the curve or its band moves by what an eye can see; the first, the last and the ticks.

    A large service has an event on every day: drawn in full, its curves would fill the page with bytes.
    """
    kept: list[Row] = []
    for row in rows:
        moved = not kept or any(
            abs(float(row[name]) - float(kept[-1][name])) >= least
            for name in (curve.value, curve.lower, curve.upper)
        )
        if moved or row is rows[-1] or round(row["days"]) in TICKS:
            kept.append(row)
    return kept


def short_time(days: float) -> str:
    """A tick on the time axis."""
    return {182: "6 mo", 365: "1 y", 730: "2 y", 1095: "3 y", 1460: "4 y", 1825: "5 y"}[round(days)]


def _traces(curve: Curve, rows: Sequence[Row], least: float) -> list[Trace]:
    """The band and the line of one curve; with fewer than ten events, points."""
    if rows[-1]["cumulative_events"] < wording.FEW:
        return [_event_points(curve, [row for row in rows if row["events"] > 0])]
    rows = _visible(curve, rows, least)
    days = [int(row["days"]) for row in rows]
    shared = {"type": "scatter", "mode": "lines", "x": days}
    edge = {"shape": "hv", "width": 0, "color": curve.color}
    return [
        shared | {"y": rounded([row[curve.lower] for row in rows]), "line": edge, "hoverinfo": "skip"},
        shared
        | {
            "y": rounded([row[curve.upper] for row in rows]),
            "line": edge,
            "fill": "tonexty",
            "fillcolor": faint(curve.color),
            "hoverinfo": "skip",
        },
        shared
        | {
            "name": escaped(curve.label),
            "y": rounded([row[curve.value] for row in rows]),
            "line": {"shape": "hv", "width": 2.2, "color": curve.color, "dash": curve.dash},
            # A fixed text: a template must never hold a word of the data.
            "hovertemplate": "%{y:.1%} on day %{x}<extra></extra>",
        },
    ]


def _event_points(curve: Curve, rows: Sequence[Row]) -> Trace:
    """Fewer than ten events: a point for each day with one, the count at the last, and no line that could pass for
    a trend."""
    return {
        "type": "scatter",
        "mode": "markers+text",
        "name": escaped(curve.label),
        "x": [int(row["days"]) for row in rows],
        "y": rounded([row[curve.value] for row in rows]),
        "marker": {"size": 6, "color": curve.color},
        "text": [*([""] * (len(rows) - 1)), *(wording.count(row["cumulative_events"]) for row in rows[-1:])],
        "textposition": "top center",
        "textfont": {"size": SIZE - 2, "color": curve.color},
        "hovertemplate": "%{y:.1%} on day %{x}<extra></extra>",
    }


def faint(color: str, opacity: float = 0.13) -> str:
    """A colour thin enough to lie under a line; plotly reads the last two digits as opacity."""
    red, green, blue = (int(color[start : start + 2], 16) for start in (1, 3, 5))
    return f"rgba({red},{green},{blue},{opacity:g})"


def _end_labels(drawn: Sequence[tuple[Curve, list[Row]]], top: float) -> list[dict[str, object]]:
    """The name of each curve at its end, moved apart where two would touch."""
    ends = sorted(drawn, key=lambda pair: float(pair[1][-1][pair[0].value]))
    labels, last = [], -1.0
    for curve, rows in ends:
        place = max(float(rows[-1][curve.value]), last + 0.075 * top)
        last = place
        labels.append(
            label(curve.label, float(rows[-1]["days"]), place, color=curve.color, name="end", xshift=6)
        )
    return labels


def observed_below(drawn: Sequence[tuple[Curve, list[Row]]], days: Sequence[int]) -> list[dict[str, object]]:
    """The number still observed under every curve at each tick, in lines below the axis."""
    if not drawn:
        return []
    below = [
        label(
            "Still observed",
            0,
            0,
            color=MUTED,
            xref="paper",
            yref="paper",
            yanchor="top",
            yshift=-28,
            xshift=-6,
        )
    ]
    for number, (curve, rows) in enumerate(drawn):
        for tick in days:
            at = next((row for row in rows if row["days"] == tick), None)
            if at is None:
                continue
            below.append(
                label(
                    wording.count(at["at_risk"]),
                    tick,
                    0,
                    # Too close to its neighbours on a phone.
                    name="wide" if tick == _HALF_YEAR else "",
                    color=curve.color,
                    yref="paper",
                    xanchor="center" if tick else "left",
                    yanchor="top",
                    yshift=-46 - 18 * number,
                    xshift=0 if tick else -6,
                    font={"size": SIZE - 1, "color": curve.color},
                )
            )
    return below
