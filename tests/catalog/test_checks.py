"""Breaches of physics and sense: each is refused with file, row, column and reason."""

from __future__ import annotations

import pytest

from server.catalog.check_curves import throat_limit_m3_s
from server.catalog.items import Pump, TurboPump, VapourPump
from server.catalog.tables import build_catalog
from tests.catalog.tables_under_test import (
    Files,
    as_bytes,
    cells,
    changed,
    faults_of,
    row_of,
    small_files,
    without_rows,
)

VAPOUR, TURBO, CAPTURE = "pumps_vapour.csv", "pumps_turbo.csv", "pumps_capture.csv"
BACKING, BOOSTER, PRICES = "pumps_backing.csv", "pumps_booster.csv", "price_list.csv"
POINTS, LINE, TRAPS = "speed_points.csv", "line_parts.csv", "traps.csv"
GAS = "gas_limits.csv"
VJ, HIGH = "VAPOURJET-050-A", "VAPOURJET-050-A-HIGHLOAD"

# Each of these cells alone makes the small catalogue fail at that very cell.
BREACHES = [
    # Kinetic theory: 19.63 cm² × 11.77 L/s per cm² = 231 L/s of nitrogen into a bore of 50 mm.
    (POINTS, VJ, "speed", "240 L/s", "A·v̄/4"),
    (POINTS, VJ, "speed", "0 L/s", "above zero"),
    (POINTS, VJ, "gas", "phlogiston", "Unknown gas"),
    (PRICES, "VANE2-0090", "price", "0", "must be above zero"),
    (PRICES, "VANE2-0090", "cost_price", "2140.01", "below its cost"),
    (VAPOUR, VJ, "tolerable_foreline_full_load", "0.63 mbar", "above that without load"),
    (VAPOUR, VJ, "largest_throughput", "0.6 mbar*L/s", "25 % apart"),
    (VAPOUR, VJ, "charge_cold_mark", "", "must not be empty"),
    (VAPOUR, VJ, "charge_hot_mark", "", "must not be empty"),
    (VAPOUR, VJ, "warm_up", "0 min", "above zero"),
    (VAPOUR, VJ, "vent_below", "220 degC", "well below the boiler"),
    (VAPOUR, VJ, "largest_inlet", "", "largest continuous inlet"),
    (VAPOUR, VJ, "largest_inlet", "0.6 mbar", "below the tolerable foreline"),
    (VAPOUR, VJ, "knee", "0.02 mbar", "above the largest inlet"),
    (VAPOUR, VJ, "kind", "scroll", "does not belong in this table"),
    (VAPOUR, VJ, "cooling_water", "1 L/min", "Only a water-cooled pump"),
    (VAPOUR, VJ, "mains_voltages", "4000", "from 12 to 1000 V"),
    (VAPOUR, VJ, "phases", "2", "1 or 3 phases"),
    (VAPOUR, VJ, "fluid_kinds", "polyphenyl_ether", "No fluid of this catalogue fits"),
    (VAPOUR, VJ, "outlet", "", "Only cryo- and sputter-ion"),
    (VAPOUR, VJ, "mass", "0 kg", "mass must be above zero"),
    (VAPOUR, HIGH, "variant_of", "VAPOURJET-051-A", "not an item"),
    (VAPOUR, HIGH, "variant_of", "TURBO-065-IK", "not a standard vapour pump"),
    (VAPOUR, HIGH, "variant_of", HIGH, "not a standard vapour pump"),
    (VAPOUR, HIGH, "needs_heat_stable_fluid", "no", "heat-stable fluids only"),
    (VAPOUR, HIGH, "prepared_for", "dragons", "is not one of"),
    (TURBO, "TURBO-065-IK", "run_up", "0 s", "above zero"),
    (CAPTURE, "CRYO-200", "regeneration", "0 h", "above zero"),
    (CAPTURE, "CRYO-200", "cooling_water", "", "needs a flow of cooling water"),
    (CAPTURE, "CRYO-200", "largest_inlet", "1e-10 mbar", "above the ultimate"),
    (BACKING, "VANE2-0090", "oil_charge", "0 mL", "needs an oil charge"),
    (BACKING, "VANE2-0090", "oil_kinds", "polyphenyl_ether", "No oil of this catalogue fits"),
    (BACKING, "SCROLL-0060", "oil_charge", "100 mL", "dry pump"),
    (BACKING, "SCROLL-0060", "exhaust_valve", "900 mbar", "against the atmosphere"),
    (BACKING, "SCROLL-0060", "ultimate_ballast", "0.001 mbar", "at least as high"),
    (BACKING, "SCROLL-0060", "ultimate", "1100 mbar", "below atmospheric"),
    (BOOSTER, "ROOTS-0150", "displacement", "2000 m3/h", "molecules carry"),
    (CAPTURE, "CRYO-200", "burst_pa_m3", "0", "above zero"),
    (CAPTURE, "IONPUMP-020-CF40", "burst_pa_m3", "5", "Only a cryopump"),
    (BACKING, "VANE2-0090", "largest_vapour", "5 g/h", "gas ballast sets the limit"),
    (BACKING, "SCROLL-0060", "largest_vapour", "0 g/h", "above zero"),
    # by hand: 6 m³/h of steam of 2339 Pa at 20 °C, 17.3 g/m³, are 104 g/h
    (BACKING, "SCROLL-0060", "largest_vapour", "150 g/h", "saturated water vapour"),
    (GAS, "TURBO-065-IK", "gas", "phlogiston", "Unknown gas"),
    (GAS, "TURBO-065-IK", "gas", "nitrogen", "in the row of TURBO-065-IK itself"),
    (GAS, "TURBO-065-IK", "largest_throughput", "0 mbar*L/s", "above zero"),
    (GAS, "TURBO-065-IK", "largest_throughput", "1.1 mbar*L/s", "heated more"),
    (GAS, "TURBO-065-IK", "tolerable_foreline_no_load", "1 mbar", "no such limit"),
    (GAS, "TURBO-065-IK", "sku", "SCROLL-0060", "is not a vapour pump or a turbomolecular"),
    (GAS, VJ, "tolerable_foreline_no_load", "0.7 mbar", "no better than"),
    (GAS, VJ, "largest_throughput", "0.1 mbar*L/s", "no such limit"),
    ("compression_booster.csv", "ROOTS-0150", "gas", "phlogiston", "Unknown gas"),
    (BOOSTER, "ROOTS-0150", "largest_difference", "0 mbar", "above zero"),
    ("compression.csv", "TURBO-065-IK", "compression", "1", "above 1"),
    ("compression.csv", "TURBO-065-IK", "gas", "phlogiston", "Unknown gas"),
    ("compression_booster.csv", "ROOTS-0150", "compression", "0", "above 1"),
    ("compression_booster.csv", "ROOTS-0150", "pressure", "0 mbar", "must rise"),
    ("capacity.csv", "CRYO-200", "gas", "phlogiston", "Unknown gas"),
    ("capacity.csv", "CRYO-200", "gas", "xenon", "no speed for xenon"),
    ("capacity.csv", "CRYO-200", "capacity_pa_m3", "0", "above zero"),
    ("supplied_parts.csv", VJ, "quantity", "0", "At least one piece"),
    ("supplied_parts.csv", VJ, "sku", "GAUGE-PIRANI-KF16", "is not a pump"),
    ("supplied_parts.csv", VJ, "sku", "NOWHERE", "not an item"),
    ("fluids.csv", "FLUID-PENTAPHENYL-70ML", "container", "0 mL", "above zero"),
    ("fluids.csv", "FLUID-PENTAPHENYL-70ML", "vapour_pressure_a", "30", "not a vacuum fluid"),
    ("fluids.csv", "FLUID-PENTAPHENYL-250ML", "vapour_pressure_a", "14", "same grade"),
    ("fluids.csv", "FLUID-PENTAPHENYL-250ML", "density_kg_m3", "1000", "same grade"),
    (TRAPS, "BAFFLE-WATER-KF50", "outlet", "KF 40", "same flange at both ends"),
    (TRAPS, "BAFFLE-WATER-KF50", "molecular_conductance", "232 L/s", "mere hole"),
    (TRAPS, "BAFFLE-WATER-KF50", "backstreaming_factor", "1.5", "A fraction"),
    (TRAPS, "BAFFLE-WATER-KF50", "place", "foreline", "does not stand in the foreline"),
    (TRAPS, "TRAP-NITROGEN-KF50", "nitrogen_use", "", "uses nitrogen"),
    ("valves.csv", "GATE-HAND-KF50", "molecular_conductance", "240 L/s", "mere hole"),
    ("valves.csv", "GATE-HAND-KF50", "equivalent_bore", "0 mm", "above zero"),
    ("valves.csv", "GATE-HAND-KF50", "flange", "KF 32", "No joint at KF 32 can be closed"),
    ("gauges.csv", "GAUGE-PIRANI-KF16", "highest", "1e-5 mbar", "lower to a higher"),
    ("interlocks.csv", "INTERLOCK-FLOW-AIR", "cooling", "none", "names the medium"),
    ("interlocks.csv", "INTERLOCK-TEMPERATURE-BODY", "cooling", "air", "names the medium"),
    (LINE, "TUBE-KF25-85", "flange_b", "", "has two flanges"),
    (LINE, "TUBE-KF25-85", "length", "", "above zero"),
    (LINE, "BLANK-KF25", "flange_b", "KF 25", "one flange size only"),
    (LINE, "CLAMP-KF25", "pack", "0", "at least one piece"),
    (LINE, "CLAMP-KF25", "shape", "gasket", "does not close a KF flange"),
    (LINE, "REDUCER-KF40-KF25", "flange_b", "KF 40", "another size"),
    (LINE, "ADAPTOR-IK63-KF40", "flange_b", "ISO-K 200", "another flange system"),
    ("filters.csv", "FILTER-MIST-KF25", "element_sku", "SORBENT-KF25", "not a filter element"),
    ("filters.csv", "FILTER-MIST-KF25", "element_sku", "NOTHING", "not a filter element"),
    ("filters.csv", "FILTER-MIST-KF25", "element_hours", "0", "above zero"),
    ("spares.csv", "SORBENT-KF25", "fits", "TRAP-SORPTION-KF99", "not an item"),
    ("spares.csv", "SORBENT-KF25", "every_hours", "0", "above zero"),
    ("cleaning.csv", "CLEAN-ACETONE-1L", "un_number", "1090", "written as UN 1090"),
    ("cleaning.csv", "CLEAN-ACETONE-1L", "hazard", "", "hazards in words"),
    ("cleaning.csv", "CLEAN-WIPES", "sku", "CLEAN/WIPES", "no row in price_list"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("name", "sku", "column", "value", "reason"),
    BREACHES,
    ids=[f"{sku}-{column}-{value[:12]}" for _, sku, column, value, _ in BREACHES],
)
def test_a_breach_is_refused_at_its_cell(
    name: str, sku: str, column: str, value: str, reason: str
) -> None:
    row = row_of(small_files(), name, sku)
    faults = faults_of(changed(small_files(), name, row, column, value))
    told = {(f.file, f.row, f.column) for f in faults if reason in f.reason}
    assert (name, row, column) in told, faults


# The cell that is changed makes another one of the same row impossible.
@pytest.mark.parametrize(
    ("name", "sku", "column", "value", "told_at", "reason"),
    [
        (VAPOUR, VJ, "boiler", "300 degC", "fluid_kinds", "No fluid of this catalogue fits"),
        (VAPOUR, HIGH, "throat", "49 mm", "variant_of", "must be those of"),
        (GAS, "TURBO-065-IK", "largest_throughput", "", "gas", "states no limit"),
        (
            GAS,
            VJ,
            "tolerable_foreline_no_load",
            "0.4 mbar",
            "tolerable_foreline_full_load",
            "above",
        ),
        (GAS, VJ, "tolerable_foreline_no_load", "", "tolerable_foreline_no_load", "both values"),
        (GAS, VJ, "tolerable_foreline_full_load", "", "tolerable_foreline_full_load", "both val"),
        ("fluids.csv", "FLUID-PENTAPHENYL-70ML", "service", "sealed", "kind", "No pump of this"),
        ("cleaning.csv", "CLEAN-WIPES", "pieces", "0", "content", "by content or by pieces"),
    ],
)
def test_a_breach_between_two_cells_is_refused(
    name: str, sku: str, column: str, value: str, told_at: str, reason: str
) -> None:
    row = row_of(small_files(), name, sku)
    faults = faults_of(changed(small_files(), name, row, column, value))
    assert (name, row, told_at) in {(f.file, f.row, f.column) for f in faults if reason in f.reason}


def test_two_compressions_for_one_gas_are_refused_at_the_second() -> None:
    name = "compression.csv"
    row = row_of(small_files(), name, "TURBO-065-IK")
    faults = faults_of(changed(small_files(), name, row + 1, "gas", "nitrogen"))
    assert [f.column for f in faults if (f.file, f.row) == (name, row + 1)] == ["gas"]


def test_two_limits_for_one_gas_are_refused_at_the_second() -> None:
    row = row_of(small_files(), GAS, VJ)
    faults = faults_of(changed(small_files(), GAS, row + 1, "gas", "helium"))
    assert [(f.row, f.column) for f in faults if f.file == GAS] == [(row + 1, "gas")]


def test_a_light_gas_is_held_back_no_better_by_a_rotor_either() -> None:
    row = row_of(small_files(), GAS, "TURBO-065-IK", 1)
    faults = faults_of(changed(small_files(), GAS, row, "tolerable_foreline", "15 mbar"))
    assert [(f.row, f.column) for f in faults] == [(row, "tolerable_foreline")]


def test_a_gas_of_a_booster_has_as_many_points_as_air() -> None:
    name = "compression_booster.csv"
    last = row_of(small_files(), name, "ROOTS-0150", -1)
    faults = faults_of(changed(small_files(), name, last, "gas", "methane"))
    assert [(f.file, f.column) for f in faults] == [(BOOSTER, "sku")]
    assert "1 rows for methane" in faults[0].reason


def test_a_booster_without_air_is_refused() -> None:
    files = without_rows(small_files(), "compression_booster.csv", lambda row: row["gas"] == "air")
    assert [(f.file, f.column) for f in faults_of(files)] == [(BOOSTER, "sku")]


def test_the_small_catalogue_itself_is_sound() -> None:
    catalog = build_catalog(small_files())
    assert len(catalog.of_type(Pump)) == 8


# O'Hanlon 2003, from memory: 11.77 L/s per cm² of nitrogen at 20 °C; the others by √(28.0134/M).
@pytest.mark.parametrize(
    ("gas", "litre_s_cm2"),
    [("nitrogen", 11.77), ("air", 11.57), ("hydrogen", 43.87), ("helium", 31.13)],
)
def test_the_throat_limit_is_that_of_molecules(gas: str, litre_s_cm2: float) -> None:
    pump = build_catalog(small_files()).get(VJ, VapourPump)
    limit = throat_limit_m3_s(pump, gas)
    assert limit * 1e3 / 19.635 == pytest.approx(litre_s_cm2, rel=2e-3)


def test_pressures_out_of_order_are_refused_at_the_later_row() -> None:
    files = small_files()
    third = row_of(files, POINTS, "TURBO-065-IK", 2)
    faults = faults_of(changed(files, POINTS, third, "pressure", "1e-8 mbar"))
    assert [(f.file, f.row, f.column) for f in faults] == [(POINTS, third, "pressure")]


def test_fewer_than_eight_points_are_refused() -> None:
    kept = iter(range(100))
    files = without_rows(
        small_files(),
        POINTS,
        lambda row: row["sku"] == "TURBO-065-IK" and row["gas"] == "helium" and next(kept) > 6,
    )
    faults = faults_of(files)
    assert len(faults) == 1
    assert "7 points for helium" in faults[0].reason


def test_a_gas_given_twice_is_refused() -> None:
    header, *rows = cells(small_files()[POINTS])
    argon = [row for row in rows if row[0] == "TURBO-065-IK" and row[1] == "argon"]
    faults = faults_of({**small_files(), POINTS: as_bytes([header, *rows, *argon])})
    assert (POINTS, len(rows) + 2, "gas") in {(f.file, f.row, f.column) for f in faults}


def test_a_pump_without_any_curve_is_refused() -> None:
    files = without_rows(small_files(), POINTS, lambda row: row["sku"] == "SCROLL-0060")
    (fault,) = faults_of(files)
    assert (fault.file, fault.column) == (BACKING, "sku")
    assert "air or nitrogen" in fault.reason


def test_a_backing_pump_starts_at_atmosphere() -> None:
    files = small_files()
    air = [
        number
        for number, row in enumerate(cells(files[POINTS]), start=1)
        if row[:2] == ["SCROLL-0060", "air"] and row[4] == "no"
    ]
    faults = faults_of(changed(files, POINTS, air[-1], "pressure", "850 mbar"))
    assert [(f.row, f.column) for f in faults] == [(air[-1], "pressure")]
    assert "starts at atmospheric pressure" in faults[0].reason


def test_a_booster_has_no_speed_points() -> None:
    rows = cells(small_files()[POINTS])
    rows.append(["ROOTS-0150", "air", "1 mbar", "100 m3/h", "no"])
    faults = faults_of({**small_files(), POINTS: as_bytes(rows)})
    assert [(f.file, f.row, f.column) for f in faults] == [(POINTS, len(rows), "sku")]


def test_points_with_ballast_belong_to_pumps_with_ballast() -> None:
    row = row_of(small_files(), BACKING, "SCROLL-0060")
    files = changed(small_files(), BACKING, row, "ballast", "")
    files = changed(files, BACKING, row, "ultimate_ballast", "")
    (fault,) = faults_of(files)
    assert (fault.file, fault.column) == (POINTS, "with_ballast")


def test_a_turbomolecular_pump_needs_a_compression_for_every_gas() -> None:
    files = without_rows(small_files(), "compression.csv", lambda row: row["gas"] == "hydrogen")
    (fault,) = faults_of(files)
    assert (fault.file, fault.column) == (TURBO, "sku")
    assert "hydrogen" in fault.reason


def test_a_capture_pump_needs_a_capacity_for_every_gas() -> None:
    files = without_rows(
        small_files(),
        "capacity.csv",
        lambda row: row["sku"] == "CRYO-200" and row["gas"] == "argon",
    )
    (fault,) = faults_of(files)
    assert (fault.file, fault.row) == (CAPTURE, row_of(files, CAPTURE, "CRYO-200"))


def _without_items(skus: set[str]) -> Files:
    files = without_rows(small_files(), LINE, lambda row: row["sku"] in skus)
    return without_rows(files, PRICES, lambda row: row["sku"] in skus)


@pytest.mark.parametrize(
    ("skus", "flange", "what"),
    [
        ({"RING-KF50-FKM", "RING-KF50-NBR"}, "KF 50", "no centring ring"),
        ({"CLAMP-KF50"}, "KF 50", "no clamp"),
        ({"CLAMP-IK200"}, "ISO-K 200", "no clamp"),
        ({"GASKET-CF40-10", "GASKET-CF40-FKM"}, "CF 40", "no gasket"),
        ({"BOLTS-CF40"}, "CF 40", "no bolt set"),
    ],
)
def test_a_flange_that_nothing_closes_is_refused(skus: set[str], flange: str, what: str) -> None:
    faults = faults_of(_without_items(skus))
    pumps = [f for f in faults if f.file.startswith("pumps_") and f.column in {"inlet", "outlet"}]
    assert pumps
    assert all(flange in fault.reason and what in fault.reason for fault in pumps)


def test_a_pump_whose_flange_no_line_part_mates_with_is_refused() -> None:
    leading = {
        row[0]
        for row in cells(small_files()[LINE])
        if "ISO-K 200" in row and not row[0].startswith(("RING", "CLAMP", "BLANK"))
    }
    (fault,) = faults_of(_without_items(leading))
    assert (fault.file, fault.column) == (CAPTURE, "inlet")
    assert "mates with ISO-K 200" in fault.reason


def test_a_variant_takes_more_than_its_standard_pump() -> None:
    files = small_files()
    base = row_of(files, VAPOUR, VJ)
    variant = row_of(files, VAPOUR, HIGH)
    # Both largest inlet pressures alike: the variant gains nothing.
    faults = faults_of(changed(files, VAPOUR, base, "largest_inlet", "0.14 mbar"))
    assert (VAPOUR, variant, "largest_inlet") in {(f.file, f.row, f.column) for f in faults}


def test_one_faulty_row_is_reported_once_not_all_over_the_place() -> None:
    row = row_of(small_files(), "fluids.csv", "FLUID-VANE-MINERAL-1L")
    faults = faults_of(changed(small_files(), "fluids.csv", row, "flash_point", "hot"))
    assert [(f.file, f.row, f.column) for f in faults] == [("fluids.csv", row, "flash_point")]


def test_a_catalogue_that_passes_has_what_the_engine_relies_on() -> None:
    catalog = build_catalog(small_files())
    for pump in catalog.of_type(TurboPump):
        assert set(pump.compression) >= {curve.gas for curve in pump.curves}
