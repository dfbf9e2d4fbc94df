"""A hundred shapes for a hundred women: plain SVG, each kind of outcome a shape of its own."""

from collections.abc import Sequence

from markupsafe import Markup

ROW, PITCH = 10, 20
# Drawn around 0, 0; filled and hollow tell apart what colour need not.
SHAPES = {
    "full": '<circle class="full" r="7.5"/>',
    "half": '<circle class="line" r="6.8"/><path class="full" d="M0-6.8a6.8 6.8 0 0 0 0 13.6z"/>',
    "open": '<circle class="line" r="6.8"/>',
    "diamond": '<path class="mark-out" d="M0-9L9 0L0 9L-9 0z"/>',
    "unknown": '<circle class="dotted" r="7"/><path class="cross" d="M-3-3L3 3M-3 3L3-3"/>',
}


def icon_array(parts: Sequence[tuple[str, int]], described: str) -> Markup:
    """Shapes in rows of ten, one kind after the other.

    Parameters
    ----------
    parts
        Each kind of shape, one of `SHAPES`, and how many of it.
    described
        The sentence for those who cannot see it.

    Returns
    -------
    Markup
        One SVG element; its colours come from the page's style sheet.

    Examples
    --------
    >>> icon_array([("full", 94), ("open", 6)], "94 of 100").count("<g")
    100
    """
    kinds = [kind for kind, number in parts for _ in range(number)]
    shapes = "".join(
        f'<g transform="translate({PITCH * (place % ROW) + 10} {PITCH * (place // ROW) + 10})">{SHAPES[kind]}</g>'
        for place, kind in enumerate(kinds)
    )
    tall = PITCH * -(-len(kinds) // ROW)
    return Markup('<svg class="icons" viewBox="0 0 {} {}" role="img" aria-label="{}">{}</svg>').format(
        ROW * PITCH, tall, described, Markup(shapes)
    )


def key_shape(kind: str) -> Markup:
    """One shape by itself, for the words beside it."""
    return Markup('<svg class="key-shape" viewBox="-10 -10 20 20" aria-hidden="true">{}</svg>').format(
        Markup(SHAPES[kind])
    )
