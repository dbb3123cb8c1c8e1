"""A drive over Modbus: on a real server over TCP, on a serial line answered byte by byte, broken leases, its speed."""

import asyncio
import math
import os
import queue
import threading
import time
import tty
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis.strategies import floats
from pymodbus.constants import ExcCodes
from pymodbus.server import ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

from gatekeeper.devices.base import DeviceError
from gatekeeper.devices.bench_drive import FakeDrive
from gatekeeper.devices.drive_pace import BACK_S, RAMP_S, SpeedRange
from gatekeeper.devices.modbus_drive import (
    DriveMap,
    DriveRefuses,
    DriveSeen,
    ModbusDrive,
    ModbusWire,
    NetworkPlace,
    SerialPlace,
)

SOON_S = 30.0
FIRST = 0x2000
MAP = DriveMap(
    command=0x2000, start_word=0x12, stop_word=0x01, status=0x2002, running_mask=0x3, running_word=0x3, speed=0x2001,
    steps_per_hz=100.0, trip=0x2003, current=0x2004, steps_per_a=10.0,
)  # fmt: skip
DEVICE = 7


class Server:
    """A real Modbus server in a thread of its own, with a drive's behaviour behind its registers."""

    def __init__(self) -> None:
        self.wrote: queue.Queue[tuple[int, int]] = queue.Queue()
        self.registers: list[int] = []
        self._ready = threading.Event()
        self.port = 0
        self.start()

    def start(self) -> None:
        self._ready.clear()
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()
        assert self._ready.wait(SOON_S)

    def _run(self) -> None:
        asyncio.set_event_loop(self._loop)
        self._loop.run_until_complete(self._serve())
        self._loop.run_forever()
        self._loop.close()

    async def _serve(self) -> None:
        data = SimData(FIRST, values=0, datatype=DataType.REGISTERS, count=8)
        self._server = ModbusTcpServer(
            SimDevice(id=DEVICE, simdata=[data], action=self._act), address=("127.0.0.1", self.port)
        )
        await self._server.serve_forever(background=True)
        self.port = self._server.transport.sockets[0].getsockname()[1]
        self._ready.set()

    async def _act(
        self, code: int, start: int, address: int, count: int, registers: list[int], values: Any
    ) -> ExcCodes | None:
        self.registers = registers
        if code == 6 and values:
            self.wrote.put((address, values[0]))
            if address == MAP.command:
                registers[MAP.status - start] = 0x3 if values[0] == MAP.start_word and not self.trip_code() else 0
        return None

    def trip_code(self) -> int:
        assert MAP.trip is not None
        return self.registers[MAP.trip - FIRST]

    def put(self, register: int, value: int) -> None:
        self.registers[register - FIRST] = value

    def kill(self) -> None:
        asyncio.run_coroutine_threadsafe(self._server.shutdown(), self._loop).result(SOON_S)
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join(SOON_S)

    def expect(self, register: int, value: int) -> None:
        """Wait until that is written."""
        end_s = time.monotonic() + SOON_S
        while self.wrote.get(timeout=SOON_S) != (register, value):
            assert time.monotonic() < end_s, f"{value} was never written to {register:#x}"


@pytest.fixture
def server() -> Iterator[Server]:
    made = Server()
    yield made
    if made._thread.is_alive():
        made.kill()


class Heard:
    """What the drive reported."""

    def __init__(self) -> None:
        self.seen: queue.Queue[DriveSeen] = queue.Queue()
        self.lapsed: queue.Queue[str] = queue.Queue()

    def expect(self, runs: bool | None, trip: int = 0) -> None:
        while True:
            seen = self.seen.get(timeout=SOON_S)
            if (seen.runs, seen.trip) == (runs, trip):
                assert seen.motor == "fan"
                return


def drive_at(server: Server, heard: Heard, **more: Any) -> ModbusDrive:
    wire = ModbusWire(NetworkPlace("127.0.0.1", server.port), DEVICE)
    options: dict[str, Any] = {"stops_after_s": 1.0, "speed_hz": 48.5, "every_s": 0.02} | more
    return ModbusDrive(
        "fan", wire, MAP, report=heard.seen.put, on_lapse=lambda _t_s, name: heard.lapsed.put(name), **options
    )


