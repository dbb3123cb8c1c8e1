"""The page's sentences over a cut, at gates, for sensors and settings, word by word."""

import sys
from dataclasses import replace
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from viewing_room import OFFSET_S, Room, asks, example_shop, gate, labels, motor, reason, tool, top

from gatekeeper.control.messages import (
    Missed,
    SettingChanged,
)
from gatekeeper.service.face import (
    GateWord,
    Heap,
    Offer,
    Press,
    Saying,
    SensorWord,
    SpinDown,
    Units,
)
from gatekeeper.service.viewing import ExtraMessage, SpinDownChange
from gatekeeper.service.viewing_scene import RELEASE_CAUTION


@pytest.fixture
def garage() -> Room:
    return Room(example_shop("garage-one-collector", remote=True))


# ---------------------------------------------------------------- a cut and what follows


def test_a_cut_from_start_to_rest(garage: Room) -> None:
    assert top(garage) == ("Nothing runs. Ready.", None)
    garage.tool("table saw", "running")
    assert top(garage) == ("Table saw running, {time} into the cut. Collector about to start.", -0.0)
    assert reason(garage.view()) == "Starts in {time}, when another inrush has died away."
    garage.run(2.1)
    assert top(garage) == ("Table saw running, {time} into the cut. Collector starting.", -2.1)
    assert (motor(garage.view()).word, reason(garage.view())) == ("starting", "Starting for table saw.")
    garage.run(11.9)
    assert top(garage) == ("Table saw running, {time} into the cut. Collector on.", -14.0)
    assert (motor(garage.view()).word, reason(garage.view())) == ("on", "Runs for table saw.")
    garage.tool("planer", "running")
    garage.run(5.0)
    assert top(garage) == ("Table saw and planer running. Collector on.", None)
    garage.tool("planer", "stopped")
    garage.run(0.5)
    view = garage.view()
    assert gate(view, "planer gate") == (GateWord.OPEN, "Open until its branch is clear, {time} more.")
    assert gate(view, "saw gate") == (GateWord.OPEN, "Open for table saw.")
    garage.run(2.0)
    shutting = "Shutting: nothing runs on its branch and it is clear."
    assert gate(garage.view(), "planer gate") == (GateWord.SHUTTING, shutting)
    garage.tool("table saw", "stopped")
    garage.run(1.0)
    view = garage.view()
    assert top(garage) == ("Clearing: collector stops in {time}.", 7.0)
    assert (motor(view).word, motor(view).stops_at_s) == ("running on", pytest.approx(view.now_s + 7.0))
    assert reason(view) == "The last tool has stopped. It clears the duct and stops in {time}."
    garage.run(8.0)
    assert top(garage) == ("Collector: the fan comes to rest in {time}.", 13.5)
    assert (motor(garage.view()).word, motor(garage.view()).runs) == ("coming to rest", True)
    garage.run(20.0)
    view = garage.view()
    assert top(garage) == ("Nothing runs. Ready.", None)
    assert (motor(view).word, motor(view).runs, reason(view)) == ("off", False, None)
    assert gate(view, "saw gate") == (GateWord.OPEN, "Open so that air can reach the fan at the next start.")


def test_the_picture_moves_from_an_open_gate_to_the_fan(garage: Room) -> None:
    assert [duct.name for duct in garage.view().ducts if duct.moves] == []
    garage.tool("planer", "running")
    garage.run(8.0)
    garage.run(30.0)
    ducts = {duct.name: duct for duct in garage.view().ducts}
    assert [name for name, duct in ducts.items() if duct.moves] == ["riser", "main near", "main far", "planer drop"]
    assert (ducts["planer drop"].gate, ducts["planer drop"].towards) == ("planer gate", "main far")
    assert ducts["planer drop"].length_m == pytest.approx(12 * 0.3048)


def test_a_shop_without_described_ducts_is_drawn_with_one_for_each_gate() -> None:
    view = Room(example_shop("one-evening")).view()
    assert [(duct.name, duct.towards, duct.gate) for duct in view.ducts] == [
        ("saw gate duct", "collector", "saw gate"),
        ("planer gate duct", "collector", "planer gate"),
    ]
    assert [one.duct for one in view.gates] == ["saw gate duct", "planer gate duct"]
    assert view.units is Units.INCH


