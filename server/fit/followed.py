"""Pump-downs of single combinations of a field that is too large to be followed as a whole."""

from __future__ import annotations

import numpy as np

from server.fit.alike import Groups
from server.fit.candidates import Field
from server.fit.case import Case
from server.fit.crossover import jet_limits_pa
from server.fit.cycle_times import Days
from server.fit.evacuation import evacuate
from server.fit.level_crossover import Crossover
from server.fit.level_rest import Rest
from server.fit.loads import AIR
from server.fit.states import HighVacuumStates
from server.physics.arrays import FloatArray, IntArray


def days_of(
    states: HighVacuumStates, crossover: Crossover, rest: Rest, chosen: tuple[IntArray, IntArray]
) -> Days:
    """Return the pump-downs and days of chosen combinations, in a field of their own.

    Each front and back that is chosen stands in it once, in rising order.

    Parameters
    ----------
    states : HighVacuumStates
        All fronts with the backs of a portion.
    crossover : Crossover
        Where they may take over.
    rest : Rest
        Their pressures without load.
    chosen : pair of int arrays, shape (n,)
        Front and back of each combination.
    """
    rows, columns = chosen
    fronts, row = np.unique(rows, return_inverse=True)
    backs, column = np.unique(columns, return_inverse=True)
    carried, limit = _limits(states, crossover, chosen)
    some = HighVacuumStates(
        states.alone.only(fronts),
        [states.backs[back] for back in backs],
        states.backing.only(backs),
    )

    def spread(values: FloatArray) -> FloatArray:
        found = np.full((len(fronts), len(backs)), np.nan)
        found[row, column] = values
        return found

    known = some.with_limits(spread(carried), spread(limit), spread(rest.with_backs_pa(*chosen)))
    field = Field(tuple(known.fronts), tuple(known.backs))
    nothing = np.zeros((1, 1))
    case = Case(field, states.loads, states.requirements, known, nothing, nothing.astype(np.bool_))
    found = evacuate(
        field.fronts, field.backs, known, states.loads, states.requirements, (row, column)
    )
    return Days(case, found, (row, column))


def _limits(
    states: HighVacuumStates, crossover: Crossover, chosen: tuple[IntArray, IntArray]
) -> tuple[FloatArray, FloatArray]:
    """Air that combinations carry, and their highest crossover pressure; solved once for a pump."""
    pairs = Groups.by_number(crossover.pump_of[chosen[0]], chosen[1])
    pump, back = crossover.pump_of[chosen[0]][pairs.first], chosen[1][pairs.first]
    outlet, own = crossover.outlet_rows[pump], crossover.limits.of(pump)
    carried, piped = own.largest_pa_m3_s.copy(), np.flatnonzero(outlet >= 0)
    if piped.size:
        carried[piped] = states.still.largest_of_each_pa_m3_s(
            {AIR: 1.0},
            (outlet[piped], back[piped]),
            (own.largest_pa_m3_s[piped], own.no_load_pa[piped], own.full_load_pa[piped]),
        )
    limit, jets = crossover.own_limit_pa[pump], np.flatnonzero(crossover.is_jet[pump])
    volume = states.loads.volume_m3
    limit[jets] = jet_limits_pa(states.backing, volume, back[jets], carried[jets], limit[jets])
    return carried[pairs.of], limit[pairs.of]
