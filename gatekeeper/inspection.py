"""What to try in a shop, and what must happen: a list to walk through with a pencil, made from the shop's own file.

It says what this controller does by its rules; it judges nothing. What stands by wire alone comes first, for nothing of
it may rest on a program.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace

from gatekeeper.inspection_drawing import drawn
from gatekeeper.markup import Html
from gatekeeper.service.face_people import Chapter, Trial
from gatekeeper.shop.faults import listed
from gatekeeper.shop.model import BoardDeath, Input, InputKind, Makes, Motor, Shop

TITLE = "What to try, what must happen"
BEFORE = (
    "Mains wiring is looked at by an electrician first. Two people: one at the machine, one at the red button.",
    "This list is made from the shop's file. It shows what the wiring and the controller did on the day they were "
    "tried, and judges nothing; whoever inspects decides.",
    "Where something else happens: stop, open the disconnect, write down what happened.",
)


def chapters(shop: Shop) -> tuple[Chapter, ...]:
    """Everything to try in one shop, in the order of a walk."""
    every = (
        Chapter("By wire alone", "None of this may rest on a board or a program.", tuple(_by_wire(shop))),
        Chapter(
            "Buttons and detectors",
            "The controller is told, and keeps still until a person resets it.",
            tuple(_circuits(shop)),
        ),
        Chapter(
            "Hand, Off, Auto", "The day the board is dead, one switch is turned and work goes on.", tuple(_hand(shop))
        ),
        Chapter("Stop and out of service", "Always taken, whatever runs.", tuple(_stops(shop))),
        Chapter("Power", "After a power cut nothing starts by itself.", tuple(_power(shop))),
        Chapter("Fingers", "Nobody's hand is in a gate that moves.", tuple(_fingers(shop))),
        Chapter(
            "Machines", "Each machine has its air, and the fan runs on until the duct is clear.", tuple(_machines(shop))
        ),
        Chapter("Opening hours", "A shop that is shut starts nothing.", tuple(_hours(shop))),
        Chapter("Faults", "What breaks is said in words, once.", tuple(_faults(shop))),
        Chapter("Signs and words", "Who comes in must see what may start.", tuple(_signs(shop))),
    )
    return tuple(_told(chapter) for chapter in every if chapter.trials)


def _told(chapter: Chapter) -> Chapter:
    """Sentences begin with a capital, whatever the shop's own names do."""
    return replace(chapter, trials=tuple(Trial(_cap(one.tried), _cap(one.happens)) for one in chapter.trials))


def _cap(text: str) -> str:
    return text[:1].upper() + text[1:]


def _is(names: Sequence[str]) -> str:
    return "is" if len(names) == 1 else "are"


def _of(shop: Shop, kind: InputKind) -> list[Input]:
    return [source for source in shop.inputs.values() if source.kind is kind]


def _ducted(shop: Shop) -> list[Motor]:
    return [motor for motor in shop.motors.values() if motor.has_ducts]


def _tool_on(shop: Shop, motor: str) -> str:
    """A machine that can be used to try a motor."""
    return next((tool.name for tool in shop.tools.values() if motor in tool.systems), "a machine")


def _every(shop: Shop) -> str:
    return listed(list(shop.motors), "and")


def _by_wire(shop: Shop) -> Iterator[Trial]:
    for motor in shop.motors.values():
        yield Trial(
            f"Start {motor.name}. Open its disconnect.",
            f"{motor.name} stops. A padlock holds the disconnect open; with it on, nothing starts {motor.name}.",
        )
    yield Trial(
        f"Start {_every(shop)}. Press each hard-wired emergency stop of the shop, one after the other.",
        "The contactors drop by wire, also with the board's plug pulled. Nothing starts when the button is pulled out.",
    )
    for source in _of(shop, InputKind.FIRE):
        yield Trial(
            f"Pull the board's plug. Trip {source.name} by its test button while a motor runs.",
            "The detector's own contact drops the contactors by wire.",
        )
    yield Trial(
        "Start each machine by its own button, with the board's plug in and with it pulled.",
        "It starts and stops by its own switch alone. Nothing of the controller starts it or cuts its power.",
    )
    for permit in shop.permits.values():
        yield Trial(
            f"Without air at {permit.at}: press its START. Then ask for air there, wait for it, press START again.",
            f"Without air it does not start, with air it does. With the machine running, end the air: {permit.at} runs "
            "on, for this contact holds nothing.",
        )


