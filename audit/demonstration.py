"""The command ``demo``: the invented clinic's log, audited once or quarter after quarter."""

import argparse
import shutil
import sys
import tempfile
from pathlib import Path

from audit.commands import DONE, WRONG_USAGE, audit_logs, rows_sentence, speaker
from audit.errors import OutputError
from audit.writing import require_writable, write_folder


def demo(given: argparse.Namespace) -> int:
    """Write the invented clinic's log, audit it, and say what to open."""
    from synthetic_data.demo import DEMO_PERIOD

    folder = Path(given.out)
    if given.quarters != 1:
        return _demo_of_quarters(given, folder)
    out = folder / "audit"
    require_writable(out, given)
    log, settings = _demo_input(folder / "log", given.force)
    say = speaker(given)
    say(f"An invented clinic: {log} and {settings}")
    audited, _, results = audit_logs([log], settings, DEMO_PERIOD, say)
    write_folder(results, out, given)
    say(rows_sentence(audited))
    print(f"Open {out / 'internal' / 'report.html'}")
    return DONE


def _demo_of_quarters(given: argparse.Namespace, folder: Path) -> int:
    """Audit the invented clinic quarter after quarter, as its lead would: each record beside the next audit."""
    from synthetic_data.quarters import QUARTERS, write_quarter, write_quarters

    if not 1 < given.quarters <= len(QUARTERS):
        print(f"iud-audit: --quarters must lie between 2 and {len(QUARTERS)}.", file=sys.stderr)
        return WRONG_USAGE
    say, record, accepted = speaker(given), None, None
    chosen = QUARTERS[-given.quarters :]
    for name in chosen:
        require_writable(folder / name, given)
    logs, settings = write_quarters(folder / "log", chosen)
    for name in chosen:
        plan = write_quarter(folder / "log", name, accepted=accepted)
        say(f"{name}: {logs[name]} and {plan}")
        _, _, results = audit_logs(
            [logs[name]],
            settings,
            name,
            say,
            previous=[] if record is None else [record],
            actions_file=plan,
        )
        out = write_folder(results, folder / name, given)
        record, accepted = out / "record.json", out / "actions.next.toml"
    print(f"Open {folder / chosen[-1] / 'internal' / 'report.html'}")
    return DONE


def _demo_input(folder: Path, force: bool) -> tuple[Path, Path]:
    """The invented clinic's log and settings in a folder; a file somebody changed is left as it is."""
    from synthetic_data.demo import write_demo

    with tempfile.TemporaryDirectory() as made:
        fresh = write_demo(Path(made))
        for path in fresh:
            kept = folder / path.name
            if kept.exists() and not force and kept.read_bytes() != path.read_bytes():
                raise OutputError(
                    f"{kept}: was changed and is left as it is. Choose another --out, or add --force."
                )
        try:
            folder.mkdir(parents=True, exist_ok=True)
            log, settings = (Path(shutil.copyfile(path, folder / path.name)) for path in fresh)
        except OSError as error:
            raise OutputError(
                f"{folder}: cannot be written ({error.strerror}). Choose another --out."
            ) from None
    return log, settings
