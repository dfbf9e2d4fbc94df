"""Numbers that states, health services and banks give to persons: their forms and check digits."""

from audit.ingest.identifiers_rules import Rule, always

HEALTH_NUMBERS = "health-service or insurance numbers"
NATIONAL_NUMBERS = "national personal numbers"
CARD_NUMBERS = "card numbers, or other numbers with a check digit"
BIRTH_DATES = "dates of birth"

_PERMUTATION = "1576283094"
_DNI_LETTERS = "TRWAGMYFPDXBNJZSQVHLCKE"
# Values of 0-9 and A-Z in odd places of an Italian code; digits count as A to J.
_ODD_VALUES = (1, 0, 5, 7, 9, 13, 15, 17, 19, 21, 2, 4, 18, 20, 11, 3, 6, 8, 12, 14, 16, 10, 22, 25, 24, 23)
_BIRTH_YEARS = range(1930, 2013)


def passes_mod_11(digits: str) -> bool:
    """Whether ten digits end in the check digit of an NHS number.

    Parameters
    ----------
    digits
        Ten digits.

    Returns
    -------
    bool

    Notes
    -----
    The first nine are weighted 10 to 2 and added up; 11 less the remainder on division by 11 must be the
    tenth, where 11 counts as 0 and 10 is never given out.

    References
    ----------
    NHS Data Model and Dictionary, data element NHS NUMBER.

    Examples
    --------
    >>> passes_mod_11("9434765919"), passes_mod_11("9434765918")
    (True, False)
    """
    check = -sum(weight * int(digit) for weight, digit in zip(range(10, 1, -1), digits, strict=False)) % 11
    return check == int(digits[9])