def _circuits(shop: Shop) -> Iterator[Trial]:
    for source in _of(shop, InputKind.RED_BUTTON):
        tool = next(iter(shop.tools), "a machine")
        yield Trial(
            f"Run {tool}. While a gate moves, press {source.name}.",
            f'At once every motor is off and the gate stands where it was. The page says "The emergency circuit is '
            f'open: {source.name}".',
        )
        yield Trial(
            f"Pull {source.name} out. Stop {tool} and start it again. Then press Reset.",
            "Before Reset nothing starts and no gate moves. Reset itself starts nothing; the next start of a machine "
            "does.",
        )
        yield Trial(f"Take one wire of {source.name} off its terminal.", "The same as a press: a broken wire counts.")
    for source in _of(shop, InputKind.FIRE):
        yield Trial(
            f"In mid-cut trip {source.name}.",
            "Every motor is off at once, nothing runs on, every gate stays where it is. The page says: do not open bin "
            "or filter, leave, call the fire service.",
        )
        yield Trial(
            f"End the alarm of {source.name}. Look for a reset on the page, then {_reset_words(shop)}.",
            "The page has no reset for it. Only the reset in the shop ends it, and that starts nothing.",
        )
    buttons = _of(shop, InputKind.SPARKS)
    pressed = f"press {listed([source.name for source in buttons], 'or')}, or " if buttons else ""
    ends = (
        "It ends at the reset in the shop only."
        if _of(shop, InputKind.RESET)
        else "The whole shop is out of service until it is brought back on the page."
    )
    yield Trial(
        f'In mid-cut {pressed}hold "I saw sparks" on the page for one second.',
        f"Every motor is off at once and every gate stays where it is. {ends}",
    )
    for source in _of(shop, InputKind.DOOR):
        names = list(source.systems) or list(shop.motors)
        motors, coast_s = listed(names, "and"), max(shop.motors[name].coast_s for name in names)
        yield Trial(
            f"In mid-cut open {source.name}. Shut it again.",
            f"{motors} {_is(names)} off at once; the page counts down the {coast_s:.0f} s in which a fan may still "
            "turn. Shutting it starts nothing.",
        )
    for source in _of(shop, InputKind.STOP):
        yield Trial(f"Press {source.name} in mid-cut.", f"{listed(list(source.systems), 'and')} is off at once.")


def _reset_words(shop: Shop) -> str:
    keys = [source.name for source in _of(shop, InputKind.RESET)]
    return f"work {listed(keys, 'or')}" if keys else "see that this shop has none wired: it needs one"


def _hand(shop: Shop) -> Iterator[Trial]:
    switched = {name: source.name for source in _of(shop, InputKind.HAND_OFF_AUTO) for name in source.systems}
    for name, switch in switched.items():
        tool = _tool_on(shop, name)
        yield Trial(
            f"In mid-cut at {tool} pull the board's plug, turn {switch} of {name} to Hand, cut on, plug in.",
            f"{name} runs by its switch. After the plug is in: no message about it, no gate of {tool} shuts, nothing "
            'else starts, and the page says "Running by hand. Stop it at the switch."',
        )
        yield Trial(
            f"Turn {switch} of {name} to Off, start {tool}. Then turn it to Auto.",
            f"At Off nothing starts it. Turning it to Auto starts nothing; the next start of {tool} does.",
        )
    if unread := [name for name in shop.motors if name not in switched]:
        yield Trial(
            f"Look how {listed(unread, 'and')} {_is(unread)} run when the board is dead.",
            "No Hand-Off-Auto switch there is read by the controller. Where the contactor has one: take the motor out "
            "of service on the page before it is run by hand. Where it has none, work stands still.",
        )


