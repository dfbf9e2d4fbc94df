"""Numbers into words. The only place where a figure is rounded.

Counts come before percentages, and no estimate is printed without its limits. Exact limits are printed where
either count is 5 or fewer or the denominator is below 30, Wilson's otherwise. Below 10 there is no percentage.
"""

import math
from collections.abc import Sequence
from typing import Any

from reports.choosing import Row, is_known, limits_of, only_bounds

FEW = 10
NOTHING = "–"
_MONTHS = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)
_TENS = ("none", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
_SPANS = {42: "6 weeks", 91: "3 months", 182: "6 months", 365: "12 months", 730: "2 years", 1095: "3 years"}


def count(value: float | int | None) -> str:
    """A whole number with thousands set apart; a dash where there is none.

    Examples
    --------
    >>> count(14496), count(None)
    ('14,496', '–')
    """
    return f"{round(value):,}" if value is not None and is_known(value) else NOTHING


def number_word(value: int) -> str:
    """A small count as a word, a larger one in figures.

    Examples
    --------
    >>> number_word(0), number_word(3), number_word(17)
    ('none', 'three', '17')
    """
    return _TENS[value] if 0 <= value < len(_TENS) else count(value)


def plural(value: float | int, one: str, many: str = "") -> str:
    """A count with its noun in the right number.

    Examples
    --------
    >>> plural(1, "woman", "women"), plural(12, "visit")
    ('1 woman', '12 visits')
    """
    return f"{count(value)} {one if value == 1 else many or one + 's'}"


def listed(words: Sequence[str]) -> str:
    """Words joined as a sentence joins them.

    Examples
    --------
    >>> listed(["pain", "infection", "other"])
    'pain, infection and other'
    """
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} and {words[-1]}"


def decimals(largest: float) -> int:
    """How many decimals a percentage needs, from the upper limit: one, two below 1%, three below 0.1%.

    Examples
    --------
    >>> decimals(0.068), decimals(0.0025), decimals(0.0004)
    (1, 2, 3)
    """
    if not is_known(largest) or largest >= 0.01:
        return 1
    return 2 if largest >= 0.001 else 3


def percent(value: float, *, places: int = 1) -> str:
    """A proportion as a percentage, without the sign; a dash where there is none.

    Examples
    --------
    >>> percent(0.0484), percent(1.0), percent(0.9999), percent(float("nan"))
    ('4.8', '100', '>99.9', '–')
    """
    if not is_known(value):
        return NOTHING
    if value in (0.0, 1.0):
        return f"{100 * value:.0f}"
    text, smallest = f"{100 * value:.{places}f}", f"{10.0**-places:.{places}f}"
    if float(text) == 0:
        return f"<{smallest}"
    return f">{100 - float(smallest):.{places}f}" if float(text) == 100 else text


def span(lower: float, upper: float, *, places: int = 1) -> str:
    """Two proportions as an interval of percentages.

    Examples
    --------
    >>> span(0.034, 0.0679), span(float("nan"), 0.1)
    ('3.4 to 6.8', '–')
    """
    if not (is_known(lower) and is_known(upper)):
        return NOTHING
    return f"{percent(lower, places=places)} to {percent(upper, places=places)}"


def proportion(row: Row, *, noun: str = "") -> str:
    """A proportion as counts, percentage and interval; `noun` says of whom, in the plural.

    Examples
    --------
    >>> row = {"events": 31, "n": 640, "proportion": 31 / 640, "ci_lower": 0.0343, "ci_upper": 0.0679}
    >>> proportion(row | {"exact_lower": 0.0331, "exact_upper": 0.068})
    '31 of 640 (4.8%, 3.4 to 6.8)'
    >>> proportion({"events": 3, "n": 8}, noun="women")
    '3 of 8 women'
    """
    events, n = row["events"], row["n"]
    of = f"{count(n)} {noun}".strip()
    if n == 0:
        return f"none of {of}"
    if only_bounds(row):
        bounds = span(row["bound_lower"], row["bound_upper"])
        return f"{count(events)} of {of} (bounds {bounds}%, as so much is not recorded)"
    if n < FEW:
        return f"{count(events)} of {of}"
    lower, upper, _ = limits_of(row)
    places = decimals(upper)
    if events == 0:
        return f"none of {of} (up to {percent(upper, places=places)}%)"
    value = percent(row["proportion"], places=places)
    return f"{count(events)} of {of} ({value}%, {span(lower, upper, places=places)})"


