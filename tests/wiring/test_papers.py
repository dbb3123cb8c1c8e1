"""The electrician's sheet and the signs: what they say, by the shop's own file."""

import re
from html import unescape

import pytest
from typer.testing import CliRunner

from gatekeeper.cli import app
from gatekeeper.shop.examples import example
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop
from gatekeeper.wiring_plan.electrician import brought_by_electrician, electrician_sheet
from gatekeeper.wiring_plan.plan import wiring_plan
from gatekeeper.wiring_plan.signs import sign_pages


def shop_of(name: str, *, without: str = "") -> Shop:
    text = example(name).read_text(encoding="utf-8")
    assert without in text
    shop = load_shop(text.replace(without, "") if without else text, name)
    assert not isinstance(shop, Faults), shop.each
    return shop


def rows_of(shop: Shop, kind: str) -> list[list[str]]:
    """The rows of one table of the sheet."""
    pages = "".join(electrician_sheet(shop, wiring_plan(shop, "x")))
    (table,) = re.findall(rf'<table class="words {kind}">.*?<tbody>(.*?)</tbody>', pages)
    return [
        [unescape(cell) for cell in re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row)]
        for row in re.findall(r"<tr>(.*?)</tr>", table)
    ]


def said_by(shop: Shop) -> str:
    return unescape(re.sub(r"<[^>]+>", " ", "".join(electrician_sheet(shop, wiring_plan(shop, "x")))))


def test_what_the_electrician_brings_goes_by_how_each_motor_is_switched(more_devices: Shop) -> None:
    assert [(piece.what, piece.rating) for piece in brought_by_electrician(shop_of("one-evening"))] == [
        ("disconnect that takes a lock", "collector: 1.12 kW"),
        ("contactor with overload relay, reset by hand", "collector: 1.12 kW, AC-3, coil 24 V"),
        ("Hand-Off-Auto switch", "collector, in its coil circuit"),
        ("mushroom button, latching, normally closed", "for every coil circuit, AC-15"),
        ("supply for the coil circuits", "24 V, by the coils"),
    ]
    brought = [piece.what for piece in brought_by_electrician(more_devices)]
    assert brought.count("disconnect that takes a lock") == len(more_devices.motors)
    assert brought.count("contactor with overload relay, reset by hand") == 1
    assert brought.count("starter with push buttons and overload relay, reset by hand") == 1
    assert brought.count("variable-frequency drive, with what its manual wants before it") == 2
    buttons = [piece for piece in brought_by_electrician(shop_of("garage-one-collector")) if "mushroom" in piece.what]
    assert buttons == []  # the garage's own red button has both contacts


def test_it_has_two_pages() -> None:
    assert len(electrician_sheet(shop_of("school-room"), wiring_plan(shop_of("school-room"), "x"))) == 2


def test_each_contact_has_its_rating_its_fitter_its_states_and_its_test() -> None:
    rows = rows_of(shop_of("shared-twelve"), "contacts")

    assert rows[0] == [
        "K1, X1:1 and X1:2",
        "Relay of collector, normally open",
        "coils: AC-15 or pilot duty, 24 V, twice the coil's current",
        "relay: the shop; its place in the coil circuit: the electrician",
        "open",
        "may stay as it was",
        "open",
        "pull the box's plug while it runs: the contactor drops",
    ]
    assert [row[1].split(":")[0] for row in rows] == [
        "Relay of collector, normally open",
        "Relay of air cleaner, normally open",
        "Relay of shaker, normally open",
        "Clamps around one insulated wire each",
        "Red buttons",
        "Smoke detector",
    ]
    assert all(len(row) == 8 and all(row) for row in rows)


