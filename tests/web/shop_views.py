"""An invented shop in the states that the page must show well. No people, no real place."""

from dataclasses import replace

from gatekeeper.service.face import (
    Attention,
    DuctView,
    GateView,
    GateWord,
    Heap,
    MessageView,
    MotorView,
    Offer,
    OutOfService,
    Press,
    Saying,
    SensorWord,
    ShopView,
    SpinDown,
    Starts,
    StopView,
    StopWord,
    ToolView,
    Units,
)

NOW_S = 1000.0
WALL_S = 1_790_000_000.0
MACHINES = ("Planer", "Table saw", "Bandsaw", "Router table", "Lathe", "Spindle sander")


def gate_name(tool: str) -> str:
    return f"{tool} gate"


def spin(subject: str, value_s: float | None = 8, clear_s: float = 3, default_s: float | None = 8) -> SpinDown:
    return SpinDown(subject, value_s, 1, 120, default_s, clear_s)


def gate(tool: str, word: GateWord = GateWord.SHUT, **more: object) -> GateView:
    offers = (
        Offer("open", gate_name(tool), f"Open {gate_name(tool)}", for_s=300),
        Offer("hold", gate_name(tool), "Keep it still", caution="It gets no motion until it is released."),
    )
    made = GateView(
        gate_name(tool), "Collector", f"{tool} drop", word, True, (tool,), proof="its switch says so", offers=offers
    )
    return replace(made, **more)  # type: ignore[arg-type]


def tool(name: str, sensor: SensorWord = SensorWord.STOPPED, **more: object) -> ToolView:
    offers = (Offer("air_here", name, "Air here for 5 min", for_s=300, press=Press.HOLD),)
    made = ToolView(
        name, sensor, None, (gate_name(name),), ("Collector",), spin_down=spin(name, None, 2, None), offers=offers
    )
    return replace(made, **more)  # type: ignore[arg-type]


def ducts(moving: tuple[str, ...] = ()) -> tuple[DuctView, ...]:
    """Collector <- main <- (planer, table saw, back main <- (bandsaw, router table), far main <- (lathe, sander))."""
    paths = {
        "Planer": ("Main",),
        "Table saw": ("Main",),
        "Bandsaw": ("Main", "Back main"),
        "Router table": ("Main", "Back main"),
        "Lathe": ("Main", "Far main"),
        "Spindle sander": ("Main", "Far main"),
    }
    used = {name for machine in moving for name in (f"{machine} drop", *paths[machine])}
    mains = [
        DuctView("Main", "Collector", "Collector", 0.2, 3.0),
        DuctView("Back main", "Main", "Collector", 0.15, 4.0),
        DuctView("Far main", "Main", "Collector", 0.16, 6.0),
    ]
    sizes = {"Planer": 0.15, "Table saw": 0.125, "Bandsaw": 0.1, "Router table": 0.08, "Lathe": 0.1}
    drops = [
        DuctView(f"{machine} drop", path[-1], "Collector", sizes.get(machine, 0.1), 2.0, gate_name(machine))
        for machine, path in paths.items()
    ]
    return tuple(replace(one, moves=True, velocity_ms=22.4) if one.name in used else one for one in (*mains, *drops))


def collector(word: str = "off", runs: bool = False, **more: object) -> MotorView:
    offers = (
        Offer("run", "Collector", "Run Collector for 5 min", for_s=300, press=Press.HOLD),
        Offer("out_of_service", "Collector", "Take Collector out of service", asks_text=True),
    )
    made = MotorView(
        "Collector", "collector", word, runs, spin_down=spin("Collector"), starts=Starts(2, 2, 12), offers=offers
    )
    return replace(made, **more)  # type: ignore[arg-type]