def test_a_motor_without_a_start_in_hand_runs_on_and_says_so_before_stop_is_pressed(garage: Room) -> None:
    for _ in range(2):
        garage.tool("planer", "running")
        garage.run(6.0)
        garage.tool("planer", "stopped")
        garage.run(7.0)
    view = garage.view()
    assert top(garage)[0] == "Motor rests: runs on {time} instead of starting hot."
    assert asks(view) == [("when you can", "Collector rests: runs on {time} instead of starting hot.", [])]
    starts = motor(view).starts
    assert starts is not None
    assert (starts.most, starts.per_hour, starts.estimate) == (2.0, 11.5, True)
    assert 0.0 < starts.now < 0.1
    assert starts.next_at_s == pytest.approx(motor(view).stops_at_s)
    garage.tool("planer", "running")
    assert reason(garage.view()) == (
        "Runs for planer. If it is stopped now, it may start again in {time} at the soonest."
    )


# ---------------------------------------------------------------- gates


def test_a_stuck_gate_and_its_release(garage: Room) -> None:
    garage.run(20.0)
    garage.tool("planer", "running")
    for _ in range(3):
        garage.run(0.1)
        garage.handle(Missed("planer gate"))
    view = garage.view()
    said = "It did not move as told and is held. Clear the slot, then press Release."
    assert gate(view, "planer gate") == (GateWord.STUCK, said)
    stuck = next(one for one in view.gates if one.name == "planer gate")
    release = Offer("release", "planer gate", "Release planer gate", press=Press.HOLD, caution=RELEASE_CAUTION)
    assert stuck.offers == (release,)
    garage.tool("planer", "stopped")
    garage.run(60.0)
    sentence = (
        "Planer gate did not move as told and is now held. "
        "Clear the slot, then press Release. It moves three seconds later."
    )
    assert top(garage) == (sentence, None)
    assert asks(garage.view()) == [("today", sentence, ["Release planer gate"])]
    garage.ask("release", "planer gate")
    view = garage.view()
    assert gate(view, "planer gate") == (GateWord.NOT_KNOWN, "Released: it may move in {time}.")


def test_a_held_gate_says_by_whom_and_braces_of_a_person_are_no_time(garage: Room) -> None:
    garage.ask("hold", "jointer gate", text="new {blade}")
    view = garage.view()
    held = "Held (new (blade)): it gets no motion until somebody presses Release."
    assert gate(view, "jointer gate") == (GateWord.HELD, held)
    assert asks(view)[0] == (
        "when you can",
        "Jointer gate is held. Press Release when fingers and tools are out. It moves three seconds later.",
        ["Release jointer gate"],
    )


def test_a_gate_opened_by_hand_stays_open_with_its_end(garage: Room) -> None:
    garage.ask("open", "mitre gate", for_s=120.0)
    assert gate(garage.view(), "mitre gate") == (GateWord.OPENING, "Opening as asked by hand, {time} more.")
    garage.run(3.0)
    view = garage.view()
    until_s = view.now_s + 117.0
    said = Saying("Mitre gate stays open for {time} more, as asked by hand.", until_s=pytest.approx(until_s))
    (item,) = view.attention
    assert (item.saying, item.offers) == (said, ())  # alone open, it must stay: nothing else lets air to the fan
    garage.ask("open", "jointer gate", for_s=120.0)
    garage.run(3.0)
    assert [labels(one.offers) for one in garage.view().attention] == [["Shut jointer gate"], ["Shut mitre gate"]]


def test_proof_in_words() -> None:
    room = Room(example_shop("long-narrow"))
    for name in ("panel saw", "planer"):
        room.tool(name, "running")
        room.run(12.0)
    told = {one.name: (one.word.value, one.proof, one.automatic) for one in room.view().gates}
    assert told == {
        "saw cabinet gate": ("open", "its switch says so", True),
        "saw guard gate": ("open", "a full travel time has passed, no switch", True),
        "bench gate": ("shut", "a full travel time has passed, no switch", True),
        "planer gate": ("open", "its switch says so", True),
        "bandsaw gate": ("not known", "nothing proves where it stands", False),
        "lathe gate": ("not known", "nothing at the gate says where it stands", False),
        "drill gate": ("not known", "nothing at the gate says where it stands", False),
    }
    room.tool("lathe", "running")
    view = room.view()
    hand = "Moved by hand. Nothing at the gate says where it stands. See that it is open: lathe runs."
    assert gate(view, "lathe gate") == (GateWord.NOT_KNOWN, hand)
    assert gate(view, "bandsaw gate")[1] == "Moved by hand. Its switch says neither open nor shut."
    assert next(one for one in view.gates if one.name == "lathe gate").offers == ()


