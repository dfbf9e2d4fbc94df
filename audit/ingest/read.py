"""A file in, a log of text out: nothing interpreted, nothing lost."""

import os
from collections.abc import Mapping
from pathlib import Path

from audit.errors import UnreadableFile
from audit.ingest.delimited import open_delimited
from audit.ingest.delimited_rows import read_delimited
from audit.ingest.excel import open_excel, read_excel
from audit.ingest.excel_package import MAGIC as EXCEL
from audit.ingest.fhir import open_fhir, read_fhir
from audit.ingest.fhir_entries import is_fhir
from audit.ingest.limits import refuse_large_file
from audit.ingest.parquet import MAGIC as PARQUET
from audit.ingest.parquet import open_parquet, read_parquet
from audit.ingest.raw import RawLog, Source
from audit.settings import AuditSettings


def open_source(path: str | Path, *, settings: AuditSettings | None = None) -> Source:
    """One file, opened and fingerprinted, with its headings.

    Parameters
    ----------
    path
        A CSV, TSV, semicolon- or pipe-separated file, an .xlsx workbook, Parquet, or HL7 FHIR R4 (NDJSON or a
        Bundle). The content decides, not the name.
    settings
        Which sheet of a workbook is read, and what the codes in FHIR mean; None for the defaults.

    Returns
    -------
    Source
        The SHA-256 is that of the very bytes that are parsed: the file is read once.

    Raises
    ------
    UnreadableFile
        The file does not exist, is empty, is not a table in a form we read, or is larger than a log may be
        (`audit.ingest.limits`).
    MissingColumns
        The file is FHIR and the settings map no code.
    IdentifiersFound
        The file is FHIR and names people.
    """
    where = Path(path).name
    try:
        with Path(path).open("rb") as file:
            refuse_large_file(os.fstat(file.fileno()).st_size, where=where)
            octets = file.read()
    except OSError as error:
        raise UnreadableFile(f"{where}: cannot be read ({error.strerror}). Check the path.") from None
    if octets.startswith(PARQUET):
        return open_parquet(octets, where=where)
    rules = AuditSettings() if settings is None else settings
    if octets.startswith(EXCEL):
        return open_excel(octets, where=where, layout=rules.layout)
    if is_fhir(octets):
        return open_fhir(octets, where=where, fhir=rules.fhir)
    return open_delimited(octets, where=where)


def read_rows(source: Source, columns: Mapping[str, int]) -> RawLog:
    """The rows of an opened file as text.

    Parameters
    ----------
    source
        From `open_source`.
    columns
        Our column names and the position (from 0) of the heading that feeds each.

    Returns
    -------
    RawLog

    Raises
    ------
    UnreadableFile
        The rows cannot be told apart.
    """
    readers = {"delimited": read_delimited, "excel": read_excel, "fhir": read_fhir, "parquet": read_parquet}
    return readers[source.form](source, columns)
