"""From the items under ``happens`` to what happens in the shop, with every fault that only the shop can show."""

from collections.abc import Collection, Iterator, Mapping

from gatekeeper.control.messages import Requested, RequestWhat, SettingChanged, Who
from gatekeeper.shop.faults import listed
from gatekeeper.shop.model import InputKind
from sim.happening import Controller, Happening, What
from sim.plant_faults import PlantFault
from sim.scenario_reading import Reading, lasting
from sim.scenario_written import Asked, Board, Door, HappensPart, Turned

VERBS = ("starts", "stops", "breaks", "mends", "asks", "sets", "input", "pulls", "controller")

_COMPANIONS: Mapping[str, Collection[str]] = {
    "lasting": ("starts", "breaks", "input", "asks", "controller"),
    "how": ("breaks", "mends"),
    "about": ("asks",),
    "through": ("asks",),
    "spin_down": ("sets",),
    "to": ("input", "pulls"),
}
_NEEDED: Mapping[str, tuple[str, str]] = {
    "breaks": ("how", "how: stuck gate"),
    "sets": ("spin_down", "spin_down: 20 s"),
    "input": ("to", "to: pressed"),
    "pulls": ("to", "to: open"),
}

_BREAKABLE = ("gate", "tool", "motor", "converter", "feeder")
_NAMES: Mapping[str, Collection[str]] = {
    "starts": ("tool",),
    "stops": ("tool",),
    "breaks": _BREAKABLE,
    "mends": _BREAKABLE,
    "about": ("gate", "tool", "motor"),
    "sets": ("motor", "tool"),
    "input": ("input",),
    "pulls": ("gate",),
}
"""What each key of an item names."""

#: Where each kind of input may be put, and what undoes each word after ``lasting``.
PLACES: Mapping[InputKind, Mapping[Turned, Turned | None]] = {
    InputKind.RED_BUTTON: {Turned.PRESSED: Turned.PULLED_OUT, Turned.PULLED_OUT: Turned.PRESSED},
    InputKind.FIRE: {Turned.ALARM: Turned.QUIET, Turned.QUIET: Turned.ALARM},
    InputKind.DOOR: {Turned.OPEN: Turned.SHUT, Turned.SHUT: Turned.OPEN},
    InputKind.SHOP_KEY: {Turned.OPEN: Turned.SHUT, Turned.SHUT: Turned.OPEN},
    InputKind.HAND_OFF_AUTO: {Turned.HAND: Turned.AUTO, Turned.OFF: Turned.AUTO, Turned.AUTO: Turned.OFF},
    InputKind.AIR_HERE: {Turned.PRESSED: None},
    InputKind.STOP: {Turned.PRESSED: None},
    InputKind.RESET: {Turned.PRESSED: None},
    InputKind.RELEASE: {Turned.PRESSED: None},
    InputKind.SPARKS: {Turned.PRESSED: None},
}
_SAYS_YES = frozenset({Turned.PRESSED, Turned.ALARM, Turned.OPEN})

_GATE_FAULTS = frozenset(
    {
        PlantFault.STUCK_GATE,
        PlantFault.SLOW_GATE,
        PlantFault.REVERSED_GATE,
        PlantFault.SWITCH_DEAD,
        PlantFault.SWITCH_SAYS_OPEN,
        PlantFault.SWITCH_SAYS_SHUT,
        PlantFault.SWITCH_LOOSE,
        PlantFault.BLOCKED_BRANCH,
    }
)
_SWITCH_FAULTS = frozenset(
    {PlantFault.SWITCH_DEAD, PlantFault.SWITCH_SAYS_OPEN, PlantFault.SWITCH_SAYS_SHUT, PlantFault.SWITCH_LOOSE}
)
_TOOL_FAULTS = frozenset(
    {
        PlantFault.SENSOR_DEAD,
        PlantFault.SENSOR_STUCK_ON,
        PlantFault.SENSOR_SILENT,
        PlantFault.SENSOR_NOISY,
        PlantFault.SENSORS_SWAPPED,
    }
)