def shop(**more: object) -> ShopView:
    """All is still."""
    made = ShopView(
        version=1,
        seq=10,
        now_s=NOW_S,
        wall_s=WALL_S,
        name="Corner shop",
        units=Units.METRIC,
        sentence=Saying("All is still. Switch a machine on; its gate opens and the collector starts."),
        harm=None,
        remote_start=False,
        attention=(),
        motors=(collector(),),
        gates=(
            gate("Planer", GateWord.OPEN, reason=Saying("Open so that air can always reach the fan.")),
            *(gate(name) for name in MACHINES[1:-1]),
            gate("Spindle sander", automatic=False, proof="nothing at the gate says where it is"),
        ),
        tools=tuple(tool(name) for name in MACHINES),
        ducts=ducts(),
        messages=(),
        cautions=("The collector's motor is single-phase: its starts per hour are an estimate.",),
    )
    return replace(made, **more)  # type: ignore[arg-type]


def with_gates(view: ShopView, **words: GateView) -> tuple[GateView, ...]:
    return tuple(words.get(one.tools[0].lower().replace(" ", "_"), one) for one in view.gates)


def cutting() -> ShopView:
    """The table saw cuts, the planer's gate still shuts, the router's opens."""
    base = shop()
    running = tool("Table saw", SensorWord.RUNNING, since_s=NOW_S - 14, current_a=9.3)
    return replace(
        base,
        sentence=Saying("Table saw running, {time} into the cut. Collector on.", since_s=NOW_S - 14),
        motors=(collector("on", True, reason=Saying("It runs for the table saw.")),),
        tools=tuple(running if one.name == "Table saw" else one for one in base.tools),
        gates=with_gates(
            base,
            table_saw=gate("Table saw", GateWord.OPEN, reason=Saying("Open for the table saw while it runs.")),
            planer=gate("Planer", GateWord.SHUTTING, reason=Saying("Shutting: the planer has stopped.")),
            router_table=gate("Router table", GateWord.OPENING, reason=Saying("Opening for the router table.")),
        ),
        ducts=ducts(("Table saw",)),
    )


def clearing(stops_in_s: float = 6) -> ShopView:
    """The countdown runs."""
    base = cutting()
    until_s = NOW_S + stops_in_s
    return replace(
        base,
        sentence=Saying("Clearing: collector stops in {time}.", until_s=until_s),
        motors=(
            collector(
                "running on",
                True,
                reason=Saying("The last tool stopped. It keeps running until the duct is clear."),
                stops_at_s=until_s,
            ),
        ),
        tools=tuple(tool(name) for name in MACHINES),
    )


def rests() -> ShopView:
    """The motor may not stop yet, and the room's sander has lost its sensor."""
    base = clearing(180)
    lost = tool(
        "Lathe", SensorWord.LOST, sensor_note="The lathe's sensor says nothing believable. Its gate stays open."
    )
    return replace(
        base,
        sentence=Saying("Motor rests: runs on {time} instead of starting hot.", until_s=NOW_S + 180),
        tools=tuple(lost if one.name == "Lathe" else one for one in base.tools),
        attention=(
            Attention(
                Heap.TODAY,
                Saying("Is the lathe still running? It was last seen running {time} ago.", since_s=NOW_S - 5400),
                (
                    Offer("stopped", "Lathe", "Lathe is stopped"),
                    Offer("still_running", "Lathe", "Lathe still runs"),
                ),
            ),
        ),
        messages=(
            message("sensor_lost:Lathe", Heap.TODAY, "Lathe", "The sensor at the lathe has died."),
            message(
                "filter:Collector", Heap.WHEN_YOU_CAN, "Collector", "The filter has run 40 h since it was cleaned."
            ),
        ),
    )


def message(key: str, heap: Heap, subject: str, sentence: str, **more: object) -> MessageView:
    made = MessageView(
        key,
        heap,
        sentence,
        "Chips in the slot, as a rule.",
        "Look at it and clear it.",
        WALL_S - 600,
        WALL_S - 60,
        3,
        subject=subject,
    )
    return replace(made, **more)  # type: ignore[arg-type]


