"""One contract for every contact; edges come from a real second thread and are never trusted."""

import queue
import threading
from typing import Any

import pytest

from gatekeeper.devices.base import Contact, ContactSeen, DeviceError, Position, SelectorState
from gatekeeper.devices.bench import BenchPins
from gatekeeper.devices.inputs import ContactInput, HandOffAuto, PositionSwitches
from gatekeeper.devices.pins import Pins

PIN = 19
PULLS = {"up": False, "down": True}  # the raw level while the circuit is closed


@pytest.fixture(params=list(PULLS))
def pull(request: pytest.FixtureRequest) -> str:
    return str(request.param)


def test_an_open_circuit_or_a_broken_wire_reads_as_not_made(pins: Pins, pull: str) -> None:
    contact = ContactInput(pins, "Red button", PIN, pull=pull)
    assert isinstance(contact, Contact)
    assert contact.made() is False
    assert contact.level() is not PULLS[pull]


def test_a_closed_circuit_reads_as_made(pins: Pins, bench: BenchPins, pull: str) -> None:
    contact = ContactInput(pins, "Red button", PIN, pull=pull)
    bench.drive(PIN, PULLS[pull])
    assert contact.made() is True
    assert contact.level() is PULLS[pull]


def test_the_first_poll_reports_and_then_only_differences(pins: Pins, pull: str) -> None:
    seen: list[ContactSeen] = []
    contact = ContactInput(pins, "Red button", PIN, pull=pull, report=seen.append)
    contact.poll(100.0)
    contact.poll(101.0)
    assert seen == [ContactSeen(100.0, "Red button", False)]


def test_edges_report_at_once_with_our_clock(pins: Pins, bench: BenchPins, clock: Any, pull: str) -> None:
    seen: list[ContactSeen] = []
    contact = ContactInput(pins, "Red button", PIN, pull=pull, report=seen.append)
    contact.poll(100.0)
    clock.jump(0.25)
    bench.drive(PIN, PULLS[pull])
    clock.jump(0.25)
    bench.drive(PIN, not PULLS[pull])
    assert seen == [
        ContactSeen(100.0, "Red button", False),
        ContactSeen(100.25, "Red button", True),
        ContactSeen(100.5, "Red button", False),
    ]


def test_a_lost_edge_is_made_good_by_the_next_poll(pins: Pins, bench: BenchPins, pull: str) -> None:
    seen: list[ContactSeen] = []
    contact = ContactInput(pins, "Red button", PIN, pull=pull, report=seen.append)
    contact.poll(100.0)
    pins.factory.pin(PIN).edges = "none"  # the board loses every edge from here on
    bench.drive(PIN, PULLS[pull])
    assert len(seen) == 1
    contact.poll(101.0)
    assert seen[1:] == [ContactSeen(101.0, "Red button", True)]


def test_callbacks_from_another_thread_only_fill_the_queue(pins: Pins, bench: BenchPins, clock: Any, pull: str) -> None:
    inbox: queue.Queue[tuple[str, ContactSeen]] = queue.Queue()
    contact = ContactInput(
        pins, "Red button", PIN, pull=pull, report=lambda seen: inbox.put((threading.current_thread().name, seen))
    )
    contact.poll(100.0)

    def hand() -> None:
        for _ in range(50):
            bench.drive(PIN, PULLS[pull])
            bench.drive(PIN, not PULLS[pull])

    thread = threading.Thread(target=hand, name="foreign")
    thread.start()
    thread.join(30.0)
    assert not thread.is_alive()
    got = [inbox.get_nowait() for _ in range(inbox.qsize())]
    here = threading.current_thread().name
    assert got == [(here, ContactSeen(100.0, "Red button", False))] + [
        ("foreign", ContactSeen(100.0, "Red button", made)) for _ in range(50) for made in (True, False)
    ]


def test_edges_and_polls_from_two_threads_never_report_a_state_twice(pins: Pins, bench: BenchPins, pull: str) -> None:
    seen: list[ContactSeen] = []
    contact = ContactInput(pins, "Red button", PIN, pull=pull, report=seen.append)
    ending = threading.Event()

    def poll() -> None:
        while not ending.is_set():
            contact.poll(100.0)

    thread = threading.Thread(target=poll)
    thread.start()
    for _ in range(500):
        bench.drive(PIN, PULLS[pull])
        bench.drive(PIN, not PULLS[pull])
    ending.set()
    thread.join(30.0)
    contact.poll(200.0)
    states = [one.made for one in seen]
    assert states == [number % 2 == 1 for number in range(len(states))]
    assert states[-1] is False