def _stops(shop: Shop) -> Iterator[Trial]:
    for motor in _ducted(shop):
        tool = _tool_on(shop, motor.name)
        shown = (
            'The page says "stopping" only once its own sensor has seen it.'
            if motor.confirmed_by is not None
            else 'Nothing can confirm it, so the page says "Not confirmed. Use the red button."'
        )
        yield Trial(
            f"With {tool} running on {motor.name} press Stop dust collector on a phone that is not signed in.",
            f"{motor.name} is off at once. {shown} It does not start again until {tool} has stopped and started.",
        )
        yield Trial(
            f"Take {motor.name} out of service on the page; it asks who and why. Start {tool}.",
            f"{motor.name} stays off and no gate of it moves. The page shows who, why and since when, also after a "
            "power cut. Back in service starts nothing.",
        )
    if others := [motor.name for motor in shop.motors.values() if not motor.has_ducts]:
        yield Trial(
            f"While it runs press Stop dust collector; then take {listed(others, 'and')} out of service on the page.",
            "Off at once, both times. Nothing starts it while it is out of service.",
        )


def _power(shop: Shop) -> Iterator[Trial]:
    dies = {
        BoardDeath.DROPS: "drops at once",
        BoardDeath.DROPS_LATER: "drops after {after:.0f} s",
        BoardDeath.STAYS: "runs on: stop it at its own switch",
    }
    alike: dict[str, list[str]] = {}
    for motor in shop.motors.values():
        word = dies[motor.switch.board_death].format(after=motor.switch.death_after_s)
        alike.setdefault(word, []).append(motor.name)
    for word, names in alike.items():
        yield Trial(
            f"Pull the board's plug in mid-cut: {listed(names, 'and')}.",
            f"Each {word}. The machine runs on by its own switch.",
        )
    springs = [gate.name for gate in shop.gates.values() if gate.spring_return]
    if springs:
        yield Trial(
            "The same, and look at the gates.", f"{listed(springs, 'and')} goes to its spring's end; others stay."
        )
    yield Trial(
        "Plug the board in again while the machine still runs.",
        "Its gate opens. No motor starts: the page says that the machine was found running.",
    )
    yield Trial(
        "Switch the whole shop off and on at the main switch.",
        "Nothing starts. Settings, what is out of service and what is held are as they were.",
    )


def _fingers(shop: Shop) -> Iterator[Trial]:
    actuated = [gate for gate in shop.gates.values() if gate.is_actuated]
    if not actuated:
        return
    gate = actuated[0]
    at = [tool.name for tool in shop.tools.values() if gate.name in tool.gates]
    lamps = [sign.name for sign in shop.signs.values() if sign.at in (gate.name, *at)]
    tool = at[0] if at else "its machine"
    yield Trial(
        f"Hold {gate.name} on the page. Start {tool}. Pull the board's plug and put it in again.",
        f"{gate.name} does not move, now or after the power cut. The page says that {tool} cuts without its gate.",
    )
    lamp = f"{listed(lamps, 'and')} is lit" if lamps else "no lamp hangs there, so only the page says it"
    yield Trial(
        f"Press Release for {gate.name}, with nobody's hand near it.",
        f"From the press on {lamp}; it moves no sooner than 3 s later. Try one gate after the other.",
    )
    yield Trial(
        f"Block {gate.name} with a piece of wood, hands away, and let it move.",
        "It tries a few times, is then called stuck and held, and stays still until somebody presses Release."
        if gate.has_open_switch
        else "Nothing at the gate sees it: it counts as moved when its time is over. See and hear it yourself.",
    )


