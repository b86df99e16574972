"""The whole-number arithmetic of a small wheel controller, and what fits into its words; imports only quantities."""

from __future__ import annotations

from typing import Any, Literal, Self

from pydantic import Field, field_validator, model_validator

from drivesim.scenario import quantities as q


class Arithmetic(q.Model):
    """Words of the controller's PI: values with ``fraction_bits``, gains with ``gain_fraction_bits``."""

    word_bits: Literal[8, 16, 32]
    """Bits of a word of the controller."""
    fraction_bits: int = Field(strict=True, ge=0, le=31)
    """Bits after the point of speeds and voltages."""
    gain_fraction_bits: int = Field(strict=True, ge=0, le=30)
    """Bits after the point of gains."""

    @field_validator("word_bits", mode="before")
    @classmethod
    def _whole(cls, value: Any) -> Any:
        """Keep true from being taken for 1."""
        return str(value).lower() if isinstance(value, bool) else value

    @model_validator(mode="after")
    def _fits(self) -> Self:
        if self.fraction_bits >= self.word_bits:
            text = (
                f"found {self.fraction_bits}, allowed: at most {self.word_bits - 1}, one less than word_bits"
            )
            q.refuse([("fraction_bits", text)])
        return self

    @property
    def largest_value(self) -> float:
        """The largest value that a word holds (in the value's own unit)."""
        return float(2 ** (self.word_bits - 1) - 1) / 2**self.fraction_bits

    @property
    def largest_gain(self) -> float:
        """The largest gain that a word holds (in the gain's own unit; of an integral gain per sample)."""
        return float(2 ** (self.word_bits - 1) - 1) / 2**self.gain_fraction_bits

    def gain_problem(self, value: float, per_sample: float, unit: str) -> str:
        """Return what is wrong with a gain that enters as ``value`` · ``per_sample``; empty where it fits."""
        most = self.largest_gain / per_sample
        if value <= most:
            return ""
        tail = "" if unit == "1" else f" {unit}"
        return (
            f"found {value:.6g}{tail}, allowed: at most {most:.6g}{tail}, the largest that {self.word_bits} bits "
            f"with {self.gain_fraction_bits} gain_fraction_bits hold"
        )

    def value_problem(self, *values: tuple[float, str]) -> str:
        """Return what is wrong with the first of ``values`` (number and words for it) that no word holds."""
        for value, words in values:
            if value > self.largest_value:
                return f"a word holds at most {self.largest_value:.6g}, and {words}; fewer fraction_bits hold more"
        return ""