def test_reading_and_reporting_are_one_step_for_other_threads(pins: Pins, bench: BenchPins, pull: str) -> None:
    """Else an edge between the two could be reported before an older state."""
    locked: list[bool] = []
    contact = ContactInput(pins, "Red button", PIN, pull=pull, report=lambda _: locked.append(contact._lock.locked()))
    contact.poll(100.0)
    bench.drive(PIN, PULLS[pull])
    assert locked == [True, True]


def test_a_full_queue_never_raises_into_the_boards_thread(pins: Pins, bench: BenchPins, pull: str) -> None:
    inbox: queue.Queue[ContactSeen] = queue.Queue(maxsize=1)
    contact = ContactInput(pins, "Red button", PIN, pull=pull, report=inbox.put_nowait)
    contact.poll(100.0)
    bench.drive(PIN, PULLS[pull])
    assert contact.lost_edges == 1
    assert inbox.get_nowait() == ContactSeen(100.0, "Red button", False)
    contact.poll(101.0)
    assert inbox.get_nowait() == ContactSeen(101.0, "Red button", True)


def test_without_a_listener_nothing_is_reported(pins: Pins, bench: BenchPins, pull: str) -> None:
    contact = ContactInput(pins, "Red button", PIN, pull=pull)
    contact.poll(100.0)
    bench.drive(PIN, PULLS[pull])
    assert contact.lost_edges == 0


def test_after_close_the_line_is_free_and_silent(pins: Pins, bench: BenchPins, pull: str) -> None:
    seen: list[ContactSeen] = []
    ContactInput(pins, "Red button", PIN, pull=pull, report=seen.append).close()
    bench.drive(PIN, True)
    bench.drive(PIN, False)
    assert seen == []
    assert isinstance(ContactInput(pins, "Door", PIN, pull=pull), Contact)


def test_a_pull_that_the_board_cannot_give_is_refused(pins: Pins) -> None:
    with pytest.raises(DeviceError) as caught:
        ContactInput(pins, "Red button", 2, pull="down")
    assert str(caught.value) == (
        "GPIO 2 for Red button cannot be used: GPIO2 has a fixed pull resistor. "
        "Check the number, and that no other program holds the line."
    )
    with pytest.raises(DeviceError) as caught:
        ContactInput(pins, "Red button", PIN, pull="sideways")
    assert str(caught.value) == "The pull of GPIO 19 (Red button) is 'sideways'. It may be 'up' or 'down'."


@pytest.mark.parametrize(
    ("hand", "auto", "state"),
    [
        (False, False, SelectorState.OFF),
        (True, False, SelectorState.HAND),
        (False, True, SelectorState.AUTO),
        (True, True, SelectorState.OFF),
    ],
)
def test_the_selector_is_read_from_two_contacts(
    pins: Pins, bench: BenchPins, hand: bool, auto: bool, state: SelectorState
) -> None:
    selector = HandOffAuto(ContactInput(pins, "Main hand", 20), ContactInput(pins, "Main auto", 21))
    bench.drive(20, not hand)
    bench.drive(21, not auto)
    assert selector.state() is state
    assert selector.fault() == (
        "The Hand-Off-Auto switch says Hand and Auto at once (Main hand, Main auto). It counts as Off. "
        "Check its wiring."
        if hand and auto
        else None
    )


@pytest.mark.parametrize(
    ("at_open", "at_shut", "position"),
    [
        (False, False, Position.BETWEEN),
        (True, False, Position.OPEN),
        (False, True, Position.SHUT),
        (True, True, Position.BETWEEN),
        (None, False, Position.BETWEEN),
        (None, True, Position.SHUT),
        (False, None, Position.BETWEEN),
        (True, None, Position.OPEN),
        (None, None, Position.BETWEEN),
    ],
)
def test_position_switches_combine(
    pins: Pins, bench: BenchPins, at_open: bool | None, at_shut: bool | None, position: Position
) -> None:
    ends = []
    for name, pin, made in (("Saw open", 20, at_open), ("Saw shut", 21, at_shut)):
        if made is None:
            ends.append(None)
            continue
        ends.append(ContactInput(pins, name, pin))
        bench.drive(pin, not made)
    switches = PositionSwitches(*ends)
    assert switches.position() is position
    assert (switches.sees(Position.OPEN), switches.sees(Position.SHUT)) == (at_open is not None, at_shut is not None)
    assert switches.fault() == (
        "Both position switches are made at once (Saw open, Saw shut). The gate counts as between. "
        "Check the switches and their wires."
        if at_open and at_shut
        else None
    )
