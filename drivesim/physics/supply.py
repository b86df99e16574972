"""Battery and bus; scalar equations only, imports nothing but the compiler."""

from math import exp, sqrt

from drivesim._compile import compiled

COLLAPSED = -1.0


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
def open_circuit(soc, table_soc, table_voltage):
    """Return the voltage [V] at ``soc`` from a rising table (arrays of equal length), linear between its rows."""
    if soc <= table_soc[0]:
        return table_voltage[0]
    last = table_soc.shape[0] - 1
    low = 0
    high = last
    if soc >= table_soc[last]:
        return table_voltage[last]
    while high - low > 1:
        middle = (low + high) // 2
        if table_soc[middle] <= soc:
            low = middle
        else:
            high = middle
    part = (soc - table_soc[low]) / (table_soc[high] - table_soc[low])
    return table_voltage[low] + part * (table_voltage[high] - table_voltage[low])


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

    ``P_constant`` [W] does not depend on V; ``P_resistive`` [W] is the power at the given V > 0 of drives at
    their voltage limit and grows with V².  Fully implicit: the quadratic of the step is solved, so that a
    small C [F] gives the algebraic sag in one step.  COLLAPSED where the step has no solution.
    """
    conductance = C / dt + 1.0 / R + P_resistive / (V * V)
    current = C / dt * V + E / R
    root = current * current - 4.0 * conductance * P_constant
    if root < 0.0:
        return COLLAPSED
    return (current + sqrt(root)) / (2.0 * conductance)
