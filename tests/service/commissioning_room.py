"""A shop to be commissioned: the real service in front of a virtual shop, under a clock that is moved by hand."""

import sys
from collections.abc import Callable, Mapping
from concurrent.futures import Future
from pathlib import Path
from typing import Any

from gatekeeper.control.messages import Answer as CoreAnswer
from gatekeeper.control.messages import RequestWhat, Who
from gatekeeper.devices.pins import open_pins
from gatekeeper.service.calibration_file import shop_file_of
from gatekeeper.service.clock import HandClock
from gatekeeper.service.commissioning_walk import ShopCommissioning
from gatekeeper.service.face import Answer
from gatekeeper.service.face_commissioning import StepState, StepView, WalkView
from gatekeeper.service.facing import ShopFace
from gatekeeper.service.running import Service
from gatekeeper.service.upkeep import ShopUpkeep
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Converter, Input, Shop
from sim.plant import VirtualShop

sys.path.insert(0, str(Path(__file__).parent))
from hand_plant import MovingBank

SHOP = """# A bench to commission.
shop: {name: Trial, units: metric, mains: 50 Hz, open_flue_nearby: no}
motors:
  fan:
    power: 2.2 kW
    phases: three
    spin_down: 2 s
    coast: 4 s
    switched_by: {pin: GPIO17, when_board_dies: drops}
    confirmed_by: {current_switch: GPIO27, within: 2 s}  # the auxiliary contact
gates:
  saw gate: {diameter: 125 mm, servo: {pin: GPIO12}, travel: 1500 ms, open_contact: GPIO20, shut_contact: GPIO21}
  planer gate: {diameter: 125 mm, servo: {pin: GPIO13}}  # no switch
  bench gate: {diameter: 100 mm}
tools:
  saw: {gates: saw gate, sensor: {current_switch: GPIO23}}
  planer: {gates: planer gate, sensor: {current_switch: GPIO24}}
inputs:
  red button: {kind: red button, pin: GPIO5}
  heat: {kind: fire, pin: GPIO6}
  reset key: {kind: reset, pin: GPIO26}
  bin door: {kind: door, pin: GPIO16, motors: fan}
  saw air: {kind: air here, pin: GPIO22, at: saw}
  selector: {kind: hand-off-auto, hand_pin: GPIO18, auto_pin: GPIO19, motors: fan}
page: {remote_start: yes}
"""
#: The same with its ducts.
DUCTS = """ducts:
  main: {towards: fan, diameter: 150 mm, length: 6 m, fittings: [90 elbow]}
  saw drop: {towards: main, diameter: 125 mm, length: 3 m, flex: 1 m}
  planer drop: {towards: main, diameter: 125 mm, length: 4 m}
  bench drop: {towards: main, diameter: 100 mm, length: 4 m, material: plastic pipe}
gates:
"""
DUCTED = SHOP.replace("    power: 2.2 kW\n", "    power: 2.2 kW\n    inlet: 150 mm\n").replace("gates:\n", DUCTS, 1)
for gate in ("saw", "planer", "bench"):
    DUCTED = DUCTED.replace(f"{gate} gate: {{diameter", f"{gate} gate: {{duct: {gate} drop, diameter")
STEP_S = 0.02
#: Only guards against hanging.
HANGING_S = 60.0
WALL_S = 1_700_000_000.0


def shop_of(text: str) -> Shop:
    shop = load_shop(text, "trial.yaml")
    assert isinstance(shop, Shop), str(shop)
    return shop


