"""The parts of a workbook that are the same whatever its cells hold, and the file they are packed into.

References: ECMA-376, Office Open XML File Formats, part 1: SpreadsheetML; part 2: Open Packaging Conventions.
"""

import io
import zipfile
from collections.abc import Mapping, Sequence
from xml.sax.saxutils import escape, quoteattr

PLAIN, HEADING, DAY, PERCENT, LINK, WRAPPED, TITLE = range(7)
_HEAD = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_LINKED = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006"
_SHEET_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml"
_STYLES = (
    f'<styleSheet xmlns="{_MAIN}"><numFmts count="1"><numFmt numFmtId="164" formatCode="yyyy\\-mm\\-dd"/></numFmts>'
    '<fonts count="4"><font><sz val="11"/><name val="Calibri"/></font>'
    '<font><b/><sz val="11"/><name val="Calibri"/></font>'
    '<font><u/><sz val="11"/><color rgb="FF1F4E8C"/><name val="Calibri"/></font>'
    '<font><b/><sz val="14"/><name val="Calibri"/></font></fonts>'
    '<fills count="3"><fill><patternFill patternType="none"/></fill>'
    '<fill><patternFill patternType="gray125"/></fill>'
    '<fill><patternFill patternType="solid"><fgColor rgb="FFEDEAE1"/><bgColor indexed="64"/></patternFill></fill>'
    '</fills><borders count="1"><border><left/><right/><top/><bottom/><diagonal/></border></borders>'
    '<cellStyleXfs count="1"><xf numFmtId="0" fontId="0" fillId="0" borderId="0"/></cellStyleXfs>'
    '<cellXfs count="7"><xf numFmtId="0" fontId="0" fillId="0" borderId="0" xfId="0"/>'
    '<xf numFmtId="0" fontId="1" fillId="2" borderId="0" xfId="0" applyFont="1" applyFill="1"/>'
    '<xf numFmtId="164" fontId="0" fillId="0" borderId="0" xfId="0" applyNumberFormat="1"/>'
    '<xf numFmtId="10" fontId="0" fillId="0" borderId="0" xfId="0" applyNumberFormat="1"/>'
    '<xf numFmtId="0" fontId="2" fillId="0" borderId="0" xfId="0" applyFont="1"/>'
    '<xf numFmtId="0" fontId="0" fillId="0" borderId="0" xfId="0" applyAlignment="1">'
    '<alignment vertical="top" wrapText="1"/></xf>'
    '<xf numFmtId="0" fontId="3" fillId="0" borderId="0" xfId="0" applyFont="1"/></cellXfs>'
    '<cellStyles count="1"><cellStyle name="Normal" xfId="0" builtinId="0"/></cellStyles></styleSheet>'
)


def sheet_xml(rows: str, *, reach: str, filtered: bool, widths: Sequence[int], links: str) -> str:
    """A sheet around its rows; with filters, its headings stay in sight."""
    view = (
        '<pane ySplit="1" topLeftCell="A2" activePane="bottomLeft" state="frozen"/><selection pane="bottomLeft"/>'
        if filtered
        else ""
    )
    columns = "".join(
        f'<col min="{place}" max="{place}" width="{width}" customWidth="1"/>'
        for place, width in enumerate(widths, start=1)
    )
    filters = f'<autoFilter ref="{reach}"/>' if filtered else ""
    return (
        f'{_HEAD}<worksheet xmlns="{_MAIN}"><sheetPr><pageSetUpPr fitToPage="1"/></sheetPr>'
        f'<dimension ref="{reach}"/>'
        f'<sheetViews><sheetView workbookViewId="0">{view}</sheetView></sheetViews>'
        f'<sheetFormatPr defaultRowHeight="15"/>{f"<cols>{columns}</cols>" if columns else ""}'
        f"<sheetData>{rows}</sheetData>{filters}{links}"
        '<pageMargins left="0.5" right="0.5" top="0.6" bottom="0.6" header="0.3" footer="0.3"/>'
        '<pageSetup paperSize="9" orientation="landscape" fitToHeight="0"/>'
        "<headerFooter><oddFooter>&amp;LNot for release&amp;RPage &amp;P of &amp;N</oddFooter></headerFooter>"
        "</worksheet>"
    )


