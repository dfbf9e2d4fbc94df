"""What the quality officer checks first: the way from a row of the log to a figure, and every figure counted."""

import re
from collections import Counter
from collections.abc import Callable
from itertools import pairwise

from audit.records import AuditResults
from reports.choosing import rows
from reports.sections.every_figure import every_figure_section
from reports.sections.flow import flow_blocks, flow_steps
from reports.sections.methods import methods_section
from reports.sections.section import Folded

MakeResults = Callable[..., AuditResults]


def test_each_step_is_the_one_before_less_what_it_leaves_out(demo_results: AuditResults) -> None:
    steps = flow_steps(demo_results)
    assert [step.start for step in steps] == [True, False, True, False, False, False, False]
    for before, step in pairwise(steps):
        if not step.start:
            assert step.n == before.n - sum(n for _, n in step.left_out)
    assert steps[0].n == demo_results.sources[0].rows
    assert all(step.n > 0 for step in steps)


def test_without_a_log_there_is_no_way_to_draw(make_results: MakeResults) -> None:
    assert flow_blocks(make_results()) == []
    assert every_figure_section(make_results()).heading == "No figure can be given"


def _lines(results: AuditResults, summary: str) -> list[list[str]]:
    """The cells of the rows of one folded table."""
    folded = [block for block in every_figure_section(results).blocks if isinstance(block, Folded)]
    (found,) = [block.table for block in folded if block.summary == summary]
    return [
        [re.sub("<[^>]+>", "", cell) for cell in re.findall("<t[hd][^>]*>(.*?)</t[hd]>", line)]
        for line in re.findall("<tr>(.*?)</tr>", found.split("<tbody>")[1])
    ]


def test_every_proportion_of_the_whole_service_stands_with_its_counts(demo_results: AuditResults) -> None:
    printed = _lines(demo_results, "Every proportion")
    told = Counter((line[-1], line[1], line[2]) for line in printed)
    for name in ("failed_insertions", "vasovagal_by_parity", "outcome_known", "process_of_care"):
        held = Counter(
            (f"{name}.csv", f"{row['events']:,}", f"{row['n']:,}")
            for row in rows(demo_results, name, by="overall")
        )
        assert held
        assert held <= told
    assert len({line[0] for line in printed}) == len(printed)


def test_rates_and_incidences_are_told_apart_by_their_names_alone(demo_results: AuditResults) -> None:
    for summary in ("Every rate per 100 woman-years", "Every incidence at 12 months"):
        names = [line[0] for line in _lines(demo_results, summary)]
        assert names
        assert len(set(names)) == len(names)


def test_a_rule_that_the_service_changed_stands_beside_what_holds_where_none_is_set(
    demo_results: AuditResults,
) -> None:
    table = str(next(block.table for block in methods_section(demo_results).blocks if block.kind == "table"))
    cells = [re.sub("<[^>]+>", "|", line) for line in re.findall("<tr>(.*?)</tr>", table)]
    margins = next(line for line in cells if "Margins set" in line)
    assert "Failed insertion 2.0 points" in margins
    assert "none, so no published figure can be called compatible" in margins
    assert any("Curves stop below" in line and line.count("|the same|") == 1 for line in cells)
