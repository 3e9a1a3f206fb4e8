"""Workings: the margins themselves."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from server.catalog.items import CapturePump
from server.fit.front_states import process_time_s
from server.fit.margin_vapour import working_time_per_day_s
from server.fit.margins import capture_life_margin_s
from server.fit.results import Margin, MarginKey, Working
from server.fit.thresholds import RULES
from server.fit.workings.bench import (
    PRACTICE,
    Bench,
    Law,
    cite,
    gas_name,
    line,
)

SECTION = "Margins"

_FORMULAS: Mapping[MarginKey, str] = {
    MarginKey.ULTIMATE: "target pressure ÷ base pressure",
    MarginKey.PROCESS_PRESSURE: "process pressure asked for ÷ chamber pressure",
    MarginKey.THROUGHPUT: "Q_limit ÷ load while the process runs",
    MarginKey.FORELINE: "p_tol ÷ p_f, the worse of base and process (or of a turbo that roughs)",
    MarginKey.INLET: "largest continuous inlet pressure ÷ p_in",
    MarginKey.CROSSOVER: "p_limit ÷ p_floor; 0 where target and process lie above p_limit",
    MarginKey.PUMP_DOWN: "time allowed ÷ pump-down time",
    MarginKey.VAPOUR: "1 ÷ the fullest of traps and pump, over the vapours: Σ ṁ_held/ṁ_trap at "
    "each trap, Σ ṁ_passes/ṁ_W at the pump; "
    "or what can be drawn from wet goods ÷ what the drying time asks for, if that is less",
    MarginKey.DUTY: "shift ÷ (t_first + (n − 1)·t_later), fewer cycles than one a day: all shifts "
    "between two ÷ t_first; or life of a capture pump ÷ life wanted, if that is worse",
    MarginKey.BACKSTREAMING: "allowed ÷ (bare pump × share that the trap passes)",
    MarginKey.FLUID: "largest boiler temperature of the fluid ÷ boiler temperature",
    MarginKey.UTILITIES: "1 where the site offers what the pumps need, else 0",
    MarginKey.COMPATIBILITY: "1 where gas, cleanliness, pumps and joints go together, else 0",
    MarginKey.BUDGET: "budget ÷ purchase price",
}


def margin_lines(bench: Bench, margins: Iterable[Margin]) -> Iterator[Working]:
    """Yield the life of a capture pump, then one line per margin."""
    front = bench.front
    if front is not None and isinstance(front.pump, CapturePump):
        law = Law(
            "t_full", "the shortest of capacity_i/Q_i,mean, process gas for its share of a day",
            "s", cite("JOUSTEN-2016"),
        )  # fmt: skip
        yield line(
            SECTION, "capture-life", f"Time until {front.pump.name} is full", law,
            _capture_inputs(bench, front.pump),
            capture_life_margin_s(front, bench.spot.judged.case),
        )  # fmt: skip
    for margin in margins:
        yield _margin_line(margin)


def _capture_inputs(bench: Bench, pump: CapturePump) -> dict[str, float | str]:
    case = bench.spot.judged.case
    share = working_time_per_day_s(case.requirements) / 86_400.0
    inputs: dict[str, float | str] = {"share of a day with process gas": share}
    for gas, flow in case.loads.base_pa_m3_s(process_time_s(case.requirements)).items():
        mean = flow + case.loads.process_pa_m3_s.get(gas, 0.0) * share
        if mean > 0.0:
            capacity = pump.capacity_pa_m3.get(gas, pump.capacity_pa_m3.get("nitrogen", 0.0))
            inputs[f"capacity({gas_name(gas)}) [Pa·m³]"] = capacity
            inputs[f"Q_mean({gas_name(gas)}) [Pa·m³/s]"] = mean
    return inputs


def _margin_line(margin: Margin) -> Working:
    rule = RULES[margin.key]
    law = Law(
        "margin", _FORMULAS[margin.key], "1",
        f"threshold: {PRACTICE} ({rule.why})",
    )  # fmt: skip
    unit = f" [{margin.unit}]" if margin.unit else ""
    inputs: dict[str, float | str] = {
        f"required{unit}": margin.required,
        f"available{unit}": margin.available,
        "threshold to pass": margin.threshold,
        "verdict": margin.verdict.value,
    }
    return line(SECTION, f"margin-{margin.key.value}", rule.title, law, inputs, margin.ratio)