class Room:
    """One shop. ``wired``: how it really is, where that differs from the file."""

    def __init__(self, folder: Path, text: str = SHOP, wired: str | None = None, who: Who = "page") -> None:
        self.folder, self.path = folder, folder / "trial.yaml"
        self.path.write_text(text, encoding="utf-8")
        self.clock = HandClock(100.0)
        self._boots = 0
        pins = open_pins("mock", self.clock.now)
        self.plant = VirtualShop(shop_of(wired or text), pins, self.clock)
        self._begin(pins, who)

    def _begin(self, pins: Any, who: Who, settle_s: float = 3.0) -> None:
        text = self.path.read_text(encoding="utf-8")
        self._boots += 1
        self.service = Service(
            shop_of(text),
            pins,
            self.folder / "state",
            clock=self.clock,
            wall_s=lambda: WALL_S + self.clock.now(),
            boot=f"boot {self._boots}",
            open_bank=self._open,
        )
        self.service.keeper.start()
        self.service.history.start()
        self.plant.step()
        self.service.loop.wake()
        self._nudge, self.service.loop.nudge = self.service.loop.nudge, self.nudge  # type: ignore[method-assign]
        self.face = ShopFace(self.service, file=shop_file_of(str(self.path), text))
        upkeep = ShopUpkeep(lambda: self.service, self.face.file)
        self.walk = ShopCommissioning(lambda: self.service, self, upkeep, lambda: self.face, who)  # type: ignore[arg-type]
        self.pass_s(settle_s)

    def restart(self, who: Who = "page", settle_s: float = 3.0) -> None:
        """The board loses its power and gets it back; a new program on new pins."""
        self.plant.pull_plug()
        self.close()
        pins = open_pins("mock", self.clock.now)
        self.plant.plug_in(pins)
        self._begin(pins, who, settle_s)

    def close(self) -> None:
        self.service.keeper.stop(30.0)
        self.service.history.stop(30.0)
        self.service.wires.close()
        self.service._lock.release()

    def _open(self, converter: Converter, channels: int) -> MovingBank:
        return MovingBank(self.plant.open_bank(converter, channels), self.clock)  # type: ignore[arg-type]

    # ---------------------------------------------------------------- time

    def tick(self) -> None:
        for _ in range(10):
            for sampler in self.service.samplers:  # their converters move the clock on
                sampler.step()
        self.plant.step()
        self.service.loop.step()

    def pass_s(self, seconds: float, step_s: float = STEP_S) -> None:
        end_s = self.clock.now() + seconds
        while self.clock.now() < end_s:
            if not self.service.samplers:
                self.clock.advance(step_s)
            self.tick()

    def until(self, true: Callable[[], bool], most_s: float = 60.0) -> None:
        end_s = self.clock.now() + most_s
        while not true():
            assert self.clock.now() < end_s, self.told()
            self.pass_s(STEP_S)

    # ---------------------------------------------------------------- the face that a walk asks; the loop has no thread

    def request(
        self,
        what: RequestWhat,
        subject: str | None,
        who: Who,
        for_s: float | None = None,
        text: str | None = None,
        address: str | None = None,
    ) -> "Future[Answer]":
        asked = self.face.request(what, subject, who, for_s, text, address)
        self.tick()
        asked.result(HANGING_S)  # some answers come from the disk's thread
        return asked

    def nudge(self, gate: str, width_s: float, for_s: float) -> "Future[CoreAnswer]":
        asked = self._nudge(gate, width_s, for_s)
        self.tick()
        return asked

    # ---------------------------------------------------------------- the person

    def press(self, press: str, key: str | None = None, **values: str) -> Answer:
        """What somebody presses who looks at the screen as it is."""
        walk = self.walk.view().walk
        number = walk.number if walk is not None and key is None else None
        name = key if key is not None else walk.key if walk is not None else ""
        return self.walk.press(name, press, "Ada", values, number)

    def begin(self, key: str) -> WalkView:
        answer = self.press("begin", key)
        assert answer.accepted, answer
        return self.now()

    def now(self) -> WalkView:
        walk = self.walk.view().walk
        assert walk is not None
        return walk

    def step(self, key: str) -> StepView:
        return next(step for stage in self.walk.view().stages for step in stage.steps if step.key == key)

    def ends(self, key: str, most_s: float = 60.0) -> StepView:
        """The step, once it is in hand no more."""
        self.until(lambda: self.walk.view().walk is None, most_s)
        return self.step(key)

    def asks(self, start: str, most_s: float = 60.0) -> WalkView:
        """The walk, once it asks for what begins like this."""
        self.until(lambda: self.now().prompt.text.startswith(start), most_s)
        return self.now()

    def offers(self) -> list[str]:
        return [offer.press for offer in self.now().offers]

    def due(self) -> list[str]:
        found = (step for stage in self.walk.view().stages for step in stage.steps)
        return [step.key for step in found if step.state in (StepState.DUE, StepState.STALE)]

    @property
    def shop_inputs(self) -> Mapping[str, Input]:
        return self.service.shop.inputs

    def told(self) -> str:
        return repr(self.walk.view().walk)
