"""A drawing as plain SVG, for a reader whose browser runs no scripts: the same traces, limits and labels."""

import re
from collections.abc import Sequence
from typing import Any

from markupsafe import Markup

from reports.figures.theme import MUTED, PAPER, RULE, Drawing, Trace
from reports.tables import escaped

# Where the axes lie, in pixels: left, right, top, bottom; and the ranges x0 to x1, y0 to y1.
_Frame = dict[str, float]
_TICK_ROOM = 46
_ANCHORS = {"left": "start", "center": "middle", "right": "end"}
_DASHES = {"dash": "7 5", "dot": "2 3", "dashdot": "7 4 2 4", "longdash": "11 5"}
_TRANSPARENT = re.compile(r'(fill|stroke)="rgba\((\d+), ?(\d+), ?(\d+), ?([\d.]+)\)"')
_BASELINES = {"top": 11.0, "middle": 4.0, "bottom": -3.0}


def static_svg(drawing: Drawing, height: int, *, width: int = 640) -> Markup:
    """One SVG element for a drawing.

    Parameters
    ----------
    drawing
        A plotly figure as a plain dict, of scatter traces only; its labels are escaped already.
    height, width
        Size in pixels.

    Returns
    -------
    Markup
        The element, on light paper whatever the theme.
    """
    inside = (
        f'viewBox="0 0 {width} {height}" fill="{MUTED}" aria-hidden="true">{_drawn(drawing, height, width)}'
    )
    return Markup(f'<svg class="static" {inside}</svg>')


def standalone_svg(drawing: Drawing, height: int, *, title: str, description: str, width: int = 640) -> str:
    """One SVG file for a drawing, which names and describes itself.

    Parameters
    ----------
    drawing, height, width
        As `static_svg` takes them.
    title, description
        What it shows, and the sentence for those who cannot see it, as plain text.

    Returns
    -------
    str
        XML on light paper, with a generic font and colours that a word processor reads.
    """
    # Word processors know no colour with a transparency inside it.
    drawn = _TRANSPARENT.sub(_apart, _drawn(drawing, height, width))
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" viewBox="0 0 {width} {height}" '
        f'role="img" aria-labelledby="title description" font-family="sans-serif" font-size="12" fill="{MUTED}">\n'
        f'<title id="title">{escaped(title)}</title>\n<desc id="description">{escaped(description)}</desc>\n'
        f"{drawn}</svg>\n"
    )


def _apart(found: re.Match[str]) -> str:
    """A colour and its transparency, each said by itself."""
    red, green, blue = (int(found[part]) for part in (2, 3, 4))
    return f'{found[1]}="#{red:02x}{green:02x}{blue:02x}" {found[1]}-opacity="{found[5]}"'


def _drawn(drawing: Drawing, height: int, width: int) -> str:
    """What lies inside the element: paper, axes, traces and labels."""
    frame = _frame(drawing["layout"], height, width)
    parts = [f'<rect width="{width}" height="{height}" fill="{PAPER}"/>', *_axes(drawing["layout"], frame)]
    earlier: list[tuple[int, int]] = []
    for trace in drawing["data"]:
        points = _points(trace, frame)
        parts += _band(trace, points, earlier) if trace["mode"] == "lines" else _marks(trace, points, frame)
        earlier = points
    parts += [_label(label, frame) for label in drawing["layout"].get("annotations", [])]
    return "".join(parts)


def _frame(layout: dict[str, Any], height: int, width: int) -> _Frame:
    """The place of the axes; figures of the y axis need room that plotly finds by itself."""
    margin, numbered = layout["margin"], layout["yaxis"].get("showticklabels", True)
    (x0, x1), (y0, y1) = layout["xaxis"]["range"], layout["yaxis"]["range"]
    left = margin["l"] + (_TICK_ROOM if numbered else 0)
    bottom = height - max(margin["b"], 44)
    places = (left, width - margin["r"], margin["t"], bottom, x0, x1, y0, y1)
    return dict(zip(("left", "right", "top", "bottom", "x0", "x1", "y0", "y1"), places, strict=True))


def _x(value: float, frame: _Frame) -> int:
    """A value of the x axis in pixels."""
    share = (value - frame["x0"]) / (frame["x1"] - frame["x0"])
    return round(frame["left"] + share * (frame["right"] - frame["left"]))


def _y(value: float, frame: _Frame) -> int:
    """A value of the y axis in pixels."""
    share = (value - frame["y0"]) / (frame["y1"] - frame["y0"])
    return round(frame["bottom"] - share * (frame["bottom"] - frame["top"]))


def _points(trace: Trace, frame: _Frame) -> list[tuple[int, int]]:
    """The points of a trace in pixels; of a line, what is missing or lies beyond the axes is left out."""
    pairs = list(zip(trace["x"], trace["y"], strict=True))
    if trace["mode"] == "lines":
        pairs = [(x, y) for x, y in pairs if y is not None and x <= frame["x1"] and y <= frame["y1"]]
    return [(_x(x, frame), _y(y, frame)) for x, y in pairs]


