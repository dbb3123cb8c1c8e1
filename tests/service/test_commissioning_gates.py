"""Gates: jogged by the core's requests and timed, a slow one found and written into the file, a servo's ends set."""

import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from gatekeeper.service.face_commissioning import StepState
from sim.faults import GateFault

sys.path.insert(0, str(Path(__file__).parent))
from commissioning_room import SHOP, Room, shop_of

Enter = Callable[..., Room]


@pytest.fixture
def enter(tmp_path: Path) -> Iterator[Enter]:
    rooms: list[Room] = []

    def make(**how: str) -> Room:
        room = Room(tmp_path, **how)  # type: ignore[arg-type]
        rooms.append(room)
        room.pass_s(5.0)  # one path opens by itself
        return room

    yield make
    for room in rooms:
        room.close()


def said(room: Room, key: str) -> str:
    result = room.step(key).result
    assert result is not None
    return result.partition(" Ada, ")[0]


def go(room: Room, way: str) -> None:
    """Open or shut the gate in hand."""
    answer = room.press(way)
    assert answer.accepted, answer
    room.pass_s(0.04)


def test_a_gate_with_switches_is_timed_by_them_both_ways(enter: Enter) -> None:
    room = enter()
    walk = room.begin("gate/saw gate")
    assert walk.cautions == (
        "Keep fingers, rags and tools out of the slot: it moves by itself, and a blade does not feel a hand.",
    )
    assert "open" not in room.offers()  # it is the path at rest already
    assert room.press("open").sentence == "Saw gate is open already. Shut it first, then it can be timed."
    assert room.press("shut").sentence == ("Planer gate opens first, so that air has a way; then saw gate shuts.")
    assert room.now().prompt.text == "Saw gate waits, until planer gate is open."
    room.asks("Saw gate shuts; its switch ends it.")
    room.asks("Stand where you see saw gate")
    assert room.now().notes == ("Shuts in 1.36 s by its switch.",)
    go(room, "open")
    assert room.ends("gate/saw gate").state is StepState.PASSED
    assert said(room, "gate/saw gate") == (
        "It shuts in 1.36 s by its switch and opens in 1.36 s by its switch; the file allows 1.5 s."
    )
    core = room.service.last_view
    assert core is not None
    assert core.gates[0].is_open


def test_a_gate_slower_than_its_file_is_measured_over_its_attempts_and_written(enter: Enter) -> None:
    room = enter()
    room.begin("gate/saw gate")
    go(room, "shut")
    room.asks("Stand where you see saw gate")
    room.plant._slides["saw gate"].set_travel_share(1.3)  # 1.95 s; its drive ends after 1.5 s
    go(room, "open")
    walk = room.asks("Proposed travel: 2.3 s; the file says 1.5 s.")
    assert walk.notes == (
        "Clear the slot where something holds it, then try it again.",
        "Where it moves freely and is only slow, write the proposed travel into the shop file.",
    )
    recorded = next(one for one in room.walk.record().stages[2].steps if one.key == "gate/saw gate")
    (result,) = recorded.results
    assert result.state is StepState.FAILED
    ((what, measured, against),) = result.figures
    assert (what, against) == ("opens in", "travel in the file 1.5 s")
    assert 1.88 <= float(measured.split()[0]) <= 1.99
    assert "It missed its open end " in result.sentence
    answer = room.press("write")
    assert answer.sentence == (
        "2.3 s is written as the travel of saw gate; before it was 1.5 s. It counts after the next start of the "
        "controller; then it is tried again."
    )
    text = room.path.read_text(encoding="utf-8")
    assert text == SHOP.replace("travel: 1500 ms", "travel: 2.3 s")
    step = room.step("gate/saw gate")
    assert step.state is StepState.STALE
    assert (step.result or "").endswith("Changed since: travel was 1.5 s and is 2.3 s.")
    assert room.press("begin", "gate/saw gate").code == "restart"
    assert room.walk.view().cautions[0] == (
        "The shop file was written here and has figures that count after the next start of the controller."
    )
    room.restart()
    room.pass_s(6.0)
    room.plant._slides["saw gate"].set_travel_share(1.3)
    assert room.step("gate/saw gate").state is StepState.STALE
    assert room.step("gate/planer gate").state is StepState.DUE
    room.begin("gate/saw gate")
    go(room, "shut")
    room.asks("Stand where you see saw gate")
    go(room, "open")
    assert room.ends("gate/saw gate").state is StepState.PASSED


