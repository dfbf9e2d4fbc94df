"""Bytes in, UTF-8 text with ``\\n`` line ends out; what cannot be decoded is named by its line."""

import codecs
from collections.abc import Mapping
from dataclasses import dataclass, field

from audit.errors import UnreadableFile

_SIGNATURES = {
    b"PK\x03\x04": "is a workbook or an archive",
    b"\xd0\xcf\x11\xe0": "is an old or password-protected workbook",
    b"\x1f\x8b": "is compressed",
    b"%PDF": "is a PDF",
}
_PUNCTUATION = "‘’‚“”„–—…•€£¥°±²³´·¹º»¼½¾¿ª«¡§©®™µ×÷\u00a0"
_SAMPLE = 4096


@dataclass(frozen=True)
class Decoded:
    """Text as UTF-8 bytes, the encoding it came in, and the lines that could not be decoded."""

    content: bytes = field(repr=False)
    encoding: str
    bad_lines: Mapping[int, str] = field(default_factory=dict)


def decoded(octets: bytes, *, where: str) -> Decoded:
    """The text of a file as UTF-8 with ``\\n`` line ends.

    A byte-order mark decides; else the text must be UTF-8. A file in which some lines are valid UTF-8 beyond
    ASCII and others are not keeps the good lines and names the bad ones. A file in which no such line is
    valid is read as Windows-1252 if that gives nothing but letters and usual signs.

    Parameters
    ----------
    octets
        The bytes of the file.
    where
        Name of the file, for messages.

    Returns
    -------
    Decoded

    Raises
    ------
    UnreadableFile
        The file is empty, is not text, or its encoding cannot be told.

    Examples
    --------
    >>> decoded(b"\\xef\\xbb\\xbfvisit_date\\r\\n", where="visits.csv")
    Decoded(encoding='utf-8-sig', bad_lines={})
    """
    _refuse_what_is_not_text(octets, where)
    if octets.startswith(codecs.BOM_UTF8):
        return _utf8(octets[3:], "utf-8-sig", where)
    if octets.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return _utf16(octets, where)
    sample = octets[:_SAMPLE]
    if sample.count(0) > len(sample) / 10:
        raise UnreadableFile(
            f"{where}: looks like UTF-16 text without the mark that says so. Save it as 'CSV UTF-8' and run again."
        )
    return _utf8(octets, "utf-8", where)


def _refuse_what_is_not_text(octets: bytes, where: str) -> None:
    """Refuse an empty file and the forms we know but do not read."""
    blank = b" \t\r\n" + codecs.BOM_UTF8
    # The start first: to strip the whole would copy a large file.
    if not octets[:_SAMPLE].strip(blank) and not octets.strip(blank):
        raise UnreadableFile(f"{where}: is empty. Export the log again, with its line of headings.")
    for signature, words in _SIGNATURES.items():
        if octets.startswith(signature):
            raise UnreadableFile(f"{where}: {words}. Save the sheet as 'CSV UTF-8' and run again.")


def _one_line_end(content: bytes) -> bytes:
    """The same text with every line ended by a line feed."""
    if b"\r" not in content:
        return content
    return content.replace(b"\r\n", b"\n").replace(b"\r", b"\n")


def _utf16(octets: bytes, where: str) -> Decoded:
    """A file that opens with a UTF-16 byte-order mark."""
    try:
        text = octets.decode("utf-16")
    except UnicodeDecodeError:
        raise UnreadableFile(
            f"{where}: says that it is UTF-16 text, and is not. Save it as 'CSV UTF-8' and run again."
        ) from None
    content = _one_line_end(text.encode("utf-8"))
    return Decoded(content, "utf-16", _nul_lines(content))


def _utf8(octets: bytes, encoding: str, where: str) -> Decoded:
    """A file that should be UTF-8: whole, but for some lines, or else Windows-1252."""
    content = _one_line_end(octets)
    try:
        # Plain ASCII needs no copy of the whole to prove it.
        content.isascii() or content.decode("utf-8")
    except UnicodeDecodeError:
        return _not_quite_utf8(content, encoding, where)
    return Decoded(content, encoding, _nul_lines(content))


def _not_quite_utf8(content: bytes, encoding: str, where: str) -> Decoded:
    """Good lines kept when some line beyond ASCII is valid UTF-8; otherwise one older encoding is tried."""
    beyond_ascii = {
        number: line for number, line in enumerate(content.split(b"\n"), start=1) if not line.isascii()
    }
    bad = {number: "undecodable_bytes" for number, line in beyond_ascii.items() if not _is_utf8(line)}
    if len(bad) < len(beyond_ascii) or encoding == "utf-8-sig":
        return Decoded(content, encoding, {**_nul_lines(content), **bad})
    text = _windows_text(content)
    if text is None:
        raise UnreadableFile(
            f"{where}: is text in an encoding that is neither UTF-8 nor Windows-1252. Save it as 'CSV UTF-8' and "
            "run again."
        )
    return Decoded(text.encode("utf-8"), "windows-1252", _nul_lines(content))


def _is_utf8(line: bytes) -> bool:
    """Whether the line is valid UTF-8."""
    try:
        line.decode("utf-8")
    except UnicodeDecodeError:
        return False
    return True


def _windows_text(content: bytes) -> str | None:
    """The text as Windows-1252, if that is plausible."""
    try:
        text = content.decode("cp1252")
    except UnicodeDecodeError:
        return None
    # Any bytes "decode" as Windows-1252, so only text that people write counts: few characters beyond
    # ASCII, each a letter or a usual sign, and no control characters.
    beyond = [character for character in text if not character.isascii()]
    controls = any(ord(character) < 32 and character not in "\t\n" for character in text)
    usual = all(character.isalpha() or character in _PUNCTUATION for character in set(beyond))
    return text if usual and not controls and len(beyond) <= len(text) / 5 else None


def _nul_lines(content: bytes) -> dict[int, str]:
    """The lines that hold a NUL, which would cut a cell short."""
    if b"\0" not in content:
        return {}
    lines = enumerate(content.split(b"\n"), start=1)
    return {number: "nul_byte" for number, line in lines if b"\0" in line}
