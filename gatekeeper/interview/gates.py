"""The questions about a gate: what moves it, and only what that needs to be known."""

import re
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass, replace
from enum import Enum

from gatekeeper.interview.engine import NotUnderstood, Question, Walk
from gatekeeper.interview.reading import Size, choice_question, size_question
from gatekeeper.interview.room import NO_PINS, Pins, Room


class Mover(Enum):
    """What moves a gate, as it is asked for."""

    HAND = "by hand"
    SEEN = "by hand, with a switch"
    SERVO = "servo"
    SERVO_ON_PIN = "servo on a pin"
    BRIDGE = "motor by an H-bridge"
    RELAYS = "motor by two relays"
    COIL = "solenoid or air valve"
    BROKER = "behind a broker"

    @property
    def is_by_hand(self) -> bool:
        return self in (Mover.HAND, Mover.SEEN)

    @property
    def is_servo(self) -> bool:
        return self in (Mover.SERVO, Mover.SERVO_ON_PIN)

    @property
    def is_motor(self) -> bool:
        return self in (Mover.BRIDGE, Mover.RELAYS)


MOVERS = {mover.value: mover for mover in Mover}

NO_ENDS, OPEN_END, BOTH_ENDS = "neither", "at the open end", "at both ends"
ENDS = {NO_ENDS: 0, OPEN_END: 1, BOTH_ENDS: 2}

USUAL_HOST = "localhost"
LONGEST_HOST, LONGEST_TOPIC = 80, 200

_EXPLAINED = (
    "By hand costs nothing and works from the first evening; anything else can take its place at any time. With a "
    "switch: a contact tells that it is open. Servo: the first hangs on a pin, from the second on all hang on a servo "
    "bank (a PCA9685), which keeps steadier pulses and takes one pin for sixteen. Motor: a linear actuator or a gear "
    "motor with limit switches in its own wires. Solenoid or air valve: a coil against a spring. Behind a broker: it "
    "has a controller of its own and listens to an MQTT broker."
)


@dataclass(frozen=True, slots=True)
class Moved:
    """How a gate is moved.

    Args:
        by: what moves it.
        ends: which of its ends the board sees, for a motor.
        travel: the longest time of a whole move, where it is told.
        spring: where the spring of a coil puts it, open or shut.
        host: where the broker is, at the first gate behind it.
        broker: how the broker of the file is called, where there is one already.
        topics: what it obeys, and where it says how it stands.
        stall: what its actuator draws, where it is told.
        assumed: words for what nobody knew.
    """

    by: Mover = Mover.HAND
    ends: str = NO_ENDS
    travel: Size | None = None
    spring: str = "open"
    host: str = ""
    broker: str = ""
    topics: tuple[str, ...] = ()
    stall: Size | None = None
    assumed: tuple[str, ...] = ()

    @property
    def pins(self) -> Pins:
        """The pins that it takes; a servo as if it hung on a pin."""
        match self.by:
            case Mover.SEEN:
                return Pins(contacts=1)
            case Mover.SERVO | Mover.SERVO_ON_PIN | Mover.COIL:
                return Pins(outputs=1)
            case Mover.BRIDGE | Mover.RELAYS:
                return Pins(2, ENDS[self.ends])
        return Pins()


@dataclass(frozen=True, slots=True)
class GateScene:
    """What is known before a gate is asked for.

    Args:
        room: the pins that are left.
        servo_room: another servo can be had, on a pin or on a bank.
        before: the gates that were told before.
        has_broker: the shop has a broker.
        topics: those that are taken.
    """

    room: Room
    servo_room: bool
    before: tuple[Moved, ...] = ()
    has_broker: bool = False
    topics: tuple[str, ...] = ()

    def offered(self) -> Iterator[Mover]:
        """The movers that there are pins for."""
        for mover in Mover:
            can_be = self.servo_room if mover is Mover.SERVO else self.room.has(Moved(mover).pins)
            if can_be:
                yield mover


def ask_gate(name: str, gate: str, scene: GateScene, usual: Mover | None = None) -> Walk[Moved]:
    """What moves the gate of a machine, and what has to be known of that.

    Args:
        name: the machine.
        gate: what its gate is called.
        scene: what is known before.
        usual: what an empty answer takes, where it can be had; else what the gate before has.
    """
    movers = tuple(scene.offered())
    usual = usual or (scene.before[-1].by if scene.before else Mover.HAND)
    usual = usual if usual in movers else Mover.HAND
    word: str | None = yield choice_question(
        "gate",
        f"What moves the gate of the {name}?{'' if len(movers) == len(Mover) else NO_PINS}",
        _EXPLAINED,
        tuple(mover.value for mover in movers),
        usual.value,
        "The gate is taken as moved by hand.",
    )
    moved = Moved(MOVERS[word] if word is not None else Mover.HAND)
    alike = [one for one in scene.before if one.by is moved.by]
    if moved.by.is_motor:
        moved = yield from _ask_motor(moved, scene.room, alike[-1] if alike else None)
    elif moved.by is Mover.COIL:
        moved = yield from _ask_coil(moved, alike[-1] if alike else None)
    elif moved.by is Mover.BROKER:
        moved = yield from _ask_broker(moved, gate, scene)
    return (yield from _ask_stall(moved, scene.before))