def test_a_jammed_gate_is_given_up_by_the_core_and_released_from_here(enter: Enter) -> None:
    room = enter()
    room.begin("gate/saw gate")
    go(room, "shut")
    room.asks("Stand where you see saw gate")
    room.plant.faults.break_gate("saw gate", GateFault.JAMMED)
    go(room, "open")
    walk = room.asks("Proposed travel: ")
    assert "release" in [offer.press for offer in walk.offers]
    assert said(room, "gate/saw gate").startswith("It did not come to its open end in 3 attempts, ")
    room.plant.faults.break_gate("saw gate", None)
    assert room.press("release").accepted
    assert room.press("again").accepted
    room.until(lambda: "release" not in room.offers())


def test_a_gate_without_a_switch_is_timed_by_a_thumb(enter: Enter) -> None:
    room = enter()
    room.begin("gate/planer gate")
    go(room, "open")
    walk = room.now()
    assert walk.prompt.text == "Planer gate opens: press the moment it stands. {time} so far."
    assert walk.prompt.since_s is not None
    room.pass_s(1.9)
    assert room.press("arrived").sentence == "It took 1.98 s by a thumb; the file allows 2 s."
    room.pass_s(2.0)
    go(room, "shut")
    assert room.now().prompt.text == "Planer gate waits, until saw gate is open."
    room.asks("Planer gate shuts: press the moment it stands.")
    assert "short" not in room.offers()
    room.pass_s(2.5)
    assert "short" in room.offers()
    assert room.press("short", share="much").code == "no_share"
    assert room.press("short", share="80 %").accepted
    assert room.now().prompt.text == "Proposed travel: 2.9 s; the file says 2 s."
    assert said(room, "gate/planer gate") == (
        "Told to shut, it stopped at about 80 % of its way when its drive ended after 2 s. By that the whole way takes "
        "about 2.5 s."
    )
    assert room.press("write").accepted
    assert "planer gate: {diameter: 125 mm, travel: 2.9 s, servo: {pin: GPIO13}}  # no switch" in room.path.read_text()


def test_a_gate_that_goes_the_wrong_way_and_one_that_does_not_move(enter: Enter) -> None:
    room = enter()
    for press, sentence in (
        ("wrong_way", "Told to open, it went the other way: its two wires, or its two ends in the file, are swapped."),
        ("still", "Told to open, it did not move at all. Look at its supply, its wire and its slot."),
    ):
        room.begin("gate/planer gate")
        go(room, "open")
        room.press(press)
        assert said(room, "gate/planer gate") == sentence
        assert room.press("done").accepted
        room.press("again")
        room.request("shut", "planer gate", "page")
        room.pass_s(4.0)


def test_a_restart_in_mid_move_asks_for_the_move_again_and_keeps_the_other_way(enter: Enter) -> None:
    room = enter()
    room.begin("gate/planer gate")
    go(room, "open")
    room.pass_s(1.5)
    room.press("arrived")
    room.pass_s(3.0)
    go(room, "shut")
    room.restart()
    walk = room.now()
    assert walk.prompt.text == "Stand where you see planer gate, then press. It has to go both ways."
    assert walk.notes[0] == "Opens in 1.58 s by a thumb."


