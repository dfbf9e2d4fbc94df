"""One figure over many audits: a dot with its interval for each period, and no line, as chance moves them all."""

from collections.abc import Sequence

from reports import wording
from reports.choosing import Row, is_known, limits_of
from reports.figures.theme import INK, Drawing, axis, drawing, nice_top, rounded, share_axis
from reports.tables import escaped
from reports.words_for_codes import quarter

HEIGHT = 190


def dots_over_periods(rows: Sequence[Row]) -> Drawing:
    """A dot with its 95% interval for each period, on an axis from 0 in parts of 100.

    Parameters
    ----------
    rows
        Measurements of one figure in order of time, as the table ``series`` has them; one without an estimate
        leaves its place empty.

    Returns
    -------
    dict
        A plotly figure with one trace: ``x`` the place of the period, ``y`` the value, ``error_y`` the limits.
    """
    drawn = [(place, row, *bounds(row)) for place, row in enumerate(rows) if is_known(row["proportion"])]
    highest = max((upper for *_, upper in drawn), default=0.0)
    trace = {
        "type": "scatter",
        "mode": "markers",
        "x": [place for place, *_ in drawn],
        "y": rounded([row["proportion"] for _, row, *_ in drawn]),
        "error_y": {
            "type": "data",
            "symmetric": False,
            "array": rounded([upper - row["proportion"] for _, row, _, upper in drawn]),
            "arrayminus": rounded([row["proportion"] - lower for _, row, lower, _ in drawn]),
            "color": INK,
            "thickness": 1.6,
            "width": 0,
        },
        "marker": {"color": INK, "size": 7, "symbol": "circle"},
        "hoverinfo": "text",
        "hovertext": [escaped(f"{quarter(row['period'])}: {counted(row)}") for _, row, *_ in drawn],
    }
    last = max(len(rows) - 1, 0)
    ends = sorted({0, last})
    return drawing(
        [trace],
        margin={"l": 4, "r": 30, "t": 10, "b": 40},
        xaxis=axis(
            range=[-0.5, last + 0.5],
            tickvals=ends,
            ticktext=[escaped(quarter(rows[end]["period"])) for end in ends if rows],
        ),
        yaxis=share_axis("", nice_top(highest)),
    )


def bounds(row: Row) -> tuple[float, float]:
    """The limits to draw: as printed for a proportion, the curve's own otherwise."""
    if row["kind"] == "curve":
        return float(row["ci_lower"]), float(row["ci_upper"])
    return limits_of(row)[:2]


def counted(row: Row) -> str:
    """A measurement in words."""
    if row["kind"] == "proportion":
        return wording.proportion(row)
    if not is_known(row["proportion"]):
        return wording.NOTHING
    return f"{wording.percent(row['proportion'])}% ({wording.span(*bounds(row))})"
