"""Care in the shop file: intervals, a full bin, whose bin it is, whom to call."""

from gatekeeper.shop.examples import example
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import FullBin, InputKind, Shop

EXAMPLE = example("garage-one-collector").read_text(encoding="utf-8")
INPUTS = "\ninputs:\n"


def with_lines(motor: str = "", inputs: str = "", shop: str = "") -> Shop | Faults:
    text = EXAMPLE.replace("    spin_up:", f"{motor}    spin_up:", 1) if "    spin_up:" in EXAMPLE else EXAMPLE
    if motor and motor not in text:
        text = text.replace("  collector:\n", f"  collector:\n{motor}", 1)
    if inputs:
        text = text.replace(INPUTS, INPUTS + inputs, 1) if INPUTS in text else text + INPUTS + inputs
    return load_shop(text.replace("shop:\n", f"shop:\n{shop}", 1), "shop.yaml")


def good(found: Shop | Faults) -> Shop:
    assert not isinstance(found, Faults), found.lines()
    return found


def test_the_defaults_are_ours() -> None:
    care = good(with_lines()).motors["collector"].care
    assert (care.bin_every_s, care.filter_every_s, care.check_every_s) == (36_000.0, 360_000.0, 31 * 86_400.0)
    assert care.full_bin is FullBin.WARNS
    assert care.given == frozenset()


def test_intervals_of_the_file_go_before() -> None:
    shop = good(with_lines(motor="    care: {bin_every: 6 h, full_bin: refuses the next start}\n"))
    care = shop.motors["collector"].care
    assert (care.bin_every_s, care.filter_every_s, care.full_bin) == (21_600.0, 360_000.0, FullBin.REFUSES)
    assert care.given == {"bin_every", "full_bin"}


def test_a_bin_and_a_filter_contact_speak_for_the_collector() -> None:
    found = good(
        with_lines(inputs="  bin: {kind: bin full, pin: GPIO23}\n  filter: {kind: filter pressure, pin: GPIO24}\n")
    )
    assert [(found.inputs[name].kind, found.inputs[name].systems) for name in ("bin", "filter")] == [
        (InputKind.BIN_FULL, ("collector",)),
        (InputKind.FILTER_PRESSURE, ("collector",)),
    ]
    contact = found.inputs["bin"].contact
    assert contact is not None
    assert not contact.normally_closed


def test_whom_to_call_is_a_list_of_lines() -> None:
    shop = good(with_lines(shop='  call: ["Electrician: 555 0100", "Filters: 555 0101"]\n'))
    assert shop.call == ("Electrician: 555 0100", "Filters: 555 0101")


def test_a_bin_belongs_to_a_collector() -> None:
    text = example("shared-twelve").read_text(encoding="utf-8")
    found = load_shop(
        text.replace(INPUTS, INPUTS + "  bin: {kind: bin full, pin: GPIO14, motors: shaker}\n"), "shop.yaml"
    )
    assert isinstance(found, Faults)
    said = [fault.said for fault in found.each]
    assert said == ["a bin full input is for one collector or tool vacuum; name it under motors"]


def test_only_what_has_a_bin_has_care() -> None:
    text = example("shared-twelve").read_text(encoding="utf-8")
    found = load_shop(text.replace("  shaker:\n", "  shaker:\n    care: {bin_every: 5 h}\n"), "shop.yaml")
    assert isinstance(found, Faults)
    assert [fault.said for fault in found.each] == [
        "this key is for a collector or tool vacuum; this motor is a filter shaker"
    ]