def test_the_ends_of_a_servo_are_nudged_while_it_is_held_and_written(enter: Enter) -> None:
    room = enter()
    room.begin("ends/planer gate")
    assert room.press("hold").accepted
    core = room.service.last_view
    assert core is not None
    assert core.gates[1].worked
    assert room.press("open").sentence == "Pulses of 2.00 ms."
    room.pass_s(3.5)
    assert room.plant.gates()["planer gate"].position == pytest.approx(1.0)
    assert room.press("much_less").sentence == "Pulses of 1.90 ms."
    assert room.press("less").sentence == "Pulses of 1.88 ms."
    room.pass_s(2.0)
    assert room.plant.gates()["planer gate"].position == pytest.approx(0.88, abs=0.01)
    assert not room.plant.gates()["planer gate"].is_driven  # the pulses have ended
    assert room.now().live == (("pulse at its open end", "1.88 ms"), ("pulse at its shut end", "1.00 ms"))
    room.press("shut")
    room.pass_s(3.5)
    assert room.plant.gates()["planer gate"].position == pytest.approx(0.0)
    for _ in range(10):
        room.press("much_less")
    assert room.press("less").code == "last_pulse"
    assert room.press("write").sentence == (
        "Its ends were found at the gate and written; they count after the next start of the controller."
    )
    assert "planer gate: {diameter: 125 mm, servo: {pin: GPIO13, open: 1880 us, shut: 500 us}}" in room.path.read_text()
    # What it is believed to be: nobody knows, whatever it was before.
    core = room.service.last_view
    assert core is not None
    assert (core.gates[1].belief, core.gates[1].is_open) == ("held", False)
    assert room.press("release").accepted
    step = room.ends("ends/planer gate")
    assert step.state is StepState.PASSED
    assert room.step("gate/planer gate").state is StepState.DUE
    room.restart()
    assert room.step("ends/planer gate").state is StepState.PASSED


def test_a_gate_that_was_believed_open_is_not_any_more_once_it_was_nudged(enter: Enter) -> None:
    room = enter()
    room.request("open", "planer gate", "page", for_s=600.0)
    room.until(lambda: room.service.last_view.gates[1].is_open)  # type: ignore[union-attr]
    room.begin("ends/planer gate")
    room.press("hold")
    core = room.service.last_view
    assert core is not None
    assert core.gates[1].is_open  # a hold alone moves nothing
    room.press("shut")
    core = room.service.last_view
    assert core is not None
    assert not core.gates[1].is_open
    room.until(lambda: room.service.last_view.gates[0].is_open)  # type: ignore[union-attr]  # another path opens


def test_no_nudge_while_the_gate_is_not_held_or_the_fan_turns(enter: Enter) -> None:
    room = enter()
    assert room.nudge("planer gate", 0.0015, 1.0).result(1.0).sentence == "planer gate is not held. Hold it first."
    assert room.nudge("bench gate", 0.0015, 1.0).result(1.0).code == "no_servo"
    room.begin("ends/planer gate")
    room.press("hold")
    assert room.nudge("planer gate", 0.003, 1.0).result(1.0).sentence.startswith("A pulse of 3 ms is none for gate")
    room.plant.switch_tool("saw", True)
    room.until(lambda: any(motor.on for motor in room.service.last_view.motors))  # type: ignore[union-attr]
    assert room.press("open").sentence == "The fan of fan turns or may be started by hand. Stop it first."
    room.plant.set_input("red button", True)
    room.pass_s(0.5)
    assert room.press("open").code == "blocked"
    position = room.plant.gates()["planer gate"].position
    room.pass_s(1.0)
    assert room.plant.gates()["planer gate"].position == position


def test_somebody_who_releases_the_gate_takes_it_out_of_our_hand(enter: Enter) -> None:
    room = enter()
    room.begin("ends/planer gate")
    room.press("hold")
    room.request("release", "planer gate", "page")
    assert room.now().prompt.text == "Hold planer gate: then it moves by your press only."
    room.press("hold")
    assert room.press("put_by").sentence == (
        "Put by. It is due as before. Planer gate stays held until somebody presses Release."
    )


def test_a_hand_gate_is_looked_at(enter: Enter) -> None:
    room = enter()
    walk = room.begin("hand gate/bench gate")
    assert walk.prompt.text == (
        "Move bench gate by hand to both ends. It must stay where you put it, and seal when shut."
    )
    room.press("bad")
    assert room.step("hand gate/bench gate").state is StepState.FAILED
    room.begin("hand gate/bench gate")
    room.press("good")
    assert room.step("hand gate/bench gate").state is StepState.PASSED


def test_a_gate_that_is_the_only_one_is_never_shut(enter: Enter) -> None:
    lines = [line for line in SHOP.splitlines() if "planer" not in line]
    text = "\n".join(lines) + "\n"
    assert list(shop_of(text).gates) == ["saw gate", "bench gate"]
    room = enter(text=text)
    walk = room.begin("gate/saw gate")
    assert walk.notes[-1] == (
        "It is the only gate of fan that moves by itself, so the controller never shuts it once it is open."
    )
    assert "one_way" not in room.offers()
    assert room.press("shut").code == "last_path"
