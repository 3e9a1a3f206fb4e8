"""What a stack can do at most, as the JSON API answers it."""

from __future__ import annotations

from server.fit.results import LoadLimit, MarginKey
from server.web.api_base import Number, Out


class LargestLoadOut(Out):
    """The largest gas load within some limits, leak and outgassing included."""

    throughput_pa_m3_s: Number
    process_pa_m3_s: Number
    chamber_pressure_pa: Number
    limit: LoadLimit
    margin: MarginKey | None


class ThroughputMapOut(Out):
    """Gas carried against chamber pressure; the ceiling is null where there is none."""

    pressure_pa: list[Number]
    throughput_pa_m3_s: list[Number]
    ceiling_pa_m3_s: Number
    points: list[tuple[str, Number, Number]]


class EnvelopeOut(Out):
    """What one stack can do at most; null times are never reached."""

    gases: list[str]
    largest_load: LargestLoadOut
    load_at_process_pressure: LargestLoadOut | None
    shortest_time_s: Number
    stated_time_s: Number
    lowest_pressure_pa: Number
    clean_pressure_pa: Number
    map: ThroughputMapOut