def points(value: float, lower: float, upper: float) -> str:
    """A difference of two proportions in percentage points with its interval, signed.

    Examples
    --------
    >>> points(0.1871, 0.0429, 0.3248), points(-0.0214, -0.0463, 0.0035)
    ('+18.7 points (4.3 to 32.5)', '−2.1 points (−4.6 to 0.4)')
    """
    if not (is_known(value) and is_known(lower) and is_known(upper)):
        return NOTHING
    plus = "+" if round(100 * value, 1) > 0 else ""
    return f"{plus}{_signed(value)} points ({_signed(lower)} to {_signed(upper)})"


def _signed(value: float) -> str:
    """A difference in points to one decimal, with a minus that is one."""
    text = f"{100 * value:.1f}"
    return "0.0" if float(text) == 0 else text.replace("-", "−")


def in_a_hundred(lower: float, upper: float) -> str:
    """An interval in whole numbers of women, rounded outwards, over 100, 1,000 or 10,000.

    Examples
    --------
    >>> in_a_hundred(0.034, 0.068), in_a_hundred(0.0, 0.0025)
    ('between 3 and 7 in 100', 'up to 3 in 1,000')
    """
    if not (is_known(lower) and is_known(upper)):
        return "not known"
    base = next((size for size in (100, 1000) if upper * size >= 2), 10000)
    low, high = outwards(lower, upper, base)
    return f"up to {high} in {base:,}" if low == 0 else f"between {low} and {high} in {base:,}"


def of_women(lower: float, upper: float) -> str:
    """Two bounds in whole numbers of women out of 100, rounded outwards.

    Examples
    --------
    >>> of_women(0.0172, 0.7512), of_women(0.0, 0.3)
    ('between 1 and 76 of 100 women', 'between 0 and 30 of 100 women')
    """
    low, high = outwards(lower, upper, 100)
    return f"between {low} and {high} of 100 women"


def outwards(lower: float, upper: float, size: int) -> tuple[int, int]:
    """Two limits (0-1) in whole numbers out of `size`, rounded outwards.

    Examples
    --------
    >>> outwards(0.034, 0.068, 100), outwards(0.07, 0.07, 100)
    ((3, 7), (7, 7))
    """
    # A hair is taken off so that 0.07 * 100 does not become 8.
    return math.floor(lower * size + 1e-9), math.ceil(upper * size - 1e-9)


def shared_out(amounts: Sequence[float], size: int = 100) -> tuple[int, ...]:
    """The parts of a whole in whole numbers that add up to `size`, each the next below or above its exact share.

    The largest remainders are rounded up; of equal ones the earlier part.

    Examples
    --------
    >>> shared_out([1430, 74, 21]), shared_out([1, 1, 1]), shared_out([0, 0])
    ((94, 5, 1), (34, 33, 33), (0, 0))
    """
    whole = sum(amounts)
    if not whole:
        return (0,) * len(amounts)
    exact = [size * amount / whole for amount in amounts]
    parts = [math.floor(share + 1e-9) for share in exact]
    by_remainder = sorted(range(len(exact)), key=lambda place: (parts[place] - exact[place], place))
    for place in by_remainder[: size - sum(parts)]:
        parts[place] += 1
    return tuple(parts)


def whole_part(value: float, size: int) -> int:
    """A proportion (0-1) as a whole number out of `size`.

    Examples
    --------
    >>> whole_part(0.0052, 1000), whole_part(0.0006, 1000)
    (5, 1)
    """
    return shared_out((value, 1 - value), size)[0]


def about(number: int) -> str:
    """A number of women in round tens, so that no difference of two such numbers tells of a few.

    Examples
    --------
    >>> about(1432), about(240)
    ('1,430', '240')
    """
    return count(number - number % 10)


def per_hundred_years(row: Row) -> str:
    """A rate per 100 woman-years with its interval, after the counts.

    Examples
    --------
    >>> per_hundred_years({"events": 10, "person_years": 2835.2, "rate": 0.003527, "ci_lower": 0.00169,
    ...     "ci_upper": 0.00649})
    '10 in 2,835 woman-years (0.35 per 100, 0.17 to 0.65)'
    """
    years = count(row["person_years"])
    if not is_known(row["rate"]):
        return f"{count(row['events'])}, no time under observation"
    if row["events"] == 0:
        return f"none in {years} woman-years (up to {rate(row['ci_upper'])} per 100)"
    return (
        f"{count(row['events'])} in {years} woman-years ({rate(row['rate'])} per 100, "
        f"{rate(row['ci_lower'])} to {rate(row['ci_upper'])})"
    )


