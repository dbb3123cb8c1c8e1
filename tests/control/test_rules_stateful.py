"""Every rule under every order of events: Hypothesis drives the core, the simulator's checker judges the record.

Nothing is assumed or filtered: a move that a shop cannot make becomes a tick. ``GATEKEEPER_LONG_RULES=N`` plays N
examples of 150 moves in each shop instead of the short run (see README.md beside this file). Run with ``-s`` for the
table of what was played.
"""

import os
from collections import Counter

import hypothesis.strategies as st
import pytest
from hypothesis import HealthCheck, Phase, event, seed, settings
from hypothesis.stateful import RuleBasedStateMachine, initialize, rule, run_state_machine_as_test
from seeded_search import ASKED, DOORS, LONG_S, SHORT_S, put_right
from shop_plans import PLANS
from shop_player import Player

LONG = int(os.environ.get("GATEKEEPER_LONG_RULES", "0"))
COUNTS = Counter()
index = st.integers(0, 3)


class AnyOrder(RuleBasedStateMachine):
    """One shop under any order of events."""

    plan = ""
    player = None

    @initialize(punctual=st.booleans(), settled=st.booleans())
    def wakes(self, punctual, settled):
        self.player = Player(PLANS[self.plan], punctual=punctual)
        event("every deadline served" if punctual else "the loop may stand still")
        self.player.read_everything()
        self.player.wait(4.0 if settled else 0.5)

    @rule(for_s=st.sampled_from(SHORT_S))
    def waits(self, for_s):
        self.player.wait(for_s)

    @rule(for_s=st.sampled_from(LONG_S))
    def waits_long(self, for_s):
        self.player.wait(for_s)

    @rule()
    def goes_to_the_next_deadline(self):
        self.player.to_next_deadline()

    @rule(for_s=st.sampled_from((0.5, 3.0, 6.0, 12.0, 40.0)))
    def stands_still(self, for_s):
        self.player.late(for_s)

    @rule(index=index)
    def tool_starts(self, index):
        self.player.tool(index, "running")

    @rule(index=index)
    def tool_stops(self, index):
        self.player.tool(index, "stopped")

    @rule(index=index, state=st.sampled_from(("running", "stopped", "stale")), fresh=st.booleans())
    def sensor_says(self, index, state, fresh):
        self.player.tool(index, state, fresh)

    @rule(index=index, state=st.sampled_from(("open", "shut", "between")))
    def switch_says(self, index, state):
        self.player.gate_says(index, state)

    @rule(index=index)
    def driver_reports_a_miss(self, index):
        self.player.misses(index)

    @rule(index=index, state=st.sampled_from(("running", "still")))
    def motor_is_seen(self, index, state):
        self.player.motor_says(index, state)

    @rule(index=index, moving=st.booleans())
    def air_is_told(self, index, moving):
        self.player.air_says(index, moving)

    @rule(index=index, state=st.sampled_from(("open", "made")))
    def circuit(self, index, state):
        self.player.circuit(index, state)

    @rule(index=index, state=st.sampled_from(("hand", "off", "auto")))
    def hand_switch(self, index, state):
        self.player.hand(index, state)

    @rule(state=st.sampled_from(("open", "shut")))
    def shop_key(self, state):
        self.player.key(state)

    @rule(quiet=st.booleans())
    def quiet_hours(self, quiet):
        self.player.quiet(quiet)

    @rule(
        what=st.sampled_from(ASKED),
        index=st.integers(-1, 5),
        who=st.sampled_from(DOORS),
        for_s=st.sampled_from((None, 0.0, 5.0, 40.0, 99999.0)),
    )
    def somebody_asks(self, what, index, who, for_s):
        self.player.ask(what, index, who, for_s)

    @rule(index=st.integers(0, 5), value=st.sampled_from((None, 0.0, 2.0, 30.0, 400.0, -1.0, 1e5)))
    def setting(self, index, value):
        self.player.setting(index, value)

    @rule(what=st.sampled_from(("jam", "dead", "weld")), index=index, broken=st.booleans())
    def machinery_breaks(self, what, index, broken):
        self.player.breaks(what, index, broken)

    @rule()
    def somebody_puts_everything_right(self):
        put_right(self.player)

    @rule(
        clean=st.booleans(),
        same_boot=st.booleans(),
        down_s=st.sampled_from((0.5, 3.0, 20.0, 100.0)),
        lost=st.booleans(),
        damaged=st.sampled_from((False, False, False, True)),
        silent=st.sampled_from((False, False, False, True)),
    )
    def restarts(self, **how):
        self.player.restart(**how)

    def teardown(self):
        if self.player is not None:
            self.player.wait(30.0)
            self.player.finish()
            COUNTS.update(self.player.counts)


@pytest.mark.slow
def test_no_order_of_events_breaks_a_rule():
    profile = settings(
        database=None,
        deadline=None,
        max_examples=LONG or 50,
        stateful_step_count=150 if LONG else 50,
        suppress_health_check=list(HealthCheck),
        print_blob=True,
        # Shrinking takes minutes; the story of the last entries is told anyway, and the long run shrinks.
        phases=list(Phase) if LONG else [Phase.generate],
    )
    for number, name in enumerate(PLANS):
        machine = type("AnyOrder", (AnyOrder,), {"plan": name})
        run_state_machine_as_test(machine if LONG else seed(number)(machine), settings=profile)
    table = "\n".join(f"{number:9} {name}" for name, number in sorted(COUNTS.items()))
    print(f"\n{table}")
    # What was never played proves nothing: every kind of event, every request and every restart was.
    played = {name for name, number in COUNTS.items() if number}
    wanted = {f"asked {what}" for what in ASKED}
    wanted |= {"tool running", "tool stale", "switch from outside", "miss from outside", "air from outside"}
    wanted |= {"jam begins", "dead begins", "weld begins", "stood still", "restart damaged", "restart, last step lost"}
    wanted |= {f"restart {end}, {boot} boot" for end in ("clean", "killed") for boot in ("same", "new")}
    assert wanted <= played
