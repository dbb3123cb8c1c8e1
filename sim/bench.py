"""What people may do to a virtual shop, for the page's bench: switch machines, break things, pull the plug."""

from collections.abc import Callable, Iterator

from gatekeeper.devices.base import DeviceError
from gatekeeper.service.face import Answer, BenchChoice, BenchControl
from gatekeeper.shop.model import Input, InputKind
from sim.faults import GateFault, MotorFault, SensorFault
from sim.parts import SWITCH_AT, GateNow, MotorNow
from sim.plant import BUTTONS, SELECTOR_PLACES, VirtualShop

_BY_INPUT = {
    # kind: (word when it says yes, word when not, label of the choice that makes it say yes, and of the other)
    InputKind.RED_BUTTON: ("pressed", "pulled out", "Press it", "Pull it out"),
    InputKind.FIRE: ("alarm", "quiet", "Raise the alarm", "End the alarm"),
    InputKind.DOOR: ("open", "shut", "Open it", "Shut it"),
    InputKind.SHOP_KEY: ("shop open", "shop shut", "Turn to open", "Turn to shut"),
    InputKind.BROKER_KEY: ("on", "off", "Turn it on", "Turn it off"),
    InputKind.BIN_FULL: ("full", "not full", "Fill it", "Empty it"),
    InputKind.FILTER_PRESSURE: ("loaded", "clean", "Load it", "Clean it"),
}
_WHAT_SENSES = {
    "tool": "Sensor of {}",
    "circuit": "Sensor of {}",
    "confirm": "Run sensor of {}",
    "air": "Air switch of {}",
    "open": "Open switch of {}",
    "shut": "Shut switch of {}",
    "gauge": "Gauge {}",
}
_SENSOR_LABELS = {SensorFault.DEAD: "Kill", SensorFault.STUCK_ON: "Stick on", SensorFault.LOOSE: "Loosen a wire"}
_MOTOR_LABELS = {
    MotorFault.WELDED: "Weld the contactor",
    MotorFault.DOES_NOT_START: "Trip its overload, or open its disconnect",
}


