"""What models and adjusted comparisons say, in short tables under the figures they belong to."""

from reports import wording
from reports.choosing import Row, is_known
from reports.tables import Cell, Column
from reports.words_for_codes import grouping, stratum, within

ODDS_FOOT = "1 is the group named second. Not recorded is a group of its own."


def level(row: Row) -> str:
    """One group of a model against the group it is held against.

    Examples
    --------
    >>> level({"by": "cervical_parity", "stratum": "no", "reference": "yes"})
    'Vaginal birth: no vaginal birth before against a vaginal birth before'
    """
    own, other = (within(stratum(row["by"], row[name])) for name in ("stratum", "reference"))
    return f"{grouping(row['by'])}: {own} against {other}"


def ratio_with_limits(value: str, lower: str, upper: str) -> Cell:
    """A cell with a ratio and its interval, from three columns."""

    def cell(row: Row) -> str:
        if not is_known(row[lower]):
            return wording.NOTHING
        interval = wording.ratio_span(row[lower], row[upper])
        return f"{wording.ratio(row[value])} ({interval})" if is_known(row[value]) else interval

    return cell


def p_column(name: str = "p_value", heading: str = "p") -> Column:
    """The column of a p-value."""
    return Column(heading, lambda row: wording.chance_cell(row[name]))
