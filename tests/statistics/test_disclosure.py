"""Who may be told a total: both rules against their words, and the counts that are ordinary at a proportion."""

from fractions import Fraction
from math import comb

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from audit.statistics.disclosure import hidden_among_others
from audit.statistics.funnel import ordinary_counts


def told_in_words(sizes, smallest, others, share):
    """The same, one contributor after the other, as the docstring says it."""
    answers = []
    for number in range(len(sizes)):
        rest = sizes[:number] + sizes[number + 1 :]
        enough = sum(size >= smallest for size in rest) >= others
        answers.append(enough and all(size <= share * sum(rest) for size in rest))
    return answers


@given(
    st.lists(st.integers(0, 60), max_size=8),
    st.integers(0, 40),
    st.integers(1, 5),
    st.sampled_from([0.25, 0.5, 0.75, 1.0]),
)
def test_both_rules_hold_for_the_others_of_each(sizes, smallest, others, share):
    found = hidden_among_others(sizes, smallest=smallest, others=others, largest_share=share)
    assert found.tolist() == told_in_words(sizes, smallest, others, share)


@pytest.mark.parametrize(
    ("sizes", "told"),
    [
        ([100, 100], [False, False]),
        ([100, 100, 100], [False] * 3),
        ([100, 100, 100, 100], [True] * 4),
        # Of 19, 20 and 20 others two count.
        ([100, 19, 20, 20], [False, False, False, False]),
        # For each of the small ones the large one holds most of the rest; for the large one nobody does.
        ([500, 50, 50, 50], [True, False, False, False]),
    ],
)
def test_one_other_two_others_and_one_large_other_would_be_given_away(sizes, told):
    found = hidden_among_others(sizes, smallest=20, others=3, largest_share=0.5)
    assert found.tolist() == told


@given(st.lists(st.integers(0, 100), min_size=1, max_size=6), st.integers(0, 5))
def test_a_further_contributor_who_counts_never_takes_the_number_of_others_away(sizes, place):
    rule = {"smallest": 20, "others": 3, "largest_share": 1.0}
    before = hidden_among_others(sizes, **rule)
    after = hidden_among_others([*sizes, 20], **rule)[: len(sizes)]
    assert (after >= before).all()


@pytest.mark.parametrize(
    ("wrong", "message"),
    [
        ({"others": 0}, "others must be 1 or more, got 0"),
        ({"largest_share": 1.5}, "largest_share must lie from 0 to 1, got 1.5"),
        ({"sizes": [-1.0]}, "sizes must be finite and zero or more, got -1.0"),
    ],
)
def test_a_wrong_argument_is_refused_by_name(wrong, message):
    given_ = {"sizes": [1.0], "smallest": 20, "others": 3, "largest_share": 0.5} | wrong
    sizes = given_.pop("sizes")
    with pytest.raises(ValueError, match=f"^{message}$"):
        hidden_among_others(sizes, **given_)


def tail_from(count, n, target):
    """Chance of as many or more, as an exact fraction."""
    return sum(comb(n, k) * target**k * (1 - target) ** (n - k) for k in range(count, n + 1))


@given(st.integers(0, 40), st.integers(1, 19))
def test_a_count_is_ordinary_where_both_its_exact_tails_exceed_the_probability(n, twentieths):
    target, rare = Fraction(twentieths, 20), Fraction(1, 40)
    ordinary = [
        count
        for count in range(n + 1)
        if tail_from(count, n, target) > rare and 1 - tail_from(count + 1, n, target) > rare
    ]
    row = ordinary_counts([n], float(target), tail_probability=0.025).iloc[0]
    assert (row["least"], row["most"]) == (ordinary[0], ordinary[-1])


def test_where_nothing_can_happen_or_nothing_was_seen_every_count_there_is_is_ordinary():
    table = ordinary_counts([0, 50], [0.05, 0.0], tail_probability=0.025)
    assert table[["least", "most"]].to_numpy().tolist() == [[0, 0], [0, 0]]
    assert table.dtypes[["least", "most"]].tolist() == [np.dtype("int64")] * 2
