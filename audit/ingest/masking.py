"""What messages may show of a log: headings, and the shapes of values."""


def shown(heading: str) -> str:
    """The heading as messages print it: cut at 40 characters, and as a shape when it looks like data.

    Parameters
    ----------
    heading
        As the log writes it. In a file without headings it is a value, perhaps a woman's.

    Returns
    -------
    str

    Examples
    --------
    >>> shown("Sound length (mm)"), shown("W00172")
    ('Sound length (mm)', 'a99999')
    """
    text = heading if len(heading) <= 40 else f"{heading[:37]}..."
    if sum(character.isdigit() for character in text) < 3:
        return text
    return masked(text)


def masked(text: str) -> str:
    """The shape of a value: letters as a, digits as 9, at most 20 characters.

    Parameters
    ----------
    text
        A value that must not be shown.

    Returns
    -------
    str

    Examples
    --------
    >>> masked("31/04/2024"), masked("Sarah B.")
    ('99/99/9999', 'aaaaa a.')
    """
    return "".join(_shape(character) for character in text[:20])


def _shape(character: str) -> str:
    """One character of a shape."""
    if character.isdigit():
        return "9"
    if character.isalpha():
        return "a"
    return character if character.isascii() and character.isprintable() else "·"