def rate(value: float) -> str:
    """A rate per 1 woman-year as one per 100, with two decimals below 10 and one above.

    Examples
    --------
    >>> rate(0.003527), rate(0.0692), rate(0.2296)
    ('0.35', '6.92', '23.0')
    """
    if not is_known(value):
        return NOTHING
    if 0 < 100 * value < 0.005:
        return "<0.01"
    return f"{100 * value:.2f}" if 100 * value < 10 else f"{100 * value:.1f}"


def per_thousand(value: float) -> str:
    """A proportion as one per 1,000.

    Examples
    --------
    >>> per_thousand(0.0028), per_thousand(0.0), per_thousand(float("nan"))
    ('2.8', '0', '–')
    """
    if not is_known(value):
        return NOTHING
    return f"{1000 * value:.1f}" if value else "0"


def amount(value: float) -> str:
    """A quantile of days or scores: whole where it is, else with one decimal; without end where nothing bounds it.

    Examples
    --------
    >>> amount(14.0), amount(6.75), amount(float("inf"))
    ('14', '6.8', 'no limit')
    """
    if not is_known(value):
        return NOTHING
    if math.isinf(value):
        return "no limit"
    return f"{value:.0f}" if value == round(value) else f"{value:.1f}"


def amounts(value: float, lower: float, upper: float) -> str:
    """A quantile with its limits.

    Examples
    --------
    >>> amounts(15.0, 13.0, 17.0), amounts(3.0, float("-inf"), 9.0)
    ('15 (13 to 17)', '3 (no limit to 9)')
    """
    return f"{amount(value)} ({amount(lower)} to {amount(upper)})" if is_known(value) else NOTHING


def ratio(value: float) -> str:
    """A ratio to two figures after the point, one above 10.

    Examples
    --------
    >>> ratio(4.1377), ratio(62.02), ratio(float("inf"))
    ('4.14', '62.0', 'no limit')
    """
    if not is_known(value):
        return NOTHING
    if math.isinf(value):
        return "no limit"
    return f"{value:.2f}" if value < 10 else f"{value:.1f}"


def ratio_span(lower: float, upper: float) -> str:
    """The interval of a ratio.

    Examples
    --------
    >>> ratio_span(2.2414, 7.6385)
    '2.24 to 7.64'
    """
    return f"{ratio(lower)} to {ratio(upper)}" if is_known(lower) and is_known(upper) else NOTHING


def chance(p_value: float) -> str:
    """A p value in words that always carry its size.

    Examples
    --------
    >>> chance(0.1311), chance(0.00002)
    ('p = 0.13', 'p < 0.001')
    """
    if not is_known(p_value):
        return "no test possible"
    if p_value < 0.001:
        return "p < 0.001"
    return f"p = {p_value:.2f}" if p_value >= 0.095 else f"p = {p_value:.3f}"


def chance_cell(p_value: float) -> str:
    """A p value for a column headed p.

    Examples
    --------
    >>> chance_cell(0.0238), chance_cell(float("nan"))
    ('0.024', '–')
    """
    return chance(p_value).removeprefix("p = ").removeprefix("p ") if is_known(p_value) else NOTHING


def day(value: Any) -> str:
    """A date as people write it.

    Examples
    --------
    >>> import pandas as pd
    >>> day(pd.Timestamp("2026-10-14"))
    '14 October 2026'
    """
    return f"{value.day} {_MONTHS[value.month - 1]} {value.year}" if is_known(value) else NOTHING


def brief_day(value: Any) -> str:
    """A date for a narrow column.

    Examples
    --------
    >>> import pandas as pd
    >>> brief_day(pd.Timestamp("2026-10-14"))
    '14 Oct 2026'
    """
    return f"{value.day} {_MONTHS[value.month - 1][:3]} {value.year}" if is_known(value) else NOTHING


def since_placement(days: float) -> str:
    """A time since placement in the unit people use for it.

    Examples
    --------
    >>> since_placement(365), since_placement(42), since_placement(100)
    ('12 months', '6 weeks', '100 days')
    """
    return _SPANS.get(round(days), f"{count(days)} days")


def months(days: float) -> str:
    """A number of days as months.

    Examples
    --------
    >>> months(789), months(float("nan"))
    ('25.9', 'not reached')
    """
    return f"{days / 30.4375:.1f}" if is_known(days) else "not reached"
