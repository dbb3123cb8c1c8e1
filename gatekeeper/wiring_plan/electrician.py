"""The electrician's sheet: two pages for whoever does the mains side. Every contact, every starter, what is "
"hard-wired."""

from collections.abc import Iterator

from gatekeeper.layout.report_parts import told_list
from gatekeeper.markup import Html, el
from gatekeeper.shop.faults import listed
from gatekeeper.shop.model import InputKind, Motor, Shop, Tool
from gatekeeper.shop.motor_starts import HP_W
from gatekeeper.wiring_plan.coil_circuit import coil_circuit
from gatekeeper.wiring_plan.model import Device, Piece, Plan
from gatekeeper.wiring_plan.motor_figures import (
    BREAKER_SHARE,
    DELAY_FUSE_SHARE,
    OVERLOAD_SHARES,
    WIRE_SHARE,
    estimated_current_a,
    feeder_current_a,
    hp_words,
    table_current,
)
from gatekeeper.wiring_plan.tables import table

OWN_WAYS = ("motor switch by a drive", "motor switch by two buttons")
DRIVES_NOTHING = "drives nothing"

HARD_WIRED = (
    "Emergency stop: a latching mushroom button breaks the coil circuit of every motor here by wire, with no board, "
    "program or network in between. Letting it out starts nothing. Its second contact may tell the controller.",
    "Fire: a heat or smoke detector breaks the same coil circuits by its own contact. Nothing here is a fire system.",
    "Overload relay at each motor, reset by hand: one that resets by itself would let the motor start by itself (NEC "
    "430.43 has it so).",
    "Hand-Off-Auto at each starter: Hand runs the motor without this box, Off keeps it still, only Auto asks the box.",
    "A disconnect at each motor that takes a lock.",
    "No-volt release comes with the contactor: after a power cut the coil stays off until the box asks anew.",
)

YOURS = (
    "Yours: everything on mains, starters, coil circuits, emergency stop, detector contacts, and whatever goes around "
    "a "
    "mains wire. Ours: the box and its cables, low voltage only (24 V and less), no mains terminal in it.",
    "Where both meet there is one dry contact for each motor, and rings around insulated wires. You decide on both, "
    "under "
    "the code of this place; where it differs from this sheet, it is right.",
    "Nothing here starts a machine or cuts its power.",
)


def brought_by_electrician(shop: Shop) -> tuple[Piece, ...]:
    """What the mains side needs for the motors of a shop, by function; the electrician chooses it."""
    pieces: list[Piece] = []
    for motor in shop.motors.values():
        plate = f"{motor.name}: {motor.power_w / 1000:.3g} kW"
        pieces.append(Piece("disconnect that takes a lock", plate))
        if motor.switch.drive is not None:
            pieces.append(Piece("variable-frequency drive, with what its manual wants before it", plate))
        elif motor.switch.stop_output is not None:
            pieces.append(Piece("starter with push buttons and overload relay, reset by hand", plate))
        else:
            pieces.append(Piece("contactor with overload relay, reset by hand", f"{plate}, AC-3, coil 24 V"))
            pieces.append(Piece("Hand-Off-Auto switch", f"{motor.name}, in its coil circuit"))
    kinds = {source.kind for source in shop.inputs.values()}
    if InputKind.RED_BUTTON not in kinds:
        pieces.append(Piece("mushroom button, latching, normally closed", "for every coil circuit, AC-15"))
    pieces.append(Piece("supply for the coil circuits", "24 V, by the coils"))
    return tuple(pieces)


def electrician_sheet(shop: Shop, plan: Plan) -> list[Html]:
    """Two sections, each a page."""
    return [
        el(
            "section",
            {"class": "sheet"},
            el("h2", {"class": "page"}, "For the electrician, page 1: contacts"),
            told_list(YOURS),
            el("h3", None, "Contacts between the box and the mains side"),
            table(
                ("Cable", "Contact", "Rating", "Fitted by", "Power-up", "Program crashes", "No power", "Try it"),
                [_row(device) for device in plan.devices if device.kind.startswith("motor switch")]
                + [_permit(device) for device in plan.devices if device.kind == "air ready contact"]
                + list(_rings(plan))
                + list(_told(shop, plan)),
                "contacts",
            ),
            el("h3", None, "What must be hard-wired"),
            told_list(HARD_WIRED),
        ),
        el(
            "section",
            {"class": "sheet"},
            el("h2", {"class": "page"}, "For the electrician, page 2: starters"),
            el("h3", None, "Each coil circuit"),
            el("div", {"class": "wide"}, _coil_circuit(shop)),
            el("p", {"class": "note"}, _terminals(plan)),
            el("h3", None, "Starters by the plate"),
            table(
                ("Motor", "Plate", "Full load", "Overload", "Wire", "Breaker, at most", "Contactor"),
                [_starter(shop, motor) for motor in shop.motors.values()],
                "starters",
            ),
            told_list(_figures(shop)),
            el("h3", None, "What hangs together"),
            told_list([_feeder(shop, name) for name in shop.feeders]),
        ),
    ]


