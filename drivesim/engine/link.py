"""The radio between driver and rover: messages that repeat the command, get lost or late, and the fail-safe.

A SimPy process that is woken only for what changes something; imports the scenario's Command, the rest comes from
the timeline that it is given.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Generator
from dataclasses import dataclass
from statistics import NormalDist
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import simpy

from drivesim.scenario.scenario import Command

if TYPE_CHECKING:
    from drivesim.engine.timeline import Event, Timeline

LINK_SEED = 2  # key of the link's own draws
BLOCK = 512  # messages looked at in one go
DRAWS = 3  # uniform numbers a message: is it lost, how late is it, how far is the stick off


@dataclass(eq=False)
class Segment:
    """Messages 0, 1, 2 … that repeat one command: the first at tick ``begun``, as number ``first`` of the run.

    ``count``: how many were sent, None while the sender still repeats it; ``looked``: how many the receiver has
    dealt with.
    """

    command: Command
    cause: str
    begun: int
    first: int
    count: int | None = None
    looked: int = 0


class Turn(NamedTuple):
    """What happens next at the receiver; ``sway`` None: no message is there to obey.

    ``looked`` and ``heard`` are what the receiver will have dealt with in ``segment`` and when it last heard.
    """

    tick: int
    segment: Segment
    looked: int
    heard: int | None
    sway: int | None = None
    silent: bool = False


class Link:
    """Sender and receiver of one run.

    The sender sends a changed command at once and repeats it every ``every``.  Each message is lost with
    probability ``loss``; the others arrive after latency and a uniform jitter, and never overtake one another.
    The stick is off by ``command_noise`` (normal, a share of the command), anew every ``noise_every``.
    Message n always gets the same draws, whatever happens before.
    """

    def __init__(self, timeline: Timeline) -> None:
        self._timeline, self._env = timeline, timeline.env
        scenario = timeline.model.scenario
        self._settings = scenario.link
        self._seed = np.random.SeedSequence(scenario.seed, spawn_key=(LINK_SEED,))
        self._every = max(1, timeline.ticks(self._settings.every))
        self._sway_ticks = max(1, timeline.ticks(self._settings.noise_every))
        fail_safe = self._settings.fail_safe
        self._patience = None if fail_safe is None else max(1, timeline.ticks(fail_safe))
        #: can anything but a command's first message that arrives change what the wheels do?
        self._watchful = self._patience is not None or self._settings.command_noise > 0
        self._segments: deque[Segment] = deque()
        self._lost: list[tuple[int, int]] = []
        self._planned: deque[Turn] = deque()  # the next ones, as long as the sender does not change
        self._heard: int | None = None
        self._obeyed: tuple[Segment | None, int] = (None, 0)
        self.silent = False
        self._stopped: Event | None = None  # the fail-safe's last stop
        self._changed = self._env.event()
        self._env.process(self._listen())

    def send(self, command: Command, cause: str) -> None:
        """Let the sender change over to ``command`` now; ``cause`` is why, for the log."""
        number = 0
        if self._segments:
            last = self._segments[-1]
            last.count = (int(self._env.now) - last.begun) // self._every + 1
            number = last.first + last.count
            if not self._watchful and self._obeyed[0] is last:  # of the rest only what is on its way counts
                on_way = (
                    self._timeline.ticks(self._settings.latency + self._settings.jitter) // self._every + 2
                )
                last.looked = max(last.looked, last.count - on_way)
        self._segments.append(Segment(command, cause, int(self._env.now), number))
        self._wake()

    def lose(self, ticks: int) -> None:
        """Let all messages sent from now on for ``ticks`` be lost."""
        self._lost.append((int(self._env.now), int(self._env.now) + ticks))
        self._wake()

    def _wake(self) -> None:
        self._planned.clear()
        self._changed.succeed()
        self._changed = self._env.event()

    def _listen(self) -> Generator[simpy.Event, Any, None]:
        while True:
            turn = self._next_turn()
            if turn is None:
                yield self._changed
            elif turn.tick > self._env.now:
                yield self._changed | self._env.timeout(turn.tick - self._env.now)
            if turn is not None and turn.tick <= self._env.now:
                self._take(turn)

    def _take(self, turn: Turn) -> None:
        """Let ``turn`` happen at the receiver."""
        while self._segments[0] is not turn.segment:
            self._segments.popleft()
        step = self._timeline.model.step
        turn.segment.looked = turn.looked
        before, self._heard = self._heard, turn.heard
        if turn.silent:
            assert self._patience is not None
            self.silent = True
            self._timeline.aim(0.0)
            words = f"no message for {self._patience * step:.3g} s"
            self._stopped = self._timeline.note("link", words, "all wheels stop")
        elif turn.sway is not None:
            new = self._obeyed[0] is not turn.segment
            self._obeyed = (turn.segment, turn.sway)
            factor = self._factor(turn.segment, turn.sway)
            ended, self.silent = self.silent, False
            if ended:
                assert before is not None
                words = f"a message after {(turn.tick - before) * step:.3g} s of silence"
                self._timeline.note("link", words, "the wheels obey again", ends=self._stopped)
            if new:
                self._timeline.obey(turn.segment.command, turn.segment.cause, factor)
            elif ended:
                self._timeline.factor = factor
                self._timeline.aim(turn.segment.command.ramp)
            else:
                self._timeline.sway(factor)

    def _next_turn(self) -> Turn | None:
        """Return the next thing that matters at the receiver as far as the sender's messages are known.

        That may be nothing but having looked at a block of messages.  None: nothing until the sender changes.
        """
        if self._planned:
            return self._planned.popleft()
        heard = self._heard
        for segment in self._segments:
            start = segment.looked
            while segment.count is None or start < segment.count:
                if self._is_settled(segment):
                    return None
                stop = start + BLOCK if segment.count is None else min(segment.count, start + BLOCK)
                turn, *rest = self._look(segment, start, stop, heard)
                if turn.sway is not None or turn.silent:
                    self._planned.extend(rest)
                    return turn
                heard, start = turn.heard, stop
                if segment.count is None and turn.tick > self._env.now:
                    return turn
        return None

    def _is_settled(self, segment: Segment) -> bool:
        """Tell whether no further message of the present command can change anything."""
        return segment.count is None and not self._watchful and self._obeyed[0] is segment

    def _look(self, segment: Segment, start: int, stop: int, heard: int | None) -> list[Turn]:
        """Return what matters among messages ``start`` … ``stop`` of a segment, and last that all were looked at."""
        numbers, arrivals = self._arrivals(segment, start, stop, heard)
        sways = self._sways(numbers)
        sent = segment.begun + (stop - 1) * self._every
        before = np.concatenate([arrivals[:1] if heard is None else [heard], arrivals]).astype(np.int64)
        gaps = (
            np.append(arrivals, sent) - before[: numbers.size + 1]
            if before.size > numbers.size
            else np.zeros(0)
        )
        long = np.zeros(numbers.size + 1, dtype=bool)
        if self._patience is not None and gaps.size:
            long[: gaps.size] = gaps > self._patience
        sway = self._obeyed[1] if self._obeyed[0] is segment else -1
        matter = np.concatenate([np.diff(sways, prepend=sway) != 0, [False]]) | long
        if self.silent:
            matter[:1] = True
        turns, silent = [], self.silent
        for k in np.flatnonzero(matter):
            looked = int(numbers[k - 1]) + 1 if k else start
            if long[k] and not silent:
                assert self._patience is not None
                last = int(before[k])
                turns.append(Turn(last + self._patience, segment, looked, last, silent=True))
                silent = True
            if k < numbers.size:
                at = int(arrivals[k])
                turns.append(Turn(at, segment, int(numbers[k]) + 1, at, int(sways[k])))
                silent = False
        turns.append(Turn(sent, segment, stop, int(arrivals[-1]) if arrivals.size else heard))
        return turns

    def _arrivals(
        self, segment: Segment, start: int, stop: int, heard: int | None
    ) -> tuple[np.ndarray, np.ndarray]:
        """Return numbers within the segment and ticks of arrival of those of its messages that arrive."""
        numbers = np.arange(start, stop)
        sent = segment.begun + numbers * self._every
        draws = self._draw(segment.first + start, stop - start)
        arrives = draws[:, 0] >= self._settings.loss
        for begin, end in self._lost:
            arrives &= (sent < begin) | (sent >= end)
        delay = self._settings.latency + self._settings.jitter * draws[:, 1]
        ticks = sent + np.rint(delay / self._timeline.model.step).astype(np.int64)
        ticks = np.maximum.accumulate(ticks[arrives])
        return numbers[arrives], ticks if heard is None else np.maximum(ticks, heard)

    def _draw(self, first: int, count: int) -> np.ndarray:
        """Return the uniform draws of ``count`` messages from number ``first`` of the run, (count, DRAWS)."""
        bits = np.random.PCG64(self._seed)
        bits.advance(DRAWS * first)
        return np.random.Generator(bits).random((count, DRAWS))

    def _sways(self, numbers: np.ndarray) -> np.ndarray:
        """Return how often the stick has moved by itself when each message of a segment is sent."""
        if self._settings.command_noise == 0:
            return np.zeros_like(numbers)
        result: np.ndarray = numbers * self._every // self._sway_ticks
        return result

    def _factor(self, segment: Segment, sway: int) -> float:
        """Return what an unsteady stick makes of the command."""
        if self._settings.command_noise == 0:
            return 1.0
        number = segment.first - (-sway * self._sway_ticks // self._every)
        draw = min(max(float(self._draw(number, 1)[0, 2]), 1e-12), 1 - 1e-12)
        return 1.0 + self._settings.command_noise * NormalDist().inv_cdf(draw)
