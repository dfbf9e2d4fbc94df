"""Bytes to text: what is told, what is assumed and what is refused."""

import codecs

import pytest

from audit.errors import UnreadableFile
from audit.ingest.decode import decoded

LOG = "visit_date,site_ref\n2026-07-01,Caf\u00e9\n"


@pytest.mark.parametrize(
    ("octets", "encoding"),
    [
        (LOG.encode(), "utf-8"),
        (codecs.BOM_UTF8 + LOG.encode(), "utf-8-sig"),
        (codecs.BOM_UTF16_LE + LOG.encode("utf-16-le"), "utf-16"),
        (codecs.BOM_UTF16_BE + LOG.encode("utf-16-be"), "utf-16"),
        (LOG.encode("cp1252"), "windows-1252"),
        (LOG.replace("\n", "\r\n").encode(), "utf-8"),
        (LOG.replace("\n", "\r").encode(), "utf-8"),
    ],
)
def test_the_same_text_comes_out_whatever_the_encoding_and_the_line_ends(
    octets: bytes, encoding: str
) -> None:
    text = decoded(octets, where="v.csv")
    assert text.content.decode() == LOG
    assert text.encoding == encoding
    assert text.bad_lines == {}


def test_a_file_that_opens_with_many_blank_lines_is_not_empty() -> None:
    assert decoded(b"\n" * 5000 + LOG.encode(), where="v.csv").content.decode().endswith(LOG)


def test_one_bad_byte_among_valid_lines_spoils_its_own_line_only() -> None:
    octets = LOG.encode() + b"2026-07-02,Caf\xe9\n2026-07-03,x\n"
    assert decoded(octets, where="v.csv").bad_lines == {3: "undecodable_bytes"}


def test_a_nul_spoils_its_line() -> None:
    octets = LOG.encode() + b"2026-07-02,x\0y\n" + b"2026-07-03,z\n" * 20
    assert decoded(octets, where="v.csv").bad_lines == {3: "nul_byte"}


@pytest.mark.parametrize(
    ("octets", "sentence"),
    [
        (b"", "v.csv: is empty. Export the log again, with its line of headings."),
        (b"\r\n \n", "v.csv: is empty."),
        (LOG.encode("utf-16-be"), "v.csv: looks like UTF-16 text without the mark that says so. Save it as"),
        (
            LOG.encode("cp037"),
            "v.csv: is text in an encoding that is neither UTF-8 nor Windows-1252. Save it",
        ),
        (
            b"\x89PNG\r\n\x1a\n" + bytes(range(128, 256)),
            "v.csv: is text in an encoding that is neither UTF-8 nor Windows-1252. Save it",
        ),
        (
            b"visit_date,\xa4\xa6\xac\xb6\n",
            "v.csv: is text in an encoding that is neither UTF-8 nor Windows-1252. Save it",
        ),
        (
            b"visit_date,caf\xe9\x01\n",
            "v.csv: is text in an encoding that is neither UTF-8 nor Windows-1252. Save it",
        ),
        (
            b"\xe0\xe1\xe2,\xe3\xe4\n" * 9,
            "v.csv: is text in an encoding that is neither UTF-8 nor Windows-1252. Save it",
        ),
        (b"PK\x03\x04rest", "v.csv: is a workbook or an archive. Save the sheet as 'CSV UTF-8'"),
        (b"\xd0\xcf\x11\xe0rest", "v.csv: is an old or password-protected workbook."),
        (codecs.BOM_UTF16_LE + b"\x00", "v.csv: says that it is UTF-16 text, and is not."),
    ],
)
def test_what_is_not_a_text_in_a_known_encoding_is_refused(octets: bytes, sentence: str) -> None:
    with pytest.raises(UnreadableFile) as refusal:
        decoded(octets, where="v.csv")
    assert str(refusal.value).startswith(sentence)
