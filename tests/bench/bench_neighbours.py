"""How late the control thread's steps are while each neighbour is flooded: page, figures, broker, and all at once.

    .venv/bin/python tests/bench/bench_neighbours.py [SECONDS]

The real service on mock pins, its page served, its state on a real Mosquitto. A probe hands in an event every 5 ms and
takes the time until the step that took it in has ended: waiting, the step itself, and whatever held the interpreter.
Floods come from other processes, from sixteen addresses of this machine, as fast as they can; they yield to the
service (nice 10), for a stranger has a computer of his own. Nothing of a real board is in these figures.
"""

import contextlib
import multiprocessing
import os
import socket
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "devices"))

from real_broker import Broker

from gatekeeper.control.messages import ToolSeen
from gatekeeper.devices.bench import BenchPins
from gatekeeper.devices.pins import open_pins
from gatekeeper.launch import open_page
from gatekeeper.neighbours import join, speaker_for
from gatekeeper.service.facing import ShopFace
from gatekeeper.service.running import Service
from gatekeeper.service.wiring_sensors import silent_bank
from gatekeeper.shop.examples import example
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop

EVERY_S = 0.005
ADDRESSES = 16
KEY = 24
BASE = "homie/5/dust-collection"
SHOP = """
inputs:
  let in: {{kind: broker key, pin: GPIO{key}}}
brokers:
  house: {{host: 127.0.0.1, port: {port}}}
neighbours:
  homie: {{broker: house, commands: yes}}
  metrics: yes
"""

Flood = Callable[[int, int], None]


def shop_with(port: int) -> Shop:
    text = example("one-evening").read_text(encoding="utf-8")
    found = load_shop(text + SHOP.format(port=port, key=KEY), "shop.yaml")
    if not isinstance(found, Shop):
        raise SystemExit(f"{found.name}: {[fault.said for fault in found.each]}")
    return found


def ask_for_ever(port: int, at: str, request: bytes) -> None:
    while True:
        with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), 5.0, (at, 0)) as connection:
            connection.settimeout(5.0)
            for _ in range(1000):
                connection.sendall(request)
                if not connection.recv(262144):
                    break


def crowd(port: int, requests: tuple[bytes, ...]) -> None:
    threads = [
        threading.Thread(target=ask_for_ever, args=(port, f"127.0.2.{n + 1}", requests[n % len(requests)]), daemon=True)
        for n in range(ADDRESSES)
    ]
    for thread in threads:
        thread.start()
    threads[0].join()


PAGE = (
    b"GET / HTTP/1.1\r\nHost: localhost\r\n\r\n",
    b"POST /stop HTTP/1.1\r\nHost: localhost\r\nOrigin: http://localhost\r\nContent-Length: 0\r\n\r\n",
    b"GET /live?page=shop HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n",
)
FIGURES = (b"GET /metrics HTTP/1.1\r\nHost: localhost\r\n\r\n",)


def flood_page(port: int, _: int) -> None:
    os.nice(10)
    crowd(port, PAGE)


def flood_figures(port: int, _: int) -> None:
    os.nice(10)
    crowd(port, FIGURES)


def flood_broker(_: int, port: int) -> None:
    os.nice(10)
    from paho.mqtt.client import Client
    from paho.mqtt.enums import CallbackAPIVersion

    client = Client(CallbackAPIVersion.VERSION2)
    client.connect("127.0.0.1", port)
    client.loop_start()
    number = 0
    while True:
        info = client.publish(f"{BASE}/collector/stop/set", ("true", "x", "false")[number % 3], qos=0)
        number += 1
        if number % 500 == 0:
            with contextlib.suppress(RuntimeError, ValueError):
                info.wait_for_publish(5.0)


def percentile(values: list[float], share: float) -> float:
    return values[min(len(values) - 1, int(share * len(values)))]


class Probe:
    """Times from handing in an event to the end of the step that took it in."""

    def __init__(self, service: Service) -> None:
        self._service = service
        self._done = threading.Event()
        self._ended_s = 0.0
        service.after_step = self._step

    def _step(self) -> None:
        if not self._service.loop._inbox:
            self._ended_s = time.monotonic()
            self._done.set()

    def run(self, seconds: float) -> list[float]:
        tool = next(iter(self._service.shop.tools))
        found: list[float] = []
        ends_s = time.monotonic() + seconds
        while time.monotonic() < ends_s:
            self._done.clear()
            begun_s = time.monotonic()
            self._service.loop.post(ToolSeen(tool, "stopped"))
            self._done.wait(5.0)
            found.append((self._ended_s - begun_s) * 1000)
            time.sleep(EVERY_S)
        return sorted(found)


def measure(name: str, floods: tuple[Flood, ...], page_port: int, broker_port: int, probe: Probe, s: float) -> None:
    context = multiprocessing.get_context("spawn")
    made = [context.Process(target=flood, args=(page_port, broker_port), daemon=True) for flood in floods]
    for process in made:
        process.start()
    time.sleep(3.0 if made else 0.5)
    found = probe.run(s)
    for process in made:
        process.kill()
        process.join()
    told = f"median {percentile(found, 0.5):.2f}, 99 % {percentile(found, 0.99):.2f}, "
    told += f"99.9 % {percentile(found, 0.999):.2f}, worst {found[-1]:.2f} ms"
    print(f"{name:32} {len(found):6} steps: {told}", flush=True)


def main() -> None:
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 30.0
    folder = Path(tempfile.mkdtemp())
    broker = Broker(folder)
    shop = shop_with(broker.port)
    speaker = speaker_for(shop)
    assert speaker is not None
    pins = open_pins("mock")
    service = Service(shop, pins, folder / "state", open_bank=silent_bank)
    hands = BenchPins(pins)
    hands.drive(KEY, high=False)
    probe = Probe(service)
    service.start()
    face = ShopFace(service)
    face.start()
    neighbour = join(service, face, speaker)
    page = open_page(shop, folder, face, listen="127.0.0.1", port=0, lan=False)
    print(f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f} before, {seconds:g} s each")
    cases: tuple[tuple[str, tuple[Flood, ...]], ...] = (
        ("nothing", ()),
        ("the page is flooded", (flood_page,)),
        ("the figures are scraped", (flood_figures,)),
        ("the broker is flooded", (flood_broker,)),
        ("all of these at once", (flood_page, flood_figures, flood_broker)),
    )
    for name, floods in cases:
        measure(name, floods, page.serving.port, broker.port, probe, seconds)
    print(f"commands dropped: {neighbour.dropped}; places taken at the page: {page.serving.places.taken}")
    begun_s = time.monotonic()
    page.stop()
    service.stop()
    face.stop()
    broker.kill()
    print(f"all ended in {time.monotonic() - begun_s:.2f} s")


if __name__ == "__main__":
    main()
