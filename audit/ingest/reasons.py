"""Every reason for which a row or a value is not used: what is wrong, and what to do."""

REASONS: dict[str, str] = {
    "blank": "nothing is written. Fill it in.",
    "unknown": "is marked as not known. Fill it in.",
    "too_long": "is longer than 1,000 characters. Is the right column mapped?",
    "spreadsheet_error": "is a spreadsheet's error word. Correct the cell and export again.",
    "spreadsheet_number": "was cut to a rounded number by a spreadsheet. Export the column as text.",
    "not_a_date": "is not a date of the calendar. Write it as 2026-09-30.",
    "date_order_not_declared": "does not say if day or month comes first. Set date_order under [layout].",
    "other_date_order": "is a date only in the other order of day and month. Write it as 2026-09-30.",
    "after_data_to": "lies after the last day of the data. Correct it, or choose a later last day.",
    "not_a_number": "is not a number. Write digits with at most one decimal sign.",
    "not_a_whole_number": "is not a whole number. Correct it.",
    "unknown_unit": "has a unit that cannot be converted. Remove or correct the unit.",
    "unknown_word": "is not a known word for yes, no or unknown. Add it to one of the three under [layout].",
    "unknown_code": "is not a code of this column. Correct it, or map it under [layout.codes].",
    "not_a_parity": "cannot be read as a number of births. Write it as P2+1 or 2.",
    "out_of_range": "lies outside the possible range. Correct it.",
    "wrong_scale": "lies above the scale in over half of the rows. Declare its unit under [layout.units].",
    "duplicate_row": "The row is the same in every column read as an earlier one. Remove one of them.",
}

# Reasons with a rule of their own; every other one is an unreadable value.
RULES = ("unknown_code", "out_of_range", "wrong_scale")

FINDINGS = ("rule", "severity", "source", "row", "column", "message")
SET_ASIDE = ("source", "row", "column", "reason", "value", "message")
ACCOUNTING = ("source", "disposition", "reason", "n")


def rule_of(reason: str) -> str:
    """The rule under which a value that cannot be used is reported.

    Parameters
    ----------
    reason
        A key of `REASONS`.

    Returns
    -------
    str

    Examples
    --------
    >>> rule_of("not_a_date")
    'unreadable_value'
    """
    return reason if reason in RULES else "unreadable_value"
