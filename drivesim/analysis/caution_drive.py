"""Cautions about controllers, their sensors and their arithmetic, and the hosts above them; imports engine, drive."""

from __future__ import annotations

import numpy as np

from drivesim.drive.controller import IDEAL_ANGLE, SPEED_LOOP
from drivesim.drive.coordination import DROOP, EQUAL_CURRENT
from drivesim.drive.fixed_point import from_fixed
from drivesim.engine.simulate import Recording


def drive_cautions(recording: Recording) -> list[str]:
    """Return the cautions about the wheel controllers and the host above them."""
    wheels, params, names = recording.model.wheels, recording.model.params[0], recording.model.names
    out = []
    for name, ticks in zip(names, wheels["sample_ticks"], strict=True):
        if ticks < 1:
            out.append(
                f"Numbers: {name} samples every {ticks * recording.model.step * 1e3:.3g} ms, more often than the step "
                f"of {recording.model.step * 1e3:.3g} ms; give a 'step' no longer than its sample time."
            )
            break
    single = (wheels["sensors"] == 1) & (wheels["driven"] == 1)
    if np.any((wheels["strategy"] == SPEED_LOOP) & single & (wheels["braking"] == 1)):
        out.append(
            "Speed loop with braking on a single Hall sensor: the sensor cannot see the direction, so a wheel pushed "
            "backwards may be driven further backwards."
        )
    if np.any(single & (wheels["commutation"] != IDEAL_ANGLE)):
        out.append(
            "A single Hall sensor tells the rotor's angle to half a turn only: from some rest angles such a wheel "
            "gives no torque or turns the wrong way; a real controller needs a start-up ramp for that."
        )
    if params["coordination"] == DROOP:
        path = wheels["resistance"] + wheels["on_resistance"]
        loops = params["coordination_gain"] * wheels["kp"] / path
        i = int(loops.argmax())
        if loops[i] >= 1:
            out.append(
                f"Droop of {params['coordination_gain']:.3g} rad/s/A with a gain of {wheels['kp'][i]:.3g} V*s/rad on "
                f"{path[i]:.3g} ohm swings by itself (their product over the resistance is {loops[i]:.2g}, it must "
                "stay below 1)."
            )
    return out + _lost_gains(recording)


def _lost_gains(recording: Recording) -> list[str]:
    """Tell gains of a whole-number PI that are too small for its format, each kind of loss once with its wheels.

    equal_current works with the host's PI instead.
    """
    model, lost = recording.model, dict[str, list[str]]()
    for name, w in zip(model.names, model.wheels, strict=True):
        if w["word_bits"] == 0 or w["driven"] == 0 or w["coordination"] == EQUAL_CURRENT:
            continue
        Ts, voltage = w["sample_time"], w["strategy"] == SPEED_LOOP
        unit, rate = ("V*s/rad", "V/rad") if voltage else ("rad/s per rad/s", "1/s")
        for gain, value, number, words in (
            ("proportional", w["kp"], w["kp_fixed"], ""),
            ("integral", w["ki"], w["ki_fixed"], f", {w['ki'] * Ts:.3g} a sample of {Ts * 1e3:g} ms,"),
            ("feed_forward", w["feed_forward"], w["feed_forward_fixed"], ""),
        ):
            if value > 0 and number == 0:
                text = (
                    f"the {gain} gain of {value:.3g} {rate if words else unit}{words} rounds to zero; with "
                    f"{w['gain_bits']} gain_fraction_bits it is a multiple of {from_fixed(1, w['gain_bits']):.3g}"
                )
                lost.setdefault(text, []).append(name)
    return [f"Whole-number PI of {', '.join(names)}: {text}." for text, names in lost.items()]
