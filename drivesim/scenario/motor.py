"""Motor, power stage, winding heat and battery as a builder writes them; data-sheet forms become one."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Literal, Self

from pydantic import Field, model_validator

from drivesim.scenario import quantities as q
from drivesim.scenario.protection import CutBack, Lockout, Trip
from drivesim.scenario.winding import Conductor, Housing

AGREEMENT = 0.02  # two ways of giving the same constant may differ by this share before they contradict

FULL_CELL = 4.10  # V, open circuit; Chen and Rincon-Mora, IEEE Transactions on Energy Conversion 21(2), 2006
CONSTANTS = ("flux_linkage", "torque_constant", "back_emf_constant", "speed_constant")

#: largest phase amplitude that each modulation makes from the bus, as a share of the bus voltage
MODULATION = {"sine": 0.5, "space_vector": 1 / math.sqrt(3), "six_step": 2 / math.pi}


class Motor(q.Model):
    """Surface-magnet motor; give one resistance (or the copper it follows from) and one constant, star or delta.

    Inside, everything is the equivalent star: ``R`` [ohm] and ``L`` [H] per phase, ``lam`` [Wb] peak flux
    linkage per phase.  With p pole pairs the back-EMF per phase is p·λ·ω peak, line to line √3·p·λ·ω peak
    (``back_emf_constant``, and its inverse ``speed_constant``), and the torque for a peak phase current î is
    1.5·p·λ·î (``torque_constant``).
    """

    pole_pairs: int = Field(strict=True, ge=1, le=200)
    """Pole pairs: half the number of magnet poles that pass the winding in a turn."""
    connection: Literal["star", "delta"] = "star"
    """How the three phases are joined."""
    phase_resistance: q.Resistance | None = None
    """Resistance of one phase as it is wound; one of three ways to give it."""
    terminal_resistance: q.Resistance | None = None
    """Resistance between two leads, the third open."""
    conductor: Conductor | None = None
    """The copper of one phase as it is wound, before star or delta, from which its resistance follows."""
    resistance_spread: q.Spread = 0.0
    """Standard deviation of the resistance from wheel to wheel, as a share of it, drawn from the seed."""
    phase_inductance: q.Inductance | None = None
    """Inductance of one phase as it is wound; this or terminal_inductance."""
    terminal_inductance: q.Inductance | None = None
    """Inductance between two leads, the third open."""
    flux_linkage: q.FluxLinkage | None = None
    """Peak flux linkage of one phase as it is wound; one of four ways to give the magnets' strength."""
    torque_constant: q.TorqueConstant | None = None
    """Torque per ampere of peak current in one lead (of a star the phase current)."""
    back_emf_constant: q.BackEmfConstant | None = None
    """Peak voltage between two leads per rad/s of the wheel."""
    speed_constant: q.SpeedConstant | None = None
    """Speed per volt of peak voltage between two leads, without load."""
    resistance_at: q.Temperature = 20.0
    """Temperature at which the resistance was measured."""
    cogging_torque: q.Torque = 0.0
    """Greatest torque of the cogging; 0 for a winding without iron."""
    cogging_per_turn: int = Field(default=0, strict=True, ge=0, le=2000)
    """Periods of the cogging in one turn."""
    torque_ripple: q.ShareOrZero = 0.0
    """Sixth-harmonic ripple of the torque, as a share of it."""

    @model_validator(mode="after")
    def _one_form(self) -> Self:
        problems = []
        forms = (
            ("phase_resistance", "terminal_resistance", "conductor"),
            ("phase_inductance", "terminal_inductance"),
        )
        for names in forms:
            given = [n for n in names if getattr(self, n) is not None]
            if len(given) != 1:
                text = f"found {' and '.join(given) or 'none'}; give exactly one of {', '.join(names)}"
                problems.append((given[-1] if given else "", text))
        constants = self._flux_linkages()
        if not constants:
            problems.append(("", f"found no motor constant; give one of {', '.join(CONSTANTS)}"))
        for name, value in list(constants.items())[1:]:
            first, least = next(iter(constants.items()))
            if abs(value - least) > AGREEMENT * least:
                text = (
                    f"disagrees with {first}: they mean {value * 1e3:.4g} and {least * 1e3:.4g} mWb of flux "
                    f"linkage per phase; give one of them, or two within {AGREEMENT:.0%}"
                )
                problems.append((name, text))
        if self.cogging_torque > 0 and self.cogging_per_turn == 0:
            problems.append(("cogging_torque", "needs cogging_per_turn, the number of its periods in a turn"))
        q.refuse(problems)
        return self

    def _flux_linkages(self) -> dict[str, float]:
        """Return the phase flux linkage (equivalent star) that each given constant means."""
        p = self.pole_pairs
        found: dict[str, float] = {}
        if self.flux_linkage is not None:
            found["flux_linkage"] = self.flux_linkage / (math.sqrt(3) if self.connection == "delta" else 1.0)
        if self.torque_constant is not None:
            found["torque_constant"] = self.torque_constant / (1.5 * p)
        if self.back_emf_constant is not None:
            found["back_emf_constant"] = self.back_emf_constant / (math.sqrt(3) * p)
        if self.speed_constant is not None:
            found["speed_constant"] = 1 / (self.speed_constant * math.sqrt(3) * p)
        return found

    def _star(self, phase: float | None, terminal: float | None) -> float:
        if terminal is not None:
            return terminal / 2
        assert phase is not None
        return self.star(phase)

    def star(self, phase_value: float) -> float:
        """Return the equivalent star's share of a resistance or inductance of one phase as it is wound."""
        return phase_value / 3 if self.connection == "delta" else phase_value

    @property
    def given_resistance(self) -> float | None:
        """Phase resistance of the equivalent star at ``resistance_at`` [ohm]; None with a conductor."""
        return None if self.conductor else self._star(self.phase_resistance, self.terminal_resistance)

    @property
    def R(self) -> float:  # noqa: N802 - the textbook symbol
        """The same, where it is given and need not be worked out from a conductor."""
        value = self.given_resistance
        assert value is not None
        return value

    @property
    def L(self) -> float:  # noqa: N802 - the textbook symbol
        """Phase inductance of the equivalent star [H]."""
        return self._star(self.phase_inductance, self.terminal_inductance)

    @property
    def lam(self) -> float:
        """Peak flux linkage per phase of the equivalent star [Wb]."""
        return next(iter(self._flux_linkages().values()))


