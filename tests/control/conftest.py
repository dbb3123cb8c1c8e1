"""What the tests of the core share: the support folder on the path, and a driver that checks each record at the end."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).with_name("support")))

import shop_plans
from shop_player import Player

from gatekeeper.control.messages import MoveGate, SwitchMotor


class Shop(Player):
    """A player whose steps give what left for the wires, as (instant, name, word)."""

    def __init__(self, plan, **more):
        self.sent = []
        super().__init__(plan, **more)

    def _one(self, event):
        commands = super()._one(event)
        for command in commands:
            if isinstance(command, MoveGate):
                self.sent.append((self.now_s, command.gate, command.what))
            elif isinstance(command, SwitchMotor) and command.what != "renew":
                self.sent.append((self.now_s, command.motor, command.what))
        return commands

    def taken(self):
        """What left since the last look, with times counted from 100 s, where every shop here begins."""
        sent, self.sent = self.sent, []
        return [(round(at_s - 100.0, 3), name, word) for at_s, name, word in sent]

    def answer(self, what, subject=None, **more):
        """The answer's code to a request."""
        from gatekeeper.control.messages import Answer, Requested

        (answer,) = [c for c in self.step(Requested(what, subject, **more)) if isinstance(c, Answer)]
        return answer.code

    def state(self, motor="fan"):
        return str(self.core.world.motors[motor].state)

    def alarms(self):
        return {code for code, _ in self.core.world.alarms}

    def starts(self, name):
        """A tool is seen to start."""
        self.tool(tuple(self.plan.tools).index(name), "running")

    def stops(self, name):
        self.tool(tuple(self.plan.tools).index(name), "stopped")


@pytest.fixture
def open_shop():
    """Make a shop that was read and has settled (2 s); its record is judged when the test ends."""
    shops = []

    def make(plan=None, *, settled=True, **more):
        shop = Shop(plan or shop_plans.two_tools(), **more)
        shops.append(shop)
        if settled:
            shop.read_everything()
            shop.wait(10.0)
            shop.taken()
        return shop

    yield make
    for shop in shops:
        shop.finish()
