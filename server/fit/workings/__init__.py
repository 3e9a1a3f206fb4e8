"""The calculation of one stack, line by line, down to inputs, formulae and sources."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

import numpy as np

from server.fit.costs import Purse
from server.fit.explain import Spot
from server.fit.pump_limits import compressions_left
from server.fit.results import Margin, Working
from server.fit.vapour_path import solve_carried
from server.fit.workings.bench import Bench
from server.fit.workings.costs import cost_lines
from server.fit.workings.course import course_lines, solve_surfaces
from server.fit.workings.foreline import crossover_lines, foreline_lines
from server.fit.workings.line import line_lines, solve_line_states
from server.fit.workings.loads import load_lines
from server.fit.workings.margins import margin_lines
from server.fit.workings.speed import solve_exits, speed_lines
from server.fit.workings.states import base_lines, process_lines
from server.fit.workings.vapour import solve_tolerances, vapour_lines

_SECTIONS: tuple[Callable[[Bench], Iterable[Working]], ...] = (
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
    benches = [Bench(spot, purse) for spot in spots]
    for judged in {id(spot.judged): spot.judged for spot in spots}.values():
        _solve_together([bench for bench in benches if bench.spot.judged is judged])
    return benches


def _solve_together(benches: Sequence[Bench]) -> None:
    """Solve for stacks of one field what several of them, or several of their lines, ask for."""
    judged = benches[0].spot.judged
    fronts = np.array([bench.spot.front_row for bench in benches], dtype=np.intp)
    backs = np.array([bench.spot.back_row for bench in benches], dtype=np.intp)
    for state in (judged.case.states.base, judged.case.states.process):
        if state is not None:
            state.solve_inlets(fronts, backs)
    rotors = [bench.compressing(state) for bench in benches for state in bench.settled]
    judged.memory.each(dict(item for some in rotors for item in some.items()), compressions_left)
    solve_carried([bench.spot for bench in benches])
    solve_exits(benches)
    solve_line_states(benches)
    solve_surfaces(benches)
    solve_tolerances(benches)


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
