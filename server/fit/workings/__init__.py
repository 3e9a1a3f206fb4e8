"""The calculation of one stack, line by line, down to inputs, formulae and sources."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from server.catalog.items import Catalog
from server.fit.evaluation import Judged
from server.fit.explain import Spot
from server.fit.results import Working
from server.fit.workings.bench import Bench
from server.fit.workings.course import course_lines
from server.fit.workings.foreline import crossover_lines, foreline_lines
from server.fit.workings.line import line_lines
from server.fit.workings.loads import load_lines
from server.fit.workings.rest import cost_lines, margin_lines, vapour_lines
from server.fit.workings.speed import speed_lines
from server.fit.workings.states import base_lines, process_lines

_SECTIONS: tuple[Callable[[Bench], Iterator[Working]], ...] = (
    load_lines,
    line_lines,
    speed_lines,
    base_lines,
    process_lines,
    foreline_lines,
    crossover_lines,
    course_lines,
    vapour_lines,
    cost_lines,
    margin_lines,
)


def workings_of(
    judged: Judged, front_row: int, back_row: int, catalog: Catalog
) -> tuple[Working, ...]:
    """Return the workings of one stack, in the order of the calculation.

    Parameters
    ----------
    judged : Judged
        The field the stack stands in, with all its numbers.
    front_row, back_row : int
        Its place in the field. [-]
    catalog : Catalog
        The catalogue the field was judged with.

    Returns
    -------
    tuple of Working
        Values are the very numbers the engine judged by; sections that do not apply are left out.
    """
    bench = Bench(Spot(judged, front_row, back_row), catalog)
    return tuple(working for section in _SECTIONS for working in section(bench))