#: What a request may be about; None: it is about the whole shop, and nothing is written.
_ABOUT: Mapping[Asked, tuple[tuple[str, ...], bool]] = {
    # request: (kinds of thing, whether it may be left out)
    Asked.OPEN: (("gate",), False),
    Asked.SHUT: (("gate",), False),
    Asked.HOLD: (("gate",), False),
    Asked.RELEASE: (("gate",), False),
    Asked.AIR_HERE: (("tool", "gate"), False),
    Asked.RUN: (("motor",), False),
    Asked.STOP: (("motor",), True),
    Asked.SWEEP: (("motor",), True),
    Asked.FLUSH: (("motor",), False),
    Asked.RESET: ((), True),
    Asked.CLEAR: (("motor", "gate"), True),
    Asked.OUT_OF_SERVICE: (("motor",), True),
    Asked.BACK_IN_SERVICE: (("motor",), True),
    Asked.STOPPED: (("tool",), False),
    Asked.STILL_RUNNING: (("tool",), False),
}
_WHAT_ASKED: Mapping[Asked, RequestWhat] = {
    Asked.OPEN: "open",
    Asked.SHUT: "shut",
    Asked.HOLD: "hold",
    Asked.RELEASE: "release",
    Asked.AIR_HERE: "air_here",
    Asked.RUN: "run",
    Asked.STOP: "stop",
    Asked.SWEEP: "sweep",
    Asked.FLUSH: "flush",
    Asked.RESET: "reset",
    Asked.CLEAR: "clear",
    Asked.OUT_OF_SERVICE: "out_of_service",
    Asked.BACK_IN_SERVICE: "back_in_service",
    Asked.STOPPED: "stopped",
    Asked.STILL_RUNNING: "still_running",
}
_ASKED_FOR_A_TIME = frozenset({Asked.OPEN, Asked.AIR_HERE, Asked.RUN, Asked.SWEEP})
_WHO: Mapping[Door, Who] = {Door.LOCAL: "local", Door.PAGE: "page", Door.BUTTON: "button", Door.BROKER: "broker"}

#: What befalls the controller, and what undoes it after ``lasting``.
_BOARD: Mapping[Board, tuple[What, object, tuple[What, object] | None]] = {
    Board.POWER_CUT: (What.MAINS, False, (What.MAINS, True)),
    Board.POWER_BACK: (What.MAINS, True, None),
    Board.PLUG_OUT: (What.CONTROLLER, Controller.PLUG_OUT, (What.CONTROLLER, Controller.PLUG_IN)),
    Board.PLUG_IN: (What.CONTROLLER, Controller.PLUG_IN, None),
    Board.KILLED: (What.CONTROLLER, Controller.KILL, (What.CONTROLLER, Controller.START)),
    Board.STARTED: (What.CONTROLLER, Controller.START, None),
    Board.ENDED: (What.CONTROLLER, Controller.STOP, (What.CONTROLLER, Controller.START)),
}


def subject_of(fault: PlantFault) -> str:
    """What kind of thing a fault is on: gate, tool, converter, feeder or motor."""
    if fault in _GATE_FAULTS:
        return "gate"
    if fault in _TOOL_FAULTS:
        return "tool"
    return {PlantFault.CONVERTER_LOST: "converter", PlantFault.BREAKER_TRIPPED: "feeder"}.get(fault, "motor")


def happenings(reading: Reading) -> list[Happening]:
    """All that happens, in order of time; what stands later in the file is later at one instant. Faults are noted."""
    reading.rest_names("happens", HappensPart, _NAMES)
    maker = _Maker(reading)
    found = [
        (happening, number)
        for number, part in reading.items("happens", HappensPart)
        for happening in maker.of(number, part)
    ]
    found.sort(key=lambda one: one[0].at_s)
    _check_board(reading, found)
    return [happening for happening, _ in found]


def _check_board(reading: Reading, found: list[tuple[Happening, int]]) -> None:
    """Whether the controller can begin and end as written: only what runs ends, and nothing is plugged in twice."""
    is_live = runs = True
    for happening, number in found:
        match happening.what, happening.value:
            case (What.MAINS, False) | (What.CONTROLLER, Controller.PLUG_OUT):
                said = None if is_live else "the controller has no power already"
                is_live = runs = False
            case (What.MAINS, True) | (What.CONTROLLER, Controller.PLUG_IN):
                said = "the controller has its power" if is_live else None
                is_live = runs = True
            case What.CONTROLLER, Controller.START:
                said = "the controller runs already" if runs else None
                said = said if is_live else "the controller has no power"
                runs = is_live
            case What.CONTROLLER, _:
                said = None if runs else "the controller does not run"
                runs = False
            case What.STANDS_STILL, _:
                said = None if runs else "the controller does not run"
            case _:
                continue
        if said is not None:
            reading.fault(f"at {lasting(happening.at_s)} {said}; mend the times", "happens", number, "controller")


