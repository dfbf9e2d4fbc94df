"""The audit cycle: an earlier audit beside this one, what was decided, and whether it worked.

A figure of two audits is compared only where it counted the same thing about as completely. An action closes only
with a second measurement, made after it was carried out, of enough visits.
"""

from audit.cycle.action_file import read_actions
from audit.cycle.record import read_record
from audit.cycle.tables import audit_cycle

__all__ = ["audit_cycle", "read_actions", "read_record"]