def _coil_circuit(shop: Shop) -> Html:
    return coil_circuit(has_fire=any(one.kind is InputKind.FIRE for one in shop.inputs.values()))


def _row(device: Device) -> list[str]:
    assert device.cable is not None
    first, last = device.cable.cores[0].terminal, device.cable.cores[-1].terminal
    where = f"{device.cable.number}, {first} {'and' if len(device.cable.cores) == 2 else 'to'} {last}"
    rating = "coils: AC-15 or pilot duty, 24 V, twice the coil's current"
    fits = "relay: the shop; its place in the coil circuit: the electrician"
    match device.kind:
        case "motor switch by two buttons":
            what = f"{device.title}: normally open beside start, normally closed in stop's wire"
            test = "pull the box's plug while it runs: the motor runs on; press stop"
            return [where, what, rating, fits, "at rest", "motor runs on", "motor runs on", test]
        case "motor switch by a drive":
            what = f"{device.title}: words over a serial line, no contact; emergency stop at its enable input"
            fits = "drive and its supply: the electrician; the cable: the shop"
            stops = "stops after its own time, if set"
            test = "pull the cable while it runs: the motor stops"
            return [where, what, "the drive's own", fits, "as it was", stops, stops, test]
        case "motor switch by steady pulses":
            test = "pull the box's plug while it runs: the contactor drops after the relay's own time"
            what = f"{device.title}, normally open; holds only while it is pulsed"
            return [where, what, rating, fits, "open", "opens after its time", "opens after its time", test]
        case _:
            test = "pull the box's plug while it runs: the contactor drops"
            states = device.states
            gone = "open" if states is None or "at once" in states.power_lost else states.power_lost
            return [where, f"{device.title}, normally open", rating, fits, "open", "may stay as it was", gone, test]


def _permit(device: Device) -> list[str]:
    assert device.cable is not None
    return [
        f"{device.cable.number}, {device.cable.cores[0].terminal} and {device.cable.cores[1].terminal}",
        f"{device.title}, normally open: in the start button's wire only, ahead of the holding contact",
        "AC-15 or pilot duty, for the starter's control voltage",
        "relay: the shop; its place: the electrician",
        "open: no start",
        "may stay as it was",
        "open: no start",
        "running, the machine runs on when the contact opens",
    ]


def _rings(plan: Plan) -> Iterator[list[str]]:
    """Clamps and current switches, each kind in one row."""
    rings = [device for device in plan.devices if device.by_electrician and device.cable is not None]
    for kind, what in (("current clamp", "Clamps"), ("normally open contact", "Current switches")):
        cables = [device.cable.number for device in rings if device.kind == kind and device.cable is not None]
        if cables:
            yield [
                listed(cables, "and", 40),
                f"{what} around one insulated wire each: {_owners(rings, kind)}",
                "for the wire's current; burden at the clamp" if what == "Clamps" else "contact for 3.3 V",
                "the electrician; the cable: the shop",
                DRIVES_NOTHING,
                DRIVES_NOTHING,
                DRIVES_NOTHING,
                "start the machine: the page shows it",
            ]


def _owners(rings: list[Device], kind: str) -> str:
    return listed([device.subject for device in rings if device.kind == kind], "and", 40)


def _told(shop: Shop, plan: Plan) -> Iterator[list[str]]:
    """Contacts of the emergency circuit, of detectors and selector switches that also tell the controller."""
    first = {
        InputKind.RED_BUTTON: (
            "first contact into every coil circuit",
            "press it: the contactors drop, board unplugged",
        ),
        InputKind.FIRE: ("first contact into every coil circuit", "trip the detector: the contactors drop"),
        InputKind.HAND_OFF_AUTO: ("Hand and Auto legs of the coil circuit", "turn it through all three"),
    }
    for device in plan.devices:
        source = shop.inputs.get(device.subject)
        if source is None or source.kind not in first or device.cable is None:
            continue
        place, test = first[source.kind]
        yield [
            device.cable.number,
            f"{device.title}: {place}; the box only reads an extra contact",
            "AC-15, 24 V; the extra one 3.3 V",
            "the electrician; the cable to the box: the shop",
            DRIVES_NOTHING,
            DRIVES_NOTHING,
            DRIVES_NOTHING,
            test,
        ]


