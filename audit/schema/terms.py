"""Words and units that more than one part of the package needs: said once, here."""

# (unit in the log, unit of our column) -> factor
UNITS: dict[tuple[str, str], float] = {
    ("mm", "mm"): 1.0,
    ("cm", "mm"): 10.0,
    ("hours", "hours"): 1.0,
    ("days", "hours"): 24.0,
    ("weeks", "weeks"): 1.0,
    ("days", "weeks"): 1.0 / 7.0,
    ("0-10", "0-10"): 1.0,
    ("0-100", "0-10"): 0.1,
}

YES_WORDS = ("yes", "y", "true", "t", "1", "x", "✓")
NO_WORDS = ("no", "n", "false", "f", "0")
UNKNOWN_WORDS = ("unknown", "not known", "unk", "?", "not recorded", "nr")
BLANK_WORDS = ("", "-", "--", ".", "n/a", "na")

# How people write the units above after a number.
UNIT_WORDS: dict[str, str] = {
    "h": "hours",
    "hr": "hours",
    "hrs": "hours",
    "hour": "hours",
    "d": "days",
    "day": "days",
    "w": "weeks",
    "wk": "weeks",
    "wks": "weeks",
    "week": "weeks",
    "y": "years",
    "yr": "years",
    "yrs": "years",
    "year": "years",
}

# A spreadsheet's own words for a cell it could not work out.
ERROR_WORDS = ("#n/a", "#ref!", "#value!", "#div/0!", "#name?", "#null!", "#num!")

NULLIPARA_WORDS = ("nullip", "nulliparous", "nullipara", "nil", "none", "primigravida")
