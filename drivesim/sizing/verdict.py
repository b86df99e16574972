"""The answer in words: does it climb, step, turn and pull, what limits it, which lever pays; and the cautions."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd

from drivesim.sizing.answers import FOR_EVER, NOW, TASKS, WHEEL_UP, Answers, Rover
from drivesim.sizing.ask import Ask
from drivesim.sizing.levers import column_name
from drivesim.units import rounded_down

TURNS = 1.0  # margin from which it turns
NOTHING_PAYS = 0.05  # % for 1 %
WORDS = {
    "grade": "grade",
    "step_front": "step of the front wheels",
    "step_rear": "step of the rear wheels",
    "turn": "turn on the spot",
    "tow": "pull",
}
SMALL = {"endurance": (1 / 60, "min"), "range": (1.0, "m")}  # units below one of the usual ones
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
SOIL = (
    "Soil: Bekker's wheel formulas were made for wheels over 0.5 m across; take the result for a ranking of designs, "
    "not for a promise."
)


def wanted(ask: Ask) -> dict[str, float]:
    """Return what is asked of each limit, in SI: a turn on the spot always, the rest where it is asked for."""
    found = {"turn": TURNS}
    if ask.slope is not None:
        found["grade"] = ask.slope
    if ask.step is not None:
        found["step_front"] = found["step_rear"] = ask.step
    if ask.tow is not None:
        found["tow"] = ask.tow
    return found


def focus_of(ask: Ask, found: Answers) -> tuple[str, str]:
    """Return task and state of the limit that binds: of what is asked for, that with the least margin now."""
    margins = {
        task: found[task, NOW].value / most
        for task, most in wanted(ask).items()
        if math.isfinite(found[task, NOW].value)
    }
    return (min(margins, key=lambda task: margins[task]) if margins else "grade"), NOW


def shown(task: str, value: float) -> str:
    """Return a limit for people: never rounded up, in the unit it is told in."""
    about = TASKS[task]
    if math.isnan(value):
        return "–"
    if math.isinf(value):
        return "no limit"
    if task in SMALL and 0 < value < 1 / about.factor:
        about = about._replace(factor=SMALL[task][0], shown_unit=SMALL[task][1])
    number = value * about.factor
    step = 10.0 ** (math.floor(math.log10(number)) - 2) if number > 0 else 1.0
    text = f"{rounded_down(number, step):.3g}"
    return text if about.shown_unit == "×" else f"{text} {about.shown_unit}"


def verdict(rover: Rover, ask: Ask, found: Answers, worst: dict[str, int], levers: pd.DataFrame) -> str:
    """Return what it can do at this charge, what of the asked it does, what is left with a wheel up, and what pays."""
    grade, tow = found["grade", NOW], found["tow", NOW]
    can = (
        f"At {rover.design.pack.charge:.0%} charge it climbs {shown('grade', grade.value)} ({grade.name}), pulls "
        f"{shown('tow', tow.value)} ({tow.name}) and {_turns(found)}"
    )
    sentences = (can, _steps(found), _asked(ask, found), _wheel_up(found, worst), _pays(ask, found, levers))
    return ". ".join(text for text in sentences if text) + "."


def _steps(found: Answers) -> str:
    front, rear = found["step_front", NOW], found["step_rear", NOW]
    if math.isnan(front.value):
        return ""
    return (
        f"Its front wheels get up a sharp step of {shown('step_front', front.value)} ({front.name}), its rear ones "
        f"from rest one of {shown('step_rear', rear.value)} ({rear.name})"
    )


def _turns(found: Answers) -> str:
    turn = found["turn", NOW]
    if turn.value >= TURNS:
        return (
            f"turns on the spot, with {shown('turn', turn.value)} times the torque that needs ({turn.name})"
        )
    if turn.name == "traction":
        return "cannot turn on the spot (traction)"
    share = f"{rounded_down(turn.value, 0.01):.0%}"
    return f"cannot turn on the spot, with {share} of the torque that needs ({turn.name})"


def _asked(ask: Ask, found: Answers) -> str:
    out = []
    if ask.slope is not None:
        out.append(_one("grade", f"the slope of {math.degrees(ask.slope):.3g} deg", ask.slope, found))
    if ask.step is not None and not math.isnan(found["step_front", NOW].value):
        out.append(_step(ask.step, found))
    if ask.tow is not None:
        out.append(_one("tow", f"the pull of {ask.tow:.3g} N", ask.tow, found))
    return f"Asked: {'; '.join(out)}" if out else ""


def _step(height: float, found: Answers) -> str:
    front, rear = found["step_front", NOW], found["step_rear", NOW]
    what = f"the step of {height * 1e3:.3g} mm"
    if front.value < height:
        return f"{what}: no ({front.name})"
    if rear.value < height:
        return f"{what}: the front wheels get up, the rear ones only with a run-up ({rear.name})"
    ever = min(found["step_front", FOR_EVER], found["step_rear", FOR_EVER])
    return f"{what}: yes" + ("" if ever.value >= height else f", but not against it for ever ({ever.name})")


def _one(task: str, what: str, most: float, found: Answers) -> str:
    now, ever = found[task, NOW], found[task, FOR_EVER]
    if now.value < most:
        return f"{what}: no ({now.name})"
    if ever.value < most:
        return f"{what}: yes, but not for ever ({ever.name})"
    return f"{what}: yes"


def _wheel_up(found: Answers, worst: dict[str, int]) -> str:
    if not worst:
        return ""
    turn, step = found["turn", WHEEL_UP], found["step_front", WHEEL_UP]
    spot = "still turns" if turn.value >= TURNS else "cannot turn"
    up = "" if math.isnan(step.value) else f", gets up {shown('step_front', step.value)}"
    grade = shown("grade", found["grade", WHEEL_UP].value)
    return f"With a wheel in the air it climbs {grade}{up} and {spot} on the spot"


def _pays(ask: Ask, found: Answers, levers: pd.DataFrame) -> str:
    task, state = focus_of(ask, found)
    column = column_name(task, state)
    ordinary = levers[levers["change"] == "+1 %"]
    values = ordinary[column].fillna(0.0)
    if values.empty or values.abs().max() < NOTHING_PAYS:
        return ""
    best = ordinary.loc[values.abs().idxmax()]
    more = "more" if best[column] > 0 else "less"
    text = f"What binds is the {WORDS[task]}; most pays 1 % {more} {best['words']}: {abs(best[column]):.2g} %"
    whole = levers[levers["change"] == "whole"]
    gains = whole[column].fillna(0.0)
    if not whole.empty and gains.max() > 1.0:
        step = whole.loc[gains.idxmax()]
        text += f", or {step['words']}: {step[column]:.0f} %"
    return text


def cautions(rover: Rover, ask: Ask, loading: pd.DataFrame) -> list[str]:
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
    if d.soil is not None:
        out.append(SOIL)
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
        return (
            f"Lithium cells: {words} draws {row['pack_current_A']:.2g} A, the rating allows {pack.rating:.2g} A; they "
            "can swell or burn."
        )
    if name == "connector rating":
        return f"Battery connector: {words} draws {row['pack_current_A']:.2g} A, rated {pack.connector:g} A."
    rated = dict(rover.design.driven[0].ratings)[name]
    part = "Wheel controllers" if name == "driver rating" else "Traces"
    return f"{part}: {words} takes {row['phase_current_A']:.2g} A peak in a phase, rated {rated:.2g} A."


def _while(seconds: float) -> str:
    return f"{seconds:.2g} s" if seconds < 100 else f"{seconds / 60:.2g} min"
