"""Prints what reading converters costs: decoding alone, and a whole read through the SPI message and a fake chip.

Run it with: python tests/bench/bench_converter.py [--json]
Figures are for this machine; the bus itself takes no time here.
"""

import json
import sys
import time
from collections.abc import Callable
from typing import Any

from gatekeeper.devices.bench import FakeBank, fake_converter
from gatekeeper.devices.converter import BYTES_PER_CONVERSION, MCP3208, decode_reply, decode_scans

SCANS = 40
REPEATS = 500
CHANNELS = 8


def cost_us(work: Callable[[], Any], per: int) -> float:
    """The least time of some runs, per piece, in microseconds."""
    best_s = float("inf")
    for _ in range(5):
        start_s = time.perf_counter()
        for _ in range(REPEATS):
            work()
        best_s = min(best_s, time.perf_counter() - start_s)
    return best_s / REPEATS / per * 1e6


def figures() -> dict[str, float]:
    """All figures, by name."""
    codes = SCANS * CHANNELS
    replies = bytes(number % 256 for number in range(codes * BYTES_PER_CONVERSION))
    one = replies[:BYTES_PER_CONVERSION]
    window = [2048] * SCANS
    bank = fake_converter("A", MCP3208, FakeBank(MCP3208, source=lambda scans: [window[:scans]] * CHANNELS))
    read_us = cost_us(lambda: bank.read(SCANS), codes)
    decode_us = cost_us(lambda: decode_scans(MCP3208, replies, CHANNELS), codes)
    return {
        "decode, whole scans, us a code": decode_us,
        "decode, one by one, us a code": cost_us(lambda: decode_reply(MCP3208, one), 1),
        "whole read with the fake chip, us a code": read_us,
        "decode, 16 channels at 1000 Hz, % of one core": decode_us * 16_000 / 1e4,
        "whole read with the fake chip, 16 channels at 1000 Hz, % of one core": read_us * 16_000 / 1e4,
    }


def main() -> None:
    """Print them."""
    measured = figures()
    if "--json" in sys.argv[1:]:
        print(json.dumps(measured))
        return
    for name, value in measured.items():
        print(f"{value:8.3f}  {name}")


if __name__ == "__main__":
    main()