def _ask_motor(moved: Moved, room: Room, last: Moved | None) -> Walk[Moved]:
    ends = tuple(word for word in ENDS if room.has(replace(moved, ends=word).pins))
    seen: str | None = yield choice_question(
        "ends",
        "At which ends does the gate have a switch that the board reads?",
        "The limit switches in the motor's wires stop it, and the board does not see them. A switch that is made when "
        "the gate is open proves it open; without one it counts as open once its travel time is over.",
        ends,
        last.ends if last is not None and last.ends in ends else NO_ENDS,
        "It is taken as neither.",
    )
    travel: Size | None = yield size_question(
        "travel",
        "How long does a whole move take at most?",
        "From one end to the other with the fan running; commissioning measures it.",
        ("time", "100 ms", "60 s"),
        last.travel.text if last is not None and last.travel is not None else "6 s",
        "It is taken as 6 s at most.",
    )
    assumed = ("a whole move takes 6 s at most",) if travel is None else ()
    return replace(moved, ends=seen or NO_ENDS, travel=travel, assumed=assumed)


def _ask_coil(moved: Moved, last: Moved | None) -> Walk[Moved]:
    spring: str | None = yield choice_question(
        "spring",
        "Where does its spring put the gate when the power is off?",
        "Open is the better way: the fan never runs down on a shut gate. The coil then holds it shut.",
        ("open", "shut"),
        last.spring if last is not None else "open",
        "It is taken as open.",
    )
    assumed = ("its spring puts it open",) if spring is None else ()
    return replace(moved, spring=spring or "open", assumed=assumed)


def _ask_broker(moved: Moved, gate: str, scene: GateScene) -> Walk[Moved]:
    host = ""
    assumed: tuple[str, ...] = ()
    if not scene.has_broker and all(not one.host for one in scene.before):
        told: str | None = yield Question(
            "broker",
            "Where is the MQTT broker?",
            "Its name or address on your network, such as 192.168.1.5. localhost: on this board.",
            _read_host,
            USUAL_HOST,
            (),
            "It is taken to be on this board.",
        )
        host = told or USUAL_HOST
        assumed = ("the broker is on this board",) if told is None else ()
    taken = [*scene.topics, *(topic for one in scene.before for topic in one.topics)]
    topics: tuple[str, ...] = ()
    for about, said, end in (
        ("commands to", "Which topic does it obey?", "set"),
        ("states from", "On which topic does it say where it stands?", "state"),
    ):
        topic: str = yield Question(
            about,
            said,
            "As it is set in the gate's own controller, which takes the words open and shut and answers with the same.",
            _topic_reader((*taken, *topics)),
            f"{_free_slug(gate, taken)}/{end}",
        )
        topics = (*topics, topic)
    return replace(moved, host=host, topics=topics, assumed=assumed)


def _ask_stall(moved: Moved, before: Collection[Moved]) -> Walk[Moved]:
    """What its actuator draws; asked at the first of its kind, and the same for the others."""
    if moved.by.is_servo:
        what, said, usual, alike = "servo", "when it is stalled", "3 A", [one for one in before if one.by.is_servo]
    elif moved.by.is_motor:
        what, said, usual, alike = "motor", "when it is stalled", "5 A", [one for one in before if one.by.is_motor]
    elif moved.by is Mover.COIL:
        what, said, usual, alike = "coil", "while it holds", "1 A", [one for one in before if one.by is Mover.COIL]
    else:
        return moved
    if alike:
        return replace(moved, stall=alike[-1].stall)
    stall: Size | None = yield size_question(
        "stall",
        f"What does such a {what} draw {said}?",
        "From its data sheet or plate; supply, fuses and cables are sized by it.",
        ("current", "20 mA", "30 A"),
        "unknown",
        f"gatekeeper wiring counts {usual} for each, and says that this is an estimate.",
    )
    return replace(moved, stall=stall)


def _read_host(answer: str) -> str:
    if len(answer) > LONGEST_HOST:
        raise NotUnderstood(f"This is too long for an address; at most {LONGEST_HOST} characters fit.")
    return answer


def _topic_reader(taken: Collection[str]) -> Callable[[str], str]:
    def read(answer: str) -> str:
        if len(answer.encode()) > LONGEST_TOPIC or answer.startswith("$") or "+" in answer or "#" in answer:
            raise NotUnderstood(
                "This is no topic; write the words and slashes that are set in the gate's controller, without + and #."
            )
        if answer in taken:
            raise NotUnderstood("Another gate or another use has this topic already; each has its own.")
        return answer

    return read


def _free_slug(name: str, taken: Collection[str]) -> str:
    """The beginning of the topics of a gate, with a number behind it where another gate has them."""
    plain = re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-") or "gate"
    slug, number = plain, 2
    while f"{slug}/set" in taken or f"{slug}/state" in taken:
        slug, number = f"{plain}-{number}", number + 1
    return slug
