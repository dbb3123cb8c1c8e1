"""A small builder of records for the tests of the checker: one line of a test is one entry."""

import copy
from typing import Any

import pytest

from sim.checker import Violation, check_record

SHOP: dict[str, Any] = {
    "systems": {
        "fan": {
            "gates": ["saw_gate", "planer_gate"],
            "path_minimum_m2": 0.005,
            "starts_per_hour": 10,
            "starts_stored": 2.0,
            "rest_s": 60,
            "coast_s": 10,
            "release_s": 0.5,
            "spin_down_s": 8,
            "feeder": "big",
            "confirm_s": 3,
            "settle_s": 1,
            "relief_m2": 0,
            "kind": "collector",
            "lease_s": 1000,
        },
    },
    "gates": {
        "saw_gate": {
            "area_m2": 0.008,
            "travel_s": 2,
            "dead_s": 0.2,
            "actuated": True,
            "switch": False,
            "supply": "psu",
            "clear_s": 3,
            "can_halt": True,
        },
        "planer_gate": {
            "area_m2": 0.008,
            "travel_s": 2,
            "dead_s": 0.2,
            "actuated": True,
            "switch": False,
            "supply": "psu",
            "clear_s": 3,
            "can_halt": True,
        },
    },
    "tools": {
        "saw": {"gates": ["saw_gate"], "systems": ["fan"], "longest_run_s": 7200, "hold_s": 1800, "feeder": None},
        "planer": {"gates": ["planer_gate"], "systems": ["fan"], "longest_run_s": 7200, "hold_s": 1800, "feeder": None},
    },
    "supplies": {"psu": {"at_once": 2}},
    "feeders": {"big": {"gap_s": 2}},
    "inputs": {
        "red_button": {"kind": "emergency", "systems": []},
        "heat": {"kind": "fire", "systems": []},
        "bin_door": {"kind": "door", "systems": ["fan"]},
    },
    "proof": "travel",
}


class Book:
    """A record under construction. `at` begins a step; every other call adds one entry and returns its `seq`."""

    def __init__(self) -> None:
        self.shop: dict[str, Any] = copy.deepcopy(SHOP)
        self.entries: list[dict[str, Any]] = []
        self._step = 0
        self._t_s = 0.0
        self._boot, self._run = "b1", "r1"

    @property
    def fan(self) -> dict[str, Any]:
        """The one collector of the plain shop."""
        return self.shop["systems"]["fan"]

    def at(self, t_s: float) -> "Book":
        """Begin a new step."""
        self._step += 1
        self._t_s = t_s
        return self

    def add(self, kind: str, subject: str | None = None, value: Any = None, **fields: Any) -> int:
        """Add an entry to the step."""
        entry = {
            "seq": len(self.entries) + 1,
            "step": self._step,
            "t_s": self._t_s,
            "boot": self._boot,
            "run": self._run,
            "kind": kind,
            "subject": subject,
            "value": value,
            "cause": None,
            "rule": None,
            "why": None,
        }
        self.entries.append(entry | fields)
        return entry["seq"]

    def gate(self, name: str, word: str, why: str | None = "the test wants it") -> int:
        """A gate command."""
        return self.add("gate_command", name, word, why=why)

    def on(self, motor: str = "fan", for_s: float = 900.0) -> int:
        """Switch a motor on with a lease."""
        return self.add("motor_command", motor, {"what": "on", "until_s": self._t_s + for_s})

    def renew(self, motor: str = "fan", for_s: float = 900.0) -> int:
        """Renew a motor's lease."""
        return self.add("motor_command", motor, {"what": "renew", "until_s": self._t_s + for_s})

    def off(self, motor: str = "fan") -> int:
        """Switch a motor off."""
        return self.add("motor_command", motor, "off")

    def ask(self, what: str, subject: str | None = None, who: str = "page", **fields: Any) -> int:
        """A person's request."""
        return self.add("request", subject, {"what": what, "who": who} | fields)

    def alarm(self, subject: str, heap: str = "now") -> int:
        """A message raised."""
        return self.add("message", subject, {"code": "alarm", "heap": heap, "raised": True})

    def wake(self, t_s: float = 0.0, *, boot: str = "b1", run: str = "r1") -> "Book":
        """A new process: `shop`, `wake` and every motor told off."""
        self._boot, self._run = boot, run
        self.at(t_s).add("shop", None, copy.deepcopy(self.shop))
        self.add("wake")
        for motor in self.shop["systems"]:
            self.off(motor)
        return self

    def ready(self) -> "Book":
        """Awake, both tools stopped, the saw's gate open as the path: 5 s."""
        self.wake()
        self.at(0.5)
        for tool in self.shop["tools"]:
            self.add("tool", tool, "stopped")
        self.at(1.0).gate("saw_gate", "open")
        self.at(3.0).add("gate_belief", "saw_gate", {"what": "open", "proof": "travel"})
        return self

    def sawing(self) -> "Book":
        """Ready, and the saw runs since 10 s with the collector on and seen to run."""
        self.ready().at(10.0).add("tool", "saw", "running")
        self.on()
        self.at(11.0).add("motor_seen", "fan", "running")
        return self

    def violations(self, **options: Any) -> list[Violation]:
        """What the checker finds."""
        return check_record(self.entries, **options)

    def faults(self, **options: Any) -> list[tuple[str, int]]:
        """What the checker finds, as rule and place."""
        return [(violation.rule, violation.seq) for violation in self.violations(**options)]


@pytest.fixture
def book() -> Book:
    """An empty record of the plain shop."""
    return Book()
