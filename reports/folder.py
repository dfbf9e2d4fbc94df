"""The output folder: written whole or not at all, and known again by its manifest."""

import hashlib
import json
import os
import shutil
import tempfile
from collections.abc import Mapping
from pathlib import Path

from audit.errors import OutputError

MANIFEST = "manifest.json"
TOOL = "iud-clinic-audit"


def write_folder(folder: Path, contents: Mapping[str, bytes], *, force: bool) -> None:
    """Write all files at once: the folder is whole, old or new, whatever happens.

    Raises
    ------
    OutputError
        The folder cannot be written, or holds what this tool did not write or what was changed since.
    """
    require_replaceable(folder, force=force)
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        fresh = Path(tempfile.mkdtemp(prefix=".audit-", dir=folder.parent))
        try:
            for name, content in contents.items():
                (fresh / name).parent.mkdir(parents=True, exist_ok=True)
                (fresh / name).write_bytes(content)
            _swap(fresh, folder)
        finally:
            shutil.rmtree(fresh, ignore_errors=True)
    except OSError as error:
        raise OutputError(f"{folder}: cannot be written ({error.strerror}). Choose another --out.") from None


def changed_files(folder: Path) -> list[str]:
    """Names of the files in a folder that are not as its manifest says: changed, gone or added.

    Raises
    ------
    OutputError
        There is no manifest of this tool.
    """
    try:
        manifest = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
        expected = dict(manifest["files"]) if manifest["manifest"] == TOOL else None
    except (OSError, ValueError, KeyError, TypeError):
        expected = None
    if expected is None:
        raise OutputError(
            f"{folder}: holds no {MANIFEST} of this tool. Name a folder that iud-audit run or demo wrote."
        )
    present = {
        path.relative_to(folder).as_posix(): sha256_of(path.read_bytes())
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path != folder / MANIFEST
    }
    return sorted(name for name in expected | present if expected.get(name) != present.get(name))


def require_replaceable(folder: Path, *, force: bool) -> None:
    """Refuse a folder that holds what this tool did not write, or what was changed since.

    Raises
    ------
    OutputError
        Naming the folder or the changed file; never with `force`.
    """
    if force or not folder.exists() or (folder.is_dir() and not any(folder.iterdir())):
        return
    advice = "Choose another --out, or add --force to replace it."
    if not folder.is_dir():
        raise OutputError(f"{folder}: is a file, not a folder. {advice}")
    try:
        changed = changed_files(folder)
    except OutputError:
        raise OutputError(f"{folder}: was not written by this tool and is left as it is. {advice}") from None
    if changed:
        raise OutputError(f"{folder}: {changed[0]} was changed since this tool wrote it. {advice}")


def sha256_of(content: bytes) -> str:
    """Fingerprint of some bytes."""
    return hashlib.sha256(content).hexdigest()


def _swap(fresh: Path, folder: Path) -> None:
    """Put the fresh folder in the place of the old one."""
    # mkdtemp makes it private to its owner; an output folder follows the user's own habits.
    fresh.chmod(0o777 & ~_umask())
    old = fresh.with_name(fresh.name + "-old")
    if folder.exists():
        os.replace(folder, old)
    os.replace(fresh, folder)
    if old.is_dir():
        shutil.rmtree(old)
    elif old.exists():
        old.unlink()


def _umask() -> int:
    """The user's mask for new files."""
    mask = os.umask(0)
    os.umask(mask)
    return mask
