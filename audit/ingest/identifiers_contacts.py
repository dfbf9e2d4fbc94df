"""Where a person can be reached: e-mail and web addresses, telephones, machines, postcodes."""

import re

from audit.ingest.identifiers_rules import Rule, always, words_in

EMAIL = "e-mail addresses"
TELEPHONE = "telephone numbers"
WEB = "web or network addresses"
POSTCODE = "postcodes"

# The letters that open a postcode of the United Kingdom and the Crown dependencies, from memory.
_AREAS = words_in(
    "AB AL B BA BB BD BH BL BN BR BS BT CA CB CF CH CM CO CR CT CV CW DA DD DE DG DH DL DN DT DY E EC EH EN "
    "EX FK FY G GL GU GY HA HD HG HP HR HS HU HX IG IM IP IV JE KA KT KW KY L LA LD LE LL LN LS LU M ME MK "
    "ML N NE NG NN NP NR NW OL OX PA PE PH PL PO PR RG RH RM S SA SE SG SK SL SM SN SO SP SR SS ST SW SY TA "
    "TD TF TN TQ TR TS TW UB W WA WC WD WF WN WR WS WV YO ZE"
)
_OUTWARD = (
    r"(?:[A-PR-UWYZ][0-9]{1,2}|[A-PR-UWYZ][A-HK-Y][0-9]{1,2}"
    r"|[A-PR-UWYZ][0-9][A-HJKPSTUW]|[A-PR-UWYZ][A-HK-Y][0-9][ABEHMNPRVWXY])"
)
_INWARD = r"[0-9][ABD-HJLNP-UW-Z]{2}"
_POSTCODE = re.compile(rf"{_OUTWARD}{_INWARD}|GIR0AA")
_OCTET = r"(?:25[0-5]|2[0-4]\d|1\d\d|[1-9]?\d)"
_GROUPS = r"(?:[0-9a-f]{1,4}(?::[0-9a-f]{1,4})*)?"


def is_postcode(significant: str) -> bool:
    """Whether letters and digits without a blank have the form of a full postcode of the United Kingdom.

    Parameters
    ----------
    significant
        Capital letters and digits.

    Returns
    -------
    bool

    References
    ----------
    BS 7666 address types, schema version 2.0, PostCodeType: six forms, and the letters each place leaves out.
    P in the third place of A9A is added; it came into use later.

    Examples
    --------
    >>> is_postcode("SW1A1AA"), is_postcode("SW1A1CC"), is_postcode("AI11AA")
    (True, False, False)
    """
    return bool(_POSTCODE.fullmatch(significant))


def _is_known_postcode(significant: str) -> bool:
    """Whether it is a postcode that opens with letters in use."""
    letters = re.match(r"[A-Z]*", significant)
    return is_postcode(significant) and letters is not None and letters[0] in _AREAS


def _is_american_telephone(digits: str) -> bool:
    """Whether area and exchange of the last ten digits open with 2 to 9."""
    number = digits[-10:]
    return number[0] not in "01" and number[3] not in "01"


def _is_dialled_within_a_country(digits: str) -> bool:
    """Whether it has 9 to 12 digits and opens with one zero."""
    return 9 <= len(digits) <= 12 and digits[0] == "0" and digits[1] != "0"


def _opens_with_6_to_9(digits: str) -> bool:
    """Whether it opens as a Spanish or Portuguese number."""
    return digits[0] in "6789"


def _has_8_to_15_digits(digits: str) -> bool:
    """Whether it is as long as ITU-T E.164 allows."""
    return 8 <= len(digits) <= 15


def _has_a_number_above_9(digits: str) -> bool:
    """Whether four numbers are more than the version of a program, as in 1.4.2.0."""
    return len(digits) > 4


def _has_a_letter(significant: str) -> bool:
    """Whether pairs joined by hyphens are more than a code of digits."""
    return not significant.isdigit()


def _has_3_or_more(significant: str) -> bool:
    """Whether anything stands between the colons."""
    return len(significant) > 2


CONTACT_RULES = (
    Rule(EMAIL, r"[\w.+'%-]+@[\w-]+(?:\.[\w-]+)+", always, 0),
    Rule(WEB, r"(?:https?|ftp)://\S+|www\.\S+\.\S+", always, 0),
    Rule(WEB, rf"{_OCTET}(?:\.{_OCTET}){{3}}", _has_a_number_above_9, 0),
    Rule(WEB, r"(?:[0-9a-f]{1,4}:){7}[0-9a-f]{1,4}", always, 0),
    Rule(WEB, rf"{_GROUPS}::{_GROUPS}", _has_3_or_more, 0, in_text=False),
    Rule(WEB, r"(?:[0-9a-f]{2}:){5}[0-9a-f]{2}", always, 0),
    Rule(WEB, r"(?:[0-9a-f]{2}-){5}[0-9a-f]{2}", _has_a_letter, 0),
    Rule(TELEPHONE, r"\+\d{1,3}[ ().-]{0,2}\d(?:[ ().-]{0,2}\d){5,13}", _has_8_to_15_digits, 0),
    Rule(TELEPHONE, r"\(0\d{2,4}\) ?\d{2,8}(?:[ -]\d{2,4}){0,3}", _is_dialled_within_a_country, 0),
    Rule(TELEPHONE, r"\d{3,5}[ /]{1,2}\d{2,8}(?:[ -]\d{2,4}){0,3}", _is_dialled_within_a_country, 0.09),
    Rule(TELEPHONE, r"\d\d(?:[ .-]\d\d){4}", _is_dialled_within_a_country, 0.09),
    Rule(TELEPHONE, r"\(\d{3}\) ?\d{3}[-. ]\d{4}", always, 0),
    Rule(
        TELEPHONE,
        r"\d{3,5}-\d{3,8}(?:-\d{2,4})?",
        _is_dialled_within_a_country,
        0.09,
        judges_references=False,
    ),
    Rule(TELEPHONE, r"\d{10,11}", _is_dialled_within_a_country, 0.09, judges_references=False, prefixed=True),
    Rule(TELEPHONE, r"(?:1[-. ])?\d{3}[-. ]\d{3}[-. ]\d{4}", _is_american_telephone, 0.64),
    Rule(TELEPHONE, r"\d{3} \d{3} \d{3}|\d{3}(?: \d\d){3}", _opens_with_6_to_9, 0.4, in_text=False),
    Rule(POSTCODE, rf"{_OUTWARD} {_INWARD}|GIR 0AA", always, 0, in_text=False),
    # Inside text in capitals only: "for L5 1yr" is none.
    Rule(POSTCODE, rf"(?-i:{_OUTWARD} {_INWARD})", always, 0),
    Rule(
        POSTCODE,
        r"[a-z]{1,2}\d[a-z\d]?\d[a-z]{2}",
        _is_known_postcode,
        0.2,
        in_text=False,
    ),
)
