"""Visits into attempts, placements and follow-ups: every rule of derivation and censoring.

Time zero is the placement. One ending a spell, the earliest; on one day perforation before pregnancy before
expulsion before removal. Failed attempts never enter survival. Devices placed elsewhere count for workload
only.
"""

from audit.cohort.derive import derive_cohort

__all__ = ["derive_cohort"]