# ---------------------------------------------------------------- sensors and questions


def test_a_lost_sensor_and_a_long_run_are_questions(garage: Room) -> None:
    garage.tool("planer", "running")
    garage.run(10.0)
    garage.tool("planer", "stale")
    view = garage.view()
    assert top(garage)[0] == "Planer counts as running; its sensor is lost. Collector on."
    assert tool(view, "planer").sensor is SensorWord.LOST
    assert tool(view, "planer").sensor_note == (
        "Its sensor says nothing that can be relied on. Its gate stays as it is; say when the machine is stopped."
    )
    assert reason(view) == "Runs for planer, whose sensor is lost, for {time} more at most."
    lost = "Is planer stopped? Its sensor is lost; it counts as running for {time} more."
    assert asks(view) == [("today", lost, ["Planer is stopped"])]
    assert view.messages[0].sentence == "The sensor of planer says nothing that can be relied on."
    garage.ask("stopped", "planer")
    view = garage.view()
    assert asks(view) == []
    assert tool(view, "planer").offers[-1].what != "stopped"
    garage.tool("planer", "stopped")
    garage.run(60.0)
    garage.tool("planer", "running")
    garage.run(7201.0)
    long = "Planer runs longer than it plausibly would. Does it still cut? Its collector stops in {time}."
    assert asks(garage.view()) == [("today", long, ["Planer still runs", "Planer is stopped"])]


# ---------------------------------------------------------------- settings, the service's own messages


def test_a_changed_delay_and_who_changed_it(garage: Room) -> None:
    assert motor(garage.view()).spin_down == SpinDown("collector", 8.0, 0.0, 300.0, 8.0, pytest.approx(2.09728))
    assert tool(garage.view(), "table saw").spin_down == SpinDown(
        "table saw", None, 0.0, 300.0, None, pytest.approx(1.70104)
    )
    garage.handle(SettingChanged("collector", "spin_down_s", 400.0, "page"))
    change = SpinDownChange("the page, from 192.168.1.23", OFFSET_S, 8.0, True, garage.now_s + 10)
    garage.notes = replace(garage.notes, spin_downs={"collector": change})
    assert motor(garage.view()).spin_down == SpinDown(
        "collector",
        400.0,
        0.0,
        3600.0,
        8.0,
        pytest.approx(2.09728),
        previous_s=8.0,
        can_undo=True,
        undo_until_s=garage.now_s + 10,
        changed_by="the page, from 192.168.1.23",
        changed_wall_s=OFFSET_S,
    )


def test_the_service_s_own_messages_stand_among_the_others(garage: Room) -> None:
    extra = ExtraMessage(
        "not_kept", "collector", Heap.TODAY, "It was not kept.", "A full card.", "Make room.", 1.0, 2.0
    )
    garage.notes = replace(garage.notes, extra=(extra,))
    view = garage.view()
    assert (view.harm, [(m.key, m.subject, m.first_wall_s) for m in view.messages]) == (
        Heap.TODAY,
        [("not_kept:collector", "collector", 1.0)],
    )
    garage.notes = replace(garage.notes, extra=())
    assert garage.view().messages == ()


def test_the_cautions_of_a_shop() -> None:
    assert Room(example_shop("garage-one-collector", remote=True)).view().cautions == (
        "Collector: a single-phase motor, so its starts per hour are an estimate.",
        "A motor may be started from the page: every motor wears a sign that it may start by itself.",
    )
    assert Room(example_shop("one-evening")).view().cautions == (
        "Collector: a single-phase motor, so its starts per hour are an estimate.",
        "Collector: nothing confirms that it runs or stops. After Stop, look and listen.",
        "Collector: every gate is moved by hand. See that one is open before the fan runs.",
        "The controller is not told of the red button. The red button must work by wire alone.",
    )


def test_waking_says_so() -> None:
    room = Room(example_shop("garage-one-collector"), ready=False)
    text = "The controller has just woken. Every motor is off until the sensors have settled, in {time}."
    assert top(room) == (text, 2.0)
    assert tool(room.view(), "planer").sensor_note == "Its sensor has not been read yet since the controller woke."
