"""What the handbook's page on drives says of their speed."""

SPEED_WRITTEN = """\
drives:
  fan drive:
    serial: /dev/ttyUSB0
    command: 0x2000
    start: 1
    stop: 0
    status: 0x2100
    running: 1
    speed: from the air
    speed_register: 0x2001
    speed_seen: 0x2101
    least_speed: 25
    full_speed: 50"""

SPEED = (
    "## Speed",
    "Three ways: set at the drive (write nothing), one speed from the shop file (`speed: 48.5`, in Hz), or no "
    "faster than the machines that run need:",
    f"```yaml\n{SPEED_WRITTEN}\n```",
    "With `from the air` the controller works out at its start, for every set of up to three machines and the "
    "gates that then stand open, the lowest speed at which every machine gets its need and the air keeps 20 m/s "
    "(3940 ft/min) in every duct with chips and in the whole way of every open gate, with a filter overdue for "
    "cleaning and the weak end of a fan that is an estimate. `gatekeeper layout SHOP.yaml` prints these speeds "
    "and what they save; the page tells the present one with its reason. Power goes with the cube of the speed: "
    "a fifth slower takes about half.",
    "- **Floors.** Never below `least_speed`, and never below the speed at which chips settle: the driver holds "
    "both, whatever is asked. Never above `full_speed` (else the mains' own frequency), for which the fan curve "
    "must hold.\n"
    "- **`least_speed`** is the motor's and the drive's: below it a motor's own fan no longer cools it. Their "
    "papers say it.\n"
    "- **Full speed** while a gate moves or nobody knows where it stands, while a branch clears after a cut, "
    "with a lost sensor, when somebody asks for air by hand, while filter, bin or suction call for care, and "
    "for whatever has no row in its table. A hand gate without a switch keeps it at full speed for good.\n"
    "- **Up at once, down late**: it slows down once less has been enough for `lower_after` (30 s unless the "
    "file says otherwise).\n"
    "- **Registers** as in its manual: `speed_register` takes the speed, in `steps_per_hz`; `speed_seen` shows "
    "the speed it runs at. Without the second only the first is read back. A drive that does not take its speed "
    "is told on the page and left at what it reports.\n"
    "- **In the drive**: the speed comes from the bus and from nothing else; ramps of 3 to 10 s, alike both "
    "ways; its own energy saving, pressure control and skipped speeds off.\n"
    "- **An air switch, a run sensor by current**: both must still speak at the least speed. At half of the "
    "speed there is a quarter of the pressure.\n"
    "- **Suction readings**: the Care page notes the speed beside each and compares at full speed; at the "
    "terminal say it with `--speed`.",
    "Try it: run one machine, wait until the page tells less than 100 %, and hold a strip of paper at its hood. "
    "Start a second one: the fan speeds up while its gate opens. Turn the speed at the drive's own panel, if it "
    "lets you: the page says that it does not take its speed.",
)
