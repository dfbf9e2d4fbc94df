"""Codes of the log as names of files that every system can hold."""

import hashlib
import re
import unicodedata

# Capitals, digits and single marks between them: no two of these are one file where case does not count.
_PLAIN = re.compile(r"[A-Z0-9]+(?:[-_][A-Z0-9]+)*")
_LONGEST, _FINGERPRINT = 40, 16
# Names of devices on one system or another, and the name of the list of files.
_RESERVED = {
    *("CON", "PRN", "AUX", "NUL", "CLOCK", "INDEX"),
    *(f"{port}{number}" for port in ("COM", "LPT") for number in range(10)),
}


def file_stem(code: str) -> str:
    """The name of a file for a code, without its ending.

    Parameters
    ----------
    code
        Any text.

    Returns
    -------
    str
        The code itself where it is short and plain (capitals, digits, single hyphens and low lines); else what is
        plain of it with two hyphens and a fingerprint of the whole. Letters, digits, hyphens and low lines only, 58
        of them at most; never the name of a device. It depends on the code alone, so that it is the same in every
        audit, and no two codes share one even where capitals and small letters are one.

    Notes
    -----
    A plain code holds no small letter and no double hyphen, so it cannot be the name of another code. Of the others
    64 bits of SHA-256 are in the name.

    Examples
    --------
    >>> file_stem("C07"), file_stem("con"), file_stem("../x")
    ('C07', 'con--1143da2bc54c495c', 'x--d6b96a97d147daaa')
    """
    if len(code) <= _LONGEST and _PLAIN.fullmatch(code) and code not in _RESERVED:
        return code
    plain = re.sub(r"[^A-Za-z0-9]+", "-", code).strip("-")[:_LONGEST].strip("-")
    digest = hashlib.sha256(code.encode("utf-8", "surrogatepass")).hexdigest()[:_FINGERPRINT]
    return f"{plain or 'code'}--{digest}"


def printable(code: str, *, longest: int = 0) -> str:
    """A code without the characters that nobody sees, such as those that turn the direction of writing.

    Parameters
    ----------
    code
        Any text.
    longest
        Where more than 0, what is longer is cut and ends in an ellipsis.

    Returns
    -------
    str
        Blank only where nothing can be seen.

    Examples
    --------
    >>> printable("A\\u202eB"), printable("A very long code", longest=8)
    ('AB', 'A very …')
    """
    seen = "".join(letter for letter in code if unicodedata.category(letter)[0] not in "CZ" or letter == " ")
    return f"{seen[: longest - 1]}…" if 0 < longest < len(seen) else seen
