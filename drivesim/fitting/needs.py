"""Which columns and settings a bench log lacks, in words; imports kinds."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from drivesim.fitting.kinds import Kind


def missing(
    kind: Kind,
    names: Collection[str],
    keys: Collection[str],
    settings: Collection[str],
    wheels: Sequence[str],
) -> list[tuple[str, str]]:
    """Return what is at fault and the words for each thing that a log with these columns still needs.

    ``names`` are columns as written, ``keys`` the quantities they become.
    """
    found = []
    for group in kind.needs:
        if not any(column.name in names for column in group):
            choice = " or ".join(f"{column.name} [{column.unit}]" for column in group)
            found.append(("header", f"a {kind.name} test needs the column {choice}"))
    if "brake_force" in names and "arm" not in settings:
        found.append(("arm", "is missing: brake_force needs its lever, such as '# arm: 34 mm'"))
    own = {"locked_rotor": _locked, "warm_up": _warm}.get(kind.name)
    if own:
        found += [("header", text) for text in own(names, keys)]
    if kind.name == "rover" and not (set(keys) & set(kind.responses) or any(" " in key for key in keys)):
        such = f"wheel_speed {wheels[0]} [rad/s], bus_voltage [V], battery_current [A]"
        found.append(("header", f"a rover's log needs something measured, such as {such}"))
    return found


def _locked(names: Collection[str], keys: Collection[str]) -> list[str]:
    """Return what a locked_rotor test lacks: voltage and current are of one way of measuring."""
    if "voltage" not in keys:
        return ["a torque needs the voltage and the current too"] if "torque" in keys else []
    pair = "dc_current" if "dc_voltage" in names else "phase_current"
    if pair in names:
        return []
    beside = " instead of the other current" if "current" in keys else ""
    return [f"a locked_rotor test with this voltage needs the column {pair} [A]{beside}"]


def _warm(names: Collection[str], keys: Collection[str]) -> list[str]:
    """Return what a warm_up test lacks: something that tells the temperature."""
    if not {"winding_temperature", "resistance", "voltage"} & set(keys):
        return [
            "a warm_up test needs winding_temperature [degC], terminal_resistance [ohm] or dc_voltage [V]"
        ]
    if "dc_voltage" in names and "dc_current" not in names:
        return ["dc_voltage needs the column dc_current [A]"]
    return []