def now() -> float:
    return time.monotonic()


# --- over TCP, on a real server ---------------------------------------------------------------------------------------


def test_its_first_word_is_stop_and_on_sends_speed_and_start(server: Server) -> None:
    heard = Heard()
    drive = drive_at(server, heard)
    drive.start()
    assert server.wrote.get(timeout=SOON_S) == (MAP.command, MAP.stop_word)
    heard.expect(False)
    drive.on(now(), now() + 9.0)
    server.expect(0x2001, 4850)
    server.expect(MAP.command, MAP.start_word)
    heard.expect(True)
    assert drive.trouble is None
    server.put(0x2004, 87)
    server.expect(MAP.command, MAP.start_word)
    server.expect(MAP.command, MAP.start_word)
    assert drive.current_a == pytest.approx(8.7)
    drive.off()
    server.expect(MAP.command, MAP.stop_word)
    heard.expect(False)
    drive.close()


def test_a_lease_that_runs_out_stops_it_even_when_nobody_ticks(server: Server) -> None:
    heard = Heard()
    drive = drive_at(server, heard)
    drive.start()
    drive.on(now(), now() + 0.4)
    server.expect(MAP.command, MAP.start_word)
    server.expect(MAP.command, MAP.stop_word)
    drive.close()


def test_on_a_faster_clock_it_is_spoken_to_as_often_as_that_clock_wants(server: Server) -> None:
    drive = drive_at(server, Heard(), every_s=20.0, stops_after_s=60.0)
    drive.start(lambda shop_s: shop_s / 1000)
    drive.on(now(), now() + 9.0)
    for _ in range(4):
        server.expect(MAP.command, MAP.start_word)
    drive.close()


def test_close_says_stop_as_its_last_word(server: Server) -> None:
    heard = Heard()
    drive = drive_at(server, heard)
    drive.start()
    drive.on(now(), now() + 9.0)
    server.expect(MAP.command, MAP.start_word)
    drive.close()
    last = server.wrote.get(timeout=SOON_S)
    while not server.wrote.empty():
        last = server.wrote.get()
    assert last == (MAP.command, MAP.stop_word)


def test_a_trip_is_told_and_its_reset_starts_nothing(server: Server) -> None:
    heard = Heard()
    drive = drive_at(server, heard)
    drive.start()
    drive.on(now(), now() + 9.0)
    heard.expect(True)
    server.put(0x2003, 14)
    server.put(MAP.status, 0)
    heard.expect(False, 14)
    assert heard.lapsed.get(timeout=SOON_S) == "fan"
    assert drive.trouble == "The drive of fan has tripped: code 14."
    server.expect(MAP.command, MAP.stop_word)
    server.put(0x2003, 0)
    heard.expect(False, 0)
    assert drive.renew(now(), now() + 9.0) is False
    assert drive.is_on() is False
    drive.on(now(), now() + 9.0)
    heard.expect(True)
    drive.close()


def test_a_server_killed_in_mid_run_and_back_again_is_told_to_stop(server: Server) -> None:
    heard = Heard()
    drive = drive_at(server, heard)
    drive.start()
    drive.on(now(), now() + 9.0)
    heard.expect(True)
    server.kill()
    heard.expect(None)
    assert heard.lapsed.get(timeout=SOON_S) == "fan"
    assert drive.trouble is not None
    assert drive.trouble.startswith(f"The drive at 127.0.0.1:{server.port} ")
    while not server.wrote.empty():
        server.wrote.get()
    server.start()
    assert server.wrote.get(timeout=SOON_S) == (MAP.command, MAP.stop_word)
    heard.expect(False)
    drive.close()


