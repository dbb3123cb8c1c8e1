"""What people read around the steps: the stages, what must be so, and how far it has come."""

from gatekeeper.commissioning.steps import Kind, Stage

#: Above every record and before every walk. Whoever decides is not this program.
BEFORE = (
    "This says what was tried, what was seen and measured, by whom and when. It judges nothing beyond that: whoever "
    "answers for the shop decides, and the local code does.",
    "Mains wiring is looked at by an electrician first. A hard-wired emergency stop must work before anything here "
    "runs.",
    "Two people: one at the machine, one at the hard-wired stop.",
)
TITLES = {
    Stage.TOOLS: "First day: every machine is seen",
    Stage.INPUTS: "Buttons, keys, detectors and switches",
    Stage.GATES: "Gates",
    Stage.CONTACTORS: "Contactors and rotation",
    Stage.STOPS: "What stops everything",
    Stage.BONDING: "Bonding to ground",
    Stage.STARTS: "First starts",
    Stage.SUCTION: "One reading of suction",
}
WHYS = {
    Stage.TOOLS: (
        "The collector runs by hand, or not at all: nothing here may start it yet. Each machine is switched on "
        "once, and the controller must name that one and no other."
    ),
    Stage.INPUTS: ("Each contact is worked once. What changed is named here, so a wire on the wrong terminal shows."),
    Stage.GATES: (
        "Each gate goes to both ends, on a press, and is timed: the controller goes by that time where a gate has no "
        "switch. Fingers, rags and tools out of every slot."
    ),
    Stage.CONTACTORS: (
        "First the contactor alone, with the motor isolated; then a short run with somebody at the motor. Each "
        "start counts as one: where none is in hand, it says until when to wait."
    ),
    Stage.STOPS: (
        "Each is worked once. Every motor that it speaks for must be told off in that same step, and Reset must "
        "start nothing. The hard-wired stop is another thing, and is tried by its own list."
    ),
    Stage.BONDING: (
        "Moving dust charges a duct. Each run of duct is measured against ground with an ohmmeter, with the "
        "collector off."
    ),
    Stage.STARTS: (
        "Each machine is started as on any day. The record of the controller is held against what it promises."
    ),
    Stage.SUCTION: ("One reading at one hole tells more of the fan than its plate. Hold on to loose cuffs."),
}
FINGERS = "Keep fingers, rags and tools out of the slot: it moves by itself, and a blade does not feel a hand."
STARTS = (
    "This starts a motor that you may not see. See that nobody is at it, and no hand is in a gate, the bin or the fan."
)
NO_PADLOCK = "A word on a screen is no padlock: hang your own lock on the disconnect and keep its key."
ALARM = "Tell whoever answers the building's alarm before you try a detector (common practice)."
CAUTIONS: dict[Kind, tuple[str, ...]] = {
    Kind.SEE_TOOL: ("The machine runs: guards on, nothing on its table, and it is yours to stop.",),
    Kind.ENDS: (FINGERS, "The gate is held meanwhile, and moves on your press only."),
    Kind.JOG: (FINGERS,),
    Kind.CLICK: (NO_PADLOCK,),
    Kind.TURN: (STARTS, "Look at the fan's shaft or its cooling fan from outside; open nothing."),
    Kind.BOND: ("The collector is off. Measure at bare metal, not over paint or a gasket.",),
    Kind.START: (STARTS, "Guards on, a fitted respirator rated for fine dust, and nothing on the table."),
    Kind.SUCTION: (STARTS, "Where you drill a hole for the gauge, do it with the collector off, and close it again."),
}


def how_far(total: int, due: int, *, failed: int, left_out: int, stale: int) -> str:
    """How far it has come, one sentence or two."""
    if total == 0:
        return "This shop has nothing to try yet."
    tried = total - due
    more = []
    if failed:
        more.append(f"{failed} did not do what {'it' if failed == 1 else 'they'} should")
    if left_out:
        more.append(f"{left_out} {'was' if left_out == 1 else 'were'} left out")
    if stale:
        more.append(f"{stale} {'is' if stale == 1 else 'are'} due again because the shop file changed")
    said = f"{tried} of {total} {'is' if tried == 1 else 'are'} done"
    return f"{said}; {', '.join(more)}." if more else f"{said}."
