"""A workbook's archive, opened with care: its directory checked first, its bytes counted while they inflate."""

import io
import posixpath
import zipfile
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from xml.etree import ElementTree

from audit.errors import UnreadableFile

MAGIC = b"PK\x03\x04"
MAX_MEMBERS = 2_000
MAX_BYTES = 200 << 20
MAX_RATIO = 100
# Small parts compress well without meaning harm, so the ratio counts only beyond this size.
_FREE_BYTES = 10 << 20
# Parts that are parsed as a whole take many times their size in memory.
_MAX_SMALL_PART = 20 << 20
_ENTRY = b"PK\x01\x02"
_CHUNK = 1 << 16
_BROKEN = (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, OSError, ValueError)
_MACROS = ("macroEnabled", "vbaProject", "sheet.binary")
DOCUMENT = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
SHEET = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"


@dataclass(frozen=True)
class Workbook:
    """The parts of a workbook that a log can stand in: its visible sheets, by name, with their member.

    `hidden` are the names of hidden sheets, kept only to say so when the settings name one.
    """

    name: str
    archive: zipfile.ZipFile = field(repr=False)
    sheets: Mapping[str, str]
    hidden: frozenset[str] = field(repr=False)
    parts: Mapping[str, str] = field(repr=False)
    from_1904: bool = False


def open_workbook(octets: bytes, *, where: str) -> Workbook:
    """The sheets of a workbook, none of them read yet.

    Parameters
    ----------
    octets
        The bytes of the file.
    where
        Name of the file, for messages.

    Returns
    -------
    Workbook

    Raises
    ------
    UnreadableFile
        The archive is damaged, encrypted, no workbook, holds macros, has over 2,000 members, or expands
        beyond 200 MB or a hundredfold.
    """
    # Counted in the bytes, since to read a directory of millions of entries takes long.
    _refuse_many(octets.count(_ENTRY), where)
    try:
        archive = zipfile.ZipFile(io.BytesIO(octets))
    except _BROKEN:
        raise UnreadableFile(
            f"{where}: opens as a workbook but cannot be read. Save it again as .xlsx."
        ) from None
    _refuse_bomb(archive, len(octets), where)
    _refuse_other_kinds(archive, where)
    book = small_part(archive, "xl/workbook.xml", where)
    if not book.tag.startswith(f"{{{SHEET}}}"):
        raise UnreadableFile(f"{where}: is saved as Strict Open XML. Save it as an ordinary .xlsx workbook.")
    links = _links(archive, where)
    sheets = [
        (sheet.get("name", ""), links.get(sheet.get(f"{{{DOCUMENT}}}id", ""), ("", "")), sheet.get("state"))
        for sheet in book.iter(f"{{{SHEET}}}sheet")
    ]
    tables = [(name, member, state) for name, (kind, member), state in sheets if kind == "worksheet"]
    properties = book.find(f"{{{SHEET}}}workbookPr")
    return Workbook(
        name=where,
        archive=archive,
        sheets={name: member for name, member, state in tables if state in (None, "visible")},
        hidden=frozenset(name for name, _, state in tables if state not in (None, "visible")),
        parts={kind: member for kind, member in links.values() if kind in ("sharedStrings", "styles")},
        from_1904=properties is not None and properties.get("date1904", "0") in ("1", "true"),
    )


def _refuse_bomb(archive: zipfile.ZipFile, size: int, where: str) -> None:
    """Refuse an archive whose directory says that it is too large."""
    members = archive.infolist()
    _refuse_many(len(members), where)
    _refuse_size(sum(member.file_size for member in members), size, where)
    if any(member.flag_bits & 1 for member in members):
        raise UnreadableFile(f"{where}: is encrypted. Save it without a password and run again.")


def _refuse_many(members: int, where: str) -> None:
    """Refuse an archive of too many parts."""
    if members > MAX_MEMBERS:
        raise UnreadableFile(
            f"{where}: holds {members:,} parts; the limit is {MAX_MEMBERS:,}. Copy the log alone into a new "
            "workbook."
        )