def test_a_silent_drive_holds_nobody_up(server: Server) -> None:
    """Another device address: nothing of ours waits for it, and what comes back is an error in words."""
    heard = Heard()
    silent = ModbusDrive(
        "fan", ModbusWire(NetworkPlace("127.0.0.1", server.port), 9), MAP, stops_after_s=1.0, every_s=0.02,
        report=heard.seen.put,
    )  # fmt: skip
    silent.start()
    silent.on(now(), now() + 9.0)
    heard.expect(None)
    assert silent.is_on() is False
    silent.close()


def test_a_register_that_it_has_not_is_told(server: Server) -> None:
    wire = ModbusWire(NetworkPlace("127.0.0.1", server.port), DEVICE)
    wire.connect()
    with pytest.raises(DeviceError) as caught:
        wire.read(0x3000)
    assert str(caught.value).startswith(f"The drive at 127.0.0.1:{server.port} refuses register 0x3000: ")
    assert str(caught.value).endswith(". Look it up in its manual.")
    wire.close()


def test_nobody_there_is_told(server: Server) -> None:
    server.kill()
    wire = ModbusWire(NetworkPlace("127.0.0.1", server.port), DEVICE)
    with pytest.raises(DeviceError) as caught:
        wire.connect()
    assert str(caught.value) == (
        f"The drive at 127.0.0.1:{server.port} cannot be reached. Look at its wire, address and power."
    )


# --- over a serial line, answered byte by byte ------------------------------------------------------------------------


def crc(data: bytes) -> bytes:
    """The check of Modbus RTU (Modbus over serial line, V1.02, 6.2.2): polynomial 0xA001, low byte first."""
    found = 0xFFFF
    for byte in data:
        found ^= byte
        for _ in range(8):
            found = found >> 1 ^ (0xA001 if found & 1 else 0)
    return found.to_bytes(2, "little")


def test_over_a_serial_line_the_frames_are_those_of_the_standard() -> None:
    ours, theirs = os.openpty()
    tty.setraw(theirs)
    asked: list[bytes] = []

    def answer() -> None:
        for reply in (None, b"\x00\x2a"):
            got = b""
            while len(got) < 8:
                got += os.read(ours, 8 - len(got))
            asked.append(got)
            body = got[:6] if reply is None else got[:2] + bytes((len(reply),)) + reply
            os.write(ours, body + crc(body))

    thread = threading.Thread(target=answer, daemon=True)
    thread.start()
    wire = ModbusWire(SerialPlace(os.ttyname(theirs), 19200, "N"), DEVICE, timeout_s=5.0)
    wire.connect()
    wire.write(0x2000, 0x12)
    assert wire.read(0x2002) == 42
    wire.close()
    thread.join(SOON_S)
    write, read = bytes((DEVICE, 6, 0x20, 0, 0, 0x12)), bytes((DEVICE, 3, 0x20, 2, 0, 1))
    assert asked == [write + crc(write), read + crc(read)]
    os.close(ours)
    os.close(theirs)


# --- leases that break, by a clock that the test moves ----------------------------------------------------------------


class Bench:
    """A drive and its driver without a thread."""

    def __init__(self) -> None:
        self.now_s = 100.0
        self.lapsed: list[float] = []
        self.seen: list[tuple[bool | None, int]] = []
        self.fake = FakeDrive(MAP, stops_after_s=4.0, clock=lambda: self.now_s)
        self.drive = ModbusDrive(
            "fan", self.fake, MAP, stops_after_s=4.0, clock=lambda: self.now_s,
            report=lambda seen: self.seen.append((seen.runs, seen.trip)),
            on_lapse=lambda t_s, _name: self.lapsed.append(t_s),
        )  # fmt: skip

    def go_on(self, for_s: float) -> None:
        for _ in range(round(for_s / 0.25)):
            self.now_s += 0.25
            if self.drive.is_on():
                self.drive.renew(self.now_s, self.now_s + 5.0)
            self.drive.exchange()


@pytest.fixture
def bench() -> Bench:
    made = Bench()
    made.go_on(0.5)
    made.drive.on(made.now_s, made.now_s + 5.0)
    made.go_on(1.0)
    assert made.fake.runs
    return made


