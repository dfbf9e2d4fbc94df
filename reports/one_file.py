"""One page written to a file of its own, which carries a fingerprint by which its owner's changes are known."""

import hashlib
import os
import re
import tempfile
from collections.abc import Sequence
from pathlib import Path

from audit.errors import OutputError

_SIGNED = re.compile(rb"<!-- iud-clinic-audit, sha256 ([0-9a-f]{64}) -->\n\Z")


def signed(page: str) -> bytes:
    """The page as bytes, its last line holding the fingerprint of all before it.

    Examples
    --------
    >>> signed("<p>").splitlines()[0]
    b'<p>'
    """
    body = page.rstrip("\n").encode() + b"\n"
    return body + f"<!-- iud-clinic-audit, sha256 {hashlib.sha256(body).hexdigest()} -->\n".encode()


def require_replaceable_file(path: Path, *, force: bool, inputs: Sequence[str | Path] = ()) -> None:
    """Refuse a file that this tool did not write, or that was changed since.

    Parameters
    ----------
    path
        Where the page is to go.
    force
        Replace what is there all the same.
    inputs
        Files that were read: these are never replaced, not even with `force`.

    Raises
    ------
    OutputError
        Naming the file.
    """
    if any(Path(one).exists() and path.exists() and path.samefile(one) for one in inputs):
        raise OutputError(f"{path}: is a file that was read, and is left as it is. Choose another --html.")
    if path.is_dir():
        raise OutputError(f"{path}: is a folder, not a file. Choose another --html.")
    if force or not path.exists() or _is_ours(path):
        return
    raise OutputError(
        f"{path}: was not written by this tool, or was changed since, and is left as it is. "
        "Choose another --html, or add --force to replace it."
    )


def write_file(path: Path, content: bytes) -> None:
    """Write the file at once: it is whole, old or new, whatever happens.

    Raises
    ------
    OutputError
        The file cannot be written.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix=".audit-", dir=path.parent) as folder:
            # Made inside the folder by a plain open, so that it follows the user's own habits of access.
            fresh = Path(folder, path.name)
            fresh.write_bytes(content)
            os.replace(fresh, path)
    except OSError as error:
        raise OutputError(f"{path}: cannot be written ({error.strerror}). Choose another --html.") from None


def _is_ours(path: Path) -> bool:
    """Whether the file ends with the fingerprint of what it holds."""
    try:
        content = path.read_bytes()
    except OSError:
        return False
    found = _SIGNED.search(content)
    return found is not None and hashlib.sha256(content[: found.start()]).hexdigest().encode() == found[1]
