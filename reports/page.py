"""Sections into one self-contained HTML file: style, drawings and the drawing library inside it."""

import base64
import gzip
import hashlib
import json
import string
from collections.abc import Mapping, Sequence
from functools import cache
from importlib.resources import files
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from audit.records import AuditResults
from reports.figures.static import static_svg
from reports.figures.theme import DARK, Plot, axis, drawing, label
from reports.sections.page_one import PageOne
from reports.sections.section import Section

# Widths of a drawing in pixels, alone and among others.
_WIDE, _PANEL = 640, 240


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
            edition=edition,
            style=Markup(style.replace("EDITION_LINE", css_text(edition))),
            loader=Markup(loader),
            policy=content_policy(loader, library_hash),
            packed=Markup(packed),
            dark=_json(DARK),
            look=_json(_LOOK),
        )
    )


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
    """The drawing library, gzipped without a time and as text, and the SHA-256 of what unpacks from it."""
    # Found without importing plotly, which takes longer than rendering the whole page.
    spec = find_spec("plotly")
    if spec is None or not spec.submodule_search_locations:
        raise ModuleNotFoundError("plotly is not installed: its drawing library goes into the page")
    script = (Path(spec.submodule_search_locations[0]) / "package_data" / "plotly.min.js").read_bytes()
    digest = base64.b64encode(hashlib.sha256(script).digest()).decode()
    return as_text(gzip.compress(script, 9, mtime=0)), digest


def as_text(octets: bytes) -> str:
    """Octets as text that may stand in a script element: five characters for four octets.

    Base64 takes six for them, which for a drawing library is more than everything else that a page holds. The
    number of octets stands first, as the last group is filled up; the three characters that HTML reads are others.

    Parameters
    ----------
    octets
        Any.

    Returns
    -------
    str
        The number of octets, a space, and the groups.

    References
    ----------
    Elz R. A compact representation of IPv6 addresses. RFC 1924, 1996: the order of the 85 characters.

    Examples
    --------
    >>> as_text(bytes(4)), as_text(b"\\xff" * 3)
    ('4 00000', '3 |Ns90')
    """
    groups = np.frombuffer(octets + bytes(-len(octets) % 4), dtype=">u4").astype("int64")
    places = groups[:, None] // 85 ** np.arange(4, -1, -1) % 85
    # Many times faster than the standard library, which goes letter by letter.
    return f"{len(octets)} {_LETTERS[places].tobytes().decode()}"


def asset(name: str) -> str:
    """A text file that belongs to the page."""
    return files("reports").joinpath("templates", name).read_text(encoding="utf-8")


# In the order of RFC 1924, with . , : for the three that HTML reads.
_LETTERS = np.frombuffer(
    f"{string.digits}{string.ascii_uppercase}{string.ascii_lowercase}!#$%:()*+-;.=,?@^_`{{|}}~".encode(),
    dtype="uint8",
)
# What drawings share is written once and filled in by the page: it was half of what a small drawing weighed.
_LOOK: dict[str, dict[str, Any]] = {
    "layout": drawing([])["layout"],
    "axis": axis(),
    "label": {name: part for name, part in label("", 0, 0).items() if name not in ("text", "x", "y")},
}


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
    return made


def _static_drawing(plot: Plot, among_others: bool) -> Markup:
    """A drawing as SVG for a reader without scripts; narrow where it stands among others."""
    return static_svg(plot.drawing, plot.height, width=_PANEL if among_others else _WIDE)


def _drawing_json(plot: Plot) -> Markup:
    """A drawing as JSON that cannot end the script element it stands in, less the look that all share."""
    layout = without_look(plot.drawing["layout"], _LOOK["layout"])
    for name in ("xaxis", "yaxis"):
        if name in layout:
            layout[name] = without_look(layout[name], _LOOK["axis"])
    if "annotations" in layout:
        layout["annotations"] = [without_look(item, _LOOK["label"]) for item in layout["annotations"]]
    return _json({**plot.drawing, "layout": layout})


def without_look(own: Mapping[str, Any], look: Mapping[str, Any]) -> dict[str, Any]:
    """A part of a drawing less what it shares with the common look, which the page fills in again.

    Parameters
    ----------
    own
        The part.
    look
        What the page fills in. A key of it that the part lacks is named as None, so that it is not filled in.

    Returns
    -------
    dict
        A new dict; nested dicts likewise.

    Examples
    --------
    >>> without_look({"a": 1, "font": {"size": 12, "in": "x"}}, {"a": 1, "font": {"size": 13, "in": "x"}, "b": 2})
    {'font': {'size': 12}, 'b': None}
    """
    kept = {}
    for name, value in own.items():
        common = look.get(name)
        if isinstance(value, dict) and isinstance(common, dict) and value != common:
            kept[name] = without_look(value, common)
        elif name not in look or value != common:
            kept[name] = value
    return {**kept, **{name: None for name in look if name not in own}}


def _json(value: object) -> Markup:
    """Compact JSON without the characters that HTML reads."""
    text = json.dumps(value, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
    for character in "<>&\u2028\u2029":
        text = text.replace(character, f"\\u{ord(character):04x}")
    return Markup(text)


def css_text(text: str) -> str:
    """Text fit for a string in a style sheet."""
    return "".join(letter for letter in text if letter.isalnum() or letter in " :,.-")
