"""People around the running service: the plug, the Hand-Off-Auto switch, red button, fire, doors, locks and fingers,
in every order, on the service's own objects with the virtual shop behind them."""

import math

import pytest
from people_orders import KEYED, SEEN_WITHIN_S, Played, orders, play

from gatekeeper.control.policy import RELEASE_PAUSE_S
from sim.checker import check_record

#: What these stories can make true; any other message that is ever raised, for an instant too, is a false one.
TRUE_OF_A_SAW_WITHOUT_AIR = {"no_air", "found_running"}


def keeps_the_rules(played: Played) -> None:
    """What holds in every story: no rule broken, nothing dropped, no gate of a cutting saw shut, no start by itself."""
    said = [entry.as_json() for entry in played.record]
    assert check_record(said) == []
    assert [e for e in played.record if e.kind in ("dropped", "fault")] == []
    shut = [e.t_s for e in played.all("gate_command", "saw gate", "shut")]
    assert [t_s for t_s in shut if played.saw_cuts(t_s)] == []
    fresh = [e.t_s for e in played.all("tool", word="running") if not isinstance(e.value, dict)]
    for on in played.all("motor_command", "fan", "on"):
        assert any(on.t_s - 30 <= t_s <= on.t_s for t_s in fresh), f"started without a tool's start at {on.t_s}"


def starts(played: Played, since_s: float, until_s: float = math.inf) -> list[float]:
    """When the fan was switched on within a time."""
    return [e.t_s for e in played.all("motor_command", "fan", "on") if since_s < e.t_s < until_s]


def only_says(played: Played, *codes: str) -> None:
    """No message but these, and none of a saw without air while the fan is run by hand at its switch."""
    for t_s, code, subject in played.raised():
        assert code in {*codes, *TRUE_OF_A_SAW_WITHOUT_AIR}, (t_s, code, subject)
        if code in TRUE_OF_A_SAW_WITHOUT_AIR and "to hand" in played.did_s:
            from_s, to_s = played.between("to hand", "to auto")
            assert not from_s + SEEN_WITHIN_S < t_s < to_s, (t_s, code, subject)


HAND = orders(
    ("plug out", "plug in", "to hand", "to auto", "saw off", "saw on"),
    (("plug out", "plug in"), ("to hand", "to auto"), ("saw off", "saw on")),
    most=90,
)


def test_there_are_ninety_orders_of_plug_switch_and_saw() -> None:
    assert len(HAND) == 90


@pytest.mark.parametrize("order", HAND, ids=", ".join)
def test_plug_and_switch_in_mid_cut(order: tuple[str, ...]) -> None:
    played = play(order, seed=1)
    keeps_the_rules(played)
    only_says(played)
    # By hand means by hand: nothing is switched on while the switch stands there, and turning it starts nothing.
    from_s, to_s = played.between("to hand", "to auto")
    assert starts(played, from_s + SEEN_WITHIN_S, to_s) == []
    begun = [s for s in (played.did_s["saw on"],) if s > to_s]
    assert starts(played, to_s, min([*begun, math.inf])) == []


def test_the_shop_goes_on_when_the_board_is_dead() -> None:
    """The words of the promise: pull the plug in mid-cut, turn the switch, work on, plug in again."""
    played = play(("plug out", "to hand", "saw off", "saw on", "plug in"), seed=3)
    keeps_the_rules(played)
    assert played.raised() == []
    plugged_s = played.did_s["plug in"]
    after = [e for e in played.record if e.t_s >= plugged_s]
    assert [e for e in after if e.kind == "gate_command" and e.value == "shut" and e.subject == "saw gate"] == []
    assert starts(played, plugged_s) == []
    assert list(played.all("hand", "fan", "hand"))


# ---------------------------------------------------------------- circuits

SAW = (("saw off", "saw on"),)
PLUG = (("plug out", "plug in"),)


def at_rest(played: Played, from_s: float, to_s: float, gates: tuple[str, ...] = ("saw gate", "planer gate")) -> None:
    """No gate is moved and nothing is switched on while something forbids it."""
    assert starts(played, from_s + SEEN_WITHIN_S, to_s) == []
    for gate in gates:
        moves = [e.t_s for e in played.all("gate_command", gate) if e.value != "halt"]
        assert [t_s for t_s in moves if from_s + SEEN_WITHIN_S < t_s < to_s] == []


def nothing_starts_by_itself(played: Played, end_s: float) -> None:
    """From the end of what stopped the shop, the next start is a saw's that was switched on afterwards."""
    begun = [s for s in (played.did_s["saw on"],) if s > end_s]
    assert starts(played, end_s, min([*begun, math.inf])) == []


