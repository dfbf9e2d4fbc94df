"""Two groups compared, and trends, as the columns of a table."""

from reports import wording
from reports.choosing import Row, is_known
from reports.tables import Column
from reports.words_for_codes import grouping, stratum, within, word

# A log in which all women are alike has the trend alone, and no column of two groups.
NO_GROUPS = dict.fromkeys(
    (
        *("reference_events", "reference_n", "ratio", "ratio_lower", "ratio_upper"),
        *("difference", "difference_lower", "difference_upper"),
    )
)
COMPARISON_FOOT = (
    "Ratio: Katz, or Koopman where a group has none. Difference: Newcombe, in percentage points. p: Fisher's exact "
    "test; for a trend, Cochran-Armitage's; adjusted for the number of comparisons."
)


def comparison_columns() -> list[Column]:
    """The columns of any table of comparisons, after what is compared."""
    return [
        Column("Compared", compared, "text"),
        Column("First group", lambda row: of_both(row["events"], row["n"])),
        Column("Second group", lambda row: of_both(row["reference_events"], row["reference_n"])),
        Column("Ratio (95% interval)", ratio_cell, "interval"),
        Column("Difference, points (95% interval)", _difference, "interval"),
        Column("p", lambda row: wording.chance_cell(row["p_value"])),
        Column("p, adjusted", lambda row: wording.chance_cell(row.get("adjusted_p_value", float("nan")))),
    ]


def compared(row: Row) -> str:
    """Which groups are compared."""
    if row["group"] == "trend":
        return (
            f"{grouping(row['by'])}, trend: {row['reference']}" if row["reference"] else grouping(row["by"])
        )
    together = str(row["reference"]).startswith("all_")
    second = word(row["reference"]) if together else stratum(row["by"], row["reference"])
    return f"{stratum(row['by'], row['group'])} against {within(second)}"


def of_both(events: float, n: float) -> str:
    """Counts of one group."""
    return f"{wording.count(events)} of {wording.count(n)}" if is_known(n) else wording.NOTHING


def ratio_cell(row: Row) -> str:
    """A ratio and its interval."""
    if not is_known(row["ratio_lower"]):
        return wording.NOTHING
    return f"{wording.ratio(row['ratio'])} ({wording.ratio_span(row['ratio_lower'], row['ratio_upper'])})"


def _difference(row: Row) -> str:
    """A difference in percentage points and its interval."""
    if not is_known(row["difference"]):
        return wording.NOTHING
    interval = wording.span(row["difference_lower"], row["difference_upper"])
    return f"{wording.percent(row['difference'])} ({interval})"