def test_other_starters_and_permits_say_how_they_end(more_devices: Shop) -> None:
    rows = {row[1].split(",")[0].split(" by")[0].split(":")[0]: row for row in rows_of(more_devices, "contacts")}

    assert rows["Relay of fan"][4:7] == ["open", "opens after its time", "opens after its time"]
    assert rows["Relays at the starter of vacuum"][4:7] == ["at rest", "motor runs on", "motor runs on"]
    assert rows["Contact permit"][4:] == [
        "open: no start",
        "may stay as it was",
        "open: no start",
        "running, the machine runs on when the contact opens",
    ]


def test_a_timer_behind_the_relay_is_said_on_the_sheet() -> None:
    vacuum = rows_of(shop_of("long-narrow"), "contacts")[1]

    assert vacuum[6] == "The wiring drops the contactor by itself after 5 s."


def test_starters_at_60_hz_are_sized_by_the_code_table() -> None:
    assert rows_of(shop_of("garage-one-collector"), "starters") == [
        [
            "collector",
            "1.49 kW, 2 hp, single-phase",
            "24 A at 115 V, 13.2 A at 208 V, 12 A at 230 V (2 hp row)",
            "to the plate's current, at most 115 % or 125 % of it",
            "30 A at 115 V, 16.5 A at 208 V, 15 A at 230 V",
            "60 A at 115 V, 33 A at 208 V, 30 A at 230 V",
            "AC-3, at least the plate's current; coil 24 V",
        ]
    ]


def test_starters_at_50_hz_are_estimates_and_say_so() -> None:
    shop = shop_of("long-narrow")

    assert rows_of(shop, "starters")[0] == [
        "collector",
        "2.2 kW, 3 hp, three-phase",
        "about 4.5 A at 400 V",
        "to the plate's current",
        "5.7 A and more",
        "by the starter's maker",
        "AC-3, at least the plate's current; coil 24 V",
    ]
    assert "Currents here are estimates of ours for 230 V single-phase and 400 V three-phase" in said_by(shop)


def test_what_shares_a_feeder_is_added_up_as_far_as_it_is_known() -> None:
    # 2 hp at 230 V: 12 A, a quarter more as the largest motor, and the machines' 6 + 5 + 8 + 4 + 6 + 4 A.
    assert (
        "subpanel: collector, table saw, jointer, planer, bandsaw, drum sander and mitre saw. All at once, as far as "
        "the shop file knows: 48 A (125 % of the largest motor, and the rest). Machines are counted as they run free, "
        "so cutting takes more. The controller leaves 2 s between two inrushes here; it cannot keep people from "
        "starting machines together. Whether this is one breaker, the shop file does not say: look."
    ) in said_by(shop_of("garage-one-collector"))


def test_what_must_be_hard_wired_is_said_whatever_the_shop_has() -> None:
    said = said_by(shop_of("one-evening"))

    for words in (
        "Emergency stop: a latching mushroom",
        "Fire: a heat or smoke detector breaks",
        "Overload relay at each",
    ):
        assert words in said
    assert "where fitted" in said
    assert "where fitted" not in said_by(shop_of("shared-twelve"))


def signs(shop: Shop) -> list[list[str]]:
    """The words of each sign."""
    return [
        [unescape(one) for one in re.findall(r"<(?:h2|p)(?: [^>]*)?>(.*?)</(?:h2|p)>", page)]
        for page in sign_pages(shop)
    ]


def test_the_signs_of_a_garage() -> None:
    assert signs(shop_of("garage-one-collector")) == [
        [
            "The collector starts by itself",
            "It starts when a machine starts, with nobody near.",
            "Lock its disconnect before you open it, and keep the key.",
            "Hang it at collector, and at its disconnect.",
        ],
        [
            "This gate moves by itself",
            "It moves without warning and feels nothing.",
            "Fingers out. Take its plug out before you reach in.",
            "Print it 6 times: saw gate, jointer gate, planer gate, bandsaw gate, sander gate and mitre gate.",
        ],
        [
            "No sparks, no metal here",
            "Wood dust only. No grinder, no nails, no embers, no floor sweepings.",
            "Hang it at the bin of collector and at every sweep.",
        ],
        [
            "Collector: how to run it by hand",
            "1. At the starter of the collector, turn Hand-Off-Auto to Off.",
            "2. Open the gate at your machine by hand. A gate on a servo is limp: push it.",
            "3. Turn it to Hand: the collector runs until you turn it back. At least one gate stays open.",
            "4. After the cut wait 8 s, then turn it to Off.",
            "5. When the controller works again, turn it to Auto.",
            "In danger press the red button. Out of order: do not open a box, call the electrician.",
            "Hang it at the starter of collector.",
        ],
    ]