def stuck() -> ShopView:
    """A gate is stuck, one is held, one's place is not known."""
    base = cutting()
    offers = (Offer("release", gate_name("Bandsaw"), "Release Bandsaw gate", press=Press.HOLD, caution=RELEASE),)
    return replace(
        base,
        harm=Heap.NOW,
        sentence=Saying("Bandsaw gate did not open and is now held. Clear the slot, then press Release."),
        messages=(
            message(
                "gate_stuck:Bandsaw gate",
                Heap.NOW,
                "Bandsaw gate",
                "Bandsaw gate did not open after three tries. The bandsaw is cutting without air.",
                remedy="Stop the bandsaw. Clear the slot, then press Release.",
                offers=offers,
            ),
        ),
        gates=with_gates(
            base,
            bandsaw=gate(
                "Bandsaw", GateWord.STUCK, reason=Saying("It gets no motion until it is released."), offers=offers
            ),
            lathe=gate("Lathe", GateWord.HELD, reason=Saying("Somebody works on it.")),
            spindle_sander=gate(
                "Spindle sander", GateWord.NOT_KNOWN, automatic=False, proof="nothing says where it is"
            ),
        ),
    )


RELEASE = "The gate moves 3 s after the press. Keep fingers out of the slot."


def fire() -> ShopView:
    """Heat at the bin; everything is off."""
    return replace(
        shop(),
        harm=Heap.NOW,
        sentence=Saying("Heat at the bin. Do not open bin or filter. Leave, call the fire service."),
        messages=(
            message(
                "fire:Bin heat",
                Heap.NOW,
                "Bin heat",
                "Heat at the bin. Every motor is off and the gates stand still.",
                remedy="Leave, call the fire service. Reset is only at the controller itself.",
                count=1,
            ),
        ),
    )


def out_of_service() -> ShopView:
    """The collector is out of service, and somebody has pressed stop before."""
    return replace(
        shop(),
        sentence=Saying("Collector is out of service. Nothing starts it."),
        motors=(
            collector(
                "out of service",
                out_of_service=OutOfService("the steward", "new bag", WALL_S - 900),
                stop=StopView(StopWord.STOPPED, "Stopped from the page by 192.168.1.23 at 14:03."),
                offers=(Offer("back_in_service", "Collector", "Back in service"),),
            ),
        ),
    )


def large() -> ShopView:
    """Two collectors and 24 machines in inches, with a run of messages: the heaviest page."""
    tools, gates, pipes = [], [], []
    for number in range(24):
        motor = "Collector" if number < 14 else "Second collector"
        name = f"Machine number {number + 1}"
        word = (GateWord.OPEN, GateWord.SHUT, GateWord.SHUT)[number % 3]
        reason = Saying("Open as extra air for the main.") if word is GateWord.OPEN else None
        tools.append(replace(tool(name), motors=(motor,)))
        gates.append(replace(gate(name, word, reason=reason), motor=motor))
        main = f"{motor} main {number // 4}"
        pipes.append(DuctView(f"{name} drop", main, motor, 0.1, 2.0, gate_name(name), word is GateWord.OPEN, 20.0))
    for motor, first, last in (("Collector", 0, 3), ("Second collector", 3, 5)):
        for number in range(first, last + 1):
            towards = motor if number == first else f"{motor} main {number - 1}"
            pipes.append(DuctView(f"{motor} main {number}", towards, motor, 0.18, 3.0, None, True, 18.0))
    motors = (
        collector("on", True, reason=Saying("It runs for machine number 1.")),
        replace(collector(), name="Second collector", spin_down=spin("Second collector")),
    )
    return replace(
        shop(),
        units=Units.INCH,
        motors=motors,
        gates=tuple(gates),
        tools=tuple(tools),
        ducts=tuple(pipes),
        messages=tuple(
            message(f"care:{n}", Heap.WHEN_YOU_CAN, f"Machine number {n}", f"Machine number {n} wants care.")
            for n in range(8)
        ),
    )


STATES = {
    "still": shop,
    "cutting": cutting,
    "clearing": clearing,
    "rests": rests,
    "stuck": stuck,
    "fire": fire,
    "out-of-service": out_of_service,
    "large": large,
}
