"""Cost of the virtual shop and of sensing 16 analog channels. Run: python tests/bench/bench_plant.py

Two converters with eight clamps each, read in blocks of 20 ms as the service does, on a clock moved by hand: the time
that the process spends over the time that passes in the shop is the share of one core in real time (P3 for sensing).
"""

import argparse
import time
from threading import Thread

from gatekeeper.devices.pins import open_pins
from gatekeeper.service.clock import HandClock, SystemClock
from gatekeeper.service.hearing import Currents
from gatekeeper.service.wiring import Wires, wire_up
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop
from sim.bench import VirtualBench
from sim.clamps import rate_hz
from sim.plant import STEP_S, VirtualShop

BLOCK_S = 0.02


def sixteen() -> Shop:
    """Sixteen machines with a clamp and a gate each; the shares do not hang on what moves the gates."""
    lines = [
        "shop: {name: Sixteen, units: metric, mains: 50 Hz, open_flue_nearby: no}",
        "motors:",
        "  collector: {power: 4 kW, phases: three, inlet: 200 mm, switched_by: {pin: GPIO17, when_board_dies: drops}}",
        "converters:",
        "  board a: {chip_select: 0}",
        "  board b: {chip_select: 1}",
        "gates:",
        *(f"  gate {n}: {{diameter: 100 mm}}" for n in range(16)),
        "tools:",
        *(
            f"  saw {n}: {{gates: gate {n}, "
            f"sensor: {{converter: board {'ab'[n // 8]}, channel: {n % 8}, range: 40 A}}}}"
            for n in range(16)
        ),
    ]
    shop = load_shop("\n".join(lines), "sixteen.yaml")
    assert isinstance(shop, Shop), str(shop)
    return shop


def stack(shop: Shop, clock: HandClock | SystemClock) -> tuple[VirtualShop, Wires]:
    pins = open_pins("mock", clock.now)
    plant = VirtualShop(shop, pins, clock)
    return plant, wire_up(shop, pins, lambda look: None, open_bank=plant.open_bank)


def shares(seconds: float) -> None:
    """Contacts and mechanics, samples, and sensing apart."""
    shop = sixteen()
    block = round(BLOCK_S * rate_hz(shop.mains_hz))
    rate = rate_hz(shop.mains_hz)
    print(f"Share of one core, %: 16 channels, {rate:g} samples a second each, {seconds:g} s of the shop")
    print("machines on   plant: steps   plant: samples   driver   sensing")
    for running in (0, 2, 16):
        clock = HandClock(100.0)
        plant, wires = stack(shop, clock)
        currents = Currents(shop)
        for tool in list(shop.tools)[:running]:
            plant.switch_tool(tool, True)
        spent = {"steps": 0.0, "read": 0.0, "give": 0.0, "hear": 0.0}
        give = _timed_sources(plant, spent)
        for _ in range(round(seconds / STEP_S)):
            clock.advance(STEP_S)
            t0 = time.process_time()
            plant.step()
            t1 = time.process_time()
            blocks = {name: bank.read(block) for name, bank in wires.banks.items()}
            t2 = time.process_time()
            for name, heard in blocks.items():
                currents.hear(name, heard)
            t3 = time.process_time()
            spent["steps"] += t1 - t0
            spent["read"] += t2 - t1
            spent["hear"] += t3 - t2
        assert give > 0
        steps, samples = spent["steps"], spent["give"]
        figures = [100 * value / seconds for value in (steps, samples, spent["read"] - samples, spent["hear"])]
        print(f"{running:11d}   {figures[0]:12.2f}   {figures[1]:14.2f}   {figures[2]:6.2f}   {figures[3]:7.2f}")
        wires.close()


def _timed_sources(plant: VirtualShop, spent: dict[str, float]) -> int:
    """Take the time of every converter's source; how many there are."""
    for bank in plant._banks.values():
        inner = bank._source
        assert inner is not None

        def timed(scans: int, inner=inner):  # type: ignore[no-untyped-def]
            begun = time.process_time()
            given = inner(scans)
            spent["give"] += time.process_time() - begun
            return given

        bank._source = timed
    return len(plant._banks)


def real_time(seconds: float) -> None:
    """The whole plant in real time with a reader, as the demo runs it: CPU of the process over the time that passed."""
    shop = sixteen()
    plant, wires = stack(shop, SystemClock())
    currents = Currents(shop)
    block = round(BLOCK_S * rate_hz(shop.mains_hz))
    for tool in list(shop.tools)[:2]:
        plant.switch_tool(tool, True)
    until_s = time.monotonic() + seconds

    def read() -> None:
        while time.monotonic() < until_s:
            for name, bank in wires.banks.items():
                currents.hear(name, bank.read(block))

    plant.start()
    begun, begun_cpu = time.monotonic(), time.process_time()
    reader = Thread(target=read)
    reader.start()
    reader.join()
    passed, spent = time.monotonic() - begun, time.process_time() - begun_cpu
    plant.stop()
    wires.close()
    print(f"\nReal time, 2 machines on, plant and sensing together: {100 * spent / passed:.1f} % of one core")


def controls(times: int) -> None:
    """How long the page's list of the bench takes."""
    plant, wires = stack(sixteen(), HandClock(100.0))
    bench = VirtualBench(plant)
    begun = time.process_time()
    for _ in range(times):
        bench.controls()
    each_ms = (time.process_time() - begun) / times * 1000
    print(f"\nThe bench's list of {len(bench.controls())} parts: {each_ms:.2f} ms")
    wires.close()


if __name__ == "__main__":
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--seconds", type=float, default=20.0, help="of the shop, for each line")
    given = asked.parse_args()
    shares(given.seconds)
    real_time(min(given.seconds, 10.0))
    controls(200)
