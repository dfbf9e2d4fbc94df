"""A copy of a workbook with the cells of some sheets and nothing else of the file, safe to parse.

A parser of workbooks reads what nobody asked for: properties, names, comments, rules, the sizes of hidden
sheets. So it gets an archive of our own making, with the cells, the shared texts and the number formats.
"""

import io
import re
import zipfile
from collections.abc import Mapping
from itertools import pairwise
from xml.etree import ElementTree
from xml.sax.saxutils import quoteattr

from audit.errors import UnreadableFile
from audit.ingest.excel_package import DOCUMENT, SHEET, Workbook, inflated, small_part

# A sheet cannot have more rows, nor can a log have more distinct texts that a person wrote.
MAX_ROWS = 1 << 20
_MAX_TEXTS = 2 << 20
_MAX_STRETCH = 1 << 20
_PACKAGE = "http://schemas.openxmlformats.org/package/2006"
_MADE_OF = "application/vnd.openxmlformats-officedocument.spreadsheetml"
_KINDS = {"workbook": "sheet.main", "styles": "styles", "sharedStrings": "sharedStrings"}
_FORMULA = re.compile(rb"<((?:\w+:)?f)\b[^>]*?(?:/>|>[^<]*</(?:\w+:)?f\s*>)")


def sheet_cells(book: Workbook, sheet: str, *, at_most: int | None = None) -> bytes:
    """The XML of a sheet with its cells alone: no comments, links, filters, rules or protection.

    Parameters
    ----------
    book
        From `open_workbook`.
    sheet
        Name of a visible sheet.
    at_most
        Stop after the row within which about so many bytes are full; None takes the whole sheet.

    Returns
    -------
    bytes

    Raises
    ------
    UnreadableFile
        The sheet is damaged, expands beyond the limits, or has over 1,048,576 rows or a row over 1 MB.
    """
    member = book.sheets[sheet]
    if at_most is None:
        content = inflated(book.archive, member, book.name)
    else:
        content = inflated(book.archive, member, book.name, at_most=at_most)
    root = re.search(rb"<((?:\w+:)?)worksheet\b[^>]*>", content)
    start = content.find(b"<" + root[1] + b"sheetData", root.end()) if root else -1
    if root is None or start == -1:
        raise UnreadableFile(f"{book.name}: a sheet is damaged. Save the workbook again.")
    # What stands before the cells is left out: the size that a sheet states is often wrong, and rows beyond it
    # would be lost.
    prefix = root[1]
    end = content.rfind(b"</" + prefix + b"row>") + len(prefix) + 6
    body = content[start:end] if end > start else b"<" + prefix + b"sheetData>"
    _refuse_uneven(body, b"<" + prefix + b"row", MAX_ROWS, book.name)
    _refuse_disorder(body, b"<" + prefix + b"row", book.name)
    return root[0] + body + b"</" + prefix + b"sheetData></" + prefix + b"worksheet>"


def has_formulas(cells: bytes) -> bool:
    """Whether any cell of a sheet holds a formula.

    Parameters
    ----------
    cells
        From `sheet_cells`.

    Returns
    -------
    bool

    Examples
    --------
    >>> has_formulas(b'<c r="A1"><f>B1+1</f><v>2</v></c>')
    True
    """
    return _FORMULA.search(cells) is not None


def without_formula_text(cells: bytes) -> bytes:
    """The sheet with every formula emptied, so that none is ever interpreted.

    Parameters
    ----------
    cells
        From `sheet_cells`.

    Returns
    -------
    bytes

    Examples
    --------
    >>> without_formula_text(b'<c r="A1"><f>B1+1</f><v>2</v></c>')
    b'<c r="A1"><f/><v>2</v></c>'
    """
    return _FORMULA.sub(rb"<\1/>", cells)


