"""The drawings of the internal edition as files of their own, fit to be put into a text."""

from collections.abc import Iterator

from audit.records import AuditResults
from reports.editions import INTERNAL
from reports.figures.static import standalone_svg
from reports.figures.theme import Figure
from reports.page import PANEL, WIDE
from reports.sections.section import FigureBlock


def figure_files(results: AuditResults) -> dict[str, bytes]:
    """Every drawing of the internal edition as SVG.

    Parameters
    ----------
    results
        What `audit.run_audit` returned; nothing else is read.

    Returns
    -------
    dict
        The files by their names, ``figures/ID.svg``: XML with the finding as title and, as description, the
        sentence for those who cannot see the drawing. None where there is nothing to draw.
    """
    return {
        f"figures/{plot.id.removesuffix('-plot')}.svg": standalone_svg(
            plot.drawing,
            plot.height,
            width=PANEL if len(figure.plots) > 1 else WIDE,
            title=f"{figure.title}: {plot.label}" if plot.label else figure.title,
            description=f"{figure.alt} Internal edition: not for release.",
        ).encode()
        for figure in _figures(results)
        for plot in figure.plots
    }


def _figures(results: AuditResults) -> Iterator[Figure]:
    """The figures of the internal edition, in its order."""
    for make in INTERNAL:
        for block in make(results).blocks:
            if isinstance(block, FigureBlock):
                yield block.figure
