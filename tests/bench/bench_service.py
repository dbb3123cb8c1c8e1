"""P2 and P3 on the real service: event to pin under load, time to ready, memory, weight of the page.

    .venv/bin/python tests/bench/bench_service.py [SECONDS]

Event to pin: from an event in the loop's inbox to the level on the gate's pin, with 20 live pages open in another
process, pages rendered and settings written all the while. Mock pins; nothing of a real board is in these figures.
"""

import contextlib
import http.client
import multiprocessing
import resource
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

from gatekeeper.control.messages import ToolSeen
from gatekeeper.devices.bench import BenchPins
from gatekeeper.devices.pins import open_pins
from gatekeeper.launch import open_page
from gatekeeper.service.facing import ShopFace
from gatekeeper.service.running import Service
from gatekeeper.service.wiring_sensors import silent_bank
from gatekeeper.shop.examples import example
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop

PAGES = 20


def shop_of(name: str) -> Shop:
    path = example(name)
    shop = load_shop(path.read_text(encoding="utf-8"), path.name)
    if isinstance(shop, Faults):
        raise SystemExit(f"{name} has faults")
    return shop


def watch(port: int, ready: "multiprocessing.synchronize.Barrier") -> None:
    """One phone: the page once, then its live stream for ever."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
    connection.request("GET", "/")
    connection.getresponse().read()
    connection.request("GET", "/live", headers={"Accept": "text/event-stream"})
    answer = connection.getresponse()
    ready.wait()
    with contextlib.suppress(OSError, http.client.HTTPException):
        while answer.read1(65536):
            pass


def phones(port: int, ready: "multiprocessing.synchronize.Barrier") -> None:
    threads = [threading.Thread(target=watch, args=(port, ready), daemon=True) for _ in range(PAGES)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()


def event_to_pin(seconds: float) -> None:
    shop = shop_of("garage-one-collector")
    folder = Path(tempfile.mkdtemp())
    pins = open_pins("mock")
    hands = BenchPins(pins)
    service = Service(shop, pins, folder, open_bank=silent_bank)
    for source in shop.inputs.values():
        if source.contact is not None and source.contact.normally_closed:
            hands.drive(source.contact.line, high=False)
    face = ShopFace(service)
    service.start()
    face.start()
    page = open_page(shop, folder, face, listen="127.0.0.1", port=0, lan=False)
    context = multiprocessing.get_context("spawn")
    ready = context.Barrier(PAGES + 1)
    crowd = context.Process(target=phones, args=(page.serving.port, ready), daemon=True)
    crowd.start()
    ready.wait()
    ending = threading.Event()
    load = [
        threading.Thread(target=work, args=(ending,), daemon=True)
        for work in (lambda ending: render(page.serving.port, ending), lambda ending: write(face, ending))
    ]
    for thread in load:
        thread.start()
    for tool in shop.tools:
        service.loop.post(ToolSeen(tool, "stopped"))
    time.sleep(3.0)
    waits_ms = []
    ends_s = time.monotonic() + seconds
    tools = [tool for tool in shop.tools.values() if shop.gates[tool.gates[0]].servo is not None]
    turn = 0
    while time.monotonic() < ends_s:
        tool = tools[turn % len(tools)]
        turn += 1
        servo = shop.gates[tool.gates[0]].servo
        assert servo is not None
        before = len(hands.history(servo.line))
        posted_s = time.monotonic()
        service.loop.post(ToolSeen(tool.name, "running"))
        while len(hands.history(servo.line)) == before and time.monotonic() < posted_s + 1.0:
            time.sleep(0)
        after = hands.history(servo.line)[before:]
        if after:
            waits_ms.append((after[0][0] - posted_s) * 1000)
        time.sleep(0.15)
        service.loop.post(ToolSeen(tool.name, "stopped"))
        time.sleep(0.05)
    ending.set()
    waits_ms.sort()
    print(f"event to pin with {PAGES} pages open, pages rendered and settings written: {len(waits_ms)} events")
    print(
        f"  median {statistics.median(waits_ms):.2f} ms, 99th percentile {waits_ms[int(0.99 * len(waits_ms))]:.2f} ms,"
        f" worst {waits_ms[-1]:.2f} ms"
    )
    begun_s = time.monotonic()
    page.stop()
    service.stop()
    face.stop()
    print(f"stop with {PAGES} pages open: {time.monotonic() - begun_s:.2f} s")
    crowd.kill()


def render(port: int, ending: threading.Event) -> None:
    while not ending.is_set():
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
        connection.request("GET", "/")
        connection.getresponse().read()
        connection.close()


def write(face: ShopFace, ending: threading.Event) -> None:
    value = 8.0
    while not ending.is_set():
        value = 8.0 + (value - 7.0) % 20
        face.set_spin_down("collector", value, "page").result(10)
        time.sleep(0.05)


def time_to_ready() -> None:
    """From the command to its first line, and to its page's address; memory after that."""
    for shop in ("one-evening", "school-room"):
        ready, paged, rss = [], [], 0
        for _ in range(3):
            folder = tempfile.mkdtemp()
            begun_s = time.monotonic()
            command = [sys.executable, "-m", "gatekeeper", "run", shop, "--pins", "mock", "--state", folder]
            with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as program:
                assert program.stdout is not None
                program.stdout.readline()
                ready.append(time.monotonic() - begun_s)
                next(line for line in program.stdout if line.startswith("Page: "))
                paged.append(time.monotonic() - begun_s)
                time.sleep(2)
                if program.poll() is not None:
                    raise SystemExit(f"{shop}: ended with {program.returncode}")
                status = Path(f"/proc/{program.pid}/status").read_text()
                rss = max(rss, int(status.split("VmRSS:")[1].split()[0]))
                program.terminate()
        print(f"{shop}: under control after {min(ready):.2f} s, page after {min(paged):.2f} s, {rss / 1024:.0f} MB")


def first_picture() -> None:
    """What one visit weighs, and when the page first shows something, in a real Chromium."""
    from playwright.sync_api import sync_playwright

    folder = tempfile.mkdtemp()
    command = [sys.executable, "-m", "gatekeeper", "run", "school-room", "--pins", "mock", "--state", folder]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as program:
        assert program.stdout is not None
        address = next(line for line in program.stdout if line.startswith("Page: ")).split()[1]
        with sync_playwright() as chromium:
            browser = chromium.chromium.launch(
                executable_path="/usr/bin/chromium", args=["--no-sandbox", "--disable-background-networking"]
            )
            paints, weight = [], 0
            for _ in range(5):
                page = browser.new_context(viewport={"width": 360, "height": 740}).new_page()
                page.goto(address, wait_until="load")
                page.wait_for_function("performance.getEntriesByName('first-contentful-paint').length > 0")
                paints.append(page.evaluate("performance.getEntriesByName('first-contentful-paint')[0].startTime"))
                weight = page.evaluate(
                    "[...performance.getEntriesByType('navigation'), ...performance.getEntriesByType('resource')]"
                    ".filter(e => !e.name.includes('/live')).reduce((sum, e) => sum + e.transferSize, 0)"
                )
            browser.close()
        program.terminate()
    shown_ms = statistics.median(paints)
    print(f"school-room's page: {weight / 1000:.1f} kB with everything; first picture after {shown_ms:.0f} ms")


def main() -> None:
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 30.0
    time_to_ready()
    first_picture()
    event_to_pin(seconds)
    print(f"peak memory of this process {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")


if __name__ == "__main__":
    main()
