"""The calculation of one stack, line by line, down to inputs, formulae and sources."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

import numpy as np

from server.fit.costs import Purse
from server.fit.explain import Spot
from server.fit.results import Margin, Working
from server.fit.workings.bench import Bench
from server.fit.workings.costs import cost_lines
from server.fit.workings.course import course_lines
from server.fit.workings.foreline import crossover_lines, foreline_lines
from server.fit.workings.line import line_lines, solve_together
from server.fit.workings.loads import load_lines
from server.fit.workings.margins import margin_lines
from server.fit.workings.speed import speed_lines
from server.fit.workings.states import base_lines, process_lines
from server.fit.workings.vapour import vapour_lines

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
)


def benches_of(spots: Sequence[Spot], purse: Purse) -> list[Bench]:
    """Open up stacks that are to be shown, and solve at once what all of them will ask for.

    Parameters
    ----------
    spots : sequence of Spot
        The stacks, each in the field it was judged in.
    purse : Purse
        Prices of the inquiry's parts.
    """
    for judged in {id(spot.judged): spot.judged for spot in spots}.values():
        own = [(spot.front_row, spot.back_row) for spot in spots if spot.judged is judged]
        fronts, backs = np.array(own, dtype=np.intp).T
        for state in (judged.case.states.base, judged.case.states.process):
            if state is not None:
                state.solve_inlets(fronts, backs)
    benches = [Bench(spot, purse) for spot in spots]
    solve_together(benches)
    return benches


def workings_of(bench: Bench, margins: tuple[Margin, ...]) -> tuple[Working, ...]:
    """Return the workings of one stack, in the order of the calculation.

    Parameters
    ----------
    bench : Bench
        The stack, opened up.
    margins : tuple of Margin
        Its margins.

    Returns
    -------
    tuple of Working
        Values are the very numbers the engine judged by; sections that do not apply are left out.
    """
    lines = [working for section in _SECTIONS for working in section(bench)]
    return (*lines, *margin_lines(bench, margins))