def _machines(shop: Shop) -> Iterator[Trial]:
    for tool in shop.tools.values():
        delays = [
            f"{name} runs on {tool.spin_down_s if tool.spin_down_s is not None else shop.motors[name].spin_down_s:g} s"
            for name in tool.systems
        ]
        automatic = [name for name in tool.gates if shop.gates[name].is_actuated]
        by_hand = [name for name in tool.gates if name not in automatic]
        opens = f"{listed(automatic, 'and')} opens" if automatic else ""
        hand = f"{listed(by_hand, 'and')} is opened by hand before" if by_hand else ""
        what = " and ".join(part for part in (hand, opens, f"{listed(list(tool.systems), 'and')} starts") if part)
        sparks = (
            " It makes sparks: it must not be on a duct with wood dust."
            if tool.makes in (Makes.SPARKS, Makes.FLAME, Makes.METAL)
            else ""
        )
        yield Trial(
            f"Start {tool.name}, cut, stop it. Feel for air at the tool.",
            f"{what}. After the stop {listed(delays, 'and')} at least; longer where the motor must rest.{sparks}",
        )


def _hours(shop: Shop) -> Iterator[Trial]:
    for source in _of(shop, InputKind.SHOP_KEY):
        yield Trial(
            f"Turn {source.name} to shut. Start a machine. Turn it to open.",
            "No motor starts, its gate opens, the page says that somebody works in a shop that is shut. Opening it "
            "starts nothing.",
        )
    if shop.hours.open is not None:
        yield Trial("Start a machine outside the opening hours.", "No motor starts, and the page says so.")


def _faults(shop: Shop) -> Iterator[Trial]:
    for converter in shop.converters:
        yield Trial(
            f"With a machine running unplug {converter}. Plug it in again.",
            "One message names the converter and all that it leaves unseen. No gate shuts, nothing new starts, also "
            "not when it is plugged in again.",
        )
    for motor in shop.motors.values():
        if motor.confirmed_by is not None:
            yield Trial(
                f"Open the disconnect of {motor.name}, then start {_tool_on(shop, motor.name)}.",
                f"Within {motor.confirm_s:.0f} s it is off again, after one more try it is latched off, and the page "
                "says where to look. Clear starts nothing.",
            )
    lamp = shop.messages.lamp
    if lamp is not None:
        yield Trial(
            "Take a motor out of service in mid-cut and look at the message lamp.",
            "It is lit while the machine cuts without air, and dark again when that is over.",
        )


def _signs(shop: Shop) -> Iterator[Trial]:
    yield Trial(
        f"Look at {_every(shop)}.",
        "Each wears a sign that it may start by itself, and its disconnect can be locked.",
    )
    start = (
        "A start takes a hold of one second and shows a caution first."
        if shop.page.remote_start
        else "No button there starts a motor."
    )
    yield Trial("Open the page on a phone that is not signed in.", f"It can look and stop, and nothing else. {start}")


# ---------------------------------------------------------------- on paper


def inspection_html(shop: Shop) -> Html:
    """The list as a part of a page, for a book or a page of its own."""
    return drawn(chapters(shop), BEFORE)


def inspection_markdown(shop: Shop, name: str) -> str:
    """The same as text, for the hardware pages."""
    lines = [f"# {TITLE}", ""]
    lines += [
        f"Made from the shop `{name}`; a test holds it equal. Each shop has its own on its page, under Inspection, "
        "ready to print. Read [the cautions](cautions.md) first.",
        "",
    ]
    lines += [f"- {said}" for said in BEFORE]
    number = 0
    for chapter in chapters(shop):
        lines += [
            "",
            f"## {chapter.title}",
            "",
            chapter.why,
            "",
            "| | Try | What must happen | Seen |",
            "|---|---|---|---|",
        ]
        for trial in chapter.trials:
            number += 1
            lines.append(f"| {number} | {trial.tried} | {trial.happens} | |")
    return "\n".join([*lines, ""])
