"""The TUNE.yaml of a tuning: gains, cost, what must hold, how long to search; imports the study it extends."""

from __future__ import annotations

from typing import Annotated, Any, Literal, Self

from pydantic import BeforeValidator, Field, field_validator, model_validator

from drivesim.scenario import quantities as q
from drivesim.scenario.spread import Written
from drivesim.scenario.study import Study

MOST_TRAINING = 400

Weight = Annotated[float, Field(ge=0, le=1e6), q.Unit("1")]
Factor = Annotated[float, Field(ge=1), q.Unit("1")]


def _nothing(value: Any) -> Any:
    """Take a gain without settings for one with all defaults."""
    return {} if value is None else value


class GainBounds(q.Model):
    """One gain to tune: between which values it is searched, and whether in equal ratios or in equal steps."""

    between: tuple[Written, Written] | None = None
    """Least and greatest value that is looked at; without it six times around what is known."""
    scale: Literal["log", "linear"] = "log"
    """Whether it is searched in equal ratios or in equal steps."""


class Cost(q.Model):
    """Weights of what counts; each part is a mean over grounds, as a multiple of what the gains as they are give."""

    way_missed: Weight = 0.0
    """Weight of the share of the way that is missed."""
    stuck: Weight = 0.0
    """Weight of the time stuck."""
    failed: Weight = 0.0
    """Weight of runs that do not move at their end."""
    tracking: Weight = 0.0
    """Weight of the wheels' speed error."""
    circulating_power: Weight = 0.0
    """Weight of the power that wheels spend on each other."""
    slip_energy: Weight = 0.0
    """Weight of the energy lost in slip."""
    copper_energy: Weight = 0.0
    """Weight of the energy lost in the windings."""
    peak_temperature: Weight = 0.0
    """Weight of the warmest winding's rise."""
    energy: Weight = 0.0
    """Weight of the energy drawn."""

    @model_validator(mode="after")
    def _something(self) -> Self:
        if not self.weights:
            q.refuse([("", f"all weights are zero; give one of {', '.join(type(self).model_fields)}")])
        return self

    @property
    def weights(self) -> dict[str, float]:
        """The weights that are not zero."""
        return {name: getattr(self, name) for name in type(self).model_fields if getattr(self, name) > 0}


class Require(q.Model):
    """What gains must keep; those that do not are not taken, whatever they cost."""

    phase_margin: q.AngleOrZero | None = None
    """Least phase margin of the linear loop."""
    gain_margin: Factor | None = None
    """Least gain margin, a factor."""
    wheel: Literal["loaded", "free", "both"] = "loaded"
    """Whose margins: of a wheel with its share of the rover, in the air, or both."""
    voltage_limited: q.ShareOrZero | None = None
    """Greatest share of the time at full voltage, mean over grounds."""
    rounding: q.Share | None = None
    """Greatest share by which whole numbers may change a gain."""

    @property
    def margins(self) -> bool:
        """Whether margins are asked for."""
        return self.phase_margin is not None or self.gain_margin is not None


class Search(q.Model):
    """How long to search: ``points`` all over the space, ``refine`` from the best of them on, ``finalists``."""

    points: int = Field(default=32, strict=True, ge=1, le=4096)
    """Points all over the space."""
    refine: int = Field(default=24, strict=True, ge=0, le=4096)
    """Steps downhill from the best of them."""
    finalists: int = Field(default=4, strict=True, ge=1, le=64)
    """How many are driven over new grounds."""


class TuneFile(Study):
    """Gains to tune on ``training`` grounds, and ``grounds`` others to prove them on."""

    name: str = Field(default="tune", min_length=1, max_length=120)
    """Words for the result."""
    grounds: int = Field(default=24, strict=True, ge=2, le=10_000)
    """Grounds held out, to prove the gains on."""
    training: int = Field(default=8, strict=True, ge=2, le=MOST_TRAINING)
    """Grounds to search on; as many again tell the finalists apart."""
    gains: dict[str, Annotated[GainBounds, BeforeValidator(_nothing)]] = Field(
        default_factory=dict, max_length=8
    )
    """Dotted paths below drive, and where to look; without any the strategy's own gains."""
    cost: Cost = Cost(way_missed=1.0, tracking=1.0, circulating_power=1.0)
    """Weights of what counts."""
    require: Require = Require.model_validate({"phase_margin": "30 deg", "rounding": "5 %"})
    """What gains must keep."""
    search: Search = Search()
    """How long to search."""
    word_bits: Literal[8, 16, 32] = 16
    """Bits of the controller's words, where the scenario gives no arithmetic."""

    @field_validator("word_bits", mode="before")
    @classmethod
    def _whole(cls, value: Any) -> Any:
        """Keep true from being taken for 1."""
        return str(value).lower() if isinstance(value, bool) else value

    @property
    def training_seeds(self) -> range:
        """Seeds of the grounds that the search drives."""
        return range(self.first_ground, self.first_ground + self.training)

    @property
    def final_seeds(self) -> range:
        """Seeds of the grounds on which the best few are told apart."""
        return range(self.first_ground + self.training, self.first_ground + 2 * self.training)

    @property
    def held_out_seeds(self) -> range:
        """Seeds of the grounds that the gains are proven on; none of them is driven before."""
        begin = self.first_ground + 2 * self.training
        return range(begin, begin + self.grounds)
