"""The result tables of the audit cycle."""

from collections.abc import Sequence

import pandas as pd

from audit.cycle.action_states import action_states, refuse_actions
from audit.cycle.compare import change_since, last_of
from audit.cycle.measured import figures_of, measured_now, measured_then, series
from audit.cycle.record import refuse_records
from audit.records import Action, AuditRecord, AuditResults


def audit_cycle(
    results: AuditResults, *, previous: Sequence[AuditRecord], actions: Sequence[Action] | None = None
) -> dict[str, pd.DataFrame]:
    """What an audit says of the one before, of all on record, and of what was decided.

    Parameters
    ----------
    results
        This audit.
    previous
        Records of earlier audits of the same service, in any order.
    actions
        The action plan; None where the service gave none.

    Returns
    -------
    dict of DataFrame
        ``change_since_last`` and ``series`` where there is an earlier audit, ``series`` and ``actions`` where there
        is a plan; nothing where there is neither.

    Raises
    ------
    RecordRefused
        A record is of another service or of a later period.
    ActionsError
        An action names a figure that this audit does not have.
    """
    refuse_records(previous, results)
    figures = figures_of(results.tables, actions or ())
    refuse_actions(actions or (), figures, results)
    if not previous and actions is None:
        return {}
    now = measured_now(results, figures)
    whole = series(now, previous, figures)
    tables = {"series": whole}
    last = last_of(tuple(previous))
    if last is not None:
        then = measured_then(last, figures)
        tables = {"change_since_last": change_since(now, then, results.settings.thresholds), **tables}
    if actions is not None:
        tables["actions"] = action_states(actions, whole, results)
    return tables
