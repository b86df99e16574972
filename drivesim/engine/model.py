"""A built run: all arrays that the kernel works on, and how they are handed to it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from drivesim.engine import channels, records
from drivesim.engine.ground_build import GroundArrays
from drivesim.scenario.scenario import Scenario


@dataclass
class Model:
    """Everything the kernel needs for one run (arrays as ``drivesim.engine.kernel.advance`` names them)."""

    scenario: Scenario
    names: tuple[str, ...]
    params: np.ndarray
    wheels: np.ndarray
    soils: np.ndarray
    grid: np.ndarray
    ground: GroundArrays
    table: np.ndarray
    noise: np.ndarray
    watches: np.ndarray
    bodies: np.ndarray
    states: np.ndarray
    contacts: np.ndarray
    step: float
    step_reason: str

    def kernel_arguments(self, rows: int) -> tuple[tuple[Any, ...], np.ndarray, np.ndarray]:
        """Return what ``advance`` takes before the last tick, and the (body, wheel) logs of ``rows`` rows it fills."""
        n = len(self.names)
        body_log, wheel_log = np.zeros(rows, channels.BODY_LOG), np.zeros((rows, n), channels.WHEEL_LOG)
        body_sums, wheel_sums = np.zeros(1, channels.BODY_LOG), np.zeros(n, channels.WHEEL_LOG)
        view = records.kernel_view
        return (
            (
                view(self.params), view(self.wheels), view(self.soils),
                view(self.grid), self.ground.surface, self.ground.fields,
                self.table, self.noise, view(self.watches),
                view(self.bodies), view(self.states), view(self.contacts),
                (_flat(self.bodies), _flat(self.states)),
                (view(body_sums), view(wheel_sums), _flat(body_sums)[0], _flat(wheel_sums)),
                (_flat(body_log), _flat(wheel_log)),
            ),
            body_log,
            wheel_log,
        )  # fmt: skip


def _flat(log: np.ndarray) -> np.ndarray:
    """Return a record array as plain floats, one more axis for the fields (a view)."""
    names = log.dtype.names
    assert names is not None
    return log.view(np.float64).reshape(*log.shape, len(names))