def off_at_once(played: Played, act: str) -> None:
    """A motor that is on is told off within what seeing it takes."""
    from_s = played.did_s[act]
    if not played.alive(from_s) or not played.alive(from_s + SEEN_WITHIN_S):
        return
    before = [e for e in played.all("motor_command", "fan") if e.t_s < from_s]
    words = [e.value["what"] if isinstance(e.value, dict) else e.value for e in before]
    if words and words[-1] in ("on", "renew") and played.last_wake(from_s) < before[-1].t_s:
        told = [e.t_s for e in played.all("motor_command", "fan", "off") if e.t_s >= from_s]
        assert told
        assert told[0] - from_s <= SEEN_WITHIN_S


def seen(played: Played, kind: str, act: str, over: str) -> bool:
    """Whether a circuit's opening was seen: only one that began and ended on a board without power is not."""
    was_seen = bool(list(played.all(kind, word="open")))
    from_s, to_s = played.between(act, over)
    assert was_seen is (played.alive(from_s) or played.did_s["plug in"] < to_s)
    return was_seen


RED = orders(
    ("red pressed", "red pulled", "reset", "saw off", "saw on", "plug out", "plug in"),
    (("red pressed", "red pulled"), *SAW, *PLUG),
    most=40,
)


@pytest.mark.parametrize("order", RED, ids=", ".join)
def test_red_button(order: tuple[str, ...]) -> None:
    played = play(order, seed=2)
    keeps_the_rules(played)
    only_says(played, "emergency")
    off_at_once(played, "red pressed")
    done = [e.t_s for e in played.all("request", None, "reset") if not played.refused(e)]
    end_s = done[0] if done else math.inf
    if not seen(played, "emergency", "red pressed", "red pulled"):
        return
    at_rest(played, played.did_s["red pressed"], end_s)
    nothing_starts_by_itself(played, end_s)
    assert done == [] or end_s >= played.did_s["red pulled"]


HEAT = orders(
    ("heat", "heat over", "page reset", "reset", "saw off", "saw on", "plug out", "plug in"),
    (("heat", "heat over"), *SAW, *PLUG),
    most=40,
)


@pytest.mark.parametrize("order", HEAT, ids=", ".join)
def test_fire(order: tuple[str, ...]) -> None:
    played = play(order, seed=3)
    keeps_the_rules(played)
    only_says(played, "fire")
    off_at_once(played, "heat")
    resets = [e for e in played.all("request", None, "reset") if not played.refused(e)]
    assert all(entry.value["who"] == "local" for entry in resets)
    end_s = resets[0].t_s if resets else math.inf
    if not seen(played, "fire", "heat", "heat over"):
        return
    at_rest(played, played.did_s["heat"], end_s)
    nothing_starts_by_itself(played, end_s)
    assert resets == [] or end_s >= played.did_s["heat over"]


DOOR = orders(
    ("door opened", "door shut", "saw off", "saw on", "plug out", "plug in"),
    (("door opened", "door shut"), *SAW, *PLUG),
    most=40,
)


@pytest.mark.parametrize("order", DOOR, ids=", ".join)
def test_door(order: tuple[str, ...]) -> None:
    played = play(order, seed=4)
    keeps_the_rules(played)
    only_says(played, "door_open")
    off_at_once(played, "door opened")
    open_s, shut_s = played.between("door opened", "door shut")
    at_rest(played, open_s, shut_s)
    nothing_starts_by_itself(played, shut_s)


# ---------------------------------------------------------------- what people set

OUT = orders(
    ("out", "back", "saw off", "saw on", "plug out", "plug in"), (("out", "back"), *SAW, *PLUG), most=40, seed=1
)


@pytest.mark.parametrize("order", OUT, ids=", ".join)
def test_out_of_service(order: tuple[str, ...]) -> None:
    played = play(order, seed=5)
    keeps_the_rules(played)
    only_says(played, "out_of_service")
    off_at_once(played, "out")
    heard = [e.t_s for e in played.all("request", "fan", "out_of_service")]
    lifted = [e.t_s for e in played.all("request", "fan", "back_in_service") if not played.refused(e)]
    # Only a board without power cannot hear it, and then nothing was promised.
    assert bool(heard) is played.alive(played.did_s["out"])
    if heard:
        at_rest(played, heard[0], lifted[0] if lifted else math.inf)
        assert played.answers[0].sentence == "Out of service. This is no padlock: lock the disconnect."
        nothing_starts_by_itself(played, lifted[0] if lifted else math.inf)


