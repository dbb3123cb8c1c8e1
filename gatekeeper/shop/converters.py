"""What each converter can give: its span, and how many samples a second for how many clamps.

The chips on SPI are read in whole scans, far faster than a clamp needs. An ADS1115 makes one conversion at a time:
at most 860 a second for all its inputs together, by an own clock that may be 10 % slow (data sheet SBAS444, from
memory). It is read one by one: started, waited for, fetched. That costs its own wake-up (about 0.1 ms, as its maker
said of it) and the bus: 0.5 ms at 400 kHz for 12 bytes, the kernel and the looks in vain (our own estimate, not
measured on a board). A mains cycle takes 8 samples at the least (``gatekeeper.sensing.rms``). So one clamp is served,
with 10.6 samples a cycle at 50 Hz and 8.8 at 60 Hz, and two never are, with 5.3 each: an ADS1115 takes one clamp. Its
driver has the same figures; a test holds them equal.
"""

from gatekeeper.shop.model_gauges import GaugeWire
from gatekeeper.shop.written_sensing import ConverterPart

ADS1115_SPS = 860.0
ADS1115_SLOWEST = 0.9
ADS1115_OVERHEAD_S = 0.0006
SAMPLES_PER_CYCLE = 8
#: Samples in one read: a decision waits for no more than that.
BLOCK_SAMPLES = 2
USUAL_FULL_SCALE_V = 1.024
#: Pairs of inputs of an ADS1115, and its inputs; its supply here, above which no input may be, volts.
PAIRS = 2
INPUTS = 4
SUPPLY_V = 3.3
#: Full scales of an ADS1115 for a gauge, volts; the largest reaches beyond its supply, so inputs end at that.
SINGLE_FULL_SCALES_V = (0.256, 0.512, 1.024, 2.048, 4.096)
#: A signal beyond its range is told from one at its end up to this many times the end. Ours.
BEYOND = 1.07


def reference_v(part: ConverterPart) -> float:
    """The whole span that a converter shows, volts: an ADS1115 shows its full scale each way."""
    if part.kind.is_on_i2c:
        return 2 * (part.full_scale if part.full_scale is not None else USUAL_FULL_SCALE_V)
    return part.reference


def shows_v(part: ConverterPart) -> float:
    """The largest voltage against ground at one input that a converter shows and bears."""
    return SUPPLY_V if part.kind.is_on_i2c else part.reference


def full_scale_v(wire: GaugeWire) -> float:
    """The smallest full scale of an ADS1115 that shows a gauge's whole signal, with room for what is beyond it."""
    most_v = wire.high.signal * wire.volts_of_signal * BEYOND
    return next((volts for volts in SINGLE_FULL_SCALES_V if volts >= most_v), SINGLE_FULL_SCALES_V[-1])


def samples_each(clamps: int) -> float:
    """Samples a second that an ADS1115 gives at worst for each of so many clamps, 1 or more."""
    return 1 / (1 / (ADS1115_SPS * ADS1115_SLOWEST) + ADS1115_OVERHEAD_S) / clamps


def samples_needed(mains_hz: float) -> float:
    """Samples a second that one clamp needs at the least."""
    return SAMPLES_PER_CYCLE * mains_hz
