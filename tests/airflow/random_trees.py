"""Random systems of ducts for the properties: smooth to rough, laminar to turbulent, sealed gates, gates inside."""

import random

from hypothesis import strategies as st

from gatekeeper.airflow.air import Air
from gatekeeper.airflow.fan import FanCurve
from gatekeeper.airflow.network import Collector, Duct, Gate, Hood, Network


@st.composite
def systems(draw: st.DrawFn, *, most_leaves: int = 40) -> tuple[Network, list[str]]:
    """A network of 2 to ``most_leaves`` leaves with a set of open gates."""
    rng = random.Random(draw(st.integers(0, 2**32)))
    leaves = draw(st.integers(2, most_leaves))
    return random_system(rng, leaves)


def random_system(rng: random.Random, leaves: int) -> tuple[Network, list[str]]:
    """A network with ``leaves`` hoods from one source of chance, and some of its gates as the open ones."""
    scale = rng.choice((0.05, 1.0, 1.0, 3.0))
    ends = [f"hood {place}" for place in range(leaves)]
    ducts: list[Duct] = []
    gates: list[Gate] = []
    seal_share, inner_share = rng.choice((0.0, 0.0, 0.3)), rng.choice((0.0, 0.0, 0.3))

    def lay(upstream: str, downstream: str, *, is_leaf: bool) -> None:
        diameter_m = rng.uniform(0.05, 0.3)
        roughness_m = diameter_m * rng.choice((0.0, 1e-5, 1e-3, 0.01, 0.05)) * rng.random()
        length_m = rng.choice((0.0, 0.2, 3.0, 30.0)) * rng.random()
        name = f"duct {len(ducts)}"
        ducts.append(
            Duct(
                name,
                upstream,
                downstream,
                length_m,
                diameter_m,
                roughness_m,
                rng.choice((0.0, 0.3, 5.0)) * rng.random(),
            )
        )
        if (is_leaf and rng.random() < 0.9) or rng.random() < inner_share:
            leak_m2 = (
                0.0 if rng.random() < seal_share else diameter_m**2 * rng.choice((1e-5, 1e-3, 1e-2)) * rng.random()
            )
            gates.append(Gate(f"gate {len(gates)}", name, rng.random() * 0.3, leak_m2, 0.61))

    open_ends = list(ends)
    joint = 0
    while len(open_ends) > 1:
        meeting = [
            open_ends.pop(rng.randrange(len(open_ends))) for _ in range(min(len(open_ends), rng.choice((2, 2, 3))))
        ]
        node = f"joint {joint}"
        joint += 1
        for end in meeting:
            lay(end, node, is_leaf=end in ends)
        open_ends.append(node)
    if rng.random() < 0.8:
        lay(open_ends[0], "inlet", is_leaf=False)
        root = "inlet"
    else:
        root = open_ends[0]
    shut_pa = rng.choice((300.0, 2500.0, 20000.0)) * scale
    free_m3s = rng.choice((0.05, 0.5, 3.0)) * scale
    shares = [0.0, *sorted(rng.sample(range(1, 20), rng.choice((1, 4, 9)))), 20]
    fan = FanCurve(
        tuple(free_m3s * share / 20 for share in shares), tuple(shut_pa * (1 - (share / 20) ** 2) for share in shares)
    )
    network = Network(
        air=Air(1.2041, rng.choice((1.8205e-5, 1e-4))),
        ducts=tuple(ducts),
        hoods=tuple(Hood(end, end, rng.choice((0.05, 0.5, 1.4))) for end in ends),
        gates=tuple(gates),
        collector=Collector(root, rng.choice((0.0, 500.0)), rng.choice((0.0, 1500.0))),
        fan=fan,
    )
    wanted = rng.choice((0.0, 0.1, 0.5, 1.0))
    return network, [gate.name for gate in gates if rng.random() < wanted]