def test_each_kind_of_gate_says_how_a_hand_moves_it() -> None:
    by_hand = [page for page in signs(shop_of("long-narrow")) if "by hand" in page[0]]

    assert [page[2] for page in by_hand] == [
        "2. Open the gate at your machine by hand. Take the drive off saw cabinet gate at its pin, then slide it. "
        "Planer gate stands shut by its spring. By hand as ever: bandsaw gate, lathe gate and drill gate.",
        "2. Open the gate at your machine by hand. A gate on a servo is limp: push it.",
    ]


def test_a_gate_on_the_network_is_unplugged_before_a_hand_moves_it(more_devices: Shop) -> None:
    steps = [line for page in signs(more_devices) if page[0].startswith("Fan") for line in page]

    assert "Take the plug out of away, then slide it." in steps[2]


def test_where_metal_goes_in_the_sign_keeps_wood_out() -> None:
    text = (
        example("one-evening")
        .read_text(encoding="utf-8")
        .replace("gates: saw gate", "gates: saw gate\n    makes: metal")
    )
    shop = load_shop(text, "x")
    assert not isinstance(shop, Faults), shop.each

    assert signs(shop)[-2][:2] == [
        "No wood dust here",
        "What goes into the collector burns wood dust. Never sweep or suck wood into it.",
    ]


def test_without_automatic_gates_no_sign_warns_of_one() -> None:
    assert [page[0] for page in signs(shop_of("one-evening"))] == [
        "The collector starts by itself",
        "No sparks, no metal here",
        "Collector: how to run it by hand",
    ]


def test_whom_to_call_stands_on_the_sign(every_device: Shop) -> None:
    assert "Call: Electrician: 12 34." in signs(every_device)[-1]


@pytest.mark.parametrize("given", [True, False])
def test_the_command_writes_one_page(tmp_path, monkeypatch: pytest.MonkeyPatch, given: bool) -> None:
    monkeypatch.chdir(tmp_path)
    name = "hang.html" if given else "signs.html"

    result = CliRunner().invoke(app, ["signs", "shared-twelve", *(["--out", name] if given else [])])

    assert (result.exit_code, result.stdout) == (
        0,
        f"Signs written to {name}. Print them from a browser, black on paper.\n",
    )
    assert (tmp_path / name).read_text(encoding="utf-8").count('<section class="sign') == 6


@pytest.mark.parametrize(
    ("shop", "machine", "said"),
    [
        (
            "one-evening",
            "table saw",
            [
                "Slide saw gate to both ends by hand: shut, it must seal.",
                "Start table saw with the collector in Off: the page shows it, nothing moves.",
            ],
        ),
        (
            "garage-one-collector",
            "planer",
            [
                "Find both ends of planer gate by hand, then from the page, fingers out of the slot.",
                "Start planer with the collector in Off: the page shows it, its gate moves, nothing else does.",
                'Calibrate it: gatekeeper calibrate SHOP.yaml "planer".',
            ],
        ),
    ],
)
def test_a_machine_is_tried_by_how_its_gate_moves(shop: str, machine: str, said: list[str]) -> None:
    (step,) = [step for step in wiring_plan(shop_of(shop), "x").steps if step.title == machine]
    assert list(step.doing[2:]) == said
