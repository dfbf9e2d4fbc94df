"""The month that a word means, in the languages in which headings and codes are understood."""

import unicodedata

# English, German (with Austria), French, Spanish, Italian, Dutch and Portuguese, whole and cut short, without
# accents. No word means one month in one of these languages and another in the next; a test holds it.
_WORDS = (
    "january jan januar janner janv janvier enero ene gennaio gen januari janeiro jaenner",
    "february feb febr februar fevrier fevr fev febrero febbraio februari fevereiro",
    "march mar marz mrz maerz mars marzo maart mrt marco",
    "april apr avril avr abril abr aprile",
    "may mai mayo maggio mag mei maio",
    "june jun juni juin junio giugno giu junho",
    "july jul juli juillet juil julio luglio lug julho",
    "august aug aout agosto ago augustus",
    "september sep sept septembre septiembre setiembre settembre set setembro",
    "october oct oktober okt octobre octubre ottobre ott outubro out",
    "november nov novembre noviembre novembro",
    "december dec dezember dez decembre diciembre dic dicembre dezembro",
)
_MONTH_OF = {word: number for number, words in enumerate(_WORDS, start=1) for word in words.split()}


def month_number(word: str) -> int:
    """The number of a month.

    Parameters
    ----------
    word
        A word of letters alone, in any case, with or without its accents.

    Returns
    -------
    int
        1 to 12; 0 for a word that is no month.

    References
    ----------
    Unicode Common Locale Data Repository: months of the Gregorian calendar, wide and abbreviated, of the
    locales en, de, de-AT, fr, es, it, nl and pt. https://cldr.unicode.org/

    Examples
    --------
    >>> [month_number(word) for word in ("Apr", "M\\u00e4r", "ao\\u00fbt", "soon")]
    [4, 3, 8, 0]
    """
    bare = "".join(mark for mark in unicodedata.normalize("NFKD", word) if not unicodedata.combining(mark))
    return _MONTH_OF.get(bare.casefold(), 0)
