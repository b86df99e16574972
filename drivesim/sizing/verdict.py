"""The answer in words: does it climb, step, turn and pull, what limits it, which lever pays."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd

from drivesim.sizing.answers import FOR_EVER, NOW, TASKS, WHEEL_UP, Answers, Rover
from drivesim.sizing.ask import Ask
from drivesim.sizing.levers import column_name
from drivesim.units import rounded_down

TIPPING = "tipping"
STEEPEST = math.radians(89.9)  # what is looked for
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
    if math.isinf(value) or (task == "grade" and value >= STEEPEST):
        return "no limit"
    if task in SMALL and 0 < value < 1 / about.factor:
        about = about._replace(factor=SMALL[task][0], shown_unit=SMALL[task][1])
    number = value * about.factor
    step = 10.0 ** (math.floor(math.log10(number)) - 2) if number > 0 else 1.0
    text = f"{rounded_down(number, step):.3g}"
    return text if about.shown_unit == "×" else f"{text} {about.shown_unit}"


def verdict(
    rover: Rover,
    ask: Ask,
    found: Answers,
    worst: dict[str, int],
    levers: pd.DataFrame,
    loading: pd.DataFrame,
) -> str:
    """Return what it can do at this charge, what of the asked it does, what is left with a wheel up, and what pays."""
    grade, tow = found["grade", NOW], found["tow", NOW]
    can = (
        f"At {rover.design.pack.charge:.0%} charge it climbs {shown('grade', grade.value)} ({grade.name}), pulls "
        f"{shown('tow', tow.value)} ({tow.name}) and {_turns(found)}"
    )
    sentences = (
        can,
        _steps(found),
        _asked(ask, found, loading),
        _wheel_up(found, worst),
        _pays(ask, found, levers),
    )
    return ". ".join(text for text in sentences if text) + "."


def _steps(found: Answers) -> str:
    front, rear = found["step_front", NOW], found["step_rear", NOW]
    if math.isnan(front.value):
        return ""
    up = f"a sharp step of {shown('step_front', front.value)}" if front.value > 0 else "no step"
    after = f"one of {shown('step_rear', rear.value)}" if rear.value > 0 else "none"
    rest = "" if rear.name == TIPPING else "from rest "
    return f"Its front wheels get up {up} ({front.name}), its rear ones {rest}{after} ({rear.name})"


def _turns(found: Answers) -> str:
    turn = found["turn", NOW]
    if math.isinf(turn.value):
        return "turns on the spot without any torque"
    if turn.value >= TURNS:
        return (
            f"turns on the spot, with {shown('turn', turn.value)} times the torque that needs ({turn.name})"
        )
    if turn.name == "traction" or turn.value < 0.01:
        return f"cannot turn on the spot ({turn.name})"
    share = f"{rounded_down(turn.value, 0.01):.0%}"
    return f"cannot turn on the spot, with {share} of the torque that needs ({turn.name})"


def _asked(ask: Ask, found: Answers, loading: pd.DataFrame) -> str:
    out, cases = [], {str(row["case"]): row for _, row in loading.iterrows()}
    if ask.speed_given or not cases["level"]["possible"] or found["top_speed", NOW].value < ask.speed:
        out.append(_speed(ask.speed, found, cases["level"]))
    if ask.slope is not None:
        what = f"the slope of {math.degrees(ask.slope):.3g} deg"
        out.append(_one("grade", what, ask.slope, ask.speed, found, cases["slope"]))
    if ask.step is not None:
        out.append(_step(ask.step, found))
    if ask.tow is not None:
        out.append(_one("tow", f"the pull of {_plain(ask.tow)} N", ask.tow, ask.speed, found, cases["tow"]))
    return f"Asked: {'; '.join(out)}" if out else ""


def _plain(number: float) -> str:
    """Return a number that was asked for, without powers of ten for large ones."""
    return f"{number:.3g}" if abs(number) < 1000 else f"{number:.0f}"


def _speed(speed: float, found: Answers, level: Any) -> str:
    what, top, ever = (
        f"the speed of {speed:.3g} m/s",
        found["top_speed", NOW],
        found["top_speed", FOR_EVER],
    )
    if not level["possible"] or top.value < speed:
        most = f", {shown('top_speed', top.value)} at most" if 0 < top.value < speed else ""
        return f"{what} on the level: no{most} ({level['limit'] or top.name})"
    held = level["over"] or (ever.name if ever.value < speed else "")
    return f"{what} on the level: yes" + (f", but not for ever ({held})" if held else "")


def _step(height: float, found: Answers) -> str:
    front, rear = found["step_front", NOW], found["step_rear", NOW]
    what = f"the step of {_plain(height * 1e3)} mm"
    if math.isnan(front.value):
        return f"{what}: not worked out, steps are for wheels in two axles only"
    if front.value < height:
        return f"{what}: no ({front.name})"
    if rear.value < height and rear.name == TIPPING:
        return f"{what}: the front wheels get up, but it tips over before the rear ones do"
    if rear.value < height:
        return f"{what}: the front wheels get up, the rear ones only with a run-up ({rear.name})"
    ever = min(found["step_front", FOR_EVER], found["step_rear", FOR_EVER])
    return f"{what}: yes" + ("" if ever.value >= height else f", but not against it for ever ({ever.name})")


def _one(task: str, what: str, most: float, speed: float, found: Answers, row: Any) -> str:
    """Return the answer about a slope or a pull, from rest, at the speed asked for and for ever; ``row`` of loading."""
    now, ever = found[task, NOW], found[task, FOR_EVER]
    if now.value < most:
        return f"{what}: no ({now.name})"
    top, top_ever = (
        found["slope_speed" if task == "grade" else "top_speed", state] for state in (NOW, FOR_EVER)
    )
    if not row["possible"]:
        fastest = f", {shown('slope_speed', top.value)} at most" if task == "grade" and top.value > 0 else ""
        return f"{what}: yes, but not at {speed:.3g} m/s{fastest} ({row['limit']})"
    slow = top_ever.name if top_ever.value < speed else ""
    held = ever.name if ever.value < most else row["over"] or slow
    return f"{what}: yes" + (f", but not for ever ({held})" if held else "")


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
    if found[task, state].value == 0:
        return f"What binds is the {WORDS[task]}, of which nothing is left ({found[task, state].name})"
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
