"""Random walks over the bench through the whole stack; a checker that does not know the core judges the record."""

from collections import Counter
from random import Random

import pytest
from plant_rig import Rig, example_shop

from sim.bench import VirtualBench
from sim.checker import check_record

ACTIONS = 60
WAITS_S = (0.1, 0.5, 1.0, 2.0, 4.0, 8.0)
WEIGHTS = {"Machines": 12.0, "Gates": 2.0, "Sensors": 0.3, "Collectors": 0.5, "Circuits": 0.6, "Buttons": 1.0}
MENDS = ("free", "heal", "no")


@pytest.mark.parametrize(("name", "seed"), [("garage-one-collector", 1), ("long-narrow", 2), ("shared-twelve", 3)])
def test_whatever_people_do_at_the_bench_the_record_breaks_no_rule(name: str, seed: int) -> None:
    chance, done = Random(seed), Counter[str]()
    rig = Rig(example_shop(name))
    bench = VirtualBench(rig.plant)
    rig.run(4.0)
    for _ in range(ACTIONS):
        controls = bench.controls()
        mends = [(control, choice) for control in controls for choice in control.choices if choice.to in MENDS]
        if mends and chance.random() < 0.3:
            control, choice = chance.choice(mends)
        else:
            control = chance.choices(controls, [WEIGHTS[control.group] for control in controls])[0]
            choice = chance.choice(control.choices)
        assert bench.work(control.key, choice.to).accepted
        done[control.group] += 1
        if chance.random() < 0.3:
            asked, subject = chance.choice(
                [("reset", None), ("stop", None), *[("release", gate) for gate in rig.shop.gates]]
            )
            rig.ask(asked, subject)
            done[asked] += 1
        rig.run(chance.choice(WAITS_S))
    rig.close()
    print(f"{name}: {dict(done)}, {dict(Counter(entry.kind for entry in rig.record))}")

    assert check_record([entry.as_json() for entry in rig.record]) == []
    assert rig.entries("dropped") == []
    assert done["Machines"] > ACTIONS / 4
    assert len(rig.entries("motor_command", word="on")) >= 2
    assert len(rig.entries("gate_command")) >= 20
