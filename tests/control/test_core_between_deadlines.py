"""Between its deadlines nothing in the core changes by itself, and ``next_deadline`` names every one of them.

The same random plays are driven plainly and with looks in between that bring no news. A tick before a deadline only
renews leases and keeps the beat; a repeated reading makes the core look at everything. If either finds something to do,
a deadline was missing; if the record goes on in another way, the look was more than a look.
"""

import random

import pytest
import seeded_search
import shop_plans
from shop_player import Player

from gatekeeper.control.messages import Ticked, ToolSeen

SEEDS = range(8)


class Plain(Player):
    """Remembers what was told, without the numbering."""

    def __init__(self, plan):
        self.told = []
        super().__init__(plan)

    def restart(self, **more):
        super().restart(**(more | {"lost": False}))  # which step is the last one is what differs here

    def _one(self, event):
        commands = super()._one(event)
        self.told += [
            (e.t_s, e.boot, e.run, e.kind, e.subject, e.value, e.rule, e.why)
            for e in self.held_back
            if e.kind != "tick"
        ]
        return commands


class Restless(Plain):
    """Looks in between: after every step, and once on the way to the next instant."""

    def __init__(self, plan, look):
        self.draw = random.Random(3)
        self.looks = 0
        self.event_of = look
        super().__init__(plan)

    def step(self, event):
        commands = super().step(event)
        self.look()
        return commands

    def wait(self, for_s):
        end_s = self.now_s + for_s
        while self.now_s < end_s:
            ahead = [self.core.next_deadline(), self.due[0][0] if self.due else None, end_s]
            next_s = max(self.now_s, min(instant for instant in ahead if instant is not None))
            if next_s - self.now_s > 0.001:
                self.now_s += (next_s - self.now_s) * self.draw.uniform(0.1, 0.9)
                self.look()
            super().wait(next_s - self.now_s)
            self.now_s = next_s
        super().wait(0.0)

    def look(self):
        """A look that brings no news must find nothing to do."""
        event, due_s, told = self.event_of(self), self.core.next_deadline(), len(self.told)
        self._one(event)
        found = [entry for entry in self.told[told:] if entry[3:6] != ("tool", getattr(event, "tool", None), None)]
        del self.told[told:]
        assert [entry.kind for entry in self.held_back] == ["tick" if event == Ticked() else "tool"], found
        assert self.core.next_deadline() == due_s
        self.looks += 1


def tick(player):
    return Ticked()


def repeat(player):
    """The last reading of a tool, once more: no news, but a whole step."""
    read = [tool for tool in player.core.world.tools.values() if tool.reading != "unknown"]
    return ToolSeen(*((tool := player.draw.choice(read)).name, tool.reading)) if read else Ticked()


def played(player, seed):
    """What a play tells."""
    draw = random.Random(seed)
    player.read_everything()
    for do in draw.choices(seeded_search.DOERS, seeded_search.WEIGHTS, k=80):
        do(player, draw)
    player.wait(30.0)
    player.finish()
    return player.told


@pytest.mark.parametrize("name", shop_plans.PLANS)
@pytest.mark.parametrize("look", [tick, repeat])
def test_a_look_in_between_finds_nothing_to_do(name, look):
    plan = shop_plans.PLANS[name]
    for seed in SEEDS:
        restless = Restless(plan, look)
        assert played(restless, seed) == played(Plain(plan), seed)
        assert restless.looks > 50
