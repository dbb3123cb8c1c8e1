"""The page's sentences over a day at the garage and at other example shops, word by word."""

import sys
from dataclasses import replace
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from viewing_room import OFFSET_S, Room, example_shop

from gatekeeper.control.messages import (
    HandSeen,
    InputSeen,
    Kept,
    Missed,
    QuietSeen,
    SettingChanged,
    ShopKeySeen,
)
from gatekeeper.service.face import (
    GateWord,
    HandWord,
    Heap,
    MotorView,
    Offer,
    OutOfService,
    Press,
    Saying,
    SensorWord,
    ShopView,
    SpinDown,
    ToolView,
    Units,
)
from gatekeeper.service.viewing import ExtraMessage, SpinDownChange
from gatekeeper.service.viewing_scene import RELEASE_CAUTION, START_CAUTION


@pytest.fixture
def garage() -> Room:
    return Room(example_shop("garage-one-collector", remote=True))


def top(room: Room) -> tuple[str, float | None]:
    """The sentence, and the seconds that its time counts: ahead positive, passed negative."""
    view = room.view()
    said = view.sentence
    if said.until_s is not None:
        return said.text, round(said.until_s - view.now_s, 2)
    return said.text, None if said.since_s is None else round(said.since_s - view.now_s, 2)


def gate(view: ShopView, name: str) -> tuple[GateWord, str | None]:
    found = next(one for one in view.gates if one.name == name)
    return found.word, found.reason.text if found.reason else None


def motor(view: ShopView, name: str = "collector") -> MotorView:
    return next(one for one in view.motors if one.name == name)


def tool(view: ShopView, name: str) -> ToolView:
    return next(one for one in view.tools if one.name == name)


def labels(offers: tuple[Offer, ...]) -> list[str]:
    return [offer.label for offer in offers]


def reason(view: ShopView, name: str = "collector") -> str | None:
    said = motor(view, name).reason
    return said.text if said else None


def asks(view: ShopView) -> list[tuple[str, str, list[str]]]:
    return [(one.harm.value, one.saying.text, labels(one.offers)) for one in view.attention]


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


# ---------------------------------------------------------------- harm, in its order


def test_fire_comes_before_the_red_button_and_that_before_all_else() -> None:
    room = Room(example_shop("shared-twelve"))
    room.tool("lathe", "running")
    room.run(9.0)
    room.handle(InputSeen("red buttons", "open"))
    assert top(room)[0] == (
        "The emergency circuit is open: red buttons. Every motor is off and every gate stands still. "
        "Find out why it was pressed. Pull the button out, then press Reset."
    )
    assert reason(room.view()) == "The emergency circuit is open or not reset. The fan comes to rest in {time}."
    room.handle(InputSeen("smoke detector", "open"))
    fire = "Heat, smoke or the building's alarm. Do not open bin or filter. Leave, call the fire service."
    assert top(room)[0] == fire
    room.handle(InputSeen("smoke detector", "made"))
    room.handle(InputSeen("red buttons", "made"))
    view = room.view()
    assert (view.sentence.text, view.harm, labels(view.offers)) == (
        fire,
        Heap.NOW,
        ["Take the whole shop out of service"],
    )
    room.ask("reset", who="local")
    assert top(room)[0] == (
        "Lathe is cutting without air. Stop the cut, or press Start collector once the reason shown is gone."
    )


def test_reset_is_offered_once_the_circuit_is_whole(garage: Room) -> None:
    garage.handle(InputSeen("stop mushroom", "open"))
    assert "Reset" not in labels(garage.view().offers)
    garage.handle(InputSeen("stop mushroom", "made"))
    view = garage.view()
    assert view.sentence.text == (
        "The emergency circuit is whole again and not reset yet. Every motor is off. Find out why, then press Reset."
    )
    assert view.offers[0] == Offer("reset", None, "Reset", caution="Nothing starts by itself.")
    (message, over) = view.messages
    assert (message.cleared, labels(message.offers)) == (False, ["Reset"])
    assert (over.cleared, over.seen, over.offers) == (True, True, ())


def test_a_tool_without_air_and_how_to_start_the_collector(garage: Room) -> None:
    garage.tool("planer", "running")
    garage.run(9.0)
    garage.ask("stop")
    view = garage.view()
    assert view.sentence.text == (
        "Planer is cutting without air. Stop the cut, or press Start collector once the reason shown is gone."
    )
    (message,) = view.messages
    assert message.offers == (Offer("run", "collector", "Start collector", 600.0, Press.HOLD, START_CAUTION),)
    assert message.cause == "The collector was stopped, may not start, or has no open gate."
    assert (message.key, message.subject, message.heap) == ("no_air:planer", "planer", Heap.NOW)
    assert message.first_wall_s == pytest.approx(OFFSET_S + garage.now_s)


