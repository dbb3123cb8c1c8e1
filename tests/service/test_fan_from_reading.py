"""A reading becomes a change to the shop file, with what it means for each machine; a maker's curve stays."""

import difflib
import re

import pytest

from gatekeeper.airflow.fan_reading import suction_at
from gatekeeper.airflow.solve import prepare
from gatekeeper.service.ducting import network_of
from gatekeeper.service.fan_reading import FanProposal, NoCorrection, fan_from_reading
from gatekeeper.shop.examples import example
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop

GIVEN = example("garage-one-collector").read_text(encoding="utf-8")
ESTIMATED = re.sub(r"    fan_curve:\n(      - .*\n)+", "", GIVEN)
PLANER = ("planer gate",)


def shop_of(text: str) -> Shop:
    shop = load_shop(text, "garage.yaml")
    assert isinstance(shop, Shop)
    return shop


def model_pa(text: str, duct: str, gates: tuple[str, ...]) -> float:
    return suction_at(prepare(network_of(shop_of(text), "collector")), duct, gates)


def asked(text: str, suction_pa: float, tap: str = "main near", gates: tuple[str, ...] = PLANER) -> FanProposal:
    return fan_from_reading(text, "garage.yaml", "collector", tap, suction_pa, gates)


def refused(text: str, suction_pa: float, tap: str = "main near", gates: tuple[str, ...] = PLANER) -> str:
    with pytest.raises(NoCorrection) as no:
        asked(text, suction_pa, tap, gates)
    return str(no.value)


def test_an_estimate_is_corrected_in_the_file_and_every_machine_is_told() -> None:
    proposal = asked(ESTIMATED, 1300.0)
    assert proposal.factor == pytest.approx(0.818, abs=0.001)
    assert list(proposal.said) == [
        "By the estimate, collector gives 6.4 in wg at main near with planer gate open; "
        "the gauge showed 5.2 in wg, 19 % less.",
        "The fan of collector then gives 0.82 times the pressure at 0.90 times the air of the estimate, "
        "as the same fan does at another speed; this gives the reading.",
        "table saw: 500 cfm alone instead of 555 cfm, 10 % less; it needs 400 cfm.",
        "jointer: 515 cfm alone instead of 570 cfm, 10 % less; it needs 400 cfm.",
        "planer: 465 cfm alone instead of 515 cfm, 10 % less; it needs 450 cfm.",
        "bandsaw: 490 cfm alone instead of 545 cfm, 10 % less; it needs 400 cfm.",
        "drum sander: 495 cfm alone instead of 550 cfm, 10 % less; it needs 450 cfm.",
        "mitre saw: 460 cfm alone instead of 510 cfm, 10 % less; it needs 350 cfm.",
    ]
    assert proposal.text is not None
    changed = [
        line
        for line in difflib.ndiff(ESTIMATED.splitlines(), proposal.text.splitlines())
        if line.startswith(("+", "-", "?"))
    ]
    assert changed == ["+     suction_reading: {duct: main near, suction: 5.219 in wg, open: [planer gate]}"]
    # The file as it is proposed shows what the gauge showed.
    assert model_pa(proposal.text, "main near", PLANER) == pytest.approx(1300.0, rel=1e-3)


def test_a_second_reading_replaces_the_first_and_is_reckoned_from_the_estimate_again() -> None:
    first = asked(ESTIMATED, 1300.0).text
    assert first is not None
    second = asked(first, 1200.0, "inlet of collector", ("planer gate", "saw gate"))
    assert second.text is not None
    assert "suction_reading: {duct: riser, suction: 4.818 in wg, open: [saw gate, planer gate]}" in second.text
    assert second.text.count("suction_reading") == 1
    # The same reading without the first one gives the same curve.
    assert second.factor == asked(ESTIMATED, 1200.0, "riser", ("planer gate", "saw gate")).factor


def test_a_short_machine_is_said_to_get_too_little() -> None:
    said = asked(ESTIMATED, 1100.0).said
    assert any(re.fullmatch(r"planer: 4\d\d cfm alone .* it needs 450 cfm, too little\.", line) for line in said)


