"""The steps of a shop, in the order of the walk, made from its file alone."""

from collections.abc import Iterator

from gatekeeper.commissioning import facts
from gatekeeper.commissioning.steps import Kind, Stage, Step
from gatekeeper.shop.model import Input, InputKind, MotorKind, Shop

#: Inputs that stop motors, in the order in which they are proved.
STOPPING = (InputKind.RED_BUTTON, InputKind.STOP, InputKind.DOOR, InputKind.FIRE, InputKind.SPARKS)
#: Of these, the ones that speak for the whole shop (C13, C24), whatever motors they are listed with.
WHOLE_SHOP = (InputKind.RED_BUTTON, InputKind.FIRE, InputKind.SPARKS)


def steps_of(shop: Shop) -> tuple[Step, ...]:
    """Everything to try in one shop."""
    found = (
        *_tools(shop),
        *_inputs(shop),
        *_gates(shop),
        *_motors(shop),
        *_stops(shop),
        *_bonds(shop),
        *_starts(shop),
        *_suction(shop),
    )
    order = list(Stage)
    return tuple(sorted(found, key=lambda step: order.index(step.stage)))


def due_after(old: Shop, new: Shop) -> tuple[Step, ...]:
    """The steps that are due anew once ``old`` became ``new``: new parts, and those that changed; nothing else."""
    before = {step.key: step.facts for step in steps_of(old)}
    return tuple(step for step in steps_of(new) if before.get(step.key) != step.facts)


def motors_stopped_by(shop: Shop, source: Input) -> tuple[str, ...]:
    """The motors that an input must tell off."""
    return tuple(shop.motors) if source.kind in WHOLE_SHOP or not source.systems else source.systems


def motors_woken_by(shop: Shop, tool: str) -> tuple[str, ...]:
    """The motors that the start of a tool may start: its systems, and what cleans the room (C18)."""
    cleaners = (motor.name for motor in shop.motors.values() if motor.kind is MotorKind.AIR_CLEANER)
    return tuple(dict.fromkeys((*shop.tools[tool].systems, *cleaners)))


def _cap(text: str) -> str:
    return text[:1].upper() + text[1:]


def _tools(shop: Shop) -> Iterator[Step]:
    for tool in shop.tools.values():
        title = f"{_cap(tool.name)}: seen when it runs"
        yield Step(Kind.SEE_TOOL, tool.name, title, facts.of_tool(shop, tool))


def _inputs(shop: Shop) -> Iterator[Step]:
    for source in shop.inputs.values():
        kind = source.kind.value
        if source.contact is not None:
            more = (("at", source.at),) if source.at is not None else ()
            said = (("contact", facts.contact_said(source.contact)), ("kind", kind), *more)
            yield Step(Kind.CONTACT, f"input:{source.name}", f"{_cap(source.name)} ({kind}): its wire", said)
        elif source.hand_contact is not None and source.auto_contact is not None:
            said = (
                ("hand contact", facts.contact_said(source.hand_contact)),
                ("auto contact", facts.contact_said(source.auto_contact)),
                ("motors", ", ".join(source.systems)),
            )
            yield Step(Kind.SELECTOR, source.name, f"{_cap(source.name)}: hand, off and auto", said)
    for gate in shop.gates.values():
        for meaning, contact in (("open", gate.open_contact), ("shut", gate.shut_contact)):
            if contact is not None:
                title = f"{_cap(gate.name)}: switch at its {meaning} end"
                yield Step(Kind.CONTACT, f"{meaning}:{gate.name}", title, (("contact", facts.contact_said(contact)),))


def _gates(shop: Shop) -> Iterator[Step]:
    for gate in shop.gates.values():
        name = _cap(gate.name)
        if not gate.is_actuated:
            yield Step(Kind.HAND_GATE, gate.name, f"{name}: moved by hand", facts.of_gate(gate))
            continue
        if facts.pulses_s(gate) is not None:
            yield Step(Kind.ENDS, gate.name, f"{name}: ends of its servo", facts.of_ends(gate))
        yield Step(Kind.JOG, gate.name, f"{name}: moved from end to end and timed", facts.of_gate(gate))


def _motors(shop: Shop) -> Iterator[Step]:
    for motor in shop.motors.values():
        said = facts.of_motor(motor)
        # A drive whose disconnect is open hears no word: there is nothing to click.
        if motor.switch.drive is None:
            yield Step(Kind.CLICK, motor.name, f"{_cap(motor.name)}: contactor, with the motor isolated", said)
        yield Step(Kind.TURN, motor.name, f"{_cap(motor.name)}: rotation, and what sees it run", said)


def _stops(shop: Shop) -> Iterator[Step]:
    for kind in STOPPING:
        for source in shop.inputs.values():
            if source.kind is kind and source.contact is not None:
                motors = motors_stopped_by(shop, source)
                said = (
                    ("contact", facts.contact_said(source.contact)),
                    ("kind", kind.value),
                    *((f"{name} switched by", facts.switch_said(shop.motors[name])) for name in motors),
                )
                yield Step(Kind.STOP, source.name, f"{_cap(source.name)} ({kind.value}): motors told off", said)


def _bonds(shop: Shop) -> Iterator[Step]:
    for duct in shop.ducts.values():
        yield Step(Kind.BOND, duct.name, f"{_cap(duct.name)}: resistance to ground", facts.of_duct(duct))
    described = {duct.motor for duct in shop.ducts.values()}
    for motor in shop.motors.values():
        if motor.has_ducts and motor.name not in described:
            title = f"Ducts of {motor.name}: resistance to ground"
            yield Step(Kind.BOND, f"ducts of {motor.name}", title, (("ducts", "not described in the shop file"),))


def _starts(shop: Shop) -> Iterator[Step]:
    for tool in shop.tools.values():
        gates = [shop.gates[name] for name in tool.gates]
        said = (
            *facts.of_tool(shop, tool),
            *((gate.name, f"{facts.driver_said(gate)}, {gate.travel_s:g} s") for gate in gates),
            *((motor, facts.switch_said(shop.motors[motor])) for motor in tool.systems),
        )
        yield Step(Kind.START, tool.name, f"{_cap(tool.name)}: first start against the promised times", said)


def _suction(shop: Shop) -> Iterator[Step]:
    for motor in shop.motors.values():
        if motor.has_ducts:
            yield Step(
                Kind.SUCTION, motor.name, f"{_cap(motor.name)}: one reading of suction", facts.of_air(shop, motor)
            )
