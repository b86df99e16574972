"""Battery and bus; scalar equations only, imports nothing but the compiler."""

from math import exp, inf, sqrt

from drivesim._compile import compiled

COLLAPSED = -1.0
DEAD = 1e-6  # V; nothing is drawn from a bus below it


@compiled
def polymer_cell_voltage(soc):
    """Return the open-circuit voltage [V] of a lithium-ion polymer cell at state of charge ``soc`` (0 to 1).

    Source: Chen and Rincon-Mora, IEEE Transactions on Energy Conversion 21(2), 2006.  Tops out at 4.10 V.
    """
    return -1.031 * exp(-35.0 * soc) + 3.685 + 0.2156 * soc - 0.1178 * soc**2 + 0.3201 * soc**3


@compiled
def polymer_cell_resistance(soc):
    """Return the series resistance [ohm] of the same 850 mAh cell (same source)."""
    return 0.1562 * exp(-24.37 * soc) + 0.07446


@compiled
def polymer_cell_short_pair(soc):
    """Return (R [ohm], C [F]) of the same cell's short diffusion pair (same source); valid from soc 0.02 up."""
    return 0.3208 * exp(-29.14 * soc) + 0.04669, -752.9 * exp(-13.51 * soc) + 703.6


@compiled
def polymer_cell_long_pair(soc):
    """Return (R [ohm], C [F]) of the same cell's long diffusion pair (same source); valid from soc 0.02 up."""
    return 6.603 * exp(-155.2 * soc) + 0.04984, -6056.0 * exp(-27.12 * soc) + 4475.0


@compiled
def diffusion_step(V1, current, R1, decay):
    """Return the voltage [V] of an R–C pair after a step at constant ``current`` I [A].

    C·dV1/dt = I − V1/R1 solved exactly: V1·decay + I·R1·(1 − decay), decay = exp(−dt/(R1·C)).
    """
    return V1 * decay + current * R1 * (1.0 - decay)


@compiled
def charge_row(soc, table_soc):
    """Return (row, part): ``soc`` lies ``part`` (0 to 1) of the way from ``row`` to the next of a rising table.

    Beyond the table's ends they point at its first or last row.  The table has at least two rows.
    """
    low = 0
    high = table_soc.shape[0] - 1
    if soc <= table_soc[0]:
        return low, 0.0
    if soc >= table_soc[high]:
        return high - 1, 1.0
    while high - low > 1:
        middle = (low + high) // 2
        if table_soc[middle] <= soc:
            low = middle
        else:
            high = middle
    return low, (soc - table_soc[low]) / (table_soc[high] - table_soc[low])


@compiled
def interpolate(table_column, row, part):
    """Return the value of another column of that table at (row, part), linear between its rows."""
    if part >= 1.0:
        return table_column[row + 1]  # to the last bit
    return table_column[row] + part * (table_column[row + 1] - table_column[row])


@compiled
def open_circuit(soc, table_soc, table_voltage):
    """Return the voltage [V] at ``soc`` from a rising table (arrays of equal length), linear between its rows."""
    row, part = charge_row(soc, table_soc)
    return interpolate(table_voltage, row, part)


@compiled
def greatest_power(E, R):
    """Return E²/(4·R) [W], the most that a source of ``E`` [V] behind ``R`` [ohm] can give."""
    return E * E / (4.0 * R)


@compiled
def terminal_voltage(E, R, P):
    """Return the terminal voltage [V] under constant power ``P`` [W]: (E + sqrt(E² − 4·R·P))/2.

    COLLAPSED where there is no solution, P > E²/(4·R).
    """
    root = E * E - 4.0 * R * P
    if root < 0.0:
        return COLLAPSED
    return 0.5 * (E + sqrt(root))


@compiled
def advance_bus(V, E, R, C, P_constant, P_resistive, dt):
    """Step the bus voltage [V] over ``dt`` [s]: C·dV/dt = (E − V)/R − P/V.

    ``P_constant`` [W] does not depend on V; ``P_resistive`` [W] is the power at the given V ≥ 0 of drives at
    their voltage limit and grows with V².  Fully implicit: the quadratic of the step is solved, so that a
    small C [F] gives the algebraic sag in one step.  COLLAPSED where the step has no solution.
    """
    conductance = C / dt + 1.0 / R + (P_resistive / (V * V) if V > DEAD else 0.0)
    current = C / dt * V + E / R
    root = current * current - 4.0 * conductance * P_constant
    if root < 0.0:
        return COLLAPSED
    return (current + sqrt(root)) / (2.0 * conductance)


@compiled
def ride_through_time(C, V0, V1, P):
    """Return how long [s] a capacitor ``C`` [F] alone feeds ``P`` [W] from ``V0`` [V] down to ``V1`` [V].

    C·(V0² − V1²)/(2·P); inf where nothing is drawn, 0 where V1 ≥ V0.
    """
    if P <= 0.0:
        return inf
    return max(0.0, C * (V0 * V0 - V1 * V1) / (2.0 * P))


@compiled
def capacitor_energy(C, V):
    """Return the energy held by a capacitance, ½·C·V² [J]."""
    return 0.5 * C * V * V
