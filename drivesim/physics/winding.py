"""Copper of a winding: thickness, resistance, temperature; scalar equations only, imports only the compiler."""

from math import pi

from drivesim._compile import compiled

COPPER_RESISTIVITY_20 = 1.0 / 58e6  # ohm·m at 20 degC, IEC 60028
COPPER_COEFFICIENT_20 = 3.93e-3  # 1/K at 20 degC, IEC 60028
FOIL_DENSITY = 8890.0  # kg/m³: 1 oz/ft² is 34.3 um thick

# Least copper that IPC-6012 class 2 allows [um], from memory: nominal, inner foil after processing, outer
# conductor after plating; half an ounce per square foot, then 1, 2, 3 and 4 ounces.
_NOMINAL_UM = (17.1, 34.3, 68.6, 102.9, 137.2)
_INNER_UM = (11.4, 24.9, 55.7, 86.6, 117.5)
_OUTER_UM = (33.4, 47.9, 78.7, 108.6, 139.5)
_FOIL_SHARE = 0.9  # of the foil's nominal thickness must be there when it is bought, same source

_SQUARE_MIL = 25.4e-6**2  # m²


@compiled
def conductor_resistance(length, area, temperature):
    """Return the resistance [ohm] of a copper conductor: rho(T)·length/area, length [m], area [m²], T [degC]."""
    return COPPER_RESISTIVITY_20 * (1.0 + COPPER_COEFFICIENT_20 * (temperature - 20.0)) * length / area


@compiled
def resistance_at(R, given_at, temperature, alpha20):
    """Return a resistance [ohm] known at ``given_at`` [degC] at another temperature [degC].

    R·(1 + alpha20·(T − 20))/(1 + alpha20·(T_given − 20)): the coefficient counts from 20 degC, wherever R was
    measured.
    """
    return R * (1.0 + alpha20 * (temperature - 20.0)) / (1.0 + alpha20 * (given_at - 20.0))


@compiled
def copper_thickness(areal_mass):
    """Return the nominal thickness [m] of copper foil from its mass per area [kg/m²], at 8.89 g/cm³.

    1 oz/ft² = 0.30515 kg/m² gives 34.33 um.  The trade's 35 um is a rounding.
    """
    return areal_mass / FOIL_DENSITY


@compiled
def _between_table_rows(um, finished):
    """Return the table's ``finished`` thickness [um] for a nominal one within the table, linear between rows."""
    row = 0
    while row < 3 and um >= _NOMINAL_UM[row + 1]:
        row += 1
    part = (um - _NOMINAL_UM[row]) / (_NOMINAL_UM[row + 1] - _NOMINAL_UM[row])
    return finished[row] + part * (finished[row + 1] - finished[row])


@compiled
def thinnest_inner_thickness(nominal):
    """Return the least finished thickness [m] of an inner layer of ``nominal`` foil [m].

    IPC-6012 class 2, foil after processing (from memory): exact at 1/2, 1, 2, 3 and 4 oz/ft², linear between.
    The recipe beyond 4 oz is 0.9 of what is added; below 1/2 oz the half ounce's share, two thirds, is kept.
    """
    um = nominal * 1e6
    if um < _NOMINAL_UM[0]:
        return nominal * (_INNER_UM[0] / _NOMINAL_UM[0])
    if um > _NOMINAL_UM[4]:
        return (_INNER_UM[4] + _FOIL_SHARE * (um - _NOMINAL_UM[4])) * 1e-6
    return _between_table_rows(um, _INNER_UM) * 1e-6


@compiled
def thinnest_outer_thickness(nominal):
    """Return the least finished thickness [m] of an outer layer of ``nominal`` foil [m], plating included.

    IPC-6012 class 2, conductor after plating (from memory): exact at 1/2, 1, 2, 3 and 4 oz/ft², linear
    between.  Beyond the table the recipe: 0.9 of the foil that is added or missing.
    """
    um = nominal * 1e6
    if um < _NOMINAL_UM[0]:
        return (_OUTER_UM[0] + _FOIL_SHARE * (um - _NOMINAL_UM[0])) * 1e-6
    if um > _NOMINAL_UM[4]:
        return (_OUTER_UM[4] + _FOIL_SHARE * (um - _NOMINAL_UM[4])) * 1e-6
    return _between_table_rows(um, _OUTER_UM) * 1e-6


@compiled
def layer_resistance(length, width, thickness, temperature):
    """Return the resistance [ohm] of one layer's track: rho(T)·length/(width·thickness), [m] and [degC]."""
    return conductor_resistance(length, width * thickness, temperature)


@compiled
def via_resistance(count, drill, plating, length, temperature):
    """Return the resistance [ohm] of ``count`` equal plated holes that the current passes one after another.

    A barrel is a tube of outer diameter ``drill`` [m], the hole as drilled, and wall ``plating`` [m], so its
    area is pi·(drill − plating)·plating; ``length`` [m] is what the current passes of one barrel.
    """
    return count * conductor_resistance(length, pi * (drill - plating) * plating, temperature)


@compiled
def trace_current(dT, area, outer):
    """Return the current [A] that warms a lone trace of ``area`` [m²] by ``dT`` [K] on an outer or inner layer.

    k·dT^0.44·A^0.725 with A in square mil, k = 0.048 outer, 0.024 inner.  Source: IPC-2221 (from memory).  An
    order of magnitude only for a motor's winding, whose traces warm each other.
    """
    k = 0.048 if outer else 0.024
    return k * dT**0.44 * (area / _SQUARE_MIL) ** 0.725
