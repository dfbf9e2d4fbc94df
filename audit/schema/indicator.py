"""What one figure of an audit is, and the methods and sources that many of them share."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Indicator:
    """One figure of the audit.

    `needs` lists what the log must record: for each entry, at least one of its columns. `table` is the result
    table that holds the figure. `item` names the figure where a table holds several that a log may record one
    without the other.
    """

    table: str
    title: str
    question: str
    numerator: str
    denominator: str
    unknowns: str
    method: str
    source: str
    needs: tuple[tuple[str, ...], ...]
    item: str = ""


WILSON = "Wilson 95% limits; exact (Clopper-Pearson) limits where 5 or fewer either way, or fewer than 30."
BOTH_RULES = (
    "Two rules side by side: last known (observation ends on the last day the device was known in place) and "
    "assumed in place (carried on to the freeze less a reporting lag)."
)
CI_SOURCES = (
    "Wilson EB, J Am Stat Assoc 1927;22:209-212; Clopper CJ, Pearson ES, Biometrika 1934;26:404-413; "
    "Newcombe RG, Stat Med 1998;17:857-872."
)
KM_SOURCES = "Kaplan EL, Meier P, J Am Stat Assoc 1958;53:457-481; limits on the log(-log) scale."
AJ_SOURCES = "Aalen OO, Johansen S, Scand J Stat 1978;5:141-150; Putter H et al, Stat Med 2007;26:2389-2430."
