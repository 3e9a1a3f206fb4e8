"""What gas stands behind a turbomolecular pump: the load's own gases, and the backing pump's air.

A backing pump's speed dies at its ultimate pressure because air leaks back through it, not because
it would pump other gases less: S_net = S·(1 − p_ult/p). At that pressure the foreline holds air,
and of a light gas only what its flow keeps there, Q/S. Were the whole ultimate pressure shared out
like the load, a baked chamber behind a dry pump would be filled with hydrogen that nothing
supplies.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from server.fit.loads import AIR
from server.physics.arrays import FloatArray


def parts_behind(
    parts_pa: Mapping[str, FloatArray], resting_pa: FloatArray
) -> dict[str, FloatArray]:
    """Return the share of each gas in the pressure at the backs: Q_i/S_i·(1 − p_rest/p), rest air.

    Parameters
    ----------
    parts_pa : mapping of array, shape (n,)
        Q_i over the net speed of each back; they add up to the pressure there. [Pa]
    resting_pa : array, shape (n,)
        Pressure at which each back stops pumping air, 0 where there is no such. [Pa]

    Returns
    -------
    dict of array, shape (n,)
        Shares that add up to one; zero where there is no pressure. [-]
    """
    total: FloatArray = np.sum(np.stack(list(parts_pa.values())), axis=0)
    safe = np.where(total > 0.0, total, 1.0)
    driven = np.clip(1.0 - resting_pa / safe, 0.0, 1.0)
    shares = {gas: part / safe * driven for gas, part in parts_pa.items()}
    shares[AIR] = shares[AIR] + np.where(total > 0.0, 1.0 - driven, 0.0)
    return shares
