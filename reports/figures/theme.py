"""The look that every drawing shares, and what a figure on the page is made of."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from reports.tables import escaped

Trace = dict[str, Any]
Drawing = dict[str, Any]

INK, MUTED, ACCENT, GREY, RULE = "#1f2a37", "#5b6572", "#7b2d4e", "#8b8f94", "#d9d6cc"
PAPER = "#fbfaf6"
SERIES = ("#093642", "#973cb8", "#879255", "#482814", "#437c6b")
# Light colour -> the colour that takes its place on dark paper.
DARK = {
    INK: "#eceae4",
    MUTED: "#a9b0ba",
    ACCENT: "#e59bb8",
    GREY: "#7f8690",
    RULE: "#363b43",
    PAPER: "#171a1f",
    SERIES[0]: "#99e2d6",
    SERIES[1]: "#b78cee",
    SERIES[2]: "#e4eda9",
    SERIES[3]: "#c98134",
    SERIES[4]: "#649473",
}
DASHES = ("solid", "dash", "dot", "dashdot", "longdash")
MARKERS = ("circle", "square", "diamond", "triangle-up", "cross")
# Ends of an axis, and into how many parts each divides.
_PARTS = {
    0.001: 5,
    0.002: 4,
    0.005: 5,
    0.01: 5,
    0.02: 4,
    0.03: 3,
    0.04: 4,
    0.05: 5,
    0.06: 3,
    0.08: 4,
    0.1: 5,
    0.15: 3,
    0.2: 4,
    0.25: 5,
    0.3: 3,
    0.4: 4,
    0.5: 5,
    0.6: 3,
    0.8: 4,
    1.0: 5,
}
FONT = "Seravek, 'Gill Sans Nova', Ubuntu, Calibri, 'DejaVu Sans', source-sans-pro, sans-serif"
SIZE = 13


@dataclass(frozen=True)
class Plot:
    """One drawing: a fixed id, the plotly figure, its height in pixels and a short label above it."""

    id: str
    drawing: Drawing
    height: int
    label: str = ""


@dataclass(frozen=True)
class Figure:
    """What the page shows: the finding as title, one or more drawings, a sentence for those who cannot see
    them, the table of the same numbers, and the names of its figures, of which the methods say how each is
    counted."""

    id: str
    title: str
    plots: tuple[Plot, ...]
    alt: str
    table: Markup
    note: str = ""
    counted: tuple[str, ...] = ()


def drawing(traces: Sequence[Trace], **layout: Any) -> Drawing:
    """A plotly figure in the shared look, as a plain dict; `layout` replaces parts of it."""
    whole: dict[str, Any] = {
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "font": {"family": FONT, "size": SIZE, "color": INK},
        "showlegend": False,
        "hovermode": "closest",
        "dragmode": False,
        "margin": {"l": 8, "r": 8, "t": 12, "b": 36},
        "hoverlabel": {"bgcolor": PAPER, "bordercolor": MUTED, "font": {"color": INK, "size": SIZE}},
    }
    return {"data": list(traces), "layout": whole | layout}


def axis(title: str = "", **more: Any) -> dict[str, Any]:
    """An axis with a thin line, no grid, and what it counts written on it."""
    return {
        "title": {"text": escaped(title), "font": {"size": SIZE, "color": MUTED}, "standoff": 8},
        "showgrid": False,
        "zeroline": False,
        "linecolor": MUTED,
        "linewidth": 1,
        "ticks": "outside",
        "ticklen": 4,
        "tickcolor": MUTED,
        "tickfont": {"size": SIZE - 1, "color": MUTED},
        "fixedrange": True,
        "automargin": True,
    } | more


def share_axis(title: str, top: float, **more: Any) -> dict[str, Any]:
    """An upright axis of proportions from 0 to `top`, written in parts of 100 and ruled."""
    return axis(
        title,
        **{
            "range": [0, top],
            "tickvals": ticks(top),
            "ticktext": [f"{100 * tick:.3g}" for tick in ticks(top)],
            "showgrid": True,
            "gridcolor": RULE,
            "showline": False,
            "ticks": "",
            **more,
        },
    )


def label(text: str, x: float, y: float, *, color: str = INK, name: str = "", **more: Any) -> dict[str, Any]:
    """A direct label; `text` is escaped. Those named ``end`` move inside when the drawing is narrow."""
    return {
        "text": escaped(text),
        "x": x,
        "y": y,
        "showarrow": False,
        "xanchor": "left",
        "yanchor": "middle",
        "font": {"color": color, "size": SIZE},
        "name": name,
    } | more


def rounded(values: Sequence[float]) -> list[float | None]:
    """Values short enough to draw: four decimals, None where there is none."""
    return [None if value != value else round(float(value), 4) for value in values]


def ticks(top: float) -> list[float]:
    """The ticks of an axis from 0 to `top`, in steps that read well.

    Examples
    --------
    >>> ticks(0.15), ticks(0.2)
    ([0.0, 0.05, 0.1, 0.15], [0.0, 0.05, 0.1, 0.15, 0.2])
    """
    parts = _PARTS.get(top, 4)
    return [round(top * part / parts, 6) for part in range(parts + 1)]


def nice_top(largest: float) -> float:
    """The end of an axis from 0: the next of a few round proportions.

    Examples
    --------
    >>> nice_top(0.081), nice_top(0.0)
    (0.1, 0.001)
    """
    return next((top for top in _PARTS if largest <= top), 1.0)
