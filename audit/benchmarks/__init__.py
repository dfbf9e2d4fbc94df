"""Published figures, and this service's own beside those that are like them.

Like with like only: the same outcome, measure, horizon and group of women. "No comparable figure" is an answer.
Both sides are uncertain, so the interval of the difference decides, never the published point.
"""

from audit.benchmarks.comparison import compare_with_benchmarks
from audit.benchmarks.judgement import CANNOT_TELL, COMPATIBLE, HIGHER, LOWER, NOT_COMPARABLE
from audit.benchmarks.strata import perforation_strata
from audit.schema.published import published_figures

__all__ = [
    "CANNOT_TELL",
    "COMPATIBLE",
    "HIGHER",
    "LOWER",
    "NOT_COMPARABLE",
    "compare_with_benchmarks",
    "perforation_strata",
    "published_figures",
]
