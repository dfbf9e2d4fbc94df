"""Sections into one self-contained HTML file: style, drawings and the drawing library inside it."""

import base64
import gzip
import hashlib
import json
from collections.abc import Mapping, Sequence
from functools import cache
from importlib.resources import files

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from audit.records import AuditResults
from reports.figures.static import static_svg
from reports.figures.theme import DARK, Plot
from reports.sections.page_one import PageOne
from reports.sections.section import Section
from reports.tables import how_counted

# Widths of a drawing in pixels, alone and among others.
WIDE, PANEL = 640, 240


def render_page(results: AuditResults, first: PageOne, sections: Sequence[Section], *, edition: str) -> str:
    """One HTML page from page one and its sections.

    Parameters
    ----------
    results
        What dates and identifies the page.
    first
        Page one.
    sections
        Everything after it, in order.
    edition
        The line that every page carries.

    Returns
    -------
    str
        A page that asks for nothing outside itself. Without scripts every table and sentence remains.
    """
    loader, style = asset("loader.js"), asset("page.css")
    packed, library_hash = packed_library()
    return (
        environment()
        .get_template("page.html.j2")
        .render(
            results=results,
            first=first,
            sections=sections,
            numbers={section.id: number for number, section in enumerate(sections, start=1)},
            section_classes={},
            scripts=True,
            edition=edition,
            style=Markup(style.replace("EDITION_LINE", css_text(edition))),
            loader=Markup(loader),
            policy=content_policy(loader, library_hash),
            packed=Markup(packed),
            dark=_json(DARK),
        )
    )


def render_without_scripts(
    template: str,
    results: AuditResults,
    values: Mapping[str, object],
    *,
    edition: str,
    styles: Sequence[str] = (),
) -> str:
    """One HTML page that runs nothing: its drawings are still ones.

    Parameters
    ----------
    template
        The file under ``templates`` that extends the frame.
    results
        What dates and identifies the page.
    values
        What else the template names.
    edition
        The line that every page carries.
    styles
        Style sheets of its own, after the one all pages share.

    Returns
    -------
    str
        A page that asks for nothing outside itself.
    """
    style = "".join(asset(name) for name in ("page.css", *styles))
    style = style.replace("EDITION_LINE", css_text(edition))
    policy = (
        f"default-src 'none'; style-src 'sha256-{fingerprint(style)}'; base-uri 'none'; form-action 'none'"
    )
    given = {"section_classes": {}, **values, "results": results, "edition": edition, "scripts": False}
    return environment().get_template(template).render({**given, "style": Markup(style), "policy": policy})


def content_policy(loader: str, library_hash: str) -> str:
    """What the page may load: itself. Only the loader and the library it unpacks may run.

    Styles are allowed inside the page because the drawing library writes its own; nothing they could fetch is.
    """
    return (
        f"default-src 'none'; script-src 'sha256-{fingerprint(loader)}' 'sha256-{library_hash}'; "
        "style-src 'unsafe-inline'; img-src data: blob:; base-uri 'none'; form-action 'none'"
    )


def fingerprint(text: str) -> str:
    """The SHA-256 of a script as a content policy writes it."""
    return base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()


@cache
def packed_library() -> tuple[str, str]:
    """The drawing library, gzipped without a time and in base64, and the SHA-256 of what unpacks from it."""
    # The part of plotly.js that draws points, lines and bars: a third of the whole, and all the page needs.
    script = files("reports").joinpath("drawing_library", "plotly-basic.min.js").read_bytes()
    digest = base64.b64encode(hashlib.sha256(script).digest()).decode()
    return base64.b64encode(gzip.compress(script, 9, mtime=0)).decode(), digest


def asset(name: str) -> str:
    """A text file that belongs to the page."""
    return files("reports").joinpath("templates", name).read_text(encoding="utf-8")


@cache
def environment() -> Environment:
    """The template engine: everything escaped, nothing undefined."""
    made = Environment(
        loader=PackageLoader("reports"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["drawing_json"] = _drawing_json
    made.filters["static_drawing"] = _static_drawing
    made.filters["how_counted"] = how_counted
    return made


def _static_drawing(plot: Plot, among_others: bool) -> Markup:
    """A drawing as SVG for a reader without scripts; narrow where it stands among others."""
    return static_svg(plot.drawing, plot.height, width=PANEL if among_others else WIDE)


def _drawing_json(plot: Plot) -> Markup:
    """A drawing as JSON that cannot end the script element it stands in."""
    return _json(plot.drawing)


def _json(value: object) -> Markup:
    """Compact JSON without the characters that HTML reads."""
    text = json.dumps(value, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
    for character in "<>&\u2028\u2029":
        text = text.replace(character, f"\\u{ord(character):04x}")
    return Markup(text)


def css_text(text: str) -> str:
    """Text fit for a string in a style sheet."""
    return "".join(letter for letter in text if letter.isalnum() or letter in " :;,.-")
