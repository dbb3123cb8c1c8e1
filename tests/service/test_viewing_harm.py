"""The page's sentences where something hurts, and where a motor is kept off or run by others, word by word."""

import sys
from dataclasses import replace
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from viewing_room import OFFSET_S, Room, asks, example_shop, labels, motor, reason, top

from gatekeeper.control.messages import HandSeen, InputSeen, Kept, MotorSeen, QuietSeen, ShopKeySeen
from gatekeeper.service.face import HandWord, Heap, Offer, OutOfService, Press
from gatekeeper.service.viewing_scene import START_CAUTION


@pytest.fixture
def garage() -> Room:
    return Room(example_shop("garage-one-collector", remote=True))


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
        "Lathe is cutting without air. Stop the cut. Once the reason shown is gone, start the tool again."
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
        "Planer is cutting without air. Stop the cut. Once the reason shown is gone, start the tool again."
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


def test_a_latched_motor_and_a_lost_record_of_starts_offer_clear_and_no_start() -> None:
    kept = Kept(
        {
            "latched/collector": "did_not_start",
            "starts/vacuum": {"level": 1.5, "locked": True},
            "starts/collector": {"level": 2.0, "locked": False},
            "starts/air cleaner": {"level": 2.0, "locked": False},
        },
        fresh=False,
    )
    room = Room(example_shop("long-narrow", remote=True), kept=kept)
    view = room.view()
    assert view.sentence.text == (
        "Collector did not start and is latched off. "
        "Look at disconnect, overload and breaker, then press Clear and start the tool again."
    )
    clear, out = "Clear collector", "Take collector out of service"
    assert (motor(view).word, labels(motor(view).offers)) == ("latched off", [clear, out])
    assert labels(motor(view, "vacuum").offers) == ["Clear vacuum", "Take vacuum out of service"]
    assert reason(view, "vacuum") == "The record of its starts was lost. Press Clear when it is cool."
    assert asks(view) == [
        (
            "today",
            "The record of motor starts of vacuum was lost. "
            "Press Clear when the motor is cool; one start is then in hand.",
            ["Clear vacuum"],
        )
    ]
    room.ask("clear", "collector")
    room.ask("clear", "vacuum")
    assert top(room) == ("Nothing runs. Ready.", None)


def test_the_worst_of_two_harms_is_told_first(garage: Room) -> None:
    garage.tool("planer", "running")
    garage.run(6.0)
    garage.tool("bandsaw", "running")
    garage.ask("stop")
    garage.run(20.0)
    garage.handle(MotorSeen("collector", "running"))
    garage.run(2.0)
    view = garage.view()
    assert [one.key for one in view.messages if one.heap is Heap.NOW] == [
        "runs_when_off:collector",
        "no_air:each",
    ]
    assert view.sentence.text == (
        "Collector runs although it was told to stop. Open the disconnect. Then have the contactor looked at."
    )
    assert (motor(view).word, motor(view).runs) == ("does not stop", True)
    assert reason(view) == "Runs although it was told to stop. Open the disconnect."


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
