"""Obstetric histories, worked by hand: births in all and by route."""

import pytest

from audit.ingest.parse import Reading
from audit.ingest.parse_parity import NOT_SAID, births_in, parse_parity


# (total, vaginal, caesarean); notations are common practice, no source.
@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("P2+1", (2, None, None)),
        ("G3P2", (2, None, None)),
        ("G2 P1+0", (1, None, None)),
        ("G3P2A1", (2, None, None)),
        ("para 2", (2, None, None)),
        ("2", (2, None, None)),
        ("primip", (1, None, None)),
        ("P0", (0, 0, 0)),
        ("P0+2", (0, 0, 0)),
        ("nullip", (0, 0, 0)),
        ("Nulliparous", (0, 0, 0)),
        ("1 SVD 1 CS", (2, 1, 1)),
        ("1 SVD, 1 LSCS", (2, 1, 1)),
        ("SVD x2; EMCS x1", (3, 2, 1)),
        ("SVD 2 CS 1", (3, 2, 1)),
        ("SVD, CS", (2, 1, 1)),
        ("2CS", (2, 0, 2)),
        ("3 SVDs and 1 caesarean", (4, 3, 1)),
        ("2 vaginal births", (2, 2, 0)),
        ("1 voie basse, 1 césarienne", (2, 1, 1)),
        ("1 forceps 1 ventouse", (2, 2, 0)),
        ("P3 (1 CS)", (3, 2, 1)),
        ("P2 SVD x2", (2, 2, 0)),
        ("P2 1 SVD", (2, 1, None)),
        ("G2P2 (1 SVD, 1 CS)", (2, 1, 1)),
        ("G3P1C1A1", (2, 1, 1)),
    ],
)
def test_births_are_counted_by_route_where_the_text_says_it(
    text: str, expected: tuple[int, int | None, int | None]
) -> None:
    assert births_in(text) == expected
    assert parse_parity(text) == Reading(float(expected[0]))


@pytest.mark.parametrize(
    "text",
    [
        "multip",
        "G3",
        "SVD 2 CS",  # which of the two is the 2?
        "P1 2 CS",  # more by route than in all
        "P2 (2 SVD, 1 CS)",
        "P3 (1 SVD, 1 CS)",  # one birth is missing
        "G2P2C1",  # neither notation adds up
        "1 SVD 1 twins",
        "1 SVD, poss 1 CS",
        "-1",
        "P1021",
    ],
)
def test_a_history_that_is_not_understood_in_full_is_not_used(text: str) -> None:
    assert births_in(text) == NOT_SAID
    assert parse_parity(text).reason == "not_a_parity"


@pytest.mark.parametrize(
    ("text", "reason"), [("not recorded", ""), ("?", ""), ("n/a", "blank"), ("", "blank")]
)
def test_an_unknown_history_is_unknown_and_not_unreadable(text: str, reason: str) -> None:
    assert parse_parity(text) == Reading(reason=reason)


@pytest.mark.parametrize("vaginal", range(4))
@pytest.mark.parametrize("caesarean", range(4))
def test_every_way_to_write_the_same_births_gives_the_same_births(vaginal: int, caesarean: int) -> None:
    total = vaginal + caesarean
    for text in (
        f"{vaginal} SVD {caesarean} CS",
        f"SVD x{vaginal}, CS x{caesarean}",
        f"P{total} ({vaginal} SVD, {caesarean} CS)",
        f"G{total}P{vaginal}C{caesarean}",
    ):
        assert births_in(text) == (total, vaginal, caesarean)
