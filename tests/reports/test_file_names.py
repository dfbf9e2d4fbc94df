"""Codes as names of files: safe on every system, one for each code, and always the same."""

import os
import re
import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reports.file_names import file_stem, printable

# Documented by Microsoft, "Naming Files, Paths, and Namespaces"; the digits in superscript are reserved too.
DEVICES = [
    *("CON", "PRN", "AUX", "NUL"),
    *(f"{port}{number}" for port in ("COM", "LPT") for number in "0123456789¹²³"),
]
codes = st.one_of(
    st.text(max_size=60),
    st.text("Aa-_.0 /\\", max_size=6),
    st.sampled_from([*DEVICES, *map(str.lower, DEVICES)]),
    st.sampled_from(["..", ".", "/", "C:\\x", "a/../b", "INDEX", "", " ", "x "]),
)


@given(codes)
def test_a_name_holds_nothing_that_a_system_reads_as_more_than_a_name(code: str) -> None:
    stem = file_stem(code)
    assert re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9_-]{0,57}", stem)
    assert stem.upper() not in {*DEVICES, "INDEX"}
    assert os.path.basename(stem) == stem


@given(st.lists(codes, unique=True, max_size=12))
def test_no_two_codes_share_a_name_where_case_does_not_count(found: list[str]) -> None:
    assert len({file_stem(code).casefold() for code in found}) == len(found)


@given(codes)
def test_the_name_of_one_code_is_not_the_name_of_another_that_looks_like_it(code: str) -> None:
    # A code that was chosen to look like the name made for this one.
    for alike in (file_stem(code).upper(), file_stem(code)):
        if alike != code:
            assert file_stem(alike).casefold() != file_stem(code).casefold()


@pytest.mark.parametrize("code", ["C07", "R662SPOYOPHSFWOW", "7", "NURSE-3", "A_1"])
def test_a_plain_code_is_its_own_name(code: str) -> None:
    assert file_stem(code) == code


@pytest.mark.parametrize(
    ("code", "beginning"),
    [
        ("c07", "c07--"),
        ("CON", "CON--"),
        ("../../etc/passwd", "etc-passwd--"),
        ("Ä", "code--"),
        ("", "code--"),
    ],
)
def test_any_other_code_is_told_by_its_fingerprint(code: str, beginning: str) -> None:
    assert re.fullmatch(re.escape(beginning) + "[0-9a-f]{16}", file_stem(code))


def test_a_long_code_has_a_short_name_of_its_own() -> None:
    long = "X" * 300
    assert len(file_stem(long)) == 58
    assert file_stem(long) != file_stem(long + "X")


@given(codes)
def test_what_is_printed_holds_no_character_that_nobody_sees(code: str) -> None:
    seen = printable(code)
    assert all(letter == " " or unicodedata.category(letter)[0] not in "CZ" for letter in seen)
    assert len(printable(code, longest=24)) <= 24
