"""A comparison with a published figure in words: the figures, the paper, the group of women, the likeness."""

from reports import wording
from reports.choosing import Row, is_known
from reports.words_for_codes import stratum, within, word

APART = ("higher", "lower")
SCORE = "median"
# Read off a curve: what stands beside the events is the number still observed.
CURVES = ("one_minus_km", "survival", "cumulative_incidence")
GRADES = {"A": "alike", "B": "near", "C": "unlike"}
ALL_STRATA = "at_our_mix"
# The same code names an open point of a woman's care, and says more there.
_OUTCOMES = {
    "threads_not_seen": "Threads not seen",
    "threads_not_seen_device_in_place": "Threads not seen, device in place",
    "threads_not_seen_expelled": "Threads not seen, device expelled",
    "threads_not_seen_perforated": "Threads not seen, device outside the uterus",
    "insertion_pain": "Pain at insertion, median score",
    "severe_insertion_pain": "Severe pain at insertion",
    "ectopic_share_of_pregnancies": "Ectopic, of all pregnancies",
}


def outcome_words(outcome: str) -> str:
    """The name of a compared outcome."""
    return _OUTCOMES.get(outcome) or word(outcome)


def grade_words(row: Row) -> str:
    """The grade of likeness, letter and word.

    Examples
    --------
    >>> grade_words({"grade": "B"}), grade_words({"grade": float("nan")})
    ('B, near', '')
    """
    letter = row.get("grade")
    return f"{letter}, {GRADES[letter]}" if letter in GRADES else ""


def short_citation(row: Row) -> str:
    """First author and year of a paper, for running text."""
    names, _, _ = str(row["citation"]).partition(".")
    surname = " ".join(
        part for part in names.split(",")[0].split(" et al")[0].split() if not _is_initials(part)
    )
    others = " et al." if " et al" in names or "," in names else ""
    year = next((part for part in str(row["citation"]).replace(".", " ").split() if _is_year(part)), "")
    return f"{surname}{others} {year}".strip()


def identifier(row: Row) -> str:
    """The mark by which a paper is found, or that none was seen."""
    return "No DOI or PMID seen" if row["identifier"] == "none seen" else str(row["identifier"])


def _is_initials(text: str) -> bool:
    """Whether a word is an author's initials."""
    return len(text) <= 3 and text.isupper()


def _is_year(text: str) -> bool:
    """Whether a word is a year."""
    return len(text) == 4 and text.isdigit() and text[:2] in ("19", "20")


def is_rate(row: Row) -> bool:
    """Whether a comparison is per woman-year."""
    return str(row["measure"]) == "rate"


def group_of(row: Row) -> str:
    """The group of women a comparison is about, as a label."""
    if row["stratum"] == ALL_STRATA:
        return "With and without births together" if row["by"] == "parous" else "These groups together"
    return "All" if row["by"] == "overall" else stratum(row["by"], row["stratum"])


def of_whom(row: Row) -> str:
    """The group of women a comparison is about, inside a sentence, where it is not all."""
    return "" if row["by"] == "overall" else f", {within(group_of(row))}"


def horizon(row: Row) -> str:
    """The time to which a figure refers."""
    days = row["horizon_days"]
    return wording.since_placement(days) if is_known(days) and days else wording.NOTHING


def too_few(row: Row) -> bool:
    """Whether ours is a proportion or a score of so few that none may be printed."""
    return row["measure"] in ("proportion", SCORE) and is_known(row["own_n"]) and row["own_n"] < wording.FEW


def unit(row: Row) -> tuple[float, str]:
    """What a figure is printed per: the number it is multiplied by, and the words behind it.

    Examples
    --------
    >>> unit({"measure": "proportion", "outcome": "perforation"})
    (1000, ' per 1,000')
    """
    if is_rate(row):
        return 100, " per 100 woman-years"
    if row["measure"] == SCORE:
        return 1, " of 10"
    # As the trade speaks of it: in per cent a perforation rate is mostly zeros.
    return (1000, " per 1,000") if row["outcome"] == "perforation" else (100, "%")


def amount(row: Row, value: float) -> str:
    """A figure in its unit, without the words."""
    if is_rate(row):
        return wording.rate(value)
    per, _ = unit(row)
    if per == 1:
        return f"{value:.3g}"
    if per == 1000:
        return wording.percent(value * 10) if value < 0.1 else f"{1000 * value:.0f}"
    return wording.percent(value, places=2 if value < 0.01 else 1)


def with_limits(row: Row, name: str) -> str:
    """A figure with its interval, in its unit."""
    if not is_known(row[name]):
        return wording.NOTHING
    _, behind = unit(row)
    if not is_known(row[f"{name}_lower"]):
        return f"{amount(row, row[name])}{behind} (no limits)"
    lower, upper = (amount(row, row[f"{name}_{side}"]) for side in ("lower", "upper"))
    return f"{amount(row, row[name])}{behind} ({lower} to {upper})"


def published(row: Row) -> str:
    """The published figure in words."""
    return with_limits(row, "published")


def own(row: Row) -> str:
    """Our figure in words; of fewer than ten, counts alone."""
    return counts(row) if too_few(row) else with_limits(row, "own")


def counts(row: Row) -> str:
    """Our events and their denominator: women, woman-years, or those still observed at that day."""
    if row["measure"] == SCORE:
        return wording.plural(row["own_n"], "score")
    if not is_known(row["own_events"]):
        return wording.NOTHING
    events, n = wording.count(row["own_events"]), wording.count(row["own_n"])
    if is_rate(row):
        return f"{events} in {n} woman-years"
    return f"{events} ended, {n} still observed" if row["measure"] in CURVES else f"{events} of {n}"


def published_counts(row: Row) -> str:
    """The paper's counts, as far as they were seen."""
    events, n, years = (row.get(f"published_{name}") for name in ("events", "n", "years"))
    seen = wording.count(events) if is_known(events) else ""
    if is_known(years):
        return f"{seen} in {wording.count(years)} woman-years".strip()
    if not is_known(n):
        return f"{seen} events" if seen else ""
    between = "among" if is_rate(row) else "of"
    women = " women" if is_rate(row) else ""
    return f"{seen} {between} {wording.count(n)}{women}" if seen else f"n {wording.count(n)}"


def difference(row: Row) -> str:
    """Ours less theirs, in points or per 100 woman-years; empty without limits."""
    if not is_known(row["difference_lower"]):
        return ""
    found = [float(row[name]) for name in ("difference", "difference_lower", "difference_upper")]
    per, _ = unit(row)
    places = 2 if per == 100 and max(abs(value) for value in found) < 0.01 else 1
    value, lower, upper = (_signed(per * number, places) for number in found)
    return f"{value}{points(row)} ({lower} to {upper})"


def points(row: Row) -> str:
    """The unit of a difference."""
    _, behind = unit(row)
    return " points" if behind == "%" else behind


def _signed(value: float, places: int) -> str:
    """A difference with its sign."""
    text = f"{value:+.{places}f}"
    # A minus before nothing but zeros says nothing.
    return text.replace("-", "−") if float(text) else f"{0:.{places}f}"