def _refuse_size(inflated: int, deflated: int, where: str) -> None:
    """Refuse what expands beyond the limits."""
    if inflated > MAX_BYTES:
        raise UnreadableFile(
            f"{where}: expands beyond {MAX_BYTES >> 20} MB. Copy the log alone into a new workbook."
        )
    if inflated > max(_FREE_BYTES, MAX_RATIO * deflated):
        raise UnreadableFile(
            f"{where}: expands more than {MAX_RATIO}-fold, as no log does. Copy the log alone into a new "
            "workbook."
        )


def _refuse_other_kinds(archive: zipfile.ZipFile, where: str) -> None:
    """Refuse archives that are no plain workbook."""
    names = set(archive.namelist())
    types = inflated(archive, "[Content_Types].xml", where) if "[Content_Types].xml" in names else b""
    if any(word.encode() in types for word in _MACROS) or any("vbaProject" in name for name in names):
        raise UnreadableFile(f"{where}: is a macro-enabled or binary workbook. Save it as .xlsx.")
    if "xl/workbook.xml" not in names or not types:
        raise UnreadableFile(
            f"{where}: is an archive and no .xlsx workbook. Save the sheet as .xlsx or 'CSV UTF-8'."
        )


def inflated(archive: zipfile.ZipFile, member: str, where: str, *, at_most: int = MAX_BYTES) -> bytes:
    """The bytes of a part, counted while they are inflated.

    Parameters
    ----------
    archive
        Of `open_workbook`.
    member
        Name of the part.
    where
        Name of the file, for messages.
    at_most
        Stop after about this many bytes.

    Returns
    -------
    bytes

    Raises
    ------
    UnreadableFile
        The part is missing or damaged, expands beyond the limits whatever the directory says, or declares
        a document type, through which a few bytes of XML can grow without end.
    """
    chunks, total = [], 0
    try:
        info = archive.getinfo(member)
        with archive.open(info) as part:
            while total < at_most and (chunk := part.read(_CHUNK)):
                total += len(chunk)
                _refuse_size(total, info.compress_size, where)
                chunks.append(chunk)
    except (KeyError, *_BROKEN):
        raise UnreadableFile(f"{where}: a part of the workbook is damaged. Save it again as .xlsx.") from None
    content = b"".join(chunks)
    if b"<!DOCTYPE" in content or b"\0" in content[:_CHUNK]:
        raise UnreadableFile(
            f"{where}: is put together as no spreadsheet program does it. Save it again as .xlsx."
        )
    return content


def small_part(archive: zipfile.ZipFile, member: str, where: str) -> ElementTree.Element:
    """A small part, parsed as a whole.

    Parameters
    ----------
    archive, member, where
        As for `inflated`.

    Returns
    -------
    xml.etree.ElementTree.Element

    Raises
    ------
    UnreadableFile
        The part is larger than 20 MB, or is no XML; and as `inflated`.
    """
    content = inflated(archive, member, where)
    if len(content) > _MAX_SMALL_PART:
        raise UnreadableFile(
            f"{where}: has too many formats or sheets. Copy the log alone into a new workbook."
        )
    try:
        return ElementTree.fromstring(content)
    except ElementTree.ParseError:
        raise UnreadableFile(f"{where}: a part of the workbook is damaged. Save it again as .xlsx.") from None


def _links(archive: zipfile.ZipFile, where: str) -> dict[str, tuple[str, str]]:
    """The parts that the workbook points to: id -> kind and member."""
    return {
        link.get("Id", ""): (
            posixpath.basename(link.get("Type", "")),
            posixpath.normpath(posixpath.join("/xl", link.get("Target", ""))).lstrip("/"),
        )
        for link in small_part(archive, "xl/_rels/workbook.xml.rels", where)
        if link.get("TargetMode") != "External"
    }