def _axes(layout: dict[str, Any], frame: _Frame) -> list[str]:
    """Rules, figures and what the axes count."""
    left, right, bottom = frame["left"], frame["right"], frame["bottom"]
    parts = [_line(left, bottom, right, bottom, MUTED)]
    for value, text in zip(layout["xaxis"]["tickvals"], layout["xaxis"]["ticktext"], strict=True):
        for number, word in enumerate(text.split("<br>")):
            parts.append(_text(_x(value, frame), bottom + 16 + 14 * number, word, anchor="middle"))
    levels = [_y(value, frame) for value in layout["yaxis"].get("tickvals", [])]
    rules = "".join(f"M{left} {level}H{right}" for level in levels)
    parts.append(f'<path d="{rules}" stroke="{RULE}"/>' if levels else "")
    for level, text in zip(levels, layout["yaxis"].get("ticktext", []), strict=True):
        parts.append(_text(left - 8, level + 4, text, anchor="end"))
    titles = [layout[name]["title"]["text"] for name in ("xaxis", "yaxis")]
    parts.append(_text((left + right) // 2, bottom + 36, titles[0], anchor="middle") if titles[0] else "")
    parts.append(_text(left + 4, frame["top"] - 3, titles[1]) if titles[1] else "")
    return parts


def _band(trace: Trace, points: Sequence[tuple[int, int]], earlier: Sequence[tuple[int, int]]) -> list[str]:
    """A line, stepped where it steps, or the band between it and the one before."""
    path, line = _steps(points, trace["line"].get("shape", "linear")), trace["line"]
    if not path:
        return []
    if "fill" in trace:
        back = _steps(earlier[::-1], "vh").replace("M", "L", 1)
        return [f'<path d="{path}{back}Z" fill="{trace["fillcolor"]}"/>']
    if not line["width"]:
        return []
    dash = f' stroke-dasharray="{_DASHES[line["dash"]]}"' if line.get("dash", "solid") in _DASHES else ""
    return [f'<path d="{path}" fill="none" stroke="{line["color"]}" stroke-width="{line["width"]}"{dash}/>']


def _steps(points: Sequence[tuple[int, int]], shape: str) -> str:
    """A path through the points: across then up, up then across, half way and up, or straight."""
    if not points:
        return ""
    path, (last, level) = [f"M{points[0][0]} {points[0][1]}"], points[0]
    for x, y in points[1:]:
        if shape == "linear":
            path.append(f"L{x} {y}")
        elif shape == "vh":
            path.append(f"H{x}" if y == level else f"V{y}H{x}")
        elif y != level:
            path.append(f"H{x if shape == 'hv' else (last + x) // 2}V{y}")
        last, level = x, y
    return "".join(path) + ("" if shape == "linear" else f"H{last}")


def _marks(trace: Trace, points: Sequence[tuple[int, int]], frame: _Frame) -> list[str]:
    """Points with their intervals and texts."""
    color, parts, reach = trace["marker"]["color"], [], ""
    for error, values, place in (("error_x", trace["x"], _x), ("error_y", trace["y"], _y)):
        limits = trace.get(error, {"array": [], "arrayminus": []})
        ends = zip(values, limits["arrayminus"], limits["array"], points, strict=False)
        for value, less, more, (x, y) in ends:
            low, high = place(value - less, frame), place(value + more, frame)
            reach += f"M{low} {y}H{high}" if error == "error_x" else f"M{x} {low}V{high}"
    parts.append(f'<path d="{reach}" stroke="{color}" stroke-width="1.8"/>' if reach else "")
    hollow, square = "open" in trace["marker"].get("symbol", ""), trace["marker"].get("symbol") == "diamond"
    fill = f'fill="{PAPER}" stroke="{color}"' if hollow else f'fill="{color}"'
    for x, y in points:
        diamond = f'<path d="M{x} {y - 5}l5 5l-5 5l-5-5Z" {fill}/>'
        parts.append(diamond if square else f'<circle cx="{x}" cy="{y}" r="4" {fill}/>')
    for (x, y), text in zip(points, trace.get("text", []), strict=False):
        parts.append(_text(x, y - 8, text, anchor="middle", color=color) if text else "")
    return parts


def _label(label: dict[str, Any], frame: _Frame) -> str:
    """A direct label at its place, in pixels from the axes or from their corner."""
    x = frame["left"] if label.get("xref") == "paper" else _x(label["x"], frame)
    y = frame["bottom"] if label.get("yref") == "paper" else _y(label["y"], frame)
    right, up = label.get("xshift", 0), label.get("yshift", 0) - _BASELINES[label["yanchor"]]
    font = label["font"]
    return _text(
        x + right,
        y - up,
        label["text"],
        anchor=_ANCHORS[label["xanchor"]],
        color=font["color"],
        size=font["size"],
    )


def _line(x0: float, y0: float, x1: float, y1: float, color: str) -> str:
    """A thin line."""
    return f'<path d="M{x0} {y0}L{x1} {y1}" stroke="{color}"/>'


def _text(
    x: float, y: float, text: str, *, anchor: str = "start", color: str = MUTED, size: float = 12
) -> str:
    """Text that is escaped already; what the style sheet says of it is left out."""
    placed = "" if anchor == "start" else f' text-anchor="{anchor}"'
    sized = "" if size == 12 else f' font-size="{size}"'
    inked = "" if color == MUTED else f' fill="{color}"'
    return f'<text x="{x}" y="{y}"{placed}{sized}{inked}>{text}</text>'
