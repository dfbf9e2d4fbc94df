"""Small drawings inside the text: an interval on a scale, a bar in parts. Plain SVG, so they need no script."""

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from reports.choosing import is_known

WIDTH, TALL = 240, 34


@dataclass(frozen=True)
class Mark:
    """An estimate to set on a scale: value and limits (0-1), a published band where one compares, and the same
    estimate under the other rule of observation. Without a value, the limits are bounds: a line and no dot."""

    value: float
    lower: float
    upper: float
    band: tuple[float, float] | None = None
    accent: bool = False
    other: tuple[float, float, float] | None = None


def interval_mark(mark: Mark, ticks: Sequence[float], described: str) -> Markup:
    """The interval and its dot on a scale from 0, the published band in grey behind.

    Parameters
    ----------
    mark
        What to draw.
    ticks
        The ticks of the scale from 0 to its end (0-1), the same for every mark beside it.
    described
        The sentence for those who cannot see it.

    Returns
    -------
    Markup
        One SVG element; its colours come from the page's style sheet.

    Examples
    --------
    >>> "circle" in interval_mark(Mark(0.05, 0.03, 0.07), [0, 0.05, 0.1], "5%")
    True
    """
    top, band = ticks[-1], Markup("")
    if mark.band is not None and is_known(mark.band[0]):
        left, right = _place(mark.band[0], top), _place(mark.band[1], top)
        band = Markup('<rect class="band" x="{:.1f}" y="5" width="{:.1f}" height="18"/>').format(
            left, max(2.0, right - left)
        )
    return Markup(
        '<svg class="mark{accent}" viewBox="0 0 {width} {tall}" role="img" aria-label="{described}">'
        '{band}<line class="axis" x1="6" x2="{right}" y1="28" y2="28"/>{ticks}'
        "{line}{other}</svg>"
    ).format(
        accent=" accent" if mark.accent else "",
        width=WIDTH,
        tall=TALL,
        described=described,
        band=band,
        right=WIDTH - 6,
        ticks=_tick_lines(ticks),
        line=_dot((mark.value, mark.lower, mark.upper), top, 14 if mark.other is None else 8, ""),
        other=Markup("") if mark.other is None else _dot(mark.other, top, 20, "hollow"),
    )


def _dot(estimate: tuple[float, float, float], top: float, height: int, kind: str) -> Markup:
    """A dot with its interval; nothing where there is no interval to draw."""
    if not is_known(estimate[1]):
        return Markup("")
    value, lower, upper = (_place(number, top) for number in estimate)
    dot = Markup('<circle class="{}" cx="{:.1f}" cy="{}" r="3.6"/>').format(kind, value, height)
    reach = Markup(
        '<path class="reach" d="M{lower:.1f} {above}V{below}M{lower:.1f} {height}H{upper:.1f}'
        'M{upper:.1f} {above}V{below}"/>'
    ).format(lower=lower, upper=upper, height=height, above=height - 4, below=height + 4)
    return reach + dot if is_known(estimate[0]) else reach


def _place(value: float, top: float) -> float:
    """Where a value lies on the scale."""
    return 6 + (WIDTH - 12) * min(value, top) / top


def _tick_lines(ticks: Sequence[float]) -> Markup:
    """The ticks of the scale."""
    return Markup("").join(
        Markup('<line class="axis" x1="{0:.1f}" x2="{0:.1f}" y1="28" y2="32"/>').format(
            _place(tick, ticks[-1])
        )
        for tick in ticks
    )


# A bar of three parts, in the order of their classes in the style sheet.
_PARTS = ("met", "unmet", "blank")
_LONG, _HIGH = 120, 10


def three_part_bar(
    counts: tuple[int, int, int],
    *,
    exceptions: int = 0,
    target: float | None = None,
    last: float | None = None,
) -> Markup:
    """A bar of one length for all rows of a table, in three parts side by side and a hollow one for exceptions.

    Parameters
    ----------
    counts
        Met, not met and not recorded; nothing is drawn where all are 0.
    exceptions
        Those who are no part of the denominator.
    target, last
        The level to reach, and what was reached in the last audit, as shares of met and not met (0-1): a tick, and
        a dot.

    Returns
    -------
    Markup
        One SVG element that says nothing: the counts stand in the cells beside it.

    Examples
    --------
    >>> three_part_bar((3, 1, 0)).count("rect")
    2
    >>> three_part_bar((3, 1, 0), exceptions=2, target=0.9).count("<path")
    1
    """
    whole, left, parts = sum(counts) + exceptions, 0.0, Markup("")
    if not sum(counts):
        return parts
    part = Markup('<rect class="{}" x="{:.3g}" width="{:.3g}" height="{}"/>')
    for name, count in zip((*_PARTS, "except"), (*counts, exceptions), strict=True):
        width = _LONG * count / whole
        if count:
            parts += part.format(name, left, width, _HIGH)
        left += width
    recorded = _LONG * (counts[0] + counts[1]) / whole
    if last is not None:
        parts += Markup('<circle class="last" cx="{:.3g}" cy="5" r="3"/>').format(recorded * last)
    if target is not None:
        parts += Markup('<path class="goal" d="M{:.3g} -3v16"/>').format(recorded * target)
    return Markup('<svg viewBox="0 0 {} {}" aria-hidden="true">{}</svg>').format(_LONG, _HIGH, parts)
