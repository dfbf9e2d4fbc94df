"""Commands and options that say how a log is read: drafts, keys, columns left out, other formats, a stock book."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from audit.commands import DONE, NOT_WRITTEN, REFUSED, WRONG_USAGE

Command = Callable[..., Any]

LOG = """patient_ref,visit_date,visit_kind,insertion_outcome,clinician_ref,site_ref
W1,2026-07-01,insertion,placed,C1,A
W2,2026-07-02,insertion,failed,C1,A
W3,2026-07-03,insertion,placed,C2,A
"""


@pytest.fixture
def log(tmp_path: Path) -> Path:
    path = tmp_path / "visits.csv"
    path.write_text(LOG, encoding="utf-8")
    return path


def run(command: Command, log: Path, out: Path, *more: object) -> Any:
    return command("run", log, "--period", "2026-Q3", "--out", out, *more)


def test_a_draft_goes_to_standard_output_or_to_a_new_file_and_never_over_an_old_one(
    command: Command, log: Path, tmp_path: Path
) -> None:
    shown = command("draft-settings", log)
    assert shown.code == DONE
    assert 'visit_date = "visit_date"' in shown.out
    draft = tmp_path / "clinic.toml"
    assert command("draft-settings", log, "-o", draft).code == DONE
    assert draft.read_text(encoding="utf-8") == shown.out
    again = command("draft-settings", log, "-o", draft)
    assert again.code == NOT_WRITTEN
    assert "exists and is left as it is" in again.err
    assert command("check", log, "--settings", draft).code == DONE


def test_a_key_replaces_codes_and_names_itself_in_the_manifest(
    command: Command, log: Path, tmp_path: Path
) -> None:
    key, out = tmp_path / "clinic.key", tmp_path / "out"
    made = command("make-key", key)
    assert made.code == DONE
    key_id = json.loads(key.read_text())["key_id"]
    assert key_id in made.out
    assert json.loads(key.read_text())["secret"] not in made.out + made.err
    assert run(command, log, out, "--key", key).code == DONE
    assert json.loads((out / "manifest.json").read_text())["key_id"] == key_id
    clinicians = pd.read_csv(out / "tables" / "failed_insertions_by_clinician.csv")["stratum"]
    assert len(set(clinicians)) == 2
    assert not set(clinicians) & {"C1", "C2"}
    assert command("make-key", key).code == NOT_WRITTEN


def test_a_key_inside_the_output_folder_is_wrong_usage(command: Command, log: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    out.mkdir()
    assert command("make-key", out / "clinic.key").code == DONE
    said = run(command, log, out, "--key", out / "clinic.key", "--force")
    assert said.code == WRONG_USAGE
    assert "must not lie in the output folder" in said.err


def test_a_column_that_identifies_is_refused_and_can_be_left_out(command: Command, tmp_path: Path) -> None:
    log = tmp_path / "visits.csv"
    heading, *lines = LOG.splitlines()
    named = [f"{line},someone{number}@example.org" for number, line in enumerate(lines)]
    log.write_text("\n".join([f"{heading},E-mail", *named]) + "\n", encoding="utf-8")
    refused = command("check", log)
    assert refused.code == REFUSED
    assert "--drop-column" in refused.err
    assert "example.org" not in refused.err + refused.out
    assert command("check", log, "--drop-column", "E-mail").code == DONE


def test_a_workbook_gives_the_same_record_as_its_text(command: Command, log: Path, tmp_path: Path) -> None:
    workbook = tmp_path / "visits.xlsx"
    pd.read_csv(log, dtype=str).to_excel(workbook, index=False)
    assert run(command, log, tmp_path / "a").code == DONE
    assert run(command, workbook, tmp_path / "b").code == DONE
    first, second = (json.loads((tmp_path / name / "record.json").read_text()) for name in ("a", "b"))
    assert first["tables"]["failed_insertions"] == second["tables"]["failed_insertions"]


def test_a_stock_book_is_reconciled_and_a_bad_one_refused(
    command: Command, log: Path, tmp_path: Path
) -> None:
    book = tmp_path / "stock.csv"
    book.write_text("site_ref,month,devices_issued\nA,2026-07,4\n", encoding="utf-8")
    assert run(command, log, tmp_path / "out", "--issued", book).code == DONE
    table = pd.read_csv(tmp_path / "out" / "tables" / "case_ascertainment.csv")
    assert table.loc[0, ["devices_placed", "used", "not_accounted_for"]].tolist() == [2, 4, 2]
    book.write_text("site_ref,month,devices_issued\nA,July,4\n", encoding="utf-8")
    said = run(command, log, tmp_path / "other", "--issued", book)
    assert said.code == REFUSED
    assert "line 2, month: is not a month" in said.err
