"""Amperes to converter codes and back, for a clamp on a burden resistor in front of a converter.

The clamp's voltage rides on a bias in the middle of the converter's range, so that both halves of the wave fit:

    volts = bias_v + amperes * volts_per_a          code = floor(volts / vref_v * 2**bits), held within 0 .. 2**bits - 1

The code is the converter's own staircase: 0 at zero volts, the top code one step under the reference.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

#: Noise of a quiet converter in its steps (0.7, our measurement) together with rounding (1 / sqrt 12).
QUIET_STEPS = math.hypot(0.7, 1 / math.sqrt(12))


@dataclass(frozen=True, slots=True)
class FrontEnd:
    """A clamp, its burden and its converter.

    Args:
        volts_per_a: volts at the converter per ampere in the wire; above zero.
        vref_v: the converter's reference, volts; above zero.
        bits: the converter's resolution, 8 to 24.
        bias_v: resting voltage, volts, inside 0 .. vref_v; None means half the reference.

    Raises:
        ValueError: a value is outside its range.
    """

    volts_per_a: float
    vref_v: float = 3.3
    bits: int = 12
    bias_v: float | None = None

    def __post_init__(self) -> None:
        if not (math.isfinite(self.volts_per_a) and self.volts_per_a > 0):
            raise ValueError(f"The clamp gives {self.volts_per_a} V per ampere; it must be more than 0.")
        if not (math.isfinite(self.vref_v) and self.vref_v > 0):
            raise ValueError(f"The converter's reference is {self.vref_v} V; it must be more than 0 V.")
        if not 8 <= self.bits <= 24:
            raise ValueError(f"The converter has {self.bits} bits; 8 to 24 are allowed.")
        if self.bias_v is not None and not 0 < self.bias_v < self.vref_v:
            raise ValueError(f"The bias is {self.bias_v} V; it must lie between 0 V and {self.vref_v} V.")

    @classmethod
    def from_turns(
        cls, turns: float, burden_ohm: float, vref_v: float = 3.3, bits: int = 12, bias_v: float | None = None
    ) -> "FrontEnd":
        """Build the front end of a current-output clamp: `turns` to one, closed on `burden_ohm`.

        Raises:
            ValueError: turns or burden is not above zero, or see the class.
        """
        if not turns > 0:
            raise ValueError(f"The clamp has {turns} turns; it must be more than 0.")
        if not burden_ohm > 0:
            raise ValueError(f"The burden is {burden_ohm} ohm; it must be more than 0 ohm (never leave it open).")
        return cls(burden_ohm / turns, vref_v, bits, bias_v)

    @property
    def top_code(self) -> int:
        """The highest code."""
        return int(2**self.bits) - 1

    @property
    def a_per_code(self) -> float:
        """Amperes per step of the converter."""
        return self.vref_v / ((self.top_code + 1) * self.volts_per_a)

    @property
    def noise_a(self) -> float:
        """What a quiet converter reads on a wire without current, RMS amperes."""
        return QUIET_STEPS * self.a_per_code

    @property
    def rest_code(self) -> float:
        """The resting level in codes, not rounded to a step."""
        bias_v = self.vref_v / 2 if self.bias_v is None else self.bias_v
        return bias_v / self.vref_v * (self.top_code + 1)

    @property
    def clip_a(self) -> float:
        """The peak current, amperes, at which the nearer end of the range is reached."""
        return min(self.rest_code, self.top_code - self.rest_code) * self.a_per_code


def codes_from_amperes(
    samples_a: Iterable[float], front: FrontEnd, noise_lsb: Sequence[float] | None = None
) -> list[int]:
    """Return the codes that the converter gives for these currents.

    Args:
        samples_a: currents, amperes, finite.
        front: the clamp and its converter.
        noise_lsb: noise to add before rounding, in steps of the converter, used again from its start when it is
            shorter than the samples; None adds none. The caller owns the chance, so that this stays pure.
    """
    rest, top, per_a = front.rest_code, front.top_code, 1 / front.a_per_code
    noise = noise_lsb or (0.0,)
    n = len(noise)
    return [min(max(math.floor(rest + a * per_a + noise[i % n]), 0), top) for i, a in enumerate(samples_a)]


def amperes_from_codes(codes: Iterable[float], front: FrontEnd) -> list[float]:
    """Return the currents, amperes, at the middle of each code's step."""
    rest, a_per_code = front.rest_code - 0.5, front.a_per_code
    return [(code - rest) * a_per_code for code in codes]


def burden_ohm(largest_a: float, turns: float, vref_v: float = 3.3) -> float:
    """Return the burden, ohm, at which a sine of `largest_a` RMS amperes just fills the converter's range.

    burden = (vref / 2) / (largest * sqrt 2 / turns). Take the next lower resistor on sale: a higher one clips.

    Raises:
        ValueError: a value is not above zero.
    """
    if not (largest_a > 0 and turns > 0 and vref_v > 0):
        raise ValueError("The largest current, the turns and the reference must each be more than 0.")
    return (vref_v / 2) / (largest_a * math.sqrt(2) / turns)