def copied(book: Workbook, sheets: Mapping[str, bytes]) -> bytes:
    """A workbook with these sheets, the shared texts and the number formats of another.

    Parameters
    ----------
    book
        From `open_workbook`.
    sheets
        Name and cells of each sheet, from `sheet_cells`.

    Returns
    -------
    bytes
        An archive without compression.

    Raises
    ------
    UnreadableFile
        The shared texts or the formats are damaged or expand beyond the limits.
    """
    parts = {"styles": _formats(book)}
    if "sharedStrings" in book.parts:
        texts = inflated(book.archive, book.parts["sharedStrings"], book.name)
        root = re.search(rb"<((?:\w+:)?)sst\b", texts)
        _refuse_uneven(texts, b"<" + (root[1] if root else b"") + b"si", _MAX_TEXTS, book.name)
        parts["sharedStrings"] = texts
    files = {f"sheet{number}": cells for number, cells in enumerate(sheets.values(), start=1)}
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("[Content_Types].xml", _content_types(["workbook", *parts], list(files)))
        archive.writestr("xl/workbook.xml", _workbook_xml(list(sheets), book.from_1904))
        archive.writestr("xl/_rels/workbook.xml.rels", _links_xml(list(files)))
        for name, content in (*parts.items(), *files.items()):
            archive.writestr(f"xl/{name}.xml", content)
    return out.getvalue()


def _refuse_uneven(content: bytes, tag: bytes, limit: int, where: str) -> None:
    """Refuse a part with more elements than a sheet can have, or with one that goes on and on."""
    if content.count(tag) > limit:
        raise UnreadableFile(
            f"{where}: has more than {limit:,} rows or texts. Is this one clinic's log? If it is, export fewer "
            "years of it."
        )
    for start in range(0, len(content) - _MAX_STRETCH, _MAX_STRETCH):
        if content.find(tag, start, start + _MAX_STRETCH + len(tag)) == -1:
            raise UnreadableFile(
                f"{where}: has a row or a text of more than {_MAX_STRETCH:,} bytes. "
                "Copy the log alone into a new workbook, with one visit per row."
            )


def _refuse_disorder(body: bytes, tag: bytes, where: str) -> None:
    """Refuse a sheet whose rows do not follow each other: the parser would drop some without a word."""
    rows = re.findall(tag + rb"\b([^>]*)>", body)
    numbers = [int(found[1]) for row in rows if (found := re.search(rb"\br=[\"']([0-9]{1,9})[\"']", row))]
    rising = all(first < second for first, second in pairwise(numbers))
    if not rising or len(numbers) not in (0, len(rows)):
        raise UnreadableFile(f"{where}: the rows of the sheet are not in order. Save the workbook again.")


def _formats(book: Workbook) -> bytes:
    """The number formats alone: they tell a date from a number."""
    root = ElementTree.Element(f"{{{SHEET}}}styleSheet")
    formats, kinds = (ElementTree.SubElement(root, f"{{{SHEET}}}{name}") for name in ("numFmts", "cellXfs"))
    if "styles" in book.parts:
        found = small_part(book.archive, book.parts["styles"], book.name)
        for item in found.iterfind(f"{{{SHEET}}}numFmts/{{{SHEET}}}numFmt"):
            ElementTree.SubElement(formats, item.tag, dict(item.attrib))
        for item in found.iterfind(f"{{{SHEET}}}cellXfs/{{{SHEET}}}xf"):
            ElementTree.SubElement(kinds, item.tag, {"numFmtId": item.get("numFmtId", "0")})
    return ElementTree.tostring(root)


def _content_types(parts: list[str], files: list[str]) -> str:
    """What kind of part each member is."""
    kinds = {name: _KINDS[name] for name in parts} | dict.fromkeys(files, "worksheet")
    overrides = "".join(
        f'<Override PartName="/xl/{name}.xml" ContentType="{_MADE_OF}.{kind}+xml"/>'
        for name, kind in kinds.items()
    )
    return f'<Types xmlns="{_PACKAGE}/content-types">{overrides}</Types>'


def _workbook_xml(names: list[str], from_1904: bool) -> str:
    """The list of the sheets."""
    sheets = "".join(
        f'<sheet name={quoteattr(name)} sheetId="{number}" r:id="sheet{number}"/>'
        for number, name in enumerate(names, start=1)
    )
    return (
        f'<workbook xmlns="{SHEET}" xmlns:r="{DOCUMENT}"><workbookPr date1904="{int(from_1904)}"/>'
        f"<sheets>{sheets}</sheets></workbook>"
    )


def _links_xml(files: list[str]) -> str:
    """Where each sheet lies."""
    links = "".join(
        f'<Relationship Id="{name}" Type="{DOCUMENT}/worksheet" Target="/xl/{name}.xml"/>' for name in files
    )
    return f'<Relationships xmlns="{_PACKAGE}/relationships">{links}</Relationships>'