HOLD = orders(
    ("hold", "release", "saw off", "saw on", "planer on", "plug out", "plug in"),
    (("hold", "release"), *SAW, *PLUG),
    most=40,
)


@pytest.mark.parametrize("order", HOLD, ids=", ".join)
def test_fingers_in_a_gate(order: tuple[str, ...]) -> None:
    played = play(order, seed=6)
    keeps_the_rules(played)
    only_says(played, "gate_held", "not_collected")
    held = [e.t_s for e in played.all("request", "saw gate", "hold")]
    freed = [e.t_s for e in played.all("request", "saw gate", "release") if not played.refused(e)]
    assert bool(held) is played.alive(played.did_s["hold"])
    if not held:
        return
    free_s = freed[0] if freed else math.inf
    moves = [e.t_s for e in played.all("gate_command", "saw gate") if e.value != "halt" and e.t_s > held[0]]
    assert [t_s for t_s in moves if t_s < free_s + RELEASE_PAUSE_S - 1e-9] == []
    if freed and played.alive(free_s + SEEN_WITHIN_S):
        # The sign at the gate says so from the press on, before anything moves.
        signs = [e for e in played.all("sign", "saw gate") if free_s <= e.t_s <= free_s + SEEN_WITHIN_S]
        assert [e.value for e in signs][-1:] == ["moving_soon"]


KEY = orders(
    ("shop shut", "shop open", "saw off", "saw on", "plug out", "plug in"),
    (("shop shut", "shop open"), *SAW, *PLUG),
    most=40,
)


@pytest.mark.parametrize("order", KEY, ids=", ".join)
def test_shop_key(order: tuple[str, ...]) -> None:
    played = play(order, seed=7)
    keeps_the_rules(played)
    only_says(played, "shop_shut_start")
    heard = [e.t_s for e in played.all("shop_key", None, "shut")]
    if heard:
        opened = [e.t_s for e in played.all("shop_key", None, "open") if e.t_s > heard[0]]
        end_s = opened[0] if opened else math.inf
        woken = [e.t_s for e in played.all("wake") if e.t_s > heard[0]]
        # A shop without a key input takes the word of its hours, which a new boot has yet to hear.
        assert starts(played, heard[0], min([end_s, *woken])) == []
        nothing_starts_by_itself(played, end_s)


STOP = orders(("stop", "saw off", "saw on", "plug out", "plug in"), (*SAW, *PLUG), most=30)


@pytest.mark.parametrize("order", STOP, ids=", ".join)
def test_stop_in_mid_cut(order: tuple[str, ...]) -> None:
    played = play(order, seed=8)
    keeps_the_rules(played)
    only_says(played)
    off_at_once(played, "stop")
    nothing_starts_by_itself(played, played.did_s["stop"])


# ---------------------------------------------------------------- sparks

SPARKS = orders(
    ("sparks", "page reset", "reset key", "saw off", "saw on", "plug out", "plug in"), (*SAW, *PLUG), most=40, seed=2
) + orders(
    ("sparks button", "page reset", "reset key", "saw off", "saw on", "plug out", "plug in"), (*SAW, *PLUG), most=20
)


@pytest.mark.parametrize("order", SPARKS, ids=", ".join)
def test_somebody_saw_sparks(order: tuple[str, ...]) -> None:
    played = play(order, seed=9, text=KEYED)
    keeps_the_rules(played)
    only_says(played, "sparks")
    (act,) = {"sparks", "sparks button"} & set(order)
    off_at_once(played, act)
    said = [e.t_s for e in played.all("request", None, "sparks")]
    assert bool(said) is played.alive(played.did_s[act])
    if not said:
        return
    if act == "sparks":
        answer = next(one for one in played.answers if one.accepted)
        assert answer.sentence.startswith("Every motor is off. Do not open bin or filter: air feeds embers.")
    resets = [e for e in played.all("request", None, "reset") if not played.refused(e) and e.t_s > said[0]]
    assert all(entry.value["who"] == "local" for entry in resets)
    end_s = resets[0].t_s if resets else math.inf
    at_rest(played, said[0], end_s)
    nothing_starts_by_itself(played, end_s)
    # It outlives the power cut, and the page says so until the key is turned.
    raised = [t_s for t_s, code, _ in played.raised() if code == "sparks"]
    woken = [e.t_s for e in played.all("wake") if said[0] < e.t_s < end_s]
    assert len(raised) == 1 + len(woken)
