"""The published figures: those that come with the package and those that a service adds."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from audit.schema.published import DEFAULTS, published_figures
from audit.settings import AuditSettings
from audit.statistics.proportions import proportion_interval
from audit.statistics.rates import rate_interval

Published = Mapping[str, Any]

_Z95 = 1.959963984540054


def figures_for(settings: AuditSettings) -> tuple[Published, ...]:
    """The library's figures, and after them the service's own."""
    own = tuple({**DEFAULTS, **entry} for entry in settings.benchmarks)
    return (*published_figures(), *own)


def published_limits(published: Published) -> tuple[float, float, str]:
    """Limits of a published figure: printed, else from counts or an error that were read, else none."""
    if "ci_lower" in published:
        return float(published["ci_lower"]), float(published["ci_upper"]), "printed"
    if (counts := counts_of(published)) is not None:
        limits = rate_interval(*counts) if published["measure"] == "rate" else proportion_interval(*counts)
        return float(limits[0]), float(limits[1]), "computed from its counts"
    if "standard_error" in published:
        reach = _Z95 * float(published["standard_error"])
        return (
            max(published["estimate"] - reach, 0.0),
            published["estimate"] + reach,
            "from its standard error",
        )
    return np.nan, np.nan, "not available"


def counts_of(published: Published) -> tuple[int, float] | None:
    """Events and what they are out of, where both were read; None otherwise."""
    of = {"proportion": "n", "rate": "woman_years"}.get(published["measure"], "")
    if published.get("counts_source") != "read" or "events" not in published or of not in published:
        return None
    return published["events"], published[of]


def identifier_of(published: Published) -> str:
    """DOI, PMID, address or other mark by which the source is found."""
    for name, label in (("doi", "doi "), ("pmid", "PMID "), ("url", ""), ("identifier", "")):
        if name in published:
            return f"{label}{published[name]}"
    return ""
