"""All limits of one design: now, hot, for ever, and with a wheel in the air; imports statics, steps and travel."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import partial
from typing import NamedTuple

from drivesim.scenario.scenario import Scenario
from drivesim.sizing.ability import Ability, Found, Stand
from drivesim.sizing.ask import Ask
from drivesim.sizing.design import Design, design_of
from drivesim.sizing.loads import Standing
from drivesim.sizing.statics import NOT_THERE, greatest_pull, steepest_grade, turn_margin
from drivesim.sizing.steps import highest_step
from drivesim.sizing.travel import cooled, endurance, top_speed, warmed

NOW, HOT, FOR_EVER, WHEEL_UP = STATES = ("now", "hot", "for_ever", "wheel_up")
TOP_ROUNDS = 6  # of speed and temperature in turn, at most
CLOSE = 1e-4  # of a speed
STATE_WORDS = {NOW: "now", HOT: "hot", FOR_EVER: "for ever", WHEEL_UP: "a wheel up"}


class Task(NamedTuple):
    """A limit that is sought: its words, its SI unit, the unit it is told in and by what factor, and its states."""

    words: str
    unit: str
    shown_unit: str
    factor: float
    states: tuple[str, ...]


_STATIC = (NOW, HOT, FOR_EVER, WHEEL_UP)
TASKS = {
    "grade": Task("steepest grade", "rad", "deg", 180 / math.pi, _STATIC),
    "step_front": Task("highest step, front wheels", "m", "mm", 1e3, _STATIC),
    "step_rear": Task("highest step, rear wheels", "m", "mm", 1e3, _STATIC),
    "turn": Task("turn on the spot, margin", "1", "×", 1.0, _STATIC),
    "tow": Task("pull on the level", "N", "N", 1.0, _STATIC),
    "top_speed": Task("top speed on the level", "m/s", "m/s", 1.0, (NOW, HOT, FOR_EVER)),
    "slope_speed": Task("top speed on the slope", "m/s", "m/s", 1.0, (NOW, HOT, FOR_EVER)),
    "endurance": Task("endurance", "s", "h", 1 / 3600, (NOW,)),
    "range": Task("range", "m", "km", 1e-3, (NOW,)),
}


Answers = dict[tuple[str, str], Found]


@dataclass(frozen=True)
class Rover:
    """A design with its abilities: windings as cold as the air, as hot as their limit, and hot for ever."""

    design: Design
    standing: Standing
    cold: Ability
    hot: Ability
    lasting: Ability

    @classmethod
    def of(cls, scenario: Scenario) -> Rover:
        """Return the rover of ``scenario``."""
        design = design_of(scenario)
        standing = Standing(design)
        air, hottest = (design.ambient,) * len(design.wheels), tuple(w.hottest for w in design.wheels)
        return cls(
            design, standing, Ability(design, standing, air), Ability(design, standing, hottest),
            Ability(design, standing, hottest, lasting=True),
        )  # fmt: skip

    def ability(self, state: str) -> Ability:
        """Return what counts in one state."""
        return {HOT: self.hot, FOR_EVER: self.lasting}.get(state, self.cold)

    def crawl(self, ask: Ask) -> float:
        """Return the speed [m/s] at which statics count: a forced field keeps turning, other wheels may stall."""
        return ask.speed if self.design.forced else 0.0

    @property
    def liftable(self) -> tuple[int, ...]:
        """The wheels to be lifted in turn: of two axles of two, one of each diagonal; none of fewer than four."""
        axles = self.design.axles
        if axles is not None and all(len(axle) == 2 for axle in axles):
            return axles[0]
        return tuple(range(len(self.design.wheels))) if len(self.design.wheels) > 3 else ()


def answers(
    rover: Rover, ask: Ask, states: Iterable[str] = STATES, warm: tuple[float, ...] | None = None,
    lifted: dict[str, int] | None = None, near: Answers | None = None,
) -> tuple[Answers, dict[str, int]]:  # fmt: skip
    """Return every limit in SI by task and state, and of each task the wheel whose lifting costs most.

    ``warm``: the windings' temperatures [degC] as they settle on the level at the speed asked for, where they are
    known; ``lifted``: the wheels to lift, one for each task, instead of trying them all; ``near``: limits that are
    close to these.
    """
    found: Answers = {}
    near = near or {}
    for state in states:
        if state != WHEEL_UP:
            ability = rover.ability(state)
            still = cooled(ability, rover.crawl(ask)) if state == FOR_EVER else ability
            found |= {
                (task, state): value for task, value in _statics(rover, ask, still, state, near).items()
            }
            found |= _speeds(rover, ask, ability, state, near)
    worst = dict[str, int]()
    if WHEEL_UP in states:
        found |= _wheel_up(rover, ask, worst, lifted, near)
    if NOW in states:
        level = rover.standing.loads()
        temperatures = warmed(rover.cold, level, ask.speed).temperatures if warm is None else warm
        lasts = endurance(Ability(rover.design, rover.standing, temperatures), level, ask.speed)
        found["endurance", NOW] = lasts
        found["range", NOW] = Found(lasts.value * ask.speed, lasts.name)
    return found, worst


def _speeds(rover: Rover, ask: Ask, ability: Ability, state: str, near: Answers) -> Answers:
    """Return the top speeds; where close ones are known already, only that which the levers are told of."""
    stand = rover.standing.loads
    close = near.get(("top_speed", state), NOT_THERE).value
    found: Answers = {}
    if not near or state == NOW:
        found["top_speed", state] = _top(ability, stand, 0.0, close)
    if not near:
        slope = ask.slope
        found["slope_speed", state] = NOT_THERE if slope is None else _top(ability, stand, slope)
    return found


def _top(ability: Ability, stand: Stand, slope: float, near: float = math.nan) -> Found:
    """Return the top speed; for ever one with windings as warm as they settle there."""
    found = top_speed(ability, stand, slope, near)
    for _ in range(TOP_ROUNDS if ability.lasting else 0):
        before, found = found, top_speed(cooled(ability, found.value), stand, slope, found.value)
        if abs(found.value - before.value) <= CLOSE * found.value:
            break
    return found


def _statics(
    rover: Rover, ask: Ask, ability: Ability, state: str, near: Answers, lifted: int | None = None
) -> dict[str, Found]:
    """Return the limits at a crawl, with the wheel ``lifted`` in the air if it is given."""
    speed, standing = rover.crawl(ask), rover.standing
    stand: Stand = standing.loads if lifted is None else partial(standing.lifted, lifted)
    close = {task: near.get((task, state), NOT_THERE).value for task in TASKS}
    steps = highest_step(ability, standing.loads(), speed, lifted, (close["step_front"], close["step_rear"]))
    return {
        "grade": steepest_grade(ability, stand, speed, close["grade"]),
        "step_front": steps[0],
        "step_rear": steps[1],
        "turn": turn_margin(ability, stand(0.0, 0.0), speed)[0],
        "tow": greatest_pull(ability, stand, speed, close["tow"]),
    }


def _wheel_up(
    rover: Rover, ask: Ask, worst: dict[str, int], lifted: dict[str, int] | None, near: Answers
) -> Answers:
    """Return what is left with the wheel in the air that costs most, task by task."""
    found: Answers = {
        (task, WHEEL_UP): NOT_THERE for task, about in TASKS.items() if WHEEL_UP in about.states
    }
    for wheel in sorted(set(lifted.values())) if lifted is not None else rover.liftable:
        for task, value in _statics(rover, ask, rover.cold, WHEEL_UP, near, wheel).items():
            chosen = lifted is not None and lifted.get(task) == wheel
            before = found[task, WHEEL_UP].value
            if chosen or (lifted is None and not math.isnan(value.value) and not value.value >= before):
                found[task, WHEEL_UP] = value
                worst[task] = wheel
    return found
