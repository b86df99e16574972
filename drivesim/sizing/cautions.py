"""What to be careful about with a design: heat, ratings, cells, and what sizing leaves out; imports answers."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd

from drivesim.sizing.answers import Rover
from drivesim.units import rounded_down

SERIES = (
    "Lithium cells: {n} in series need a balancing charger made for {n}, never one for a single cell; follow the cell "
    "maker's data."
)
ALWAYS = (
    "Sizing is statics on even ground and supports no more than a first choice: for-ever figures are only as good as "
    "the makers' thermal data; follow those and local rules, and try a locked rotor only with a current-limited "
    "supply, the wheels off the ground and fingers away."
)
FULL = "Fixed voltage: the limits are those of a full command; a lower one gives the wheels less voltage and torque."
FORCED = (
    "Forced field: pull-out is that of a load which comes slowly; leave room for starting, bumps and loose loops, and "
    "try a start in a run."
)
TOE = "Toe is left out: wheels are taken to point straight ahead; toed ones drag against each other and leave less."
SOIL = (
    "Soil: Bekker's wheel formulas were made for wheels over 0.5 m across; take the result for a ranking of designs, "
    "not for a promise."
)


def cautions(rover: Rover, loading: pd.DataFrame) -> list[str]:
    """Return what to be careful about, the general one last."""
    out, d = [], rover.design
    battery = d.scenario.rover.battery
    for _, row in loading.iterrows():
        over = [name for name in str(row["over"]).split(", ") if name]
        for name in over:
            out.append(_over(row, name, rover))
    n, made_for = battery.cells_in_series, battery.charger_cells
    if made_for is not None and made_for != n:
        out.append(
            f"Lithium cells: the charger is made for {made_for} in series, the pack has {n}: never connect them; fire "
            "hazard."
        )
    elif n > 1 and made_for is None:
        out.append(SERIES.format(n=n))
    out += _empty(rover, loading)
    if d.soil is not None:
        out.append(SOIL)
    if d.forced:
        out.append(FORCED)
    if any(d.scenario.rover.place(w.name).toe != 0 for w in d.wheels):
        out.append(TOE)
    if any(d.scenario.drive.for_wheel(w.name).strategy == "fixed_voltage" for w in d.driven):
        out.append(FULL)
    return [*dict.fromkeys(out), ALWAYS]


def _over(row: Any, name: str, rover: Rover) -> str:
    words, pack = row["words"], rover.design.pack
    if name == "heat":
        hottest = min(rover.design.driven, key=lambda w: w.hottest)
        after = row["limit_after_s"]
        when = f" after about {_while(after)}" if math.isfinite(after) else ""
        return (
            f"Hot board ({hottest.heat_name}): {words}, its limit of {hottest.hottest:.0f} degC is passed{when}, and "
            f"the winding would settle at {row['settles_degC']:.0f} degC."
        )
    if name == "cell rating":
        taken, rated = _apart(row["pack_current_A"], pack.rating)
        return f"Lithium cells: {words} draws {taken} A, the rating allows {rated} A; they can swell or burn."
    if name == "connector rating":
        taken, rated = _apart(row["pack_current_A"], pack.connector)
        return f"Battery connector: {words} draws {taken} A, rated {rated} A."
    taken, rated = _apart(row["phase_current_A"], min(dict(w.ratings)[name] for w in rover.design.driven))
    part = "Wheel controllers" if name == "driver rating" else "Traces"
    return f"{part}: {words} takes {taken} A peak in a phase, rated {rated} A."


def _apart(taken: float, rated: float) -> tuple[str, str]:
    """Return both currents with as many digits as tell them apart."""
    for digits in (2, 3, 4, 5, 6):
        texts = f"{taken:.{digits}g}", f"{rated:.{digits}g}"
        if texts[0] != texts[1]:
            break
    return texts


def _empty(rover: Rover, loading: pd.DataFrame) -> list[str]:
    """Return the caution about cells below their cut-off, at rest already or under one of the loads."""
    pack = rover.design.pack
    rest = pack.open_circuit(pack.charge)
    lows = [(rest, "at rest")] + [
        (row["bus_V"], row["words"]) for _, row in loading.iterrows() if math.isfinite(row["bus_V"])
    ]
    lowest, words = (rest, "at rest") if rest / pack.cells < pack.cut_off else min(lows)
    if lowest / pack.cells >= pack.cut_off:
        return []
    return [
        f"Lithium cells: down to {rounded_down(lowest / pack.cells, 0.01):.2f} V a cell, {words}, below the cut-off of "
        f"{pack.cut_off:g} V."
    ]


def _while(seconds: float) -> str:
    return f"{seconds:.2g} s" if seconds < 100 else f"{seconds / 60:.2g} min"
