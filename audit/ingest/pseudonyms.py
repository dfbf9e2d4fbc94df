"""Keyed pseudonyms: the same code for the same woman or clinician every quarter, and no way back without the key.

A key file is made once, on request, and kept apart from logs and reports.
"""

import base64
import hashlib
import hmac
import json
import os
import secrets
import stat
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd

from audit.errors import OutputError, SettingsError
from audit.ingest.readings import STAFF_AND_PLACES

KEY_BYTES = 32
# 16 letters of base32 are 80 bits: among a million women, two share a code with a chance of 4 in 10^13.
CODE_LETTERS = 16
_DOMAIN = "iud-audit pseudonym 1"
_STAFF = tuple(name for name in STAFF_AND_PLACES if name != "site_ref")
_OTHERS = stat.S_IRWXG | stat.S_IRWXO


@dataclass(frozen=True)
class PseudonymKey:
    """A secret key, which is never printed, and the random name by which a manifest speaks of it."""

    key_id: str
    secret: bytes = field(repr=False)


def make_key(path: str | Path, *, output_folder: str | Path | None = None) -> PseudonymKey:
    """A new key, written to a file that only its owner can read.

    Parameters
    ----------
    path
        A file that does not exist yet, outside `output_folder`.
    output_folder
        The folder of a report, which others will read; None when there is none.

    Returns
    -------
    PseudonymKey
        256 random bits and a name of 32 more that has nothing to do with them.

    Raises
    ------
    OutputError
        The file exists already (another key would break the link to earlier quarters), lies in the output
        folder, or cannot be written.

    References
    ----------
    Krawczyk H, Bellare M, Canetti R. HMAC: keyed-hashing for message authentication. RFC 2104, 1997.
    ENISA. Pseudonymisation techniques and best practices, 2019: a hash without a key is no protection.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     made = make_key(Path(folder, "audit.key"))
    ...     read_key(Path(folder, "audit.key")) == made
    True
    """
    if _lies_in(path, output_folder):
        raise OutputError(
            f"{Path(path).name}: a key must not lie in the output folder, where it would open what it "
            "protects. Choose another place."
        )
    key = PseudonymKey(secrets.token_hex(4), secrets.token_bytes(KEY_BYTES))
    text = json.dumps({"key_id": key.key_id, "secret": key.secret.hex()}, indent=2)
    try:
        with open(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="ascii") as file:
            file.write(f"{text}\n")
    except FileExistsError:
        raise OutputError(
            f"{Path(path).name}: exists and is left as it is, since a new key would part this quarter's codes "
            "from earlier ones. Use it, or choose another name."
        ) from None
    except OSError as error:
        raise OutputError(
            f"{Path(path).name}: cannot be written ({error.strerror}). Choose another place."
        ) from None
    return key


def read_key(path: str | Path, *, output_folder: str | Path | None = None) -> PseudonymKey:
    """The key of a file that `make_key` wrote.

    Parameters
    ----------
    path
        The file.
    output_folder
        The folder of the report about to be written; None when there is none.

    Returns
    -------
    PseudonymKey

    Raises
    ------
    SettingsError
        The file cannot be read, is no key, can be read by other users, or lies in the output folder. On
        systems without permissions of that kind the reader must see to them.
    """
    where = Path(path).name
    if _lies_in(path, output_folder):
        raise SettingsError(f"{where}: a key must not lie in the output folder. Move it and run again.")
    try:
        mode = Path(path).stat().st_mode
        text = Path(path).read_text(encoding="utf-8")
    except OSError as error:
        raise SettingsError(f"{where}: cannot be read ({error.strerror}). Check the path.") from None
    except UnicodeDecodeError:
        raise SettingsError(
            f"{where}: is not a key file of this program. Give one that iud-audit make-key wrote."
        ) from None
    if os.name == "posix" and mode & _OTHERS:
        raise SettingsError(
            f"{where}: other users can read this key (mode {stat.S_IMODE(mode):o}). Run chmod 600 on it, and "
            "make a new key if they may have copied it."
        )
    return _key_from(text, where)


def _key_from(text: str, where: str) -> PseudonymKey:
    """The key of a file's text, none of which is ever shown."""
    try:
        data = json.loads(text)
        key = PseudonymKey(str(data["key_id"]), bytes.fromhex(data["secret"]))
    except (ValueError, KeyError, TypeError):
        raise SettingsError(
            f"{where}: is not a key file of this program. Give one that iud-audit make-key wrote."
        ) from None
    if len(key.secret) < KEY_BYTES or not key.key_id.isalnum():
        raise SettingsError(
            f"{where}: is not a key file of this program. Give one that iud-audit make-key wrote."
        )
    return key


def _lies_in(path: str | Path, folder: str | Path | None) -> bool:
    """Whether a file lies in a folder, links followed."""
    return folder is not None and Path(path).resolve().is_relative_to(Path(folder).resolve())


def pseudonym(text: str, *, key: PseudonymKey, kind: str) -> str:
    """The code of one reference.

    Parameters
    ----------
    text
        The reference as the log has it; every character counts.
    key
        From `make_key` or `read_key`.
    kind
        What it refers to, such as ``woman``: the same text of another kind has another code.

    Returns
    -------
    str
        16 letters and digits of base32, 80 bits of an HMAC-SHA-256; blank for a blank.

    Examples
    --------
    >>> pseudonym("W00172", key=PseudonymKey("00000000", bytes(32)), kind="woman")
    'R662SPOYOPHSFWOW'
    """
    if not text:
        return ""
    message = "\x00".join((_DOMAIN, kind, text)).encode()
    digest = hmac.new(key.secret, message, hashlib.sha256).digest()
    return base64.b32encode(digest)[:CODE_LETTERS].decode("ascii")


def pseudonymise(
    visits: pd.DataFrame, patient_refs: pd.Series, *, key: PseudonymKey
) -> tuple[pd.DataFrame, pd.Series]:
    """Visits and the women's references with keyed codes for women and staff.

    Parameters
    ----------
    visits
        The table of visits.
    patient_refs
        The text of each running number in `visits.patient_ref`.
    key
        From `make_key` or `read_key`.

    Returns
    -------
    visits : pandas.DataFrame
        New codes in `clinician_ref`, `completed_by_ref` and `supervisor_ref`, the same for one person in all
        three; categories in the order of the new codes, which says nothing of the old.
    patient_refs : pandas.Series
        New codes, in the same order of women.

    Examples
    --------
    >>> visits = pd.DataFrame({"clinician_ref": pd.Categorical(["C1", "C2", "C1"])})
    >>> changed, refs = pseudonymise(visits, pd.Series(["W1"]), key=PseudonymKey("00000000", bytes(32)))
    >>> changed["clinician_ref"].nunique(), len(refs[0])
    (2, 16)
    """
    changed = visits.copy()
    for name in _STAFF:
        if name in changed:
            codes = {
                text: pseudonym(text, key=key, kind="clinician") for text in changed[name].cat.categories
            }
            renamed = changed[name].cat.rename_categories(codes)
            changed[name] = renamed.cat.reorder_categories(sorted(codes.values()))
    texts = [pseudonym(text, key=key, kind="woman") for text in patient_refs]
    refs = pd.Series(np.array(texts, dtype=object), index=patient_refs.index, name=patient_refs.name)
    return changed, refs.astype(object)
