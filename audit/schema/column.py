"""What a column is: one frozen declaration that checks, docs and synthetic data all read."""

from dataclasses import dataclass
from typing import Literal

Kind = Literal["reference", "text", "date", "code", "flag", "integer", "number", "parity"]
Requirement = Literal["required", "one_of", "recommended", "optional", "derived"]


@dataclass(frozen=True)
class Column:
    """One column of one table.

    `minimum` and `maximum` are hard limits (a value outside them cannot be used); `plausible` is the range
    outside which a value is used and reported. `rows` names the visits the column belongs to:
    ``all``, or any of ``insertion``, ``follow_up``, ``removal``.
    """

    name: str
    meaning: str
    kind: Kind
    codes: tuple[str, ...] = ()
    unit: str = ""
    minimum: float | None = None
    maximum: float | None = None
    plausible: tuple[float, float] | None = None
    requirement: Requirement = "optional"
    rows: tuple[str, ...] = ("all",)
    section: str = ""


@dataclass(frozen=True)
class Table:
    """One table: its name, what one row is, and its columns in order."""

    name: str
    row: str
    columns: tuple[Column, ...]

    def __getitem__(self, name: str) -> Column:
        for column in self.columns:
            if column.name == name:
                return column
        raise KeyError(name)

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(column.name for column in self.columns)