def test_a_short_silence_breaks_nothing(bench: Bench) -> None:
    bench.fake.is_mute = True
    bench.go_on(1.75)
    bench.fake.is_mute = False
    bench.go_on(1.0)
    assert (bench.fake.runs, bench.lapsed) == (True, [])


def test_a_silence_of_half_of_its_time_breaks_the_lease_before_it_stops_by_itself(bench: Bench) -> None:
    bench.fake.is_mute = True
    began_s = bench.now_s
    bench.go_on(3.0)
    assert bench.lapsed == [began_s + 2.0]
    assert bench.fake.runs
    bench.go_on(1.5)
    assert not bench.fake.runs
    bench.fake.is_mute = False
    bench.go_on(5.0)
    assert not bench.fake.runs
    assert bench.seen == [(False, 0), (True, 0), (None, 0), (False, 0)]


def test_when_our_program_is_killed_it_stops_after_its_own_time(bench: Bench) -> None:
    bench.now_s += 3.99
    assert bench.fake.runs
    bench.now_s += 0.02
    assert not bench.fake.runs


def test_a_motor_that_stopped_at_the_drive_is_not_started_again(bench: Bench) -> None:
    bench.fake._turn(False)
    bench.fake.write = lambda register, value: None  # type: ignore[method-assign]  # somebody holds its stop button
    bench.go_on(0.25)
    assert len(bench.lapsed) == 1
    del bench.fake.write
    bench.go_on(3.0)
    assert not bench.fake.runs


@pytest.mark.parametrize("stops_after_s", [0.5, 61.0, float("nan")])
def test_a_time_of_its_own_out_of_range_is_refused(stops_after_s: float) -> None:
    with pytest.raises(DeviceError) as caught:
        ModbusDrive("fan", FakeDrive(MAP, stops_after_s=5.0), MAP, stops_after_s=stops_after_s)
    assert str(caught.value) == (
        f"The drive of fan stops {stops_after_s:g} s after it hears nothing more. It must be 1 s to 60 s."
    )


# --- a speed that follows the air -------------------------------------------------------------------------------------


class Paced:
    """Who chooses a speed, as a test wants it."""

    def __init__(self, speed_hz: float, floor_hz: float = 0.0) -> None:
        self.wanted = (speed_hz, floor_hz)

    def speed_hz(self) -> float:
        return self.wanted[0]

    def floor_hz(self) -> float:
        return self.wanted[1]


SEEN = replace(MAP, speed_seen=0x2005)
LIMITS = SpeedRange(25.0, 50.0)


def paced_at(server: Server, pace: Paced, registers: DriveMap = MAP) -> ModbusDrive:
    wire = ModbusWire(NetworkPlace("127.0.0.1", server.port), DEVICE)
    drive = ModbusDrive("fan", wire, registers, stops_after_s=1.0, every_s=0.02, limits=LIMITS)
    drive.follow(pace)
    drive.start()
    drive.on(now(), now() + 9.0)
    return drive


def until(is_so: Callable[[], bool]) -> None:
    end_s = time.monotonic() + SOON_S
    while not is_so():
        assert time.monotonic() < end_s
        threading.Event().wait(0.01)


def test_the_speed_of_a_pace_is_sent_and_followed(server: Server) -> None:
    pace = Paced(31.0)
    drive = paced_at(server, pace)
    server.expect(0x2001, 3100)
    server.expect(MAP.command, MAP.start_word)
    until(lambda: drive.seen_hz == 31.0)
    assert drive.speed_trouble is None
    pace.wanted = (44.44, 0.0)
    drive.hurry()
    server.expect(0x2001, 4444)
    drive.close()


