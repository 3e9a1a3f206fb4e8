"""Reading tables: what spreadsheets save is read, and every fault is named with its place."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.catalog.items import (
    CapturePump,
    Catalog,
    Fluid,
    RootsBooster,
    TurboPump,
    VapourPump,
)
from server.catalog.tables import MAY_BE_LEFT_OUT, TABLES, build_catalog, load_catalog
from server.errors import CatalogFault, InvalidCatalog
from tests.catalog.tables_under_test import (
    as_bytes,
    cells,
    changed,
    faults_of,
    outcome,
    row_of,
    small_files,
    without_rows,
)


@pytest.fixture(scope="module")
def catalog() -> Catalog:
    return build_catalog(small_files())


def test_quantities_come_out_in_si(catalog: Catalog) -> None:
    # By hand: 70 L/s, 0.013 mbar, 35 mL, 205 °C, 8 min, 0.42 mbar·L/s.
    pump = catalog.get("VAPOURJET-050-A", VapourPump)
    assert pump.largest_inlet_pa == pytest.approx(1.3)
    assert pump.charge_m3 == pytest.approx(35e-6)
    assert pump.boiler_k == pytest.approx(478.15)
    assert pump.warm_up_s == pytest.approx(480)
    assert pump.largest_throughput_pa_m3_s == pytest.approx(0.042)
    assert pump.mains_voltages == (115, 230)
    assert str(pump.inlet) == "KF 50"
    nitrogen = next(curve for curve in pump.curves if curve.gas == "nitrogen")
    assert nitrogen.speed_m3_s[0] == pytest.approx(0.070)
    assert nitrogen.pressure_pa[0] == pytest.approx(1e-5)


def test_side_tables_are_joined_to_their_items(catalog: Catalog) -> None:
    assert catalog.get("TURBO-065-IK", TurboPump).compression["hydrogen"] == 6e4
    assert catalog.get("CRYO-200", CapturePump).capacity_pa_m3["hydrogen"] == 1200
    booster = catalog.get("ROOTS-0150", RootsBooster)
    assert booster.compression_pressure_pa[0] == pytest.approx(1.0)
    assert len(booster.compression_k0) == len(booster.compression_pressure_pa) == 9
    assert catalog.get("VAPOURJET-050-A", VapourPump).supplied[0].quantity == 1
    fluid = catalog.get("FLUID-PENTAPHENYL-70ML", Fluid)
    assert fluid.price == Decimal("112.00")
    assert fluid.cost_price < fluid.price


def test_a_folder_reads_like_its_files(tmp_path: Path, catalog: Catalog) -> None:
    for name, content in small_files().items():
        (tmp_path / name).write_bytes(content)
    assert load_catalog(tmp_path) == catalog


def test_what_a_spreadsheet_saves_is_the_same_catalogue(catalog: Catalog) -> None:
    saved = {
        name: b"\xef\xbb\xbf"
        + as_bytes([*cells(content), ["" for _ in cells(content)[0]]], separator=";", ending="\r\n")
        for name, content in small_files().items()
    }
    assert build_catalog(saved) == catalog


def test_columns_may_stand_in_any_order(catalog: Catalog) -> None:
    turned = {name: as_bytes(row[::-1] for row in cells(c)) for name, c in small_files().items()}
    assert build_catalog(turned) == catalog


def test_the_version_follows_the_content(catalog: Catalog) -> None:
    row = row_of(small_files(), "price_list.csv", "VANE2-0090")
    other = build_catalog(changed(small_files(), "price_list.csv", row, "stock", "77"))
    assert other.version != catalog.version
    assert len(catalog.version) == 12


def test_a_decimal_comma_in_money_is_read() -> None:
    row = row_of(small_files(), "price_list.csv", "VANE2-0090")
    files = changed(small_files(), "price_list.csv", row, "price", "2199,5")
    assert build_catalog(files).items["VANE2-0090"].price == Decimal("2199.50")


@pytest.mark.parametrize("name", sorted(set(TABLES) - MAY_BE_LEFT_OUT))
def test_a_missing_table_is_named(name: str) -> None:
    files = {key: content for key, content in small_files().items() if key != name}
    assert CatalogFault(name, 1, "(file)", "The table is missing.") in faults_of(files)


@pytest.mark.parametrize("name", TABLES)
def test_an_empty_table_file_is_named(name: str) -> None:
    faults = faults_of({**small_files(), name: b""})
    assert CatalogFault(name, 1, "(file)", "The table is empty.") in faults


def test_a_catalogue_may_leave_out_refinements(catalog: Catalog) -> None:
    # tables of an earlier release: no limits by gas, no columns that an empty cell could stand in
    files = {key: content for key, content in small_files().items() if key not in MAY_BE_LEFT_OUT}
    for name, column in (
        ("pumps_capture.csv", "burst_pa_m3"),
        ("pumps_backing.csv", "largest_vapour"),
        ("compression_booster.csv", "gas"),
    ):
        header, *rows = cells(files[name])
        gone = header.index(column)
        rows = [row for row in rows if row[gone] in {"", "air"} or column != "gas"]
        kept = [[*row[:gone], *row[gone + 1 :]] for row in (header, *rows)]
        files[name] = as_bytes(kept)
    plain = build_catalog(files)
    assert plain.get("TURBO-065-IK", TurboPump).largest_throughput_by_gas_pa_m3_s == {}
    assert plain.get("CRYO-200", CapturePump).burst_pa_m3 is None
    booster = plain.get("ROOTS-0150", RootsBooster)
    assert booster.compression_k0 == catalog.get("ROOTS-0150", RootsBooster).compression_k0
    assert booster.compression_by_gas == {}


def test_an_empty_column_is_as_good_as_none() -> None:
    files = small_files()
    header, *rows = cells(files["pumps_backing.csv"])
    gone = header.index("largest_vapour")
    without = as_bytes([[*row[:gone], *row[gone + 1 :]] for row in (header, *rows)])
    version = build_catalog({**files, "pumps_backing.csv": without}).version
    assert version == build_catalog(files).version


def test_limits_by_gas_are_joined_to_their_pumps(catalog: Catalog) -> None:
    # as the demo's table has them: 0.4 mbar·L/s, 10 mbar, 0.46 mbar
    turbo = catalog.get("TURBO-065-IK", TurboPump)
    assert turbo.largest_throughput_by_gas_pa_m3_s["argon"] == pytest.approx(0.04)
    assert turbo.tolerable_foreline_by_gas_pa["helium"] == pytest.approx(1000.0)
    jet = catalog.get("VAPOURJET-050-A", VapourPump)
    assert jet.tolerable_foreline_full_load_by_gas_pa["helium"] == pytest.approx(46.0)


def test_an_unknown_table_is_refused() -> None:
    (fault,) = faults_of({**small_files(), "pumps_magic.csv": b"sku\n"})
    assert (fault.file, fault.column) == ("pumps_magic.csv", "(file)")


def test_unknown_missing_and_doubled_columns_are_named() -> None:
    header, *rows = cells(small_files()["gauges.csv"])
    places = {name: place for place, name in enumerate(header)}
    header[places["lowest"]] = "low"
    header[places["mass"]] = "name"
    faults = faults_of({**small_files(), "gauges.csv": as_bytes([header, *rows])})
    found = {(fault.row, fault.column, fault.reason.split(".")[0]) for fault in faults}
    assert found >= {
        (1, "lowest", "The column is missing"),
        (1, "mass", "The column is missing"),
        (1, "low", "Unknown column"),
        (1, "name", "The column stands there twice"),
    }


@pytest.mark.parametrize(
    ("name", "sku", "column", "value", "reason"),
    [
        ("pumps_vapour.csv", "VAPOURJET-050-A", "ultimate", "8e-8 furlong", "not a unit known"),
        ("pumps_vapour.csv", "VAPOURJET-050-A", "ultimate", "8e-8 L", "is a volume"),
        ("pumps_vapour.csv", "VAPOURJET-050-A", "ultimate", "8e-6", "needs its unit"),
        ("pumps_vapour.csv", "VAPOURJET-050-A", "throat", "wide", "A number with a unit"),
        ("pumps_vapour.csv", "VAPOURJET-050-A", "warm_up", "", "must not be empty"),
        ("pumps_vapour.csv", "VAPOURJET-050-A", "kind", "windmill", "is not one of"),
        ("pumps_vapour.csv", "VAPOURJET-050-A", "inlet", "KF 51", "Unknown flange"),
        ("pumps_vapour.csv", "VAPOURJET-050-A", "cooling", "steam", "is not one of"),
        ("pumps_vapour.csv", "VAPOURJET-050-A", "phases", "1.5", "not a whole number"),
        ("pumps_vapour.csv", "VAPOURJET-050-A", "noise_dba", "48 dBA", "bare number"),
        ("pumps_vapour.csv", "VAPOURJET-050-A", "noise_dba", "-3", "at least zero"),
        ("pumps_vapour.csv", "VAPOURJET-050-A", "needs_heat_stable_fluid", "perhaps", "yes nor no"),
        ("pumps_vapour.csv", "VAPOURJET-050-A", "fluid_kinds", "mineral lard", "is not one of"),
        ("pumps_vapour.csv", "VAPOURJET-050-A", "charge", "1,000 mL", "may mean"),
        ("pumps_vapour.csv", "VAPOURJET-050-A", "boiler", "-300 degC", "below absolute zero"),
        ("pumps_vapour.csv", "VAPOURJET-050-A", "name", "=HYPERLINK(1)", "looks like a formula"),
        ("pumps_vapour.csv", "VAPOURJET-050-A", "name", "@SUM(1)", "looks like a formula"),
        ("pumps_vapour.csv", "VAPOURJET-050-A", "name", "-2+3|x", "looks like a formula"),
        ("pumps_vapour.csv", "VAPOURJET-050-A", "name", "two\nlines", "line break"),
        ("pumps_vapour.csv", "VAPOURJET-050-A", "name", "x" * 1001, "more than 1000 characters"),
        ("price_list.csv", "VANE2-0090", "price", "2140.005", "more than two decimals"),
        ("price_list.csv", "VANE2-0090", "price", "1,000", "more than two decimals"),
        ("price_list.csv", "VANE2-0090", "price", "-5", "cannot be negative"),
        ("price_list.csv", "VANE2-0090", "price", "NaN", "not an amount of money"),
        ("price_list.csv", "VANE2-0090", "price", "EUR 5", "not an amount of money"),
        ("price_list.csv", "VANE2-0090", "price", "9e99", "not an amount of money"),
        ("price_list.csv", "VANE2-0090", "stock", "many", "A number"),
        ("speed_points.csv", "VANE2-0090", "pressure", "inf mbar", "A number with a unit"),
        ("speed_points.csv", "VANE2-0090", "speed", "9 kg", "is a mass"),
    ],
)
def test_a_cell_that_cannot_be_read_is_named(
    name: str, sku: str, column: str, value: str, reason: str
) -> None:
    row = row_of(small_files(), name, sku)
    faults = faults_of(changed(small_files(), name, row, column, value))
    wanted = [f for f in faults if (f.file, f.row, f.column) == (name, row, column)]
    assert [fault for fault in wanted if reason in fault.reason], faults


def test_negative_temperatures_are_no_formulas(catalog: Catalog) -> None:
    row = row_of(small_files(), "traps.csv", "TRAP-NITROGEN-KF50")
    assert cells(small_files()["traps.csv"])[row - 1].count("-195.8 degC") == 1
    assert "TRAP-NITROGEN-KF50" in catalog.items


def test_a_second_row_with_the_same_sku_is_refused() -> None:
    rows = cells(small_files()["valves.csv"])
    twin = [rows[1][0].lower(), *rows[1][1:]]
    files = {**small_files(), "valves.csv": as_bytes([*rows, rows[1], twin])}
    found = [(fault.file, fault.row, fault.column) for fault in faults_of(files)]
    assert found == [("valves.csv", len(rows) + 1, "sku"), ("valves.csv", len(rows) + 2, "sku")]


def test_a_sku_without_price_and_a_price_without_item_are_refused() -> None:
    row = row_of(small_files(), "price_list.csv", "VANE2-0090")
    faults = faults_of(changed(small_files(), "price_list.csv", row, "sku", "VANE2-0091"))
    found = {(fault.file, fault.row, fault.column) for fault in faults}
    item_row = row_of(small_files(), "pumps_backing.csv", "VANE2-0090")
    assert ("pumps_backing.csv", item_row, "sku") in found
    assert ("price_list.csv", row, "sku") in found


def test_two_prices_for_one_sku_are_refused() -> None:
    rows = cells(small_files()["price_list.csv"])
    faults = faults_of({**small_files(), "price_list.csv": as_bytes([*rows, rows[1]])})
    assert [(f.file, f.row, f.column) for f in faults] == [("price_list.csv", len(rows) + 1, "sku")]


def test_a_row_with_too_many_cells_is_refused() -> None:
    rows = cells(small_files()["gauges.csv"])
    rows[1].append("more")
    faults = faults_of({**small_files(), "gauges.csv": as_bytes(rows)})
    assert [(f.file, f.row, f.column) for f in faults] == [("gauges.csv", 2, "(row)")]
    assert "quotation marks" in faults[0].reason


def test_rows_are_counted_as_a_spreadsheet_counts_them() -> None:
    header, *rows = cells(small_files()["gauges.csv"])
    blank = ["" for _ in header]
    rows[0][header.index("lowest")] = "nothing"
    files = {**small_files(), "gauges.csv": as_bytes([header, blank, blank, *rows])}
    assert [(f.file, f.row, f.column) for f in faults_of(files)] == [("gauges.csv", 4, "lowest")]


def test_faults_of_several_tables_come_together() -> None:
    files = small_files()
    for name, sku, column in (
        ("gauges.csv", "GAUGE-PIRANI-KF16", "lowest"),
        ("valves.csv", "VENT-KF16", "flange"),
        ("price_list.csv", "CRYO-200", "price"),
        ("speed_points.csv", "CRYO-200", "speed"),
    ):
        files = changed(files, name, row_of(files, name, sku), column, "rubbish")
    assert {fault.file for fault in faults_of(files)} >= {
        "gauges.csv",
        "valves.csv",
        "price_list.csv",
        "speed_points.csv",
    }


def test_about_has_exactly_one_row_and_a_currency() -> None:
    header, row = cells(small_files()["about.csv"])
    twice = {**small_files(), "about.csv": as_bytes([header, row, row])}
    assert [fault.reason for fault in faults_of(twice)] == ["Exactly one row is wanted."]
    (fault,) = faults_of(changed(small_files(), "about.csv", 2, "currency", "euros"))
    assert (fault.row, fault.column) == (2, "currency")


@pytest.mark.parametrize(
    ("content", "reason"),
    [
        ("sku;name\nä;b".encode("latin-1"), "not in UTF-8"),
        (b"\xff\xfes\x00k\x00u\x00", "not in UTF-8"),
        (b"\x89PNG\r\n\x1a\n\x00\x00", "not in UTF-8"),
        (b'sku,name\n"a,b\n', "cannot be read as CSV"),
        (b"sku,\x00name\n", ""),
        (b"," * 200_000, ""),
        (b"x" * 20_000_001, "larger than 20 MB"),
    ],
)
def test_files_that_are_no_tables_are_refused(content: bytes, reason: str) -> None:
    faults = faults_of({**small_files(), "gauges.csv": content})
    own = [fault for fault in faults if fault.file == "gauges.csv"]
    assert own
    assert any(reason in fault.reason for fault in own)


def test_a_folder_that_is_not_there_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InvalidCatalog) as caught:
        load_catalog(tmp_path / "nowhere")
    assert len(caught.value.faults) >= len(TABLES) - len(MAY_BE_LEFT_OUT)


def test_a_side_table_may_be_without_rows_of_an_optional_kind() -> None:
    files = without_rows(small_files(), "supplied_parts.csv", lambda _row: True)
    assert build_catalog(files).get("VAPOURJET-050-A", VapourPump).supplied == ()


PLACES = [
    (name, row, column)
    for name, content in small_files().items()
    for row in range(1, len(cells(content)) + 1)
    for column in range(len(cells(content)[0]))
]
NONSENSE = st.one_of(
    st.text(max_size=30),
    st.sampled_from(
        ["", "0", "-1", "NaN", "inf", "1e999", "1e-999", "=1+1", "5 mbar", "9 L/s", "KF 25", "yes"]
    ),
    st.sampled_from(["9" * 400, "\ufeff", "\u202e7", "1/0 in", "mineral;mineral", "٣ mbar", "½ L"]),
    st.floats().map(str),
    st.integers().map(lambda number: f"{number} mbar"),
)


@given(place=st.sampled_from(PLACES), value=NONSENSE)
@settings(max_examples=100)
def test_nonsense_in_any_cell_gives_a_valid_catalogue_or_its_faults(
    place: tuple[str, int, int], value: str
) -> None:
    name, row, column = place
    rows = cells(small_files()[name])
    rows[row - 1][column] = value
    try:
        encoded = as_bytes(rows)
    except UnicodeEncodeError:  # lone surrogates are in no file
        return
    catalog, faults = outcome({**small_files(), name: encoded})
    assert (catalog is None) == bool(faults)
    assert all(fault.reason and fault.row >= 1 for fault in faults)


@given(content=st.binary(max_size=200), name=st.sampled_from(TABLES))
@settings(max_examples=30)
def test_any_bytes_as_a_table_are_refused(content: bytes, name: str) -> None:
    assert faults_of({**small_files(), name: content})