def test_a_reading_by_the_estimate_only_counts_as_measured() -> None:
    proposal = asked(ESTIMATED, model_pa(ESTIMATED, "main near", PLANER))
    assert proposal.said[0].endswith("the gauge showed 6.4 in wg, the same.")
    assert proposal.said[1] == (
        "That is as near as an estimate can be; with the reading in the file it counts as measured."
    )
    assert proposal.said[2] == "table saw: 555 cfm alone, as before; it needs 400 cfm."


@pytest.mark.parametrize(
    ("share", "said"),
    [
        (
            0.7,
            "The curve is given and stays as it is. Less suction than by it: look at the filter, at gates and "
            "clean-outs that leak, at a loose hose, and whether the fan turns the right way.",
        ),
        (1.02, "That is as near as gauges and tables go: the curve fits."),
        (
            1.3,
            "The curve is given and stays as it is. More suction than by it: something in front of the hole lets less "
            "air in than the shop file says. Look at the gate, the hose and the hood, then at the lengths in the file.",
        ),
    ],
)
def test_a_makers_curve_is_never_moved(share: float, said: str) -> None:
    proposal = asked(GIVEN, share * model_pa(GIVEN, "main near", PLANER))
    assert proposal.text is None
    assert proposal.machines == ()
    assert proposal.factor == pytest.approx(share)
    assert proposal.said[0].startswith("By the curve in the shop file, collector gives 8.6 in wg at main near")
    assert proposal.said[1] == said


def test_what_is_too_far_from_the_estimate_changes_nothing() -> None:
    assert refused(ESTIMATED, 600.0) == (
        "By the estimate, collector gives 6.4 in wg at main near with planer gate open; the gauge showed 2.4 in wg, "
        "63 % less. No fan of this power is that far from the estimate, which would give 3.8 in wg to 9.1 in wg: "
        "nothing is changed. Look whether another gate stands open, a clean-out or hose leaks, the filter is loaded, "
        "or the fan turns the wrong way. Then check power, ducts and gates in the shop file, or write the maker's "
        "curve into it (fan_curve)."
    )
    assert "Look whether a gate that you named is shut" in refused(ESTIMATED, 3500.0)


@pytest.mark.parametrize(
    ("tap", "gates", "suction_pa", "said"),
    [
        ("moon main", PLANER, 1300.0, "There is no duct moon main on collector; there is riser, main near, main far, "),
        ("main nea", PLANER, 1300.0, 'did you mean "main near"?'),
        ("main near", (), 1300.0, "Say which gates stood open; without one no air moves, and nothing follows."),
        ("main near", ("moon gate",), 1300.0, "moon gate is no gate of collector; there is saw gate, jointer gate, "),
        ("main near", PLANER, 5.0, "A suction of 5 Pa is none; a gauge at a duct shows 10 Pa to 40 kPa."),
    ],
)
def test_what_nothing_follows_from_is_refused(tap: str, gates: tuple[str, ...], suction_pa: float, said: str) -> None:
    assert said in refused(ESTIMATED, suction_pa, tap, gates)


def test_an_unknown_collector_and_a_broken_file_are_refused() -> None:
    with pytest.raises(NoCorrection, match="There is no collector fan; there is collector"):
        fan_from_reading(ESTIMATED, "garage.yaml", "fan", "main near", 1300.0, PLANER)
    with pytest.raises(NoCorrection, match=r"garage\.yaml has faults; see gatekeeper check garage\.yaml\."):
        fan_from_reading("shop: {}\n", "garage.yaml", "collector", "main near", 1300.0, PLANER)


def test_names_that_would_be_read_otherwise_are_written_in_quotes() -> None:
    text = ESTIMATED.replace("planer gate", "gate, planer").replace("gate, planer:", '"gate, planer":')
    text = text.replace("gates: gate, planer", 'gates: ["gate, planer"]')
    proposal = asked(text, 1300.0, gates=("gate, planer",))
    assert proposal.text is not None
    assert 'open: ["gate, planer"]' in proposal.text
    reading = shop_of(proposal.text).motors["collector"].suction_reading
    assert reading is not None
    assert reading.open_gates == ("gate, planer",)
