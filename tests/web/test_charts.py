"""Charts: the numbers in them are those of the records; drawing is safe, stable and kept."""

from __future__ import annotations

import gzip
import json
import math
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from server.errors import NotFound
from server.fit.day_results import DayPhase, DaySpan, PumpState
from server.fit.inquiry import read_inquiry
from server.fit.results import SpeedPlot
from server.web import charts
from server.web.chart_drawer import ChartDrawer
from server.web.chart_parts import MOST_ROWS, Chart, finite, thinned
from server.web.chart_theme import Theme, themed
from server.web.chart_worker import renumbered
from server.web.day_chart import day_chart, folded
from server.web.envelope_chart import throughput_chart
from server.web.examples import EXAMPLES
from tests.builders import a_day, a_full_stack, a_pump_down, an_envelope

REQUIREMENTS = read_inquiry(EXAMPLES["mirror-coater"])


def layers(chart: Chart) -> list[Any]:
    found = chart.spec["layer"]
    assert isinstance(found, list)
    return found


@pytest.fixture
def drawer(tmp_path: Path) -> Iterator[ChartDrawer]:
    made = ChartDrawer(tmp_path / "charts")
    yield made
    made.close()


def test_a_pump_down_is_drawn_in_minutes_and_millibar() -> None:
    pump_down = a_pump_down()
    chart = charts.pump_down_chart(pump_down, REQUIREMENTS)
    band, line, _, target = layers(chart)[:4]
    values = line["data"]["values"]
    assert [v["t"] * 60 for v in values] == pytest.approx([t for t, _ in pump_down.curve])
    assert [v["p"] * 100 for v in values] == pytest.approx([p for _, p in pump_down.curve])
    assert target["data"]["values"][0]["p"] * 100 == pytest.approx(REQUIREMENTS.target_pressure_pa)
    assert all(v["low"] <= v["high"] for v in band["data"]["values"])
    assert "17 min" in chart.alt
    assert chart.rows[0] == ("0 s", "1010 mbar")


def test_the_band_encloses_the_middle_curve() -> None:
    pump_down = a_pump_down()
    band, line = layers(charts.pump_down_chart(pump_down, REQUIREMENTS))[:2]
    times = [v["t"] for v in band["data"]["values"]]
    for point in line["data"]["values"]:
        near = min(range(len(times)), key=lambda i: abs(times[i] - point["t"]))
        around = band["data"]["values"][near]
        assert around["low"] * 0.8 <= point["p"] <= around["high"] * 1.2


def test_a_target_that_is_never_reached_is_said() -> None:
    chart = charts.pump_down_chart(a_pump_down(reached=False), REQUIREMENTS)
    assert "eight cases" not in chart.caption
    assert "does not reach the target" in chart.caption


def test_a_day_is_drawn_in_hours_a_row_for_each_kind_of_span() -> None:
    day = a_day()
    chart = day_chart(day)
    (bars,) = layers(chart)
    values = bars["data"]["values"]
    assert [v["end"] * 3600 for v in values] == pytest.approx([s.end_s for s in day.spans])
    assert bars["encoding"]["y"]["sort"] == ["Warm-up", "At pressure", "Cool-down", "Night"]
    assert values[-1]["end"] == pytest.approx(24.0)
    assert len(chart.rows) == len(day.spans)
    assert chart.rows[0] == ("0 s", "15 min", "Warm-up", "warming up", "at work")
    assert "4 fit into the shift of 5 h" in chart.alt
    assert charts.stack_charts(a_full_stack(), REQUIREMENTS)[-1].title == chart.title