def _terminals(plan: Plan) -> str:
    pairs = [
        f"{device.subject}: {device.cable.cores[0].terminal} and {device.cable.cores[1].terminal}"
        for device in plan.devices
        if device.kind.startswith("motor switch") and device.kind not in OWN_WAYS and device.cable is not None
    ]
    if not pairs:
        return "No motor of this shop has a coil circuit that the box asks in."
    return f"The box's contact, one for each motor. {'; '.join(pairs)}."


def _starter(shop: Shop, motor: Motor) -> list[str]:
    found = table_current(motor.power_w, motor.phases)
    phases = "single-phase" if motor.phases == 1 else "three-phase"
    plate = f"{motor.power_w / 1000:.3g} kW, {motor.power_w / HP_W:.2g} hp, {phases}"
    contactor = "AC-3, at least the plate's current; coil 24 V"
    if motor.switch.drive is not None:
        contactor = "a drive for the plate's current, its overload set to it; a contactor before it by its manual"
    if shop.mains_hz == 60 and found is not None:
        volts = {volts: one for volts, one in found.amperes.items() if volts in (115, 208, 230, 460)}
        return [
            motor.name,
            plate,
            _by_volts(volts, 1.0) + f" ({hp_words(found.listed_hp)} row)",
            "to the plate's current, at most 115 % or 125 % of it",
            _by_volts(volts, WIRE_SHARE),
            _by_volts(volts, BREAKER_SHARE),
            contactor,
        ]
    about_a = estimated_current_a(motor.power_w, motor.phases)
    volts_said = "230 V" if motor.phases == 1 else "400 V"
    return [
        motor.name,
        plate,
        f"about {about_a:.2g} A at {volts_said}",
        "to the plate's current",
        f"{WIRE_SHARE * about_a:.2g} A and more",
        "by the starter's maker",
        contactor,
    ]


def _by_volts(amperes: dict[int, float], share: float) -> str:
    return ", ".join(f"{share * one:.3g} A at {volts} V" for volts, one in amperes.items())


def _figures(shop: Shop) -> list[str]:
    low, high = (f"{share * 100:.0f} %" for share in OVERLOAD_SHARES)
    said = [
        "Figures are for reference, the plate and your code decide. Full load: NEC Table 430.248, single-phase; "
        "430.250, "
        f"three-phase, from memory. Wire {WIRE_SHARE * 100:.0f} % (430.22). Inverse-time breaker at most "
        f"{BREAKER_SHARE * 100:.0f} %, time-delay fuse {DELAY_FUSE_SHARE * 100:.0f} % (430.52). Overload at most "
        f"{high} of "
        f"the plate where its service factor is 1.15 or more or its rise 40 °C or less, else {low} (430.32, the split "
        "from "
        "memory).",
        "In IEC words: contactor and overload relay to IEC 60947-4-1, category AC-3, overload class 10 set to the "
        "plate's "
        "current, short-circuit device by the maker's table; control contacts AC-15 to IEC 60947-5-1.",
    ]
    if shop.mains_hz == 50:
        said.append(
            "Currents here are estimates of ours for 230 V single-phase and 400 V three-phase: efficiency times power "
            "factor 0.65 and 0.70."
        )
    return said


def _feeder(shop: Shop, name: str) -> str:
    """What is on a feeder, what is known of its current, and what the controller does about inrush."""
    motors = [motor for motor in shop.motors.values() if motor.feeder == name]
    tools = [tool for tool in shop.tools.values() if tool.feeder == name]
    on_it = [motor.name for motor in motors] + [tool.name for tool in tools]
    if not on_it:
        return f"{name}: nothing in the shop file hangs on it."
    said = f"{name}: {listed(on_it, 'and', 40)}."
    if len(on_it) > 1:
        said += f" {_sum(shop, motors, tools)}"
        said += (
            f" The controller leaves {shop.feeders[name].gap_s:g} s between two inrushes here; it cannot keep people "
            "from "
            "starting machines together."
        )
    return f"{said} Whether this is one breaker, the shop file does not say: look."


def _sum(shop: Shop, motors: list[Motor], tools: list[Tool]) -> str:
    amperes = [_full_load_a(shop, motor) for motor in motors]
    known = [tool.running_a for tool in tools if tool.running_a is not None]
    unknown = [tool.name for tool in tools if tool.running_a is None]
    total = feeder_current_a(amperes, known)
    words = f"All at once, as far as the shop file knows: {total:.3g} A (125 % of the largest motor, and the rest)."
    if known:
        words += " Machines are counted as they run free, so cutting takes more."
    if unknown:
        words += f" Not known: {listed(unknown, 'and', 6)}."
    return words


def _full_load_a(shop: Shop, motor: Motor) -> float:
    found = table_current(motor.power_w, motor.phases)
    if shop.mains_hz == 60 and found is not None:
        return found.amperes[230]
    return estimated_current_a(motor.power_w, motor.phases)