def package_bytes(
    sheets: Sequence[str], ranges: Mapping[str, str], texts: Sequence[str], *, title: str
) -> bytes:
    """The file: sheets, each one's name with the range of its filters, and every text that their cells point to."""
    shared = "".join(f'<si><t xml:space="preserve">{text}</t></si>' for text in texts)
    parts = {
        "[Content_Types].xml": _content_types(len(sheets)),
        "_rels/.rels": _relations(
            [
                (f"{_LINKED}/officeDocument", "xl/workbook.xml"),
                (f"{_PACKAGE}/relationships/metadata/core-properties", "docProps/core.xml"),
            ]
        ),
        "docProps/core.xml": _core(title),
        "xl/workbook.xml": _workbook(ranges),
        "xl/_rels/workbook.xml.rels": _workbook_relations(len(sheets)),
        "xl/styles.xml": _HEAD + _STYLES,
        "xl/sharedStrings.xml": f'{_HEAD}<sst xmlns="{_MAIN}" uniqueCount="{len(texts)}">{shared}</sst>',
        **{f"xl/worksheets/sheet{number}.xml": text for number, text in enumerate(sheets, start=1)},
    }
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as package:
        for name, text in parts.items():
            entry = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))
            # Else the system that wrote it would show in the bytes.
            entry.create_system, entry.external_attr = 3, 0o600 << 16
            package.writestr(entry, text.encode(), zipfile.ZIP_DEFLATED, compresslevel=4)
    return out.getvalue()


def _workbook(ranges: Mapping[str, str]) -> str:
    """The list of sheets, and of those with filters the range."""
    listed = "".join(
        f'<sheet name={quoteattr(name)} sheetId="{number}" r:id="rId{number}"/>'
        for number, name in enumerate(ranges, start=1)
    )
    filtered = "".join(
        f'<definedName name="_xlnm._FilterDatabase" localSheetId="{place}" hidden="1">'
        f"{escape(quoted(name))}!{reach}</definedName>"
        for place, (name, reach) in enumerate(ranges.items())
        if reach
    )
    return (
        f'{_HEAD}<workbook xmlns="{_MAIN}" xmlns:r="{_LINKED}"><bookViews><workbookView/></bookViews>'
        f"<sheets>{listed}</sheets>{f'<definedNames>{filtered}</definedNames>' if filtered else ''}</workbook>"
    )


def quoted(name: str) -> str:
    """The name of a sheet as a reference writes it.

    Examples
    --------
    >>> quoted("Mary's")
    "'Mary''s'"
    """
    doubled = name.replace("'", "''")
    return f"'{doubled}'"


def _workbook_relations(sheets: int) -> str:
    """Where the parts of the workbook lie."""
    places = [("worksheet", f"worksheets/sheet{number}.xml") for number in range(1, sheets + 1)]
    places += [("styles", "styles.xml"), ("sharedStrings", "sharedStrings.xml")]
    return _relations([(f"{_LINKED}/{kind}", place) for kind, place in places])


def _relations(places: Sequence[tuple[str, str]]) -> str:
    """Relations, numbered."""
    items = "".join(
        f'<Relationship Id="rId{number}" Type="{kind}" Target="{place}"/>'
        for number, (kind, place) in enumerate(places, start=1)
    )
    return f'{_HEAD}<Relationships xmlns="{_PACKAGE}/relationships">{items}</Relationships>'


def _content_types(sheets: int) -> str:
    """What kind of part each file is."""
    kinds = {
        "/xl/workbook.xml": f"{_SHEET_TYPE}.sheet.main+xml",
        "/xl/styles.xml": f"{_SHEET_TYPE}.styles+xml",
        "/xl/sharedStrings.xml": f"{_SHEET_TYPE}.sharedStrings+xml",
        "/docProps/core.xml": "application/vnd.openxmlformats-package.core-properties+xml",
        **{f"/xl/worksheets/sheet{n}.xml": f"{_SHEET_TYPE}.worksheet+xml" for n in range(1, sheets + 1)},
    }
    items = "".join(f'<Override PartName="{name}" ContentType="{kind}"/>' for name, kind in kinds.items())
    relations = "application/vnd.openxmlformats-package.relationships+xml"
    return (
        f'{_HEAD}<Types xmlns="{_PACKAGE}/content-types"><Default Extension="rels" ContentType="{relations}"/>'
        f'<Default Extension="xml" ContentType="application/xml"/>{items}</Types>'
    )


def _core(title: str) -> str:
    """Title and maker; no time, which would differ with every run."""
    return (
        f'{_HEAD}<cp:coreProperties xmlns:cp="{_PACKAGE}/metadata/core-properties" '
        'xmlns:dc="http://purl.org/dc/elements/1.1/">'
        f"<dc:title>{title}</dc:title><dc:creator>iud-clinic-audit</dc:creator></cp:coreProperties>"
    )