@pytest.mark.parametrize(
    ("speed_hz", "floor_hz", "sent"),
    [
        (12.0, 0.0, 2500),  # the least speed of the drive
        (25.0, 38.001, 3801),  # the floor of its ducts, up to the next step
        (90.0, 0.0, 5000),  # full speed
        (30.0, 90.0, 5000),
        (float("nan"), 0.0, 5000),
        (30.0, float("inf"), 5000),
    ],
)
def test_whatever_is_asked_the_drive_is_told_no_less_than_its_floors_and_no_more_than_full_speed(
    server: Server, speed_hz: float, floor_hz: float, sent: int
) -> None:
    drive = paced_at(server, Paced(speed_hz, floor_hz))
    told = set()
    for _ in range(9):
        register, value = server.wrote.get(timeout=SOON_S)
        told |= {value} if register == 0x2001 else set()
    assert told == {sent}
    drive.close()


def test_a_pace_that_fails_leaves_full_speed(server: Server, caplog: pytest.LogCaptureFixture) -> None:
    pace = Paced(30.0)
    pace.floor_hz = lambda: 1 / 0  # type: ignore[method-assign]
    drive = paced_at(server, pace)
    server.expect(0x2001, 5000)
    drive.close()
    assert "a drive's speed could not be chosen" in caplog.text


def test_a_drive_that_refuses_its_speed_runs_on_at_what_it_reports(server: Server) -> None:
    """The register is none of the server's own: exception 2 each time, and the motor is not stopped for it."""
    heard = Heard()
    wire = ModbusWire(NetworkPlace("127.0.0.1", server.port), DEVICE)
    drive = ModbusDrive(
        "fan", wire, replace(SEEN, speed=0x3000), stops_after_s=1.0, every_s=0.02, limits=LIMITS,
        report=heard.seen.put, on_lapse=lambda _t_s, name: heard.lapsed.put(name),
    )  # fmt: skip
    drive.follow(Paced(31.0))
    drive.start()
    until(lambda: bool(server.registers))
    server.put(0x2005, 5000)
    drive.on(now(), now() + 9.0)
    heard.expect(True)
    until(lambda: drive.speed_trouble is not None)
    assert drive.speed_trouble is not None
    assert drive.speed_trouble.startswith(
        f"The drive of fan does not take its speed. The drive at 127.0.0.1:{server.port} refuses register 0x3000: "
    )
    assert drive.speed_trouble.endswith(" It is left at the 50 Hz that it reports.")
    assert (drive.trouble, drive.is_on(), heard.lapsed.empty()) == (None, True, True)
    drive.close()


class PacedBench:
    """A paced drive without a thread."""

    def __init__(self, registers: DriveMap = SEEN, speed_hz: float = 31.0, floor_hz: float = 0.0) -> None:
        self.now_s = 100.0
        self.turns: list[float] = []
        self.fake = FakeDrive(
            registers, stops_after_s=4.0, clock=lambda: self.now_s, on_speed=self.turns.append, speed_hz=50.0
        )
        self.drive = ModbusDrive(
            "fan", self.fake, registers, stops_after_s=4.0, clock=lambda: self.now_s, limits=LIMITS
        )
        self.pace = Paced(speed_hz, floor_hz)
        self.drive.follow(self.pace)
        self.drive.on(self.now_s, self.now_s + 5.0)

    def go_on(self, for_s: float) -> None:
        for _ in range(round(for_s / 0.25)):
            self.now_s += 0.25
            self.drive.renew(self.now_s, self.now_s + 5.0)
            self.drive.exchange()


def test_a_drive_that_keeps_its_own_speed_is_told_after_its_ramp_and_left_running() -> None:
    bench = PacedBench()
    bench.fake.keeps_speed = True
    bench.go_on(RAMP_S)
    assert (bench.drive.speed_trouble, bench.drive.seen_hz) == (None, 50.0)
    bench.go_on(0.5)
    assert bench.drive.speed_trouble == (
        "The drive of fan does not take its speed: told 31 Hz, it reports 50 Hz and is left at that."
    )
    assert bench.fake.runs
    bench.fake.keeps_speed = False
    bench.pace.wanted = (32.0, 0.0)
    bench.go_on(0.25)
    assert (bench.drive.speed_trouble, bench.drive.seen_hz, bench.turns) == (None, 32.0, [32.0])


