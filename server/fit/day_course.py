"""What a working day is made of: the start from cold, its cycles, what is left of the shift."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from server.catalog.items import CAPTURE_KINDS, PumpKind, TurboPump
from server.fit.day_results import DayPhase, DaySpan, PumpState
from server.fit.explain import duration
from server.fit.habits import Habits
from server.fit.requirements import Duty
from server.fit.results import PhaseSpan
from server.fit.running import DAY_S

ON, READY, OFF = PumpState.WORKING, PumpState.STANDING_BY, PumpState.OFF
MOST_CYCLES_SHOWN = 12
"""Of more cycles the first two are shown one by one, the rest as one span that says so."""


@dataclass(frozen=True)
class Segment:
    """A piece of the day; a repeated one holds the pieces it is made of."""

    what: DayPhase
    seconds: float
    high_vacuum: PumpState
    backing: PumpState
    note: str = ""
    inner: tuple[Segment, ...] = ()
    times: float = 1.0


def cycle(
    phases: Sequence[PhaseSpan], habits: Habits, duty: Duty, rough_s: float
) -> tuple[Segment, ...]:
    """Return one cycle with the pumps ready: pump-down, time at pressure, chamber open.

    Parameters
    ----------
    phases : sequence of PhaseSpan
        Of its pump-down: roughing first.
    habits : Habits
        How the pumps are worked.
    duty : Duty
        Times of the cycle.
    rough_s : float
        Roughing with its pauses. [s]
    """
    working = ON if habits.front is not None else OFF
    found = [Segment(DayPhase.ROUGHING, rough_s, habits.idle, ON, phases[0].note)]
    found += [_taking_over(phase, habits) for phase in phases[1:-1]]
    if len(phases) > 1:
        last = phases[-1]
        found.append(
            Segment(
                DayPhase.HIGH_VACUUM, last.end_s - last.start_s, working, habits.behind, last.note
            )
        )
    # a rough stack's pump works on at pressure
    behind = ON if habits.front is None else habits.behind
    found.append(Segment(DayPhase.AT_PRESSURE, duty.time_at_pressure_s, working, behind))
    opened = _OPEN
    if habits.front is not None and isinstance(habits.front.pump, TurboPump):
        opened += "; the rotor, vented with it, comes to rest"
    found.append(Segment(DayPhase.OPEN, duty.vent_time_s, habits.idle, habits.waiting, opened))
    return tuple(piece for piece in found if piece.seconds > 0.0)


_OPEN = "vented, unloaded and loaded"


def _taking_over(phase: PhaseSpan, habits: Habits) -> Segment:
    """Return what lies between roughing and high vacuum: a run-up, or the burst held back."""
    state = ON if habits.front is not None else OFF
    if habits.front is not None and isinstance(habits.front.pump, TurboPump):
        state = PumpState.WARMING
    elif habits.front is not None and habits.front.pump.kind in CAPTURE_KINDS:
        state = READY
    seconds = phase.end_s - phase.start_s
    return Segment(DayPhase.TAKE_OVER, seconds, state, ON, f"{phase.name}: {phase.note}")


def from_cold(first: tuple[Segment, ...], habits: Habits, foreline_s: float) -> tuple[Segment, ...]:
    """Return the first cycle with a start from cold: warm-up and roughing side by side.

    The foreline is pumped first and the heater goes on; roughing begins so that it ends as the
    pump is hot, and until then the backing pump takes off what the warming fluid gives off.

    Parameters
    ----------
    first : tuple of Segment
        The cycle with the pumps ready, roughing first.
    habits : Habits
        With the time of warming up; pumps that need none are returned as they came.
    foreline_s : float
        How long the foreline takes to be pumped. [s]
    """
    if habits.warm_up_s <= 0.0:
        return first
    rough, warm = first[0].seconds, habits.warm_up_s
    beside = min(rough, warm)
    pieces = (
        Segment(DayPhase.FORELINE, foreline_s, OFF, ON, "cooling on, backing pump on"),
        Segment(DayPhase.WARM_UP, warm - beside, PumpState.WARMING, ON, "heater on"),
        Segment(DayPhase.ROUGHING, beside, PumpState.WARMING, ON, "while the pump warms up"),
        Segment(DayPhase.ROUGHING, rough - beside, READY, ON, "the pump is hot"),
    )
    return (*(piece for piece in pieces if piece.seconds > 0.0), *first[1:])


def length_s(segments: Sequence[Segment]) -> float:
    """Return how long segments take together. [s]."""
    return sum(segment.seconds for segment in segments)


def work_of(
    first: tuple[Segment, ...], later: tuple[Segment, ...], wanted: int
) -> tuple[Segment, ...]:
    """Return the day's cycles one after the other, cut off after 24 h.

    Parameters
    ----------
    first, later : tuples of Segment
        The first cycle and each of the others.
    wanted : int
        How many cycles a day. [-]
    """
    if wanted < 1:
        return ()
    if wanted <= MOST_CYCLES_SHOWN:
        return tuple(_cut((*first, *later * (wanted - 1))))
    each = length_s(later)
    room = max(0.0, DAY_S - length_s(first) - each)
    rest = min(float(wanted - 2), room / each)
    note = f"cycles 3 to {2 + rest:.0f}, {duration(each)} each"
    longest = max(later, key=lambda piece: piece.seconds)
    repeated = Segment(
        DayPhase.REPEATED, each * rest, longest.high_vacuum, longest.backing, note, later, rest
    )
    return tuple(_cut((*first, *later, *([repeated] if rest > 0.0 else []))))


def _cut(segments: Sequence[Segment]) -> Iterator[Segment]:
    """Leave out what lies beyond 24 h."""
    clock = 0.0
    for piece in segments:
        left = DAY_S - clock
        if left <= 0.0:
            return
        if piece.seconds <= left:
            yield piece
        else:
            yield _shortened(piece, left)
        clock += piece.seconds


def _shortened(piece: Segment, seconds: float) -> Segment:
    note = f"{piece.note}; goes on the next day" if piece.note else "goes on the next day"
    times = piece.times * seconds / piece.seconds
    return Segment(piece.what, seconds, piece.high_vacuum, piece.backing, note, piece.inner, times)


def spans_of(segments: Sequence[Segment], *, rough: bool) -> tuple[DaySpan, ...]:
    """Return segments with their clock.

    Parameters
    ----------
    segments : sequence of Segment
        In order.
    rough : bool
        A stack without a high-vacuum pump.
    """
    clock, worked, spans = 0.0, 0, []
    for piece in segments:
        state, end = None if rough else piece.high_vacuum, clock + piece.seconds
        cycle_of = worked if piece.what is DayPhase.OPEN else worked + 1
        number = 0 if piece.what in _OUTSIDE else cycle_of
        spans.append(DaySpan(piece.what, clock, end, state, piece.backing, piece.note, number))
        worked += piece.what is DayPhase.AT_PRESSURE
        clock = end
    return tuple(spans)


_OUTSIDE = frozenset({DayPhase.READY, DayPhase.COOL_DOWN, DayPhase.NIGHT})


def seconds_by_state(segments: Sequence[Segment], *, backing: bool) -> dict[PumpState, float]:
    """Return how long the backing pump, or else the high-vacuum pump, is in each state. [s]."""
    found = dict.fromkeys(PumpState, 0.0)
    for piece in segments:
        if piece.inner:
            for state, seconds in seconds_by_state(piece.inner, backing=backing).items():
                found[state] += seconds * piece.times
        else:
            found[piece.backing if backing else piece.high_vacuum] += piece.seconds
    return found


def cold_start_s(habits: Habits, rough_s: float, rest_s: float, foreline_s: float) -> float:
    """Return the time from everything off to the target: warm-up beside roughing where it can be.

    A sputter-ion pump is started at the end of roughing, not beside it.

    Parameters
    ----------
    habits : Habits
        How the pumps are worked.
    rough_s : float
        Roughing with its pauses. [s]
    rest_s : float
        From the end of roughing to the target. [s]
    foreline_s : float
        How long the foreline takes to be pumped first. [s]
    """
    if habits.front is not None and habits.front.pump.kind is PumpKind.SPUTTER_ION:
        return rough_s + habits.warm_up_s + rest_s
    return foreline_s + max(rough_s, habits.warm_up_s) + rest_s
