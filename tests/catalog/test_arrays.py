"""Speed tables of the catalogue: they reproduce the points, the ultimate pressure, the boosters."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import brentq

from server.catalog.arrays import GRID, arrays_of
from server.catalog.gas_limits import booster_compression_for
from server.catalog.items import (
    BACKING_KINDS,
    BackingPump,
    Catalog,
    Pump,
    PumpKind,
    RootsBooster,
    SpeedCurve,
)
from server.catalog.tables import load_catalog
from tests.catalog.tables_under_test import DEMO
from tests.fit.stock import a_backing_pump, a_catalog, a_turbo_pump

LN_GRID = np.log(GRID.pressure_pa)
Row = NDArray[np.float64]


@pytest.fixture(scope="module")
def demo() -> Catalog:
    return load_catalog(DEMO)


def speed_of(catalog: Catalog, sku: str, gas: str, pressure_pa: float, *, ballast: bool) -> float:
    arrays = arrays_of(catalog)
    row = arrays.speed(gas, with_ballast=ballast).speed_m3_s[arrays.row_of[sku]]
    return float(np.interp(np.log(pressure_pa), LN_GRID, row))


def curves(catalog: Catalog) -> list[tuple[Pump, SpeedCurve]]:
    return [(pump, curve) for pump in catalog.of_type(Pump) for curve in pump.curves]


def test_tables_reproduce_every_point_of_the_catalogue(demo: Catalog) -> None:
    # S·(1 − p_ult/p) for pumps that exhaust to atmosphere (physics.md); at a high-vacuum pump the
    # ultimate pressure adds to the pressure instead. 1 %: linear between nodes, across a bend.
    checked = 0
    for pump, curve in curves(demo):
        ultimate = 0.0
        if pump.kind in BACKING_KINDS:
            assert isinstance(pump, BackingPump)
            with_ballast = pump.ultimate_ballast_pa or pump.ultimate_pa
            ultimate = with_ballast if curve.with_ballast else pump.ultimate_pa
        for pressure, speed in zip(curve.pressure_pa, curve.speed_m3_s, strict=True):
            if pressure < 2 * ultimate:  # the factor itself bends steeply: checked below
                continue
            found = speed_of(demo, pump.sku, curve.gas, pressure, ballast=curve.with_ballast)
            assert found == pytest.approx(speed * (1 - ultimate / pressure), rel=0.01), (
                f"{pump.sku}, {curve.gas}, {pressure:g} Pa"
            )
            checked += 1
    assert checked > 1000


def test_a_backing_pump_has_no_speed_at_its_ultimate_pressure(demo: Catalog) -> None:
    arrays = arrays_of(demo)
    for pump in demo.of_type(BackingPump):
        row = arrays.speed("air").speed_m3_s[arrays.row_of[pump.sku]]
        assert np.all(row[GRID.pressure_pa <= pump.ultimate_pa] == 0.0), pump.sku
        # linear between nodes: the speed must not begin below the ultimate pressure either
        above = GRID.pressure_pa[row > 0.0].min()
        assert 10 ** (1 / 16) * 0.99 <= above / pump.ultimate_pa <= 10 ** (2 / 16) * 1.01, pump.sku
        assert speed_of(demo, pump.sku, "air", pump.ultimate_pa, ballast=False) == 0.0


def test_ballast_raises_the_ultimate_pressure(demo: Catalog) -> None:
    for pump in demo.of_type(BackingPump):
        if pump.ultimate_ballast_pa is None:
            continue
        between = pump.ultimate_pa * 1.4
        assert pump.ultimate_ballast_pa > between
        assert speed_of(demo, pump.sku, "air", between, ballast=False) > 0.0
        assert speed_of(demo, pump.sku, "air", between, ballast=True) == 0.0


def test_an_overloaded_high_vacuum_pump_carries_no_more_than_at_its_last_point(
    demo: Catalog,
) -> None:
    arrays = arrays_of(demo)
    for pump in demo.of_type(Pump):
        if pump.kind in BACKING_KINDS or not pump.curves:
            continue
        curve = next(curve for curve in pump.curves if curve.gas in {"nitrogen", "air"})
        last = curve.pressure_pa[-1] * curve.speed_m3_s[-1]
        beyond = GRID.pressure_pa > curve.pressure_pa[-1]
        flow = arrays.speed("nitrogen").speed_m3_s[arrays.row_of[pump.sku]] * GRID.pressure_pa
        assert flow[beyond] == pytest.approx(last, rel=1e-9), pump.sku


def pairs_of(catalog: Catalog) -> list[tuple[BackingPump, RootsBooster]]:
    return list(product(catalog.of_type(BackingPump), catalog.of_type(RootsBooster)))


def foreline_by_root_finder(booster: RootsBooster, own: Row, inlet_pa: float) -> float:
    """p₁·S_th = p₂·S_th/K₀(p₂) + p₂·S_b(p₂), solved for p₂ by scipy."""
    known = np.log(np.array(booster.compression_pressure_pa))
    ln_k0 = np.log(np.array(booster.compression_k0))

    def miss(ln_foreline: float) -> float:
        foreline = np.exp(ln_foreline)
        back = booster.displacement_m3_s / np.exp(np.interp(ln_foreline, known, ln_k0))
        carried = np.interp(ln_foreline, LN_GRID, own)
        return float(foreline * (carried + back) - inlet_pa * booster.displacement_m3_s)

    return float(np.exp(brentq(miss, np.log(1e-2), np.log(2e4), xtol=1e-12)))


@pytest.mark.parametrize("inlet_pa", [3.0, 30.0])
def test_a_booster_settles_where_both_pumps_carry_the_same(demo: Catalog, inlet_pa: float) -> None:
    # S = S_th·K₀/(K₀ + S_th/S_b) [Van Atta 1965; Jousten], wherever no limit of the booster binds
    arrays = arrays_of(demo)
    table = arrays.speed("air").speed_m3_s
    checked = 0
    for backing, booster in pairs_of(demo):
        own = table[arrays.row_of[backing.sku]]
        foreline = foreline_by_root_finder(booster, own, inlet_pa)
        limited = foreline - inlet_pa > 0.95 * booster.largest_difference_pa
        # next to the backing pump's ultimate pressure its speed bends too steeply for 2 %
        if limited or inlet_pa > booster.cut_in_pa or foreline < 2 * backing.ultimate_pa:
            continue
        carried = foreline * float(np.interp(np.log(foreline), LN_GRID, own))
        carried *= 1.0 - booster.ultimate_pa / inlet_pa
        staged = arrays.boosted([(backing, booster)], "air")[0]
        found = float(np.interp(np.log(inlet_pa), LN_GRID, staged)) * inlet_pa
        alone = float(np.interp(np.log(inlet_pa), LN_GRID, own)) * inlet_pa
        assert found == pytest.approx(max(carried, alone), rel=0.02), (backing.sku, booster.sku)
        checked += 1
    assert checked > 50


def test_a_pair_does_not_go_below_the_ultimate_pressure_its_booster_states(demo: Catalog) -> None:
    pairs = pairs_of(demo)
    arrays = arrays_of(demo)
    alone = arrays.speed("air").speed_m3_s
    for (backing, booster), row in zip(pairs, arrays.boosted(pairs, "air"), strict=True):
        below = GRID.pressure_pa <= booster.ultimate_pa
        own = alone[arrays.row_of[backing.sku]]
        assert np.all(row[below] <= own[below]), (backing.sku, booster.sku)
        if backing.ultimate_pa >= booster.ultimate_pa:
            assert not row[below].any(), (backing.sku, booster.sku)


def test_a_booster_never_makes_its_backing_pump_slower(demo: Catalog) -> None:
    arrays = arrays_of(demo)
    for gas in ("air", "hydrogen"):
        table = arrays.speed(gas).speed_m3_s
        pairs = pairs_of(demo)
        for (backing, booster), row in zip(pairs, arrays.boosted(pairs, gas), strict=True):
            own = table[arrays.row_of[backing.sku]]
            assert np.all(row >= own * (1 - 1e-12)), booster.sku


def test_tables_are_made_once_for_a_catalogue_and_anew_for_another_version() -> None:
    pump = replace(a_backing_pump(), sku="ONLY")
    first = a_catalog([pump])
    assert arrays_of(first) is arrays_of(first)
    faster = replace(pump, curves=(SpeedCurve("air", (1.0, 1e5), (5e-3, 5e-3)),))
    second = replace(a_catalog([faster]), version="another")
    assert speed_of(second, "ONLY", "air", 1e3, ballast=False) == pytest.approx(5e-3, rel=1e-3)
    assert speed_of(first, "ONLY", "air", 1e3, ballast=False) < 3e-3


def test_a_catalogue_without_boosters_has_rows_for_its_pumps_alone() -> None:
    turbo = replace(
        a_turbo_pump(),
        kind=PumpKind.TURBOMOLECULAR,
        curves=(SpeedCurve("nitrogen", (1e-6, 1.0), (0.2, 0.1)),),
    )
    catalog = replace(a_catalog([turbo, a_backing_pump()]), version="no boosters")
    arrays = arrays_of(catalog)
    assert arrays.boosted([], "nitrogen").shape == (0, GRID.count)
    assert arrays.speed("nitrogen").speed_m3_s.shape == (2, GRID.count)


def test_a_booster_holds_back_hydrogen_less_and_its_backing_pumps_air_as_before(
    demo: Catalog,
) -> None:
    # p₁ = p_rest/K_air + (p₂ − p_rest)/K_H2 + p₂·S_b/S_th, solved for p₂ by scipy at 1 Pa
    arrays = arrays_of(demo)
    light = arrays.speed("hydrogen").speed_m3_s
    checked = 0
    pairs = pairs_of(demo)
    both = (arrays.boosted(pairs, gas) for gas in ("air", "hydrogen"))
    for (backing, booster), of_air, of_light in zip(pairs, *both, strict=True):
        # at rest only air is left: both gases lose their speed at the same pressure
        assert (of_light > 0.0).argmax() == (of_air > 0.0).argmax()
        own = light[arrays.row_of[backing.sku]]
        rest = GRID.pressure_pa[(own > 0.0).argmax() - 1]

        def miss(
            ln_p: float, booster: RootsBooster = booster, own: Row = own, rest: float = rest
        ) -> float:
            p2 = float(np.exp(ln_p))
            k_air, k_gas = (
                float(booster_compression_for(booster, gas, p2)) for gas in ("air", "hydrogen")
            )
            leaked = rest / k_air + (p2 - rest) / k_gas
            swept = p2 * float(np.interp(ln_p, LN_GRID, own)) / booster.displacement_m3_s
            return leaked + swept - 1.0

        if miss(np.log(rest)) >= 0.0:  # 1 Pa is below what the pair reaches
            continue
        foreline = float(np.exp(brentq(miss, np.log(rest), np.log(2e3), xtol=1e-12)))
        if foreline < 2 * rest or foreline > booster.largest_difference_pa:
            continue
        carried = foreline * float(np.interp(np.log(foreline), LN_GRID, own))
        carried *= 1.0 - booster.ultimate_pa / 1.0
        alone = float(np.interp(0.0, LN_GRID, own))
        found = float(np.interp(0.0, LN_GRID, of_light))
        assert found == pytest.approx(max(carried, alone), rel=0.02), (backing.sku, booster.sku)
        assert found <= float(np.interp(0.0, LN_GRID, of_air)) * (1 + 1e-9)
        checked += 1
    assert checked > 40
