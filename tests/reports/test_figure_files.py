"""The drawings as files of their own: whole XML that names and describes itself, fit for any text."""

import re
from collections.abc import Iterator
from typing import Any
from xml.etree import ElementTree

import pytest

from audit.records import AuditResults
from reports.editions import INTERNAL
from reports.figure_files import figure_files
from reports.figures.intervals import Line, dots, height
from reports.figures.static import standalone_svg
from reports.figures.theme import DARK, PAPER, Figure

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def files(demo_results: AuditResults) -> dict[str, bytes]:
    return figure_files(demo_results)


def figures(results: AuditResults) -> Iterator[Figure]:
    """Every figure of the internal edition."""
    for make in INTERNAL:
        for block in make(results).blocks:
            if block.kind == "figure":
                yield block.figure


def test_every_drawing_of_the_report_is_a_file_with_its_finding_and_its_sentence(
    files: dict[str, bytes], demo_results: AuditResults
) -> None:
    shown = [(figure, plot) for figure in figures(demo_results) for plot in figure.plots]
    assert len(files) == len(shown) > 15
    for (figure, plot), (name, content) in zip(shown, files.items(), strict=True):
        assert re.fullmatch(r"figures/[a-z0-9-]+\.svg", name), name
        root = ElementTree.fromstring(content)
        assert root.tag == f"{SVG}svg"
        title, description = root.findtext(f"{SVG}title"), root.findtext(f"{SVG}desc")
        assert title == (f"{figure.title}: {plot.label}" if plot.label else figure.title)
        assert description == f"{figure.alt} Internal edition: not for release."
        assert root.get("role") == "img"
        assert set(str(root.get("aria-labelledby")).split()) == {
            part.get("id") for part in root if part.get("id") is not None
        }


def test_a_file_needs_no_style_sheet_no_font_of_ours_and_nothing_from_outside(
    files: dict[str, bytes],
) -> None:
    for name, content in files.items():
        root = ElementTree.fromstring(content)
        assert {part.tag.removeprefix(SVG) for part in root.iter()} <= {
            *("svg", "title", "desc", "rect", "path", "circle", "text"),
        }, name
        used = {key for part in root.iter() for key in part.attrib}
        assert not used & {"class", "style", "href", "{http://www.w3.org/1999/xlink}href", "onload"}, name
        assert root.get("font-family") == "sans-serif"
        width, tall = float(str(root.get("width"))), float(str(root.get("height")))
        assert root.get("viewBox") == f"0 0 {width:g} {tall:g}"


def test_colours_are_those_of_light_paper_and_hold_no_transparency(files: dict[str, bytes]) -> None:
    colours = {
        value
        for content in files.values()
        for part in ElementTree.fromstring(content).iter()
        for key, value in part.attrib.items()
        if key in ("fill", "stroke")
    }
    assert {colour for colour in colours if colour != "none"} <= set(DARK)
    assert ElementTree.fromstring(next(iter(files.values()))).find(f"{SVG}rect").get("fill") == PAPER  # type: ignore[union-attr]
    assert any(b'fill-opacity="0.' in content for content in files.values())


def test_text_of_the_data_cannot_open_a_tag() -> None:
    nasty = "</title><script>x</script>&"
    drawing = dots([Line(nasty, 0.05, 0.02, 0.1, "")], counts="Of 100", top=0.1)
    root = ElementTree.fromstring(standalone_svg(drawing, height([0]), title=nasty, description=nasty))
    assert root.findtext(f"{SVG}title") == root.findtext(f"{SVG}desc") == nasty
    assert not list(root.iter(f"{SVG}script"))


def test_hostile_results_give_whole_files_with_safe_names(hostile_results: AuditResults) -> None:
    files = figure_files(hostile_results)
    assert len(files) > 15
    for name, content in files.items():
        assert re.fullmatch(r"figures/[a-z0-9-]+\.svg", name), name
        assert not list(ElementTree.fromstring(content).iter(f"{SVG}script"))


def test_an_audit_with_nothing_in_it_has_no_drawings(make_results: Any) -> None:
    assert figure_files(make_results()) == {}