class Winding(q.Model):
    """Heat of one wheel's winding: to its housing if there is one, else to ambient."""

    thermal_resistance: q.ThermalResistance
    """From the winding to the housing; to the air where there is no housing."""
    heat_capacity: q.HeatCapacity
    """Heat that warms winding and board by one kelvin."""
    limit: q.Temperature = 110.0
    """Temperature that the board stands."""
    magnet_limit: q.Temperature | None = None
    """Temperature that the magnets stand."""
    adhesive_limit: q.Temperature | None = None
    """Temperature that the adhesive stands."""
    trace_rating: q.Current | None = None
    """Peak current that one trace may carry."""
    temperature_coefficient: q.TemperatureCoefficient = 0.00393
    """Growth of the resistance per kelvin, counted from 20 degC."""
    housing: Housing | None = None
    """What the heat passes through on its way to the air."""


class Driver(q.Model):
    """The wheel controller's power stage."""

    modulation: Literal["sine", "space_vector", "six_step"] = "sine"
    """How the phase voltages are made; decides how much amplitude a bus voltage gives."""
    on_resistance: q.ResistanceOrZero = 0.0
    """Resistance that the current of one lead passes in the driver: one switch, and a sense resistor."""
    fixed_loss: q.Power = 0.0
    """Power that it takes as long as it is on."""
    efficiency: q.Share = 1.0
    """Share of the power taken from the bus that reaches the phases, besides the losses above."""
    current_rating: q.Current | None = None
    """Peak current in one lead that its maker allows; passing it is told, not prevented."""
    current_limit: q.Current | None = None
    """Peak current in one lead that the driver itself holds; without it any."""
    pwm_steps: int | None = Field(default=None, strict=True, ge=2, le=65_536)
    """Steps of the output from nothing to full; without it as fine as can be."""
    heat_to_board: q.ShareOrZero = 0.0
    """Share of the driver's losses that warms the winding."""
    cut_back: CutBack | None = None
    """Less voltage as the winding warms."""
    trip: Trip | None = None
    """Off when the winding is too hot."""
    lockout: Lockout | None = None
    """Off when the bus voltage is too low; without it the controllers live on any voltage."""


class Battery(q.Model):
    """A pack of equal cells: open-circuit table, series resistance, rated current."""

    cells_in_series: int = Field(default=1, strict=True, ge=1, le=20)
    """Cells in series."""
    cells_in_parallel: int = Field(default=1, strict=True, ge=1, le=50)
    """Cells in parallel."""
    capacity: q.Charge
    """Capacity of one cell."""
    cell_resistance: q.Resistance
    """Series resistance of one cell, contacts and its share of the cable included."""
    state_of_charge: q.Share = 1.0
    """Charge at the start."""
    discharge_rating: q.Ratio = 1.0
    """Current that the maker allows, as a multiple of the capacity per hour (C rate)."""
    cut_off: q.Voltage = 3.0
    """Voltage of a cell below which a caution is told."""
    open_circuit: tuple[tuple[q.ShareOrZero, q.Voltage], ...] | None = None
    """Rows of state of charge and rested voltage of a cell; without it a published lithium polymer cell."""
    bus_capacitance: q.Capacitance = 220e-6
    """Capacitance on the bus, all controllers together."""
    electronics: q.Power = 0.0
    """Power of everything that is not a wheel."""
    diffusion_resistance: q.ResistanceOrZero = 0.0
    """Resistance of one cell's slow part, which shows after seconds."""
    diffusion_time: q.Duration = 30.0
    """Time constant of the slow part."""
    resistance_follows_charge: bool = False
    """Whether the resistance rises at low charge as that of the published cell does."""
    connector_rating: q.Current | None = None
    """Current that connector and cable are made for."""
    charger_cells: int | None = Field(default=None, strict=True, ge=1, le=20)
    """Cells in series that the charger is made for; another number than the pack's is a caution."""

    @model_validator(mode="after")
    def _rising_table(self) -> Self:
        table = self.open_circuit
        if table is not None:
            if len(table) < 2 or table[0][0] != 0 or table[-1][0] != 1:
                q.refuse([("open_circuit", "needs rows from state of charge 0 to 1")])
            for i, (a, b) in enumerate(pairwise(table), start=1):
                if b[0] <= a[0] or b[1] < a[1]:
                    q.refuse([(f"open_circuit.{i}", "must rise from row to row, in both columns")])
        return self

    @property
    def current_rating(self) -> float:
        """Current that the pack may give by its cells' rating [A]."""
        return self.discharge_rating * self.capacity * self.cells_in_parallel

    @property
    def full_voltage(self) -> float:
        """Open-circuit voltage of the full pack [V]."""
        cell = self.open_circuit[-1][1] if self.open_circuit else FULL_CELL
        return cell * self.cells_in_series
