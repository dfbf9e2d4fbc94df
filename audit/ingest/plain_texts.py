"""Which of a million texts are plain words that say no more than what is written."""

from collections.abc import Sequence

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from audit.ingest.parse import MAX_CHARACTERS
from audit.ingest.raw import Flags
from audit.schema.terms import BLANK_WORDS, ERROR_WORDS, UNKNOWN_WORDS

# Nothing in it for `cleaned` to take away, and no number that a spreadsheet may have cut off.
_PLAIN = r"^[0-9A-Za-z][0-9A-Za-z_/-]*$"
_TELLING_WORDS = pa.array(sorted({*BLANK_WORDS, *UNKNOWN_WORDS, *ERROR_WORDS}))


def are_plain(texts: Sequence[str]) -> Flags:
    """Which texts are read as they stand, by `parse_reference` as by `parse_text`.

    Parameters
    ----------
    texts
        The distinct texts of a column.

    Returns
    -------
    numpy.ndarray
        One bool per text. False says nothing but that the text must be looked at by itself.

    Examples
    --------
    >>> are_plain(["LDB-857", "n/a", " W1", "9.0E+15", ""]).tolist()
    [True, False, False, False, False]
    """
    array = pa.array(texts, type=pa.string())
    fits = pc.match_substring_regex(array, pattern=_PLAIN)
    short = pc.less_equal(pc.binary_length(array), MAX_CHARACTERS)
    telling = pc.is_in(pc.ascii_lower(array), value_set=_TELLING_WORDS)
    plain = pc.and_(pc.and_(fits, short), pc.invert(telling))
    return np.asarray(plain.to_numpy(zero_copy_only=False), dtype=np.bool_)