def passes_luhn(digits: str) -> bool:
    """Whether the last digit is the check digit of Luhn's formula.

    Parameters
    ----------
    digits
        At least two digits.

    Returns
    -------
    bool

    References
    ----------
    ISO/IEC 7812-1, annex B: Luhn formula for computing modulus 10 double-add-double check digits.

    Examples
    --------
    >>> passes_luhn("79927398713"), passes_luhn("79927398710")
    (True, False)
    """
    doubled = (int(digit) * (1 + place % 2) for place, digit in enumerate(reversed(digits)))
    return sum(number // 10 + number % 10 for number in doubled) % 10 == 0


def passes_verhoeff(digits: str) -> bool:
    """Whether the last digit is the check digit of Verhoeff's code.

    Parameters
    ----------
    digits
        At least two digits.

    Returns
    -------
    bool

    References
    ----------
    Verhoeff J. Error detecting decimal codes. Mathematical Centre Tracts 29. Amsterdam, 1969.

    Examples
    --------
    >>> passes_verhoeff("2363"), passes_verhoeff("2364")
    (True, False)
    """
    check = 0
    for place, digit in enumerate(reversed(digits)):
        number = int(digit)
        for _ in range(place % 8):
            number = int(_PERMUTATION[number])
        check = _dihedral(check, number)
    return check == 0


def _dihedral(first: int, second: int) -> int:
    """The product in the symmetries of a pentagon: 0 to 4 turn it, 5 to 9 turn it over as well."""
    if first < 5:
        return (first + second) % 5 + 5 * (second >= 5)
    return (first - second) % 5 + 5 * (second < 5)


def _is_verhoeff_number(digits: str) -> bool:
    """Twelve digits from 2 on, not the same read backwards and no time of day, with Verhoeff's check digit."""
    named = digits[0] in "01" or digits == digits[::-1] or _is_time(digits)
    return not named and passes_verhoeff(digits)


def _is_card_number(digits: str) -> bool:
    """Thirteen to nineteen digits, not all alike, with Luhn's check digit."""
    return len(set(digits)) > 1 and not _is_time(digits) and passes_luhn(digits)


def _is_time(digits: str) -> bool:
    """Whether twelve or more digits are a date with its time, year first."""
    dated = digits[:2] in ("19", "20") and _is_day(digits[6:8], digits[4:6])
    return dated and len(digits) in (12, 14, 17) and int(digits[8:10]) < 24


def _is_french_number(text: str) -> bool:
    """Thirteen digits and a key modulo 97; Corsica has letters."""
    digits = text.replace("2A", "19").replace("2B", "18")
    return digits[0] in "12" and digits.isdigit() and 97 - int(digits[:13]) % 97 == int(digits[13:])


def _is_spanish_number(text: str) -> bool:
    """Eight digits, or X, Y or Z and seven, and a letter modulo 23."""
    digits = str("XYZ".find(text[0])) + text[1:-1] if text[0] in "XYZ" else text[:-1]
    return _DNI_LETTERS[int(digits) % 23] == text[-1]


def _is_brazilian_number(digits: str) -> bool:
    """Nine digits and two check digits modulo 11."""
    if len(set(digits)) == 1:
        return False
    for size in (9, 10):
        weighted = sum(int(digit) * (size + 1 - place) for place, digit in enumerate(digits[:size]))
        if -weighted % 11 % 10 != int(digits[size]):
            return False
    return True


def _is_german_tax_number(digits: str) -> bool:
    """Eleven digits, of whose first ten exactly one repeats, with the check digit of ISO 7064 modulo 11, 10."""
    counts = [digits[:10].count(digit) for digit in set(digits[:10])]
    if digits[0] == "0" or sorted(counts)[-2:] not in ([1, 2], [1, 3]):
        return False
    product = 10
    for digit in digits[:10]:
        product = ((int(digit) + product) % 10 or 10) * 2 % 11
    return (11 - product) % 10 == int(digits[10])


def _is_german_health_number(text: str) -> bool:
    """A letter and nine digits, the last a check digit over the letter's number and the other eight."""
    digits = f"{ord(text[0]) - 64:02}{text[1:9]}"
    doubled = (int(digit) * (1 + place % 2) for place, digit in enumerate(digits))
    return sum(number // 10 + number % 10 for number in doubled) % 10 == int(text[9])


def _is_italian_code(text: str) -> bool:
    """Sixteen letters and digits, the last a check letter modulo 26."""
    values = [int(letter) if letter.isdigit() else ord(letter) - 65 for letter in text[:15]]
    total = sum(_ODD_VALUES[value] if place % 2 == 0 else value for place, value in enumerate(values))
    return chr(65 + total % 26) == text[15]


def _is_american_number(digits: str) -> bool:
    """Nine digits with an area, a group and a serial number that are given out."""
    unused = digits[:3] in ("000", "666") or digits[0] == "9"
    return not (unused or digits[3:5] == "00" or digits[5:] == "0000")


def _is_british_number(text: str) -> bool:
    """Two letters that are given out, six digits, and A to D."""
    letters = text[0] not in "DFIQUV" and text[1] not in "DFIOQUV" and text[-1] in "ABCD"
    return letters and text[:2] not in ("BG", "GB", "KN", "NK", "NT", "TN", "ZZ")


def _opens_with_a_date(digits: str) -> bool:
    """Whether the first six digits are a day as ddmmyy or yymmdd."""
    return _is_day(digits[0:2], digits[2:4]) or _is_day(digits[4:6], digits[2:4])


def _is_day(day: str, month: str) -> bool:
    """Whether two pairs of digits can be the day and month of a date."""
    return 1 <= int(day) <= 31 and 1 <= int(month) <= 12


def _is_birth_date(text: str) -> bool:
    """Whether eight digits are the date of birth of a woman of the age for a device."""
    digits = "".join(character for character in text if character.isdigit())
    year_first = int(digits[:4]) in _BIRTH_YEARS and _is_day(digits[6:], digits[4:6])
    in_order = _is_day(digits[:2], digits[2:4]) or _is_day(digits[2:4], digits[:2])
    return year_first or (int(digits[4:]) in _BIRTH_YEARS and in_order)


NUMBER_RULES = (
    Rule(
        HEALTH_NUMBERS,
        r"\d{10}|\d{3} \d{3} \d{4}|\d{3}-\d{3}-\d{4}",
        passes_mod_11,
        1 / 11,
        prefixed=True,
    ),
    Rule(HEALTH_NUMBERS, r"[a-z]\d{9}", _is_german_health_number, 1 / 10),
    Rule(
        CARD_NUMBERS,
        r"\d{13,19}|\d{4}(?: \d{4}){3}|\d{4}(?:-\d{4}){3}|\d{4} \d{6} \d{5}",
        _is_card_number,
        1 / 10,
        prefixed=True,
    ),
    Rule(
        NATIONAL_NUMBERS,
        r"\d{12}|\d{4} \d{4} \d{4}",
        _is_verhoeff_number,
        1 / 10,
        prefixed=True,
    ),
    Rule(
        NATIONAL_NUMBERS,
        r"\d ?\d\d ?\d\d ?(?:\d\d|2[ab]) ?\d{3} ?\d{3} ?\d\d",
        _is_french_number,
        1 / 97,
    ),
    Rule(NATIONAL_NUMBERS, r"(?:\d{8}|[xyz]-?\d{7})-?[a-z]", _is_spanish_number, 1 / 23),
    Rule(NATIONAL_NUMBERS, r"\d{11}|\d{3}\.\d{3}\.\d{3}-\d\d", _is_brazilian_number, 1 / 100, prefixed=True),
    Rule(NATIONAL_NUMBERS, r"\d{11}|\d\d \d{3} \d{3} \d{3}", _is_german_tax_number, 1 / 200),
    Rule(NATIONAL_NUMBERS, r"[a-z]{6}\d\d[a-ehlmprst]\d\d[a-z]\d{3}[a-z]", _is_italian_code, 1 / 26),
    Rule(NATIONAL_NUMBERS, r"\d{3}-\d\d-\d{4}", _is_american_number, 0),
    Rule(NATIONAL_NUMBERS, r"[a-z]{2} ?\d\d ?\d\d ?\d\d ?[a-z]", _is_british_number, 1 / 10),
    Rule(NATIONAL_NUMBERS, r"\d{6}[-+]\d{4}", _opens_with_a_date, 1 / 11, in_text=False),
)
# In references only: a column of dates is judged against the dates of the visits.
BIRTH_REFERENCE_RULE = Rule(
    BIRTH_DATES,
    r"[a-z]{0,12}[-_ ]?\d{8}(?:[-_ ]?[a-z]{1,4})?",
    _is_birth_date,
    1 / 500,
    in_text=False,
)
# Words that announce a date of birth inside other text.
BIRTH_TEXT_RULE = Rule(
    BIRTH_DATES,
    r"(?:d\.?o\.?b\.?|born|date of birth|n[ée]e? le|geb\.?|geboren|nacid[oa])\W{0,3}(?:on |am |el )?"
    r"\d{1,4}[-./ ]\w{1,10}[-./ ]\d{2,4}",
    always,
    0,
)
