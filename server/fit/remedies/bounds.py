"""What cannot help: a whole line done away with bounds all that can be done to it.

One evaluation then stands for several: where a margin stays below its threshold without any line at
all, neither a wider, a shorter nor a straighter one lifts it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

from server.fit.remedies.matters import Matter
from server.fit.remedies.surfaces import treatments
from server.fit.remedies.trial import Trial
from server.fit.requirements import LineRun, Requirements
from server.fit.results import MarginKey


def hopeless(matter: Matter, key: MarginKey, trial: Trial) -> bool:
    """Say whether more than a change could ever do still does not lift a margin."""
    best = _BEST.get(matter)
    if best is None:
        return False
    return not trial.under(best(trial.requirements)).passes(key)


def _without_line(asked: Requirements) -> Requirements:
    return replace(asked, line=_gone(asked.line))


def _without_rough_line(asked: Requirements) -> Requirements:
    return replace(asked, rough_line=_gone(asked.rough_line))


def _without_foreline(asked: Requirements) -> Requirements:
    return replace(asked, foreline=_gone(asked.foreline))


def _gone(run: LineRun) -> LineRun:
    return replace(run, length_m=0.0)


def _all_clean(asked: Requirements) -> Requirements:
    cleaned = asked
    for treatment in treatments(asked):
        cleaned = treatment.apply(cleaned, treatment.steps[-1])
    return cleaned


_BEST: Mapping[Matter, Callable[[Requirements], Requirements]] = {
    Matter.LINE_BORE: _without_line,
    Matter.LINE_LENGTH: _without_line,
    Matter.LINE_BENDS: _without_line,
    Matter.ROUGH_LINE_BORE: _without_rough_line,
    Matter.ROUGH_LINE_LENGTH: _without_rough_line,
    Matter.FORELINE_BORE: _without_foreline,
    Matter.FORELINE_LENGTH: _without_foreline,
    Matter.SURFACES: _all_clean,
}