class VirtualBench:
    """The bench of one virtual shop; see ``gatekeeper.service.face.Bench``.

    Args:
        plant: the virtual shop.
        on_plug_pulled: called when the board's plug has been pulled, after the plant went dark: end the controller.
        on_plug_in: called when the plug goes back in; it must make new pins, hand them to ``plant.plug_in``, wire them
            up, call ``plant.step`` and wake a controller on them. Without the two, the bench has no plug.
    """

    def __init__(
        self,
        plant: VirtualShop,
        *,
        on_plug_pulled: Callable[[], None] | None = None,
        on_plug_in: Callable[[], None] | None = None,
    ) -> None:
        self._plant = plant
        self.on_plug_pulled = on_plug_pulled
        self.on_plug_in = on_plug_in

    def controls(self) -> tuple[BenchControl, ...]:
        """All parts, in order, grouped."""
        return tuple(self._all())

    def work(self, key: str, to: str) -> Answer:
        """Do one of the choices that ``controls`` offers now."""
        control = next((found for found in self._all() if found.key == key), None)
        if control is None:
            return Answer(False, "no_such_part", f"There is nothing called {key} on the bench.")
        if all(choice.to != to for choice in control.choices):
            allowed = ", ".join(choice.to for choice in control.choices)
            return Answer(
                False, "no_such_choice", f"{control.label} is {control.word}. It can be put to: {allowed}, not to {to}."
            )
        meaning, _, subject = key.partition(":")
        try:
            self._do(meaning, subject, to)
        except (ValueError, DeviceError) as fault:
            return Answer(False, "not_done", str(fault))
        now = next((found.word for found in self._all() if found.key == key), to)
        return Answer(True, "done", f"{control.label}: {now}.")

    # ---------------------------------------------------------------- what is there

    def _all(self) -> Iterator[BenchControl]:
        yield from self._machines()
        yield from self._gates()
        yield from self._sensors()
        yield from self._motors()
        yield from self._inputs()
        yield from self._board()

    def _machines(self) -> Iterator[BenchControl]:
        for name in self._plant.shop.tools:
            is_on = self._plant.tool_is_on(name)
            choice = BenchChoice("off", "Switch off") if is_on else BenchChoice("on", "Switch on")
            yield BenchControl(f"tool:{name}", "Machines", name, "running" if is_on else "off", (choice,))

    def _gates(self) -> Iterator[BenchControl]:
        for name, now in self._plant.gates().items():
            gate = self._plant.shop.gates[name]
            where = _where(now)
            fault = self._plant.faults.gate(name)
            choices: list[BenchChoice] = []
            if not gate.is_actuated:
                choices += [BenchChoice("open", "Open by hand")] if where != "open" else []
                choices += [BenchChoice("shut", "Shut by hand")] if where != "shut" else []
            if fault is None:
                choices.append(BenchChoice("jam", "Jam"))
                if gate.is_actuated:
                    choices.append(BenchChoice("slow", "Make slow"))
            else:
                choices.append(BenchChoice("free", "Free"))
            word = where if fault is None else f"{fault.value}, {where}"
            yield BenchControl(f"gate:{name}", "Gates", name, word, tuple(choices))

    def _sensors(self) -> Iterator[BenchControl]:
        faults = self._plant.faults
        for name in faults.sensors():
            meaning, _, subject = name.partition(":")
            fault = faults.sensor(name)
            if fault is None:
                choices = [
                    BenchChoice(f.name.lower(), label) for f, label in _SENSOR_LABELS.items() if faults.can_be(name, f)
                ]
            else:
                choices = [BenchChoice("heal", "Heal")]
            label = _WHAT_SENSES[meaning].format(subject)
            yield BenchControl(f"sensor:{name}", "Sensors", label, fault.value if fault else "well", tuple(choices))
        for name in self._plant.shop.converters:
            muted = faults.is_muted(name)
            choice = BenchChoice("heal", "Plug in") if muted else BenchChoice("mute", "Pull its plug")
            word = "silent" if muted else "well"
            yield BenchControl(f"converter:{name}", "Sensors", f"Converter {name}", word, (choice,))

    def _motors(self) -> Iterator[BenchControl]:
        for name, now in self._plant.motors().items():
            fault = self._plant.faults.motor(name)
            word = _turning(now)
            if fault is None:
                choices = tuple(BenchChoice(f.name.lower(), label) for f, label in _MOTOR_LABELS.items())
            else:
                word, choices = f"{fault.value}, {word}", (BenchChoice("heal", "Heal"),)
            yield BenchControl(f"motor:{name}", "Collectors", name, word, choices)

    def _inputs(self) -> Iterator[BenchControl]:
        for name, part in self._plant.shop.inputs.items():
            if part.kind in BUTTONS:
                continue
            yield BenchControl(f"input:{name}", "Circuits", name, *self._circuit(part))
        for name, part in self._plant.shop.inputs.items():
            if part.kind in BUTTONS:
                said = f"{part.kind.value}, at {part.at}" if part.at else part.kind.value
                yield BenchControl(f"input:{name}", "Buttons", name, said, (BenchChoice("press", "Press"),))

    def _circuit(self, part: Input) -> tuple[str, tuple[BenchChoice, ...]]:
        if part.kind is InputKind.HAND_OFF_AUTO:
            now = self._plant.selector_is(part.name)
            return now, tuple(BenchChoice(to, f"Turn to {to}") for to in SELECTOR_PLACES if to != now)
        yes_word, no_word, to_yes, to_no = _BY_INPUT[part.kind]
        if self._plant.input_is(part.name):
            return yes_word, (BenchChoice("no", to_no),)
        return no_word, (BenchChoice("yes", to_yes),)

    def _board(self) -> Iterator[BenchControl]:
        if self.on_plug_pulled is None or self.on_plug_in is None:
            return
        plugged = self._plant.is_plugged
        choice = BenchChoice("pull", "Pull the plug") if plugged else BenchChoice("in", "Plug it in again")
        yield BenchControl("board:plug", "Board", "The board's plug", "in" if plugged else "pulled", (choice,))

    # ---------------------------------------------------------------- what is done

    def _do(self, meaning: str, subject: str, to: str) -> None:
        plant, faults = self._plant, self._plant.faults
        match meaning, to:
            case "tool", _:
                plant.switch_tool(subject, to == "on")
            case "gate", "open" | "shut":
                plant.move_hand_gate(subject, to == "open")
            case "gate", _:
                faults.break_gate(subject, {"jam": GateFault.JAMMED, "slow": GateFault.SLOW}.get(to))
            case "sensor", _:
                faults.break_sensor(subject, None if to == "heal" else SensorFault[to.upper()])
            case "converter", _:
                faults.mute(subject, to == "mute")
            case "motor", _:
                faults.break_motor(subject, None if to == "heal" else MotorFault[to.upper()])
            case "input", "press":
                plant.press(subject)
            case "input", "yes" | "no":
                plant.set_input(subject, to == "yes")
            case "input", _:
                plant.turn_selector(subject, to)
            case _:
                self._plug(to == "in")

    def _plug(self, goes_in: bool) -> None:
        if goes_in and self.on_plug_in is not None:
            self.on_plug_in()
        elif self.on_plug_pulled is not None:
            self._plant.pull_plug()
            self.on_plug_pulled()


def _where(gate: GateNow) -> str:
    if gate.position >= 1.0 - SWITCH_AT:
        return "open"
    if gate.position <= SWITCH_AT:
        return "shut"
    return f"{'moving, ' if gate.is_driven else ''}{10 * round(10 * gate.position)} % open"


def _turning(motor: MotorNow) -> str:
    if motor.has_power and motor.top < 1.0:
        turns = "slowing down" if motor.speed > motor.top else "spinning up"
        return f"running at {100 * motor.top:.0f} %" if motor.speed == motor.top else turns
    if motor.has_power:
        return "running" if motor.speed >= 1.0 else "spinning up"
    return "coasting" if motor.speed > 0.0 else "still"
