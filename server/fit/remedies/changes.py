"""The single things that may be changed in an inquiry so that a stack fits, each with its limits.

A change runs from the present value to a far end, the most that is physically or sensibly possible;
the smallest step between is looked for. The far ends are judgements of practice without a published
source unless they say otherwise.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from server.fit.candidates import Back, Front
from server.fit.remedies import demands, lines
from server.fit.remedies.matters import Change, Matter
from server.fit.requirements import Requirements


def change_of(
    matter: Matter, requirements: Requirements, front: Front | None, back: Back
) -> Change | None:
    """Return a change of the inquiry, None where there is nothing left to change."""
    maker = _MAKERS.get(matter)
    found = maker(requirements, front, back) if maker else None
    if found is None or found.now == found.far:
        return None
    return found


_MAKERS: Mapping[Matter, Callable[[Requirements, Front | None, Back], Change | None]] = {
    Matter.FORELINE_BORE: lines.foreline_bore,
    Matter.FORELINE_LENGTH: lines.foreline_length,
    Matter.LINE_BORE: lines.line_bore,
    Matter.LINE_LENGTH: lines.line_length,
    Matter.LINE_BENDS: lines.line_bends,
    Matter.ROUGH_LINE_BORE: lines.rough_line_bore,
    Matter.ROUGH_LINE_LENGTH: lines.rough_line_length,
    Matter.LEAK_RATE: demands.leak_rate,
    Matter.VENT_TIME: demands.vent_time,
    Matter.SHIFT: demands.shift,
    Matter.CYCLES: demands.cycles,
    Matter.PUMP_DOWN_TIME: demands.pump_down_time,
    Matter.PROCESS_LOAD: demands.process_load,
    Matter.PROCESS_PRESSURE: demands.process_pressure,
    Matter.TARGET: demands.target,
    Matter.BUDGET: demands.budget,
}
