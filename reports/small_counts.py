"""Small counts kept out of sight: which parts of a whole may be shown so that none tells of a few people."""

from collections.abc import Mapping, Sequence

# Common practice, no source: a count of 1 to 7 is not shown, and no picture is drawn of fewer than 30.
SHOWN_FROM, FEWEST = 8, 30

Group = tuple[str, ...]


def may_show(number: int) -> bool:
    """Whether a count may be shown: none, or enough.

    Examples
    --------
    >>> may_show(0), may_show(7), may_show(8)
    (True, False, True)
    """
    return number == 0 or number >= SHOWN_FROM


def first_safe(
    counts: Mapping[str, int], groupings: Sequence[Sequence[Group]]
) -> tuple[tuple[Group, int], ...]:
    """The first way of putting parts together of which every part may be shown.

    The groups of a way have no part in common, so whatever can be got from them by adding and taking away is
    itself a sum of groups, and none is 1 to 7. A part that a way leaves out is no part of its whole.

    Parameters
    ----------
    counts
        How many each part holds.
    groupings
        Ways of putting parts together, the most telling first.

    Returns
    -------
    tuple
        The groups of that way, each with its count; empty where no way will do.

    Examples
    --------
    >>> ways = [[("felt",), ("not",), ("unknown",)], [("felt",), ("not",)]]
    >>> first_safe({"felt": 12, "not": 200, "unknown": 3}, ways)
    ((('felt',), 12), (('not',), 200))
    >>> first_safe({"felt": 3, "not": 200, "unknown": 9}, ways)
    ()
    """
    for grouping in groupings:
        shown = tuple((group, sum(counts[part] for part in group)) for group in grouping)
        if all(may_show(number) for _, number in shown):
            return shown
    return ()