def test_while_the_motor_rests_the_sentence_says_until_when(garage: Room) -> None:
    for _ in range(2):
        garage.tool("planer", "running")
        garage.run(6.0)
        garage.ask("stop")
        garage.tool("planer", "stopped")
        garage.run(3.0)
    garage.tool("planer", "running")
    garage.run(3.0)
    text, ahead_s = top(garage)
    assert text == "Planer waits for air. Motor rests: it may start in {time}."
    assert ahead_s is not None
    assert ahead_s > 200
    garage.run(5.0)
    assert top(garage) == ("Planer is cutting without air. Motor rests: it may start in {time}.", ahead_s - 5.0)


def test_without_starting_from_afar_nothing_offers_a_start() -> None:
    room = Room(example_shop("garage-one-collector"))
    room.tool("planer", "running")
    room.run(9.0)
    room.ask("stop")
    view = room.view()
    assert view.remote_start is False
    assert view.messages[0].offers == ()
    assert labels(motor(view).offers) == ["Take collector out of service"]


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


# ---------------------------------------------------------------- motors kept off, or run by others


def test_out_of_service_says_who_why_and_since_when(garage: Room) -> None:
    garage.view()
    garage.ask("out_of_service", "collector", text="the steward: new bag")
    view = garage.view()
    since = pytest.approx(OFFSET_S + garage.now_s)
    assert motor(view).out_of_service == OutOfService("the steward", "new bag", since)
    assert (motor(view).word, reason(view)) == ("out of service", "Stays off: collector is out of service.")
    assert view.sentence.text == "Collector is out of service. Nothing starts it."
    assert labels(motor(view).offers) == ["Collector back in service"]
    assert asks(view) == [("when you can", "Collector is out of service.", ["Collector back in service"])]
    garage.run(50.0)
    assert motor(garage.view()).out_of_service == OutOfService("the steward", "new bag", since)


def test_what_an_earlier_run_kept_has_no_time_unless_the_service_knows_it() -> None:
    kept = Kept({"out_of_service/collector": {"who": "local", "why": "belt", "since_s": 50.0}}, fresh=False)
    room = Room(example_shop("one-evening"), kept=kept)
    assert motor(room.view()).out_of_service == OutOfService("somebody at the controller", "belt", None)
    room.notes = replace(room.notes, out_since_wall={"collector": 77.0})
    assert motor(room.view()).out_of_service == OutOfService("somebody at the controller", "belt", 77.0)


def test_doors_keys_and_quiet_hours_have_their_words() -> None:
    room = Room(example_shop("shared-twelve", remote=True))
    room.handle(QuietSeen(True))
    assert reason(room.view(), "air cleaner") == "Quiet hours: it stays off until they end."
    room.handle(QuietSeen(False))
    room.handle(InputSeen("filter door", "open"))
    view = room.view()
    assert (motor(view).word, reason(view)) == ("door open", "Stays off: a door is open: filter door.")
    assert top(room)[0] == (
        "A door is open: filter door. Its motors stay off. "
        "Shut the door when the work is done. Lock the disconnect while a hand is inside."
    )
    room.handle(InputSeen("filter door", "made"))
    room.handle(ShopKeySeen("shut"))
    view = room.view()
    assert (view.sentence.text, reason(view)) == (
        "The shop is shut. No motor starts.",
        "The shop is shut: nothing starts it.",
    )
    assert "run" not in [offer.what for one in view.motors for offer in one.offers]


def test_a_motor_run_by_hand_is_its_person_s() -> None:
    shop = example_shop("one-evening")
    room = Room(shop)
    room.handle(HandSeen("collector", "hand"))
    view = room.view()
    assert top(room)[0] == "Collector: running by hand. Stop it at the switch."
    assert (motor(view).word, motor(view).runs, motor(view).hand) == ("run by hand", True, None)
    assert asks(view) == [("when you can", "Collector: running by hand. Stop it at the switch.", [])]
    assert HandWord("hand") is HandWord.HAND


def test_a_timed_run_shows_its_end(garage: Room) -> None:
    garage.ask("run", "collector", for_s=300.0)
    garage.run(4.0)
    assert top(garage) == ("Collector: runs as asked by hand, for {time} more.", 296.0)
    assert motor(garage.view()).stops_at_s == pytest.approx(garage.now_s + 296.0)
    assert "Run collector for 10 min" not in labels(motor(garage.view()).offers)


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
