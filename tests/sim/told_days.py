"""A small day told by hand, so that the report's drawings and sentences can be checked without playing anything."""

from dataclasses import dataclass

from gatekeeper.shop.examples import example
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop
from sim.figures import Figures, HoodPoint, MessageAt, MotorFigures, Span, ToolFigures, Tracks


@dataclass(frozen=True, slots=True)
class Told:
    figures: Figures
    tracks: Tracks


def garage() -> Shop:
    shop = load_shop(example("garage-one-collector").read_text(encoding="utf-8"), "garage-one-collector")
    assert not isinstance(shop, Faults)
    return shop


def cut_with_air(begin_s: float, end_s: float, flow_m3s: float, need_m3s: float, wait_s: float) -> list[HoodPoint]:
    """Still until the collector turns, then its air to the end of the cut."""
    rise_s = min(begin_s + wait_s + 3.0, end_s)
    return [
        HoodPoint(begin_s, 0.0, need_m3s),
        HoodPoint(begin_s + wait_s, 0.0, need_m3s),
        HoodPoint(rise_s, flow_m3s, need_m3s),
        HoodPoint(end_s, flow_m3s, need_m3s, is_last=True),
    ]


def three_hours() -> Told:
    """A planer twice, many short cuts at the mitre saw, one without air, one stuck gate; an hour of rest between."""
    planer = [Span(600.0, 840.0, "running"), Span(8000.0, 8300.0, "running")]
    mitre = [Span(1500.0 + 40.0 * number, 1506.0 + 40.0 * number, "running") for number in range(30)]
    need = 0.165
    hoods = {
        "planer": [*cut_with_air(600.0, 840.0, 0.22, 0.2124, 1.5), *cut_with_air(8000.0, 8300.0, 0.19, 0.2124, 1.5)],
        "mitre saw": [HoodPoint(1500.0, 0.0, need), HoodPoint(1506.0, 0.04, need, is_last=True)],
    }
    for cut in mitre[1:]:
        hoods["mitre saw"] += cut_with_air(cut.from_s, cut.to_s, 0.17, need, 0.0)
    gates = {
        "planer gate": [Span(0.0, 600.0, "shut"), Span(600.0, 601.5, "moving"), Span(601.5, 1501.5, "open")],
        "mitre gate": [Span(1500.0, 1501.5, "moving"), Span(1501.5, 10800.0, "open")],
        "saw gate": [Span(8000.0, 8001.0, "moving"), Span(8001.0, 10800.0, "between")],
    }
    motors = {
        "collector": [
            Span(600.0, 855.0, "running"),
            Span(855.0, 869.0, "coasting"),
            Span(1500.0, 2760.0, "running"),
            Span(2760.0, 2774.0, "coasting"),
            Span(8001.5, 8320.0, "running"),
            Span(8320.0, 8334.0, "coasting"),
        ]
    }
    messages = [
        MessageAt(8004.0, "gate_stuck", "saw gate", "today", True),
        MessageAt(8006.0, "gate_stuck", "saw gate", "today", False),
        MessageAt(8007.0, "gate_stuck", "saw gate", "today", True),
    ]
    tracks = Tracks(
        tools={"planer": planer, "mitre saw": mitre},
        gates=gates,
        motors=motors,
        hoods=hoods,
        messages=messages,
        faults=[Span(8000.0, 10800.0, "stuck: saw gate")],
    )
    figures = Figures(
        hours_s=10800.0,
        cuts=32,
        cut_s=720.0,
        cuts_without_air=1,
        chips_made_kg=6.0,
        chips_caught_kg=5.6,
        chips_escaped_kg=0.4,
        chips_left_kg=0.1,
        chips_left_in_kg={"main": 0.06, "drop 1": 0.03, "drop 2": 0.008, "drop 3": 0.002},
        motors={"collector": MotorFigures(3, 1833.5, 0.76, 2, 13)},
        tools={
            "planer": ToolFigures(2, 540.0, 0, 0.93, 0.89, 5.0, 4.8, 7.0),
            "mitre saw": ToolFigures(30, 180.0, 1, 0.95, 1.03, 1.0, 0.8, 92.0),
        },
        motor_starts=3,
        worst_starts_in_an_hour=2,
        energy_kwh=0.76,
        gate_moves=3,
        worst_moves_in_an_hour=2,
        busiest_gate="saw gate",
        busiest_gate_moves_in_an_hour=2,
        noise_s=1833.5,
        messages={"gate_stuck": 2},
    )
    return Told(figures, tracks)