def test_a_drive_that_stays_below_its_floor_says_what_comes_of_it() -> None:
    bench = PacedBench(speed_hz=30.0)
    bench.go_on(1.0)
    bench.fake.keeps_speed = True
    bench.pace.wanted = (30.0, 44.0)
    bench.go_on(RAMP_S + 0.5)
    assert bench.drive.speed_trouble == (
        "The drive of fan does not take its speed: told 44 Hz, it reports 30 Hz and is left at that. Below 44 Hz chips "
        "may settle in the duct."
    )


def test_without_a_register_of_its_speed_the_reference_is_read_back() -> None:
    bench = PacedBench(MAP)
    bench.go_on(1.0)
    assert (bench.drive.seen_hz, bench.drive.speed_trouble) == (31.0, None)
    bench.fake.read = lambda register: {MAP.status: MAP.running_word, MAP.speed: 5000}.get(register, 0)  # type: ignore[method-assign]
    bench.go_on(BACK_S)
    assert bench.drive.speed_trouble is None
    bench.go_on(0.5)
    assert bench.drive.speed_trouble == (
        "The drive of fan does not take its speed: told 31 Hz, it reports 50 Hz and is left at that."
    )


def test_a_drive_that_refuses_to_say_how_fast_it_runs_is_told_and_runs_on() -> None:
    bench = PacedBench()
    bench.go_on(0.25)
    real = bench.fake.read

    def read(register: int) -> int:
        if register == SEEN.speed_seen:
            raise DriveRefuses("It refuses register 0x2005.")
        return real(register)

    bench.fake.read = read  # type: ignore[method-assign]
    bench.go_on(0.25)
    assert (bench.drive.seen_hz, bench.drive.speed_trouble) == (
        None,
        "The drive of fan does not tell its speed. It refuses register 0x2005.",
    )
    assert (bench.fake.runs, bench.drive.is_on(), bench.drive.trouble) == (True, True, None)
    bench.fake.read = real  # type: ignore[method-assign]
    bench.go_on(0.25)
    assert (bench.drive.seen_hz, bench.drive.speed_trouble) == (31.0, None)


def test_how_long_it_has_been_told_one_speed() -> None:
    bench = PacedBench()
    assert bench.drive.told_for_s() < 0.0
    bench.go_on(3.0)
    assert bench.drive.told_for_s() == 2.75
    bench.pace.wanted = (40.0, 0.0)
    bench.go_on(0.25)
    assert bench.drive.told_for_s() == 0.0
    bench.drive.off()
    bench.drive.exchange()
    assert (bench.drive.seen_hz, bench.drive.told_for_s() < 0.0) == (None, True)


@given(
    asked=floats(allow_nan=True, allow_infinity=True),
    floor=floats(allow_nan=True, allow_infinity=True),
    least=floats(1.0, 60.0),
    more=floats(0.0, 60.0),
    steps=floats(0.01, 500.0),
)
def test_what_is_written_never_lies_below_a_floor_nor_above_full_speed(
    asked: float, floor: float, least: float, more: float, steps: float
) -> None:
    """The floors hold in the register itself, whatever is asked and however coarse its steps are."""
    limits = SpeedRange(least, least + more)
    registers = replace(SEEN, steps_per_hz=steps)
    fake = FakeDrive(registers, stops_after_s=4.0, clock=lambda: 0.0)
    drive = ModbusDrive("fan", fake, registers, stops_after_s=4.0, clock=lambda: 0.0, limits=limits)
    drive.follow(Paced(asked, floor))
    drive.on(0.0, 5.0)
    drive.exchange()
    written = fake.values[0x2001]
    top = round(limits.full_hz * steps)
    wanted = [value for value in (least, floor, asked) if value <= limits.full_hz]
    assert written <= top
    assert written >= min(top, max(wanted) * steps - 1e-6)
    if not (math.isfinite(asked) and math.isfinite(floor)):
        assert written == top


def test_speeds_that_are_none_are_refused() -> None:
    with pytest.raises(DeviceError) as caught:
        SpeedRange(50.0, 40.0)
    assert str(caught.value) == "A drive that runs from 50 to 40 Hz has no speed to run at."