def test_a_table_of_a_day_shows_two_cycles_and_folds_the_rest() -> None:
    on = PumpState.WORKING
    whats = [DayPhase.ROUGHING, DayPhase.AT_PRESSURE, DayPhase.OPEN]
    spans = [
        DaySpan(what, 3600.0 * i, 3600.0 * (i + 1), on, on, "", 1 + i // 3)
        for i, what in enumerate(whats * 4)
    ]
    spans.append(DaySpan(DayPhase.NIGHT, 12 * 3600.0, 86_400.0, on, on, ""))
    rows = folded(spans)
    assert rows[:6] == tuple(spans[:6])
    assert rows[6].what is DayPhase.REPEATED
    assert (rows[6].start_s, rows[6].end_s) == (6 * 3600.0, 12 * 3600.0)
    assert rows[6].note == "cycles 3 to 4, as the second one"
    assert rows[7:] == (spans[-1],)
    assert folded(spans[:6]) == tuple(spans[:6])
    # a day that ends within its third cycle: nothing to fold
    assert folded(spans[:7]) == tuple(spans[:7])


def test_a_rough_stacks_day_has_a_dash_for_the_missing_pump() -> None:
    spans = tuple(replace(span, high_vacuum_pump=None) for span in a_day().spans)
    chart = day_chart(replace(a_day(), spans=spans, cycles_that_fit=None))
    assert {row[3] for row in chart.rows} == {"—"}
    assert "opened" in chart.caption


def test_speed_is_drawn_in_litres_a_second_with_the_working_points() -> None:
    stack = a_full_stack()
    chart = charts.speed_chart(stack.speed_plots[0], stack.states)
    lines, _, points = layers(chart)[:3]
    at_pump = [v for v in lines["data"]["values"] if v["where"] == "at the pump"]
    assert at_pump[0]["s"] == pytest.approx(stack.speed_plots[0].pump_speed_m3_s[0] * 1000)
    base = points["data"]["values"][0]
    assert base["s"] == pytest.approx(stack.states["base"].effective_speed_m3_s * 1000)
    assert "Working point at base pressure" in chart.alt


def test_the_foreline_names_the_moment_closest_to_its_limit() -> None:
    chart = charts.foreline_chart(a_pump_down())
    assert "0.310 mbar of 0.550 mbar tolerable" in chart.caption


def test_what_a_logarithmic_axis_cannot_show_is_left_out() -> None:
    plot = SpeedPlot("argon", (1.0, 10.0), (0.1, 0.1), (0.0, 0.05))
    json.dumps(charts.speed_chart(plot, {}).spec, allow_nan=False)
    bad = finite([(0.0, math.inf), (1.0, 0.0), (2.0, 5.0)])
    assert bad == [(2.0, 5.0)]


def test_tables_are_shortened_evenly_and_keep_their_ends() -> None:
    rows = thinned([(str(i),) for i in range(1000)])
    assert len(rows) == MOST_ROWS
    assert (rows[0], rows[-1]) == (("0",), ("999",))


@pytest.mark.parametrize("theme", list(Theme))
def test_a_theme_leaves_no_colour_name_behind(theme: Theme) -> None:
    for chart in charts.stack_charts(a_full_stack(), REQUIREMENTS):
        assert '"$' not in json.dumps(themed(chart.spec, theme))


def test_charts_are_drawn_once_and_kept(drawer: ChartDrawer, tmp_path: Path) -> None:
    chart = charts.stack_charts(a_full_stack(), REQUIREMENTS)[1]
    key = drawer.keep(chart.spec)
    light = drawer.svg(key, Theme.LIGHT)
    assert light.startswith(b"<svg")
    assert b"<script" not in light
    assert light != drawer.svg(key, Theme.DARK)
    # Another process finds the drawing and need not draw.
    again = ChartDrawer(tmp_path / "charts")
    assert again.svg(key, Theme.LIGHT) == light
    assert again._pool is None
    # A second drawing of the same is the same to the byte, whatever was drawn before.
    for drawing in (tmp_path / "charts").glob("*.svg"):
        drawing.unlink()
    assert drawer.svg(key, Theme.LIGHT) == light


def test_the_script_for_browsers_is_made_once_and_exports_one_name(drawer: ChartDrawer) -> None:
    script = gzip.decompress(drawer.bundle()).decode()
    assert "as vegaEmbed}" in script[-200:]
    assert drawer.bundle() == drawer.bundle()


@pytest.mark.parametrize("key", ["", "0" * 24, "../../etc/passwd", "A" * 24, "0" * 23 + "\n"])
def test_unknown_charts_are_not_found(drawer: ChartDrawer, key: str) -> None:
    with pytest.raises(NotFound):
        drawer.svg(key, Theme.LIGHT)


def test_ids_start_from_zero_and_references_follow() -> None:
    svg = '<svg><path id="clip41"/><g id="plain" clip-path="url(#clip41)"/><a id="clip57"/></svg>'
    assert renumbered(svg) == (
        '<svg><path id="clip0"/><g id="plain" clip-path="url(#clip0)"/><a id="clip1"/></svg>'
    )


def test_gas_flow_is_drawn_with_its_ceiling_and_the_working_point() -> None:
    shown = an_envelope().map
    chart = throughput_chart(shown)
    line, _, point, _ = layers(chart)
    values = line["data"]["values"]
    # 1 mbar·L/s is 0.1 Pa·m³/s
    assert [v["q"] / 10 for v in values] == pytest.approx(shown.throughput_pa_m3_s)
    assert [v["p"] * 100 for v in values] == pytest.approx(shown.pressure_pa)
    assert point["data"]["values"] == [
        {"name": "during the process", "p": pytest.approx(1e-3), "q": pytest.approx(0.4)}
    ]
    assert "carry 2.00 mbar·L/s at most" in chart.caption
    assert len(chart.rows) == len(shown.pressure_pa)
    free = throughput_chart(replace(shown, ceiling_pa_m3_s=float("inf"), points=()))
    assert "at most" not in free.caption
    assert len(layers(free)) == 2