class _Maker:
    """Turns items into happenings."""

    def __init__(self, reading: Reading) -> None:
        self.reading = reading
        self.shop = reading.shop
        self.broken: dict[str, list[PlantFault]] = {}
        for _, part in reading.items("happens", HappensPart):
            if part.breaks is not None and part.how is not None:
                self.broken.setdefault(part.breaks, []).append(part.how)

    def of(self, number: int, part: HappensPart) -> Iterator[Happening]:
        """What one item makes happen, repetitions included."""
        reading, loc = self.reading, ("happens", number)
        at_s = reading.seconds(part.at, *loc, "at")
        verb = reading.one_of(part, VERBS, "this says when, but not what happens", *loc)
        every_s, times = self._repeated(number, part, at_s)
        if verb is None:
            return
        reading.companions(part, verb, _COMPANIONS, *loc)
        needed = _NEEDED.get(verb)
        if needed is not None and needed[0] not in part.model_fields_set:
            reading.fault(
                f'the key "{needed[0]}" is missing beside {verb}; write such as {needed[1]}', *loc, verb, key=True
            )
            return
        begun = list(self._once(verb, number, part))
        for again in range(times):
            for delay_s, what, subject, value in begun:
                yield Happening(at_s + again * every_s + delay_s, what, subject, value)

    def _repeated(self, number: int, part: HappensPart, at_s: float) -> tuple[float, int]:
        reading, loc = self.reading, ("happens", number)
        if (part.every is None) is not (part.times is None):
            there, missing = ("every", "times") if part.times is None else ("times", "every")
            reading.fault(
                f'"{there}" needs "{missing}" beside it, such as every: 30 s, times: 20', *loc, there, key=True
            )
        if part.every is None or part.times is None:
            return 0.0, 1
        last_s = at_s + (part.times - 1) * part.every
        if reading.ends_s is not None and last_s > reading.ends_s:
            said = f"the last of them is at {lasting(last_s)}, after the end of the play, which lasts"
            reading.fault(f"{said} {lasting(reading.ends_s)}", *loc, "times")
        if part.lasting is not None and part.lasting >= part.every:
            said = f"each lasts {lasting(part.lasting)} and begins again after {lasting(part.every)}"
            reading.fault(f"{said}; make lasting shorter than every", *loc, "lasting")
        return part.every, part.times

    def _once(self, verb: str, number: int, part: HappensPart) -> Iterator[tuple[float, What, str | None, object]]:
        """What one item makes happen once: (delay, what, subject, value)."""
        loc = ("happens", number, verb)
        match verb:
            case "starts" | "stops":
                names = part.starts or part.stops or ()
                for place, name in enumerate(names):
                    where = (*loc, place) if self.reading.tree.at((*loc, place)) is not None else loc
                    if self.reading.known(name, ("tool",), *where):
                        yield 0.0, What.TOOL_ON if verb == "starts" else What.TOOL_OFF, name, None
                        if part.lasting is not None:
                            yield part.lasting, What.TOOL_OFF, name, None
            case "breaks":
                yield from self._breaks(part, number)
            case "mends":
                yield from self._mends(part, number)
            case "asks":
                yield from self._asks(part, number)
            case "sets":
                if part.sets is not None and self.reading.known(part.sets, ("motor", "tool"), *loc):
                    yield 0.0, What.SETTING, None, SettingChanged(part.sets, "spin_down_s", part.spin_down)
            case "input":
                yield from self._input(part, number)
            case "pulls":
                yield from self._pulls(part, number)
            case _:
                yield from self._board(part, number)

    def _breaks(self, part: HappensPart, number: int) -> Iterator[tuple[float, What, str | None, object]]:
        assert part.breaks is not None
        assert part.how is not None
        if self._can_have(part.breaks, part.how, number, "breaks"):
            yield 0.0, What.FAULT, part.breaks, part.how
            if part.lasting is not None:
                yield part.lasting, What.MEND, part.breaks, part.how

    def _mends(self, part: HappensPart, number: int) -> Iterator[tuple[float, What, str | None, object]]:
        assert part.mends is not None
        hows = [part.how] if part.how is not None else self.broken.get(part.mends, [])
        if part.how is not None and not self._can_have(part.mends, part.how, number, "mends"):
            return
        if not any(how in self.broken.get(part.mends, ()) for how in hows):
            if self.reading.known(part.mends, _BREAKABLE, "happens", number, "mends"):
                said = f"nothing that this scenario breaks on {part.mends} could be mended; say first what breaks"
                self.reading.fault(said, "happens", number, "mends")
            return
        for how in dict.fromkeys(hows):
            yield 0.0, What.MEND, part.mends, how

    def _can_have(self, name: str, how: PlantFault, number: int, verb: str) -> bool:
        """Whether a thing can have a fault; a fault of the file is noted where it cannot."""
        reading, loc = self.reading, ("happens", number, verb)
        kind = subject_of(how)
        if name not in reading.names((kind,)):
            if reading.known(name, _BREAKABLE, *loc):
                reading.fault(f'"{how.value}" is a fault of a {kind}, and {name} is none; name a {kind}', *loc)
            return False
        gate = self.shop.gates.get(name)
        if gate is not None and how in _SWITCH_FAULTS and gate.open_contact is None and gate.shut_contact is None:
            reading.fault(f"{name} has no position switch that could break", *loc)
            return False
        motor = self.shop.motors.get(name)
        if motor is not None and how.name.startswith("MOTOR_SENSOR") and motor.confirmed_by is None:
            reading.fault(f"{name} has no sensor that could break; nothing confirms that it runs", *loc)
            return False
        if motor is not None and how.name.startswith("AIR_SWITCH") and motor.air_proof is None:
            reading.fault(f"{name} has no pressure or flow switch that could break", *loc)
            return False
        return True

    def _asks(self, part: HappensPart, number: int) -> Iterator[tuple[float, What, str | None, object]]:
        reading, loc = self.reading, ("happens", number)
        assert part.asks is not None
        kinds, may_be_left_out = _ABOUT[part.asks]
        asked = part.asks.value
        if part.lasting is not None and part.asks not in _ASKED_FOR_A_TIME:
            said = (
                f'"{asked}" is not asked for a time; only {listed([a.value for a in Asked if a in _ASKED_FOR_A_TIME])}'
            )
            reading.fault(f"{said} are", *loc, "lasting", key=True)
        if part.about is None:
            if not may_be_left_out:
                said = f'the key "about" is missing beside asks: {asked}; name a {listed(list(kinds))}'
                reading.fault(said, *loc, "asks")
                return
        elif not kinds:
            reading.fault(f'"{asked}" is asked of the whole shop; take "about" out', *loc, "about", key=True)
            return
        elif not reading.known(part.about, kinds, *loc, "about"):
            return
        who = _WHO[part.through] if part.through is not None else "local"
        request = Requested(_WHAT_ASKED[part.asks], part.about, who, part.lasting)
        yield 0.0, What.REQUEST, None, request

    def _input(self, part: HappensPart, number: int) -> Iterator[tuple[float, What, str | None, object]]:
        reading, loc = self.reading, ("happens", number)
        assert part.input is not None
        assert part.to is not None
        if not reading.known(part.input, ("input",), *loc, "input"):
            return
        kind = self.shop.inputs[part.input].kind
        places = PLACES[kind]
        if part.to not in places:
            words = listed([word.value for word in places])
            reading.fault(f'"{part.to.value}" is no place of {part.input} ({kind.value}); write {words}', *loc, "to")
            return
        back = places[part.to]
        if part.lasting is not None and back is None:
            reading.fault(f"{part.input} is pressed for a moment only; take this out", *loc, "lasting", key=True)
        yield 0.0, *self._put(part.input, kind, part.to)
        if part.lasting is not None and back is not None:
            yield part.lasting, *self._put(part.input, kind, back)

    def _put(self, name: str, kind: InputKind, to: Turned) -> tuple[What, str | None, object]:
        match kind:
            case InputKind.RED_BUTTON | InputKind.FIRE | InputKind.DOOR:
                return What.INPUT, name, to in _SAYS_YES
            case InputKind.SHOP_KEY:
                return What.SHOP_KEY, None, to in _SAYS_YES
            case InputKind.HAND_OFF_AUTO:
                return What.HAND_SWITCH, name, to.value
            case _:
                return What.PRESS, name, None

    def _pulls(self, part: HappensPart, number: int) -> Iterator[tuple[float, What, str | None, object]]:
        reading, loc = self.reading, ("happens", number)
        assert part.pulls is not None
        assert part.to is not None
        if part.to not in (Turned.OPEN, Turned.SHUT):
            reading.fault(f'a gate is pulled open or shut, not "{part.to.value}"', *loc, "to")
        elif reading.known(part.pulls, ("gate",), *loc, "pulls"):
            yield 0.0, What.MOVE_BY_HAND, part.pulls, 1.0 if part.to is Turned.OPEN else 0.0

    def _board(self, part: HappensPart, number: int) -> Iterator[tuple[float, What, str | None, object]]:
        reading, loc = self.reading, ("happens", number)
        assert part.controller is not None
        if part.controller is Board.STANDS_STILL:
            if part.lasting is None:
                said = 'the key "lasting" is missing beside controller: stands still; write such as lasting: 3 s'
                reading.fault(said, *loc, "controller")
            else:
                yield 0.0, What.STANDS_STILL, None, part.lasting
            return
        what, value, undone = _BOARD[part.controller]
        yield 0.0, what, None, value
        if part.lasting is None:
            return
        if undone is None:
            said = f'"{part.controller.value}" is not undone by itself; take this out'
            reading.fault(said, *loc, "lasting", key=True)
        else:
            yield part.lasting, undone[0], None, undone[1]
