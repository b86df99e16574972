"""What keeps a wheel's driver off: faults, lockout, trip; it is on while nothing does.  Imports records and drive."""

from __future__ import annotations

from drivesim.drive import controller
from drivesim.engine.model import Model
from drivesim.engine.records import ON, OPEN, SHORTED, kernel_view


class Power:
    """The reasons for which each wheel's driver is off, kept in ``powered`` of its state."""

    def __init__(self, model: Model) -> None:
        self._model = model
        self._reasons: list[dict[object, int]] = [{} for _ in model.names]

    def off(self, wheel: int, reason: object, code: int = OPEN) -> None:
        """Switch a wheel's driver off for ``reason``, its phases open or short-circuited (OPEN, SHORTED)."""
        self._reasons[wheel][reason] = code
        self._model.states["powered"][wheel] = self._code(wheel)

    def on(self, wheel: int, reason: object) -> bool:
        """Take ``reason`` away; tell whether the driver is on again by that (its controller starts afresh)."""
        had = self._reasons[wheel].pop(reason, None) is not None
        self._model.states["powered"][wheel] = code = self._code(wheel)
        if had and code == ON:
            self.forget(wheel)
        return had and code == ON

    def forget(self, wheel: int) -> None:
        """Take from a wheel's controller all that it knew, the command too."""
        controller.reset(kernel_view(self._model.states)[wheel])

    def _code(self, wheel: int) -> int:
        if not self._model.wheels["driven"][wheel]:
            return OPEN
        codes = self._reasons[wheel].values()
        return ON if not codes else SHORTED if SHORTED in codes else OPEN
