"""A whole shop is commissioned by somebody who only does what is asked, with the power cut off every few steps."""

import sys
from pathlib import Path

from gatekeeper.control.snapshot import CoreView
from gatekeeper.service.face_commissioning import StepState, WalkView
from sim.faults import MotorFault

sys.path.insert(0, str(Path(__file__).parent))
from commissioning_room import DUCTED, Room

#: A motor that rests for a minute where others rest for an hour.
QUICK = DUCTED.replace("    coast: 4 s\n", "    coast: 4 s\n    starts_per_hour: 120 per hour\n    rest: 5 s\n")
#: What is pressed wherever it is offered; a press of a motor's run and a gate's move among them.
PRESSES = ("isolated", "hold", "clear", "back", "run", "shut", "open", "release", "good", "reset")
#: What the person answers once the thing has happened.
ANSWERS = ("clicked", "right", "arrived")


class Ada:
    """Does what the screen says, with the shop in front of her."""

    def __init__(self, room: Room) -> None:
        self.room = room

    def core(self) -> CoreView:
        view = self.room.service.last_view
        assert view is not None
        return view

    def walk_through(self, key: str) -> None:
        room = self.room
        assert room.press("begin", key).accepted, key
        for _ in range(400):
            walk = room.walk.view().walk
            if walk is None:
                return
            self.act(walk)
            room.pass_s(0.3)
        raise AssertionError(room.told())

    def act(self, walk: WalkView) -> None:
        room, (kind, _, subject) = self.room, walk.key.partition("/")
        offered = {offer.press for offer in walk.offers}
        until_s = walk.prompt.until_s
        if until_s is not None and until_s - room.clock.now() > 10.0:  # a motor rests, or runs on
            room.pass_s(until_s - room.clock.now(), 0.5)
        elif offered & {"locked", "joined"}:
            isolated = MotorFault.DOES_NOT_START if "locked" in offered else None
            room.plant.faults.break_motor("fan", isolated)
            room.press("locked" if isolated else "joined")
        elif kind in ("tool", "start"):
            self.work_machine(walk, subject)
        elif kind in ("contact", "stop"):
            self.work_contact(walk, kind, subject)
        elif kind == "selector" and walk.prompt.text.startswith("Turn"):
            room.plant.turn_selector(subject, walk.prompt.text.rstrip(".").split()[-1])
        elif kind == "bond":
            room.press("measured", ohm="0.6")
        elif kind == "suction":
            self.read_gauge(offered)
        elif kind == "ends" and "write" in offered:
            room.press("write")
        elif kind == "gate" and "arrived" in offered:
            room.pass_s(1.0)
            room.press("arrived")
        elif offered & {"clicked", "right"}:
            room.pass_s(1.0)
            room.press(next(press for press in ANSWERS if press in offered))
        else:
            for press in PRESSES:
                if press in offered:
                    room.press(press)
                    break

    def work_machine(self, walk: WalkView, tool: str) -> None:
        plant, said = self.room.plant, walk.prompt.text
        if said.startswith("Turn the Hand-Off-Auto switch"):
            plant.turn_selector("selector", "hand")
        elif "at hand. Turn it to Auto" in said:
            plant.turn_selector("selector", "auto")
        elif said.startswith(("Switch", "Start")):
            plant.switch_tool(tool, said.endswith(("now, and let it run for a few seconds.", "let it run.")))
        elif said.endswith("Switch it off."):
            plant.switch_tool(tool, False)

    def work_contact(self, walk: WalkView, kind: str, subject: str) -> None:
        room, name = self.room, subject.rpartition(":")[2]
        if "hold" in {offer.press for offer in walk.offers}:
            room.press("hold")
        elif walk.prompt.text.startswith("Press the switch at the"):
            end = 1.0 if subject.startswith("open:") else 0.0
            for place in (0.5, end, 0.5):
                room.plant.push_gate(name, place)
                room.pass_s(1.0)
        elif "release" in {offer.press for offer in walk.offers}:
            room.press("release")
        elif "Press reset key" in walk.prompt.text:
            room.pass_s(0.5)
            room.plant.press("reset key")
        elif "reset" in {offer.press for offer in walk.offers}:
            room.press("reset")
        elif room.shop_inputs[name].kind.value in ("air here", "reset"):
            room.plant.press(name)
        elif walk.prompt.text.startswith(("Press", "Trip", "Open")):
            room.plant.set_input(name, True)
            room.pass_s(0.3)
            room.plant.set_input(name, False)

    def read_gauge(self, offered: set[str]) -> None:
        room = self.room
        if "leave" in offered:
            room.press("leave")
        elif self.core().motors[0].on:
            room.pass_s(6.0)
            room.press("read", tap="main", suction="1.6 kPa")
        else:
            room.plant.switch_tool("saw", True)


def test_every_step_of_a_shop_is_passed_and_nothing_is_left(tmp_path: Path) -> None:
    room = Room(tmp_path, text=QUICK)
    try:
        room.pass_s(5.0)
        ada = Ada(room)
        count = 0
        while (key := room.walk.view().next_key) is not None:
            if key.startswith(("contact/", "gate/", "contactor/")):
                room.plant.turn_selector("selector", "auto")
                room.pass_s(1.0)
            ada.walk_through(key)
            for tool in ("saw", "planer"):
                room.plant.switch_tool(tool, False)
            room.until(lambda: not ada.core().motors[0].on, 3600.0)
            count += 1
            if count % 9 == 0:
                room.restart()
                room.pass_s(5.0)
        view = room.walk.view()
        states = {step.key: step.state for stage in view.stages for step in stage.steps}
        assert {key: state for key, state in states.items() if state is not StepState.PASSED} == {}
        assert view.sentence == f"{len(states)} of {len(states)} are done."
        record = room.walk.record()
        assert all(step.results[-1].stands for stage in record.stages for step in stage.steps)
        assert (record.gone, record.damaged) == ((), 0)
    finally:
        room.close()
