"""The balance that the pressure of a chamber runs after while its load changes slowly.

With S·p linear in p about a target, rising by λ·V there, the pressure at which the pump would just
carry the load is a series in 1/λ,

    λ·P(t) = [Q − Q̇/λ + Q̈/λ² − …]/V  (less what S·p at the target is off from λ·V·p_target),

the repeated integration by parts of the exact ∫ Q·e^(−λ·(t − s)) ds [BENDER-1978, ch. 6].
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from server.physics.arrays import FloatArray, IntArray
from server.physics.outgassing import HOUR_S, LAW_START_S
from server.physics.pumpdown_step import Course

ORDERS = 4
"""Terms of the series after the load itself."""


@dataclass(frozen=True)
class Ways:
    """The ways of n candidates to their targets; loads and speeds per volume, as in ``Rows``."""

    row_start: IntArray
    scale: FloatArray
    constant: FloatArray
    amplitude: FloatArray
    time: FloatArray
    """Clock at the start."""
    target: FloatArray
    carried: FloatArray
    """S·p at the target."""
    rate: FloatArray
    """λ: its rise with p there."""

    def only(self, chosen: IntArray) -> Ways:
        """Return some of the ways.

        Parameters
        ----------
        chosen : array of int
            Which ones, in rising order. [-]
        """
        if chosen.size == self.time.size:
            return self
        return Ways(*(value[..., chosen] for value in vars(self).values()))

    def gap(self, time: FloatArray, course: Course) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return target less balance, its rise with the clock, and what λ·P leaves out.

        Parameters
        ----------
        time : array, shape (n,) or (k, n)
            Clocks. [s]
        course : Course
            What the candidates have in common. [-]
        """
        total, falling, left_out = np.zeros((3, *time.shape))
        total += self.constant
        # up to the start of the law the load is constant
        constants = (time >= LAW_START_S) / (self.rate * np.maximum(time, LAW_START_S))
        ln_hours = np.log(np.maximum(time, LAW_START_S) * (1.0 / HOUR_S))
        for exponent, amplitude in zip(course.alpha.tolist(), self.amplitude, strict=True):
            term = np.exp(ln_hours * -exponent)
            term *= amplitude
            total += term
            # the k-th derivative of t^−α brings another (α + k)/t
            term *= exponent
            falling += term
            for k in range(1, ORDERS):
                term *= constants
                term *= exponent + k
                falling += term
            left_out += term * (exponent + ORDERS)
        falling *= constants
        total += falling
        constants *= constants
        left_out *= constants
        gap: FloatArray = (self.carried - total) / self.rate
        return gap, falling, left_out
