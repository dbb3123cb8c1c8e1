"""What is so of one part of a shop, in short words that stay the same from version to version of the program.

Results are kept with these words. A part whose words differ from those of its result was changed, and is due again;
so nothing goes in here that a step does not prove (no trip of a clamp in "the machine was seen", no spin-down delay).
"""

import zlib

from gatekeeper.commissioning.steps import Facts
from gatekeeper.shop.model import Contact, Duct, Gate, Motor, Output, Sensor, Shop, Tool


def pin(line: int) -> str:
    """A line as it is written in a shop file."""
    return f"GPIO{line}"


def contact_said(contact: Contact) -> str:
    """ "GPIO5, normally closed"."""
    return f"{pin(contact.line)}, normally {'closed' if contact.normally_closed else 'open'}"


def output_said(output: Output) -> str:
    """ "GPIO17", "GPIO17, active low"."""
    return f"{pin(output.line)}, active low" if output.active_low else pin(output.line)


def channel_said(converter: str, channel: int) -> str:
    """A converter's channel as people find it."""
    return f"channel {channel} of {converter}"


def wire_said(sensor: Sensor) -> str:
    """Where a sensor's wire is."""
    if sensor.channel is not None:
        return channel_said(sensor.channel.converter, sensor.channel.channel)
    if sensor.contact is not None:
        return contact_said(sensor.contact)
    if sensor.metered is not None:
        return f"meter {sensor.metered.meter}"
    return f"drive {sensor.drive}"


def tool_wire(shop: Shop, tool: Tool) -> str:
    """Where the wire that tells of a tool is."""
    if tool.sensor is not None:
        return wire_said(tool.sensor)
    assert tool.circuit is not None  # a tool has the one or the other
    return f"{wire_said(shop.circuits[tool.circuit].sensor)}, {tool.circuit}"


def of_tool(shop: Shop, tool: Tool) -> Facts:
    """What seeing a tool proves: its wire, and how it is told from others on a circuit."""
    facts = [("wire", tool_wire(shop, tool))]
    if tool.circuit is not None:
        facts.append(("on one circuit with", ", ".join(n for n in shop.circuits[tool.circuit].tools if n != tool.name)))
    if tool.band_a is not None:
        facts.append(("band", f"{tool.band_a[0]:g} A to {tool.band_a[1]:g} A"))
    return tuple(facts)


def driver_said(gate: Gate) -> str:
    """What moves a gate, and on which wires."""
    if gate.servo is not None:
        return f"servo on {pin(gate.servo.line)}"
    if gate.bank_servo is not None:
        return f"servo on channel {gate.bank_servo.channel} of {gate.bank_servo.bank}"
    if gate.relays is not None:
        return f"relays on {output_said(gate.relays.open_output)} and {output_said(gate.relays.shut_output)}"
    if gate.bridge is not None:
        return f"bridge on {pin(gate.bridge.open_line)} and {pin(gate.bridge.shut_line)}"
    if gate.coil is not None:
        return f"coil on {output_said(gate.coil.output)}, holds it {gate.coil.holds.value}"
    if gate.behind_broker is not None:
        return f"topic {gate.behind_broker.commands_to} of {gate.behind_broker.broker}"
    return "moved by hand"


def pulses_s(gate: Gate) -> tuple[float, float] | None:
    """The pulses at its open and at its shut end, seconds; None where no servo moves it."""
    servo = gate.servo if gate.servo is not None else gate.bank_servo
    return None if servo is None else (servo.open_pulse_s, servo.shut_pulse_s)


def pulse_said(width_s: float) -> str:
    """ "1.95 ms"."""
    return f"{width_s * 1000:.3g} ms"


def of_gate(gate: Gate) -> Facts:
    """What a move from end to end proves."""
    facts = [("moved by", driver_said(gate)), ("width", f"{gate.diameter_m * 1000:.0f} mm")]
    if gate.is_actuated:
        facts.append(("travel", f"{gate.travel_s:g} s"))
    if (pulses := pulses_s(gate)) is not None:
        facts += [("open pulse", pulse_said(pulses[0])), ("shut pulse", pulse_said(pulses[1]))]
    if gate.open_contact is not None:
        facts.append(("open switch", contact_said(gate.open_contact)))
    if gate.shut_contact is not None:
        facts.append(("shut switch", contact_said(gate.shut_contact)))
    return tuple(facts)


def of_ends(gate: Gate) -> Facts:
    """What setting a servo's ends proves."""
    pulses = pulses_s(gate)
    assert pulses is not None  # only a servo has ends to set
    return (
        ("moved by", driver_said(gate)),
        ("open pulse", pulse_said(pulses[0])),
        ("shut pulse", pulse_said(pulses[1])),
    )


def switch_said(motor: Motor) -> str:
    """What switches a motor, and on which wires."""
    switch = motor.switch
    if switch.output is None:
        return f"drive {switch.drive}"
    if switch.stop_output is not None:
        return f"starter, start {output_said(switch.output)}, stop {output_said(switch.stop_output)}"
    kind = "relay with steady pulse" if switch.steady_pulse else "relay"
    return f"{kind} on {output_said(switch.output)}"


def of_motor(motor: Motor) -> Facts:
    """What a run of a motor proves: what switches it, what it is, and what sees it."""
    facts = [("switched by", switch_said(motor)), ("power", f"{motor.power_w:.0f} W"), ("phases", f"{motor.phases}")]
    if motor.confirmed_by is not None:
        facts.append(("seen by", f"{wire_said(motor.confirmed_by)}, within {motor.confirm_s:g} s"))
    if motor.air_proof is not None:
        facts.append(("air proved by", contact_said(motor.air_proof)))
    return tuple(facts)


def of_duct(duct: Duct) -> Facts:
    """What a measured bond is of."""
    length_m = duct.length_m + duct.flex_m
    return (
        ("towards", duct.towards),
        ("width", f"{duct.diameter_m * 1000:.0f} mm"),
        ("length", f"{length_m:.2f} m, of which {duct.flex_m:.2f} m hose"),
        ("material", duct.material),
    )


def of_air(shop: Shop, motor: Motor) -> Facts:
    """What a reading of suction says something about: the fan, and the ducts and gates of its system."""
    curve = "; ".join(f"{point.flow_m3s:.4f} m3/s {point.pressure_pa:.0f} Pa" for point in motor.fan_curve)
    ducts = [(duct.name, of_duct(duct)) for duct in shop.ducts.values() if duct.motor == motor.name]
    gates = [(gate.name, gate.duct, f"{gate.diameter_m:.4f}") for gate in shop.gates_of(motor.name)]
    return (
        ("fan", curve or f"estimated, {motor.power_w:.0f} W"),
        ("ducts and gates", f"{zlib.crc32(repr((ducts, gates)).encode()):08x}"),
    )
