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
