"""The whole real stack on a clock that a test moves: virtual shop, drivers on mock pins, sensing, loop and core."""

from collections.abc import Callable

from gatekeeper.control.messages import Answer, Entry, Kept, Requested
from gatekeeper.control.supervisor import Supervisor
from gatekeeper.devices.pins import open_pins
from gatekeeper.service.air_systems import air_systems
from gatekeeper.service.air_table import computed_air
from gatekeeper.service.clock import HandClock
from gatekeeper.service.hearing import Contacts, Currents
from gatekeeper.service.loop import ControlLoop, NoKeeper
from gatekeeper.service.planning import plan_of
from gatekeeper.service.wiring import Wires, wire_up
from gatekeeper.shop import examples
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop
from sim.clamps import rate_hz
from sim.plant import VirtualShop

STEP_S = 0.02


def example_shop(name: str) -> Shop:
    return shop_from(examples.example(name).read_text(encoding="utf-8"))


def shop_from(text: str) -> Shop:
    shop = load_shop(text, "shop.yaml")
    assert isinstance(shop, Shop), str(shop)
    return shop


class Rig:
    """One shop and one controller; ``run`` lets time pass for both."""

    def __init__(self, shop: Shop, began_s: float = 100.0) -> None:
        self.shop = shop
        self.plan = plan_of(shop, computed_air(air_systems(shop)))
        self.clock = HandClock(began_s)
        self.record: list[Entry] = []
        self.kept = NoKeeper()
        self.runs = 0
        pins = open_pins("mock", self.clock.now)
        self.plant = VirtualShop(shop, pins, self.clock)
        self.boot(pins)

    def boot(self, pins: object = None) -> None:
        """The controller starts: the drivers claim their lines and the core wakes."""
        self.runs += 1
        if pins is None:
            pins = open_pins("mock", self.clock.now)
            self.plant.plug_in(pins)
        self.wires: Wires = wire_up(
            self.shop,
            pins,
            lambda look: self.loop.post(look),
            on_miss=lambda miss: self.loop.on_miss(miss),
            open_bank=self.plant.open_bank,
        )
        self.currents = Currents(self.shop)
        kept = Kept(self.kept.values, fresh=self.runs == 1)
        self.loop = ControlLoop(
            Supervisor(self.plan, kept, boot=f"boot {self.runs}", run=f"run {self.runs}", strict=True),
            self.wires,
            Contacts(self.shop),
            self.clock,
            keeper=self.kept,
            write=self.record.append,
        )
        self.plant.step()
        self.loop.wake()

    def run(self, seconds: float) -> None:
        for _ in range(round(seconds / STEP_S)):
            self.clock.advance(STEP_S)
            self.plant.step()
            for name, bank in self.wires.banks.items():
                for event in self.currents.hear(name, bank.read(round(STEP_S * rate_hz(self.shop.mains_hz)))):
                    self.loop.post(event)
            self.loop.step()

    def until(self, true: Callable[[], bool], within_s: float) -> float:
        """Let time pass until it is so; how long that took. Fails when it is not so in time."""
        begun_s = self.clock.now()
        while not true():
            assert self.clock.now() - begun_s < within_s, f"not so within {within_s:g} s"
            self.run(STEP_S)
        return self.clock.now() - begun_s

    def ask(self, what: str, subject: str | None = None, who: str = "local", **more: object) -> Answer:
        future = self.loop.ask(lambda ref: Requested(what, subject, who, ref=ref, **more))  # type: ignore[arg-type]
        self.loop.step()
        return future.result(0)

    @property
    def view(self) -> object:
        return self.loop._supervisor.snapshot()

    def alarms(self, *heaps: str) -> set[str]:
        """The standing messages as ``code:subject``, those of some heaps or all."""
        from gatekeeper.control.alarms import FAULTS

        standing = self.loop._supervisor.snapshot().alarms
        return {f"{a.code}:{a.subject}" for a in standing if not heaps or FAULTS[a.code].heap in heaps}

    def when(self, kind: str, subject: str | None, word: str, since_s: float = 0.0) -> float:
        """The instant of the first such entry."""
        return next(e.t_s for e in self.entries(kind, subject, word) if e.t_s >= since_s)

    def entries(self, kind: str, subject: str | None = None, word: str | None = None) -> list[Entry]:
        return [
            e
            for e in self.record
            if e.kind == kind and (subject is None or e.subject == subject) and (word is None or self.word(e) == word)
        ]

    @staticmethod
    def word(entry: Entry) -> object:
        return entry.value["what"] if isinstance(entry.value, dict) else entry.value

    def close(self) -> None:
        self.wires.close()
