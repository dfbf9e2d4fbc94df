"""The command line ``iud-audit``: commands, options, exit codes and one sentence for every error."""

import argparse
import sys
from collections.abc import Callable, Sequence

from audit import commands as do
from audit.commands import DONE, FAIL_ON, INTERNAL_FAULT, NOT_WRITTEN, REFUSED, WRONG_USAGE
from audit.demonstration import demo
from audit.errors import AuditError, InputRefused, OutputError, PeriodError, SettingsError

_EXIT_CODES: tuple[tuple[type[AuditError], int], ...] = (
    (SettingsError, WRONG_USAGE),
    (PeriodError, WRONG_USAGE),
    (InputRefused, REFUSED),
    (OutputError, NOT_WRITTEN),
)


class _Parser(argparse.ArgumentParser):
    """Usage errors as one sentence."""

    def error(self, message: str) -> None:  # type: ignore[override]
        self.exit(WRONG_USAGE, f"{self.prog}: {message}. See {self.prog} --help.\n")


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code: 0 done, 1 fault, 2 usage, 3 refused, 4 not written, 5 crossed."""
    parser = _parser()
    given = parser.parse_args(arguments)
    if given.command is None:
        parser.print_help()
        return DONE
    command: Callable[[argparse.Namespace], int] = given.run
    try:
        return command(given)
    except AuditError as error:
        print(f"iud-audit: {error}", file=sys.stderr)
        return next(code for kind, code in _EXIT_CODES if isinstance(error, kind))
    except BrokenPipeError:
        return DONE
    except Exception as error:
        if given.debug:
            raise
        print(
            f"iud-audit: a fault of this program ({type(error).__name__}), not of your log. "
            "Nothing was written. Run again with --debug and report what it prints.",
            file=sys.stderr,
        )
        return INTERNAL_FAULT


def _parser() -> argparse.ArgumentParser:
    """The parser, each command with an example first."""
    parser = _Parser(
        prog="iud-audit",
        description="Audit of a clinic that fits intrauterine devices: a visit log in, a report out.\n\n"
        "example: iud-audit run visits.csv --settings clinic.toml --period 2026-Q3 --out audit-2026-Q3",
        formatter_class=argparse.RawDescriptionHelpFormatter,
        epilog="exit codes: 0 done; 1 fault of the program; 2 wrong usage; 3 log refused; "
        "4 output not written; 5 a --fail-on threshold was crossed",
    )
    parser.add_argument("--version", action="version", version=f"%(prog)s {_version()}")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND")
    _add_demo(commands)
    _add_draft_settings(commands)
    _add_check(commands)
    _add_run(commands)
    _add_verify(commands)
    _add_make_key(commands)
    return parser


def _version() -> str:
    """The version of this package."""
    from importlib.metadata import version

    return version("iud-clinic-audit")


def _command(
    commands: "argparse._SubParsersAction[_Parser]", name: str, summary: str, example: str
) -> _Parser:
    """A command with its example and the options all commands share."""
    parser = commands.add_parser(
        name,
        help=summary,
        description=f"{summary}\n\nexample: {example}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--quiet", action="store_true", help="only errors and the result")
    parser.add_argument("--debug", action="store_true", help="show the traceback of a fault")
    return parser


def _add_demo(commands: "argparse._SubParsersAction[_Parser]") -> None:
    """The command demo."""
    parser = _command(
        commands,
        "demo",
        "Audit an invented clinic and say which file to open.",
        "iud-audit demo --out audit-demo",
    )
    parser.add_argument(
        "--out", default="audit-demo", metavar="DIR", help="folder to write (default: audit-demo)"
    )
    parser.add_argument(
        "--quarters",
        type=int,
        default=1,
        metavar="N",
        help="audit the last N quarters one after the other, each beside the one before, with an action plan (2-8)",
    )
    _add_writing(parser)
    parser.set_defaults(run=demo)


def _add_draft_settings(commands: "argparse._SubParsersAction[_Parser]") -> None:
    """The command draft-settings."""
    parser = _command(
        commands,
        "draft-settings",
        "Look at the headings and codes of a log and draft a settings file, marking every guess.",
        "iud-audit draft-settings visits.csv -o clinic.toml",
    )
    parser.add_argument("log", nargs="+", metavar="LOG", help="CSV, TSV, .xlsx or Parquet")
    parser.add_argument("-o", "--output", metavar="FILE", help="file to write (default: standard output)")
    parser.add_argument("--sheet", default="", metavar="NAME", help="sheet of a workbook that has several")
    parser.set_defaults(run=do.draft_settings)


def _add_make_key(commands: "argparse._SubParsersAction[_Parser]") -> None:
    """The command make-key."""
    parser = _command(
        commands,
        "make-key",
        "Make a key file with which references are replaced by codes.",
        "iud-audit make-key clinic.key",
    )
    parser.add_argument("file", metavar="FILE", help="file to write, outside any output folder")
    parser.set_defaults(run=do.make_key)


def _add_check(commands: "argparse._SubParsersAction[_Parser]") -> None:
    """The command check."""
    parser = _command(
        commands,
        "check",
        "Read a log and say what can be used, what cannot, and what each missing column costs.",
        "iud-audit check visits.csv --settings clinic.toml",
    )
    _add_log(parser)
    parser.add_argument("--json", action="store_true", help="the same as JSON")
    parser.add_argument(
        "--html",
        metavar="FILE",
        help="write a page to look at: what is missing where, and which lines to correct",
    )
    parser.add_argument("--force", action="store_true", help="replace FILE, whoever wrote it")
    parser.set_defaults(run=do.check)


def _add_run(commands: "argparse._SubParsersAction[_Parser]") -> None:
    """The command run."""
    parser = _command(
        commands,
        "run",
        "Audit a log and write the report.",
        "iud-audit run visits.csv --settings clinic.toml --period 2026-Q3 --out audit-2026-Q3\n"
        "and with the last audit beside it: ... --previous audit-2026-Q2/record.json --actions actions.toml",
    )
    _add_log(parser)
    parser.add_argument(
        "--period",
        required=True,
        help="2026-Q3, 2026-07, 2026, two dates: 2026-07-01/2026-09-30, or a name of the calendar",
    )
    parser.add_argument("--out", required=True, metavar="DIR", help="folder to write")
    parser.add_argument(
        "--issued", metavar="FILE", help="stock book (CSV: site_ref, month, devices_issued) to reconcile with"
    )
    parser.add_argument(
        "--previous",
        action="append",
        default=[],
        metavar="RECORD",
        help="record.json of the last audit, as audit-2026-Q2/record.json; may be given several times",
    )
    parser.add_argument(
        "--actions",
        metavar="FILE",
        help="action plan, as actions.toml (default: the file of that name beside the settings)",
    )
    _add_editions(parser)
    parser.add_argument("--json", action="store_true", help="say what was done as JSON")
    parser.add_argument(
        "--progress", action=argparse.BooleanOptionalAction, default=None, help="progress on standard error"
    )
    parser.add_argument(
        "--fail-on",
        action="append",
        choices=FAIL_ON,
        default=[],
        metavar="NAME",
        help="exit 5 when a threshold is crossed; the names stand below",
    )
    parser.epilog = "thresholds:\n" + "\n".join(f"  {name:14} {meaning}" for name, meaning in FAIL_ON.items())
    parser.set_defaults(run=do.run)


def _add_verify(commands: "argparse._SubParsersAction[_Parser]") -> None:
    """The command verify."""
    parser = _command(
        commands, "verify", "Compare an output folder with its manifest.", "iud-audit verify audit-2026-Q3"
    )
    parser.add_argument("folder", metavar="DIR", help="a folder that run or demo wrote")
    parser.set_defaults(run=do.verify)


def _add_editions(parser: _Parser) -> None:
    """The option that says for whom pages are written, and those of everything else that is."""
    parser.add_argument(
        "--edition",
        action="append",
        metavar="NAME",
        help="internal, clinician or patient; may be repeated (default: all)",
    )
    _add_writing(parser)


def _add_writing(parser: _Parser) -> None:
    """The options that say what is written besides pages, tables, workbook and record."""
    parser.add_argument(
        "--pdf",
        action="store_true",
        help="print every page to PDF beside it; needs a Chromium or Chrome (IUD_AUDIT_BROWSER may name it)",
    )
    parser.add_argument(
        "--figures", action="store_true", help="write every drawing as figures/NAME.svg, to put into a text"
    )
    parser.add_argument("--force", action="store_true", help="replace whatever the folder holds")


def _add_log(parser: _Parser) -> None:
    """The options that say what to read and how."""
    parser.add_argument(
        "log", nargs="+", metavar="LOG", help="CSV, TSV, .xlsx, Parquet or FHIR; several are read as one log"
    )
    parser.add_argument("--settings", metavar="FILE", help="TOML file with the layout and rules")
    parser.add_argument("--data-to", metavar="DATE", help="freeze, as 2026-09-30 (default: the latest visit)")
    parser.add_argument(
        "--drop-column",
        action="append",
        default=[],
        metavar="NAME",
        help="go on without this column, which may identify someone",
    )
    parser.add_argument("--key", metavar="FILE", help="replace references by keyed codes (see make-key)")
    parser.add_argument(
        "--allow-set-aside", action="store_true", help="go on although many rows cannot be used"
    )
