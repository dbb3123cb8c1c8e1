"""`gatekeeper calibrate` on virtual shops: the walk, swapped wires, and the file with its comments kept."""

import sys
from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from gatekeeper import taking
from gatekeeper.calibrating import Face, bar, walk
from gatekeeper.cli import app
from gatekeeper.sensing.calibration import Proposal
from gatekeeper.service.calibration_file import CannotCalibrate, changes_for, write_back
from gatekeeper.service.clamp_reading import clamp_of_machine
from gatekeeper.shop import examples
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop
from gatekeeper.shop.rewrite import Change, rewritten

sys.path.insert(0, str(Path(__file__).parent))
from hand_plant import HandPlant, example_shop

GARAGE = "garage-one-collector"


class Person:
    """Hears the prompts; sees the live line; presses Enter while asked to cut."""

    def __init__(self) -> None:
        self.heard: list[str] = []
        self.shown: list[str] = []

    def face(self, *, presses: bool = False) -> Face:
        return Face(self.heard.append, self.shown.append, lambda: presses)


def with_wires(shop: Shop, moved: dict[str, tuple[str, int]]) -> Shop:
    """The shop as it is really wired: these tools' clamps on other channels."""
    tools = dict(shop.tools)
    for name, (converter, channel) in moved.items():
        sensor = tools[name].sensor
        assert sensor is not None
        assert sensor.channel is not None
        there = replace(sensor.channel, converter=converter, channel=channel)
        tools[name] = replace(tools[name], sensor=replace(sensor, channel=there))
    return replace(shop, tools=tools)


def test_a_walk_says_what_to_do_shows_the_current_and_proposes_a_trip() -> None:
    shop, person = example_shop(GARAGE), Person()
    plant = HandPlant(shop)
    clamp, proposal = walk(shop, "table saw", plant.converters(), person.face())

    assert person.heard == [
        "                             0.01      0.1       1         10        100 A   | the trip in force",
        "1 of 5: Leave table saw off, and switch nothing else on.",
        "2 of 5: Switch table saw on now.",
        "3 of 5: Table saw is seen. Let it run free for a few seconds.",
        "4 of 5: Cut with it for a few seconds, or go on without.",
        "5 of 5: Switch table saw off.",
    ]
    assert person.shown[0].index("|") == person.heard[0].index("0.01") - 1
    assert person.shown[0].count("|") == 3  # the trip in force, 0.48 A from its plate
    assert plant.switched == [("table saw", True), ("table saw", False)]
    assert proposal.idle_a == pytest.approx(6.0, rel=0.02)
    assert proposal.trip_a == 0.55
    changes, said = changes_for(shop, clamp, proposal)
    assert changes == [Change(("tools", "table saw", "sensor"), "trip", "0.55 A")]
    assert tuple(said) == proposal.sentences
    assert any("6.0" in line and "####" in line for line in person.shown)
    assert all(line.startswith("  clamp board ") and line.endswith("|") for line in person.shown[:-1])
    assert person.shown[-1] == ""
    assert [bank.is_closed for bank in plant.banks] == [True]


def test_a_real_person_presses_enter_to_go_on() -> None:
    shop, person = example_shop(GARAGE), Person()
    plant = HandPlant(shop)
    converters = replace(plant.converters(), is_virtual=False)
    _, proposal = walk(shop, "table saw", converters, person.face(presses=True))

    assert person.heard[4].endswith("or go on without. (Enter: go on)")
    assert proposal.trip_a == 0.55


def test_swapped_wires_are_found_and_swapped_in_the_file(tmp_path: Path) -> None:
    shop, person = example_shop(GARAGE), Person()
    wired = with_wires(shop, {"table saw": ("clamp board", 2), "planer": ("clamp board", 0)})
    clamp, proposal = walk(shop, "table saw", HandPlant(wired).converters(), person.face())
    changes, said = changes_for(shop, clamp, proposal)

    assert proposal.place == ("clamp board", 2)
    assert said[3:] == [
        "The file has table saw on channel 0 of clamp board; its wire is on channel 2 of clamp board.",
        "The two are swapped in the file; calibrate planer next.",
    ]
    path = tmp_path / "garage.yaml"
    path.write_text(examples.example(GARAGE).read_text(encoding="utf-8"), encoding="utf-8")
    write_back(path, changes)
    new = load_shop(path.read_text(encoding="utf-8"), "garage.yaml")
    assert isinstance(new, Shop)
    assert new.tools["table saw"].sensor.channel.channel == 2  # type: ignore[union-attr]
    assert new.tools["planer"].sensor.channel.channel == 0  # type: ignore[union-attr]
    assert new.tools["table saw"].sensor.trip_a == 0.55  # type: ignore[union-attr]


def test_a_wire_on_a_channel_that_the_file_does_not_know_is_set_right() -> None:
    shop, person = example_shop(GARAGE), Person()
    wired = with_wires(shop, {"mitre saw": ("clamp board", 6)})
    clamp, proposal = walk(shop, "mitre saw", HandPlant(wired).converters(), person.face())
    changes, said = changes_for(shop, clamp, proposal)

    assert changes[1:] == [Change(("tools", "mitre saw", "sensor"), "channel", "6")]
    assert said[-1] == "The file is set right."


def test_a_channel_with_another_burden_is_swapped_by_hand() -> None:
    shop, person = example_shop(GARAGE), Person()
    wired = with_wires(shop, {"table saw": ("clamp board", 3), "bandsaw": ("clamp board", 0)})
    clamp, proposal = walk(shop, "table saw", HandPlant(wired).converters(), person.face())
    with pytest.raises(CannotCalibrate) as caught:
        changes_for(shop, clamp, proposal)

    assert str(caught.value) == (
        "The file has table saw on channel 0 of clamp board; its wire is on channel 3 of clamp board. "
        "That is bandsaw's, with another burden or clamp: swap the two plugs."
    )


def test_a_wire_on_another_converter_is_found_too() -> None:
    shop, person = example_shop("school-room"), Person()
    names = list(shop.converters)
    assert len(names) > 1
    own = next(
        t for t in shop.tools.values() if t.sensor and t.sensor.channel and t.sensor.channel.converter == names[0]
    )
    other = next(
        t for t in shop.tools.values() if t.sensor and t.sensor.channel and t.sensor.channel.converter == names[1]
    )
    places = [(t.sensor.channel.converter, t.sensor.channel.channel) for t in (own, other)]  # type: ignore[union-attr]
    wired = with_wires(shop, {own.name: places[1], other.name: places[0]})
    clamp, proposal = walk(shop, own.name, HandPlant(wired).converters(), person.face())

    assert proposal.place == places[1]
    changes, _ = changes_for(shop, clamp, proposal)
    assert Change(clamp.place, "converter", names[1]) in changes


def test_every_plain_tool_of_every_example_gets_a_trip_that_the_shop_takes() -> None:
    for name in ("long-narrow", "shared-twelve"):
        shop = example_shop(name)
        tool = next(t for t in shop.tools.values() if t.sensor is not None and t.sensor.channel is not None)
        clamp, proposal = walk(shop, tool.name, HandPlant(shop).converters(), Person().face())
        changes, _ = changes_for(shop, clamp, proposal)
        text = examples.example(name).read_text(encoding="utf-8")
        assert isinstance(load_shop(rewritten(text, name, changes), name), Shop)


def test_a_converter_that_is_silent_ends_the_walk_in_words() -> None:
    shop, person = example_shop(GARAGE), Person()
    plant = HandPlant(shop)
    plant.plant.faults.mute("clamp board")
    with pytest.raises(CannotCalibrate) as caught:
        walk(shop, "table saw", plant.converters(), person.face())

    assert str(caught.value) == (
        "The clamp cannot be believed. The reading does not move at all: look at the sensor's plug and the converter."
    )
    assert [bank.is_closed for bank in plant.banks] == [True]


def test_a_bar_is_a_picture_of_the_current_on_a_logarithmic_line() -> None:
    assert bar(0.0) == "|" + "." * 40 + "|"
    assert bar(0.1) == "|" + "#" * 10 + "." * 30 + "|"
    assert bar(10.0, trip_a=1.0) == "|" + "#" * 20 + "|" + "#" * 9 + "." * 10 + "|"
    assert bar(1e6) == "|" + "#" * 40 + "|"


# ---------------------------------------------------------------- the file


def test_a_file_that_changed_meanwhile_keeps_its_changes_and_its_mode(tmp_path: Path) -> None:
    path = tmp_path / "g.yaml"
    text = examples.example(GARAGE).read_text(encoding="utf-8").replace("# A two-car garage", "# OUR garage")
    path.write_bytes(text.replace("\n", "\r\n").encode())
    path.chmod(0o640)
    link = tmp_path / "link.yaml"
    link.symlink_to(path)
    write_back(link, [Change(("tools", "jointer", "sensor"), "trip", "0.5 A")])

    assert link.is_symlink()
    assert path.stat().st_mode & 0o777 == 0o640
    changed = path.read_bytes().decode()
    assert changed.replace(", trip: 0.5 A", "") == text.replace("\n", "\r\n")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["g.yaml", "link.yaml"]


def test_a_file_that_is_gone_or_broken_meanwhile_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "g.yaml"
    change = [Change(("tools", "jointer", "sensor"), "trip", "0.5 A")]
    with pytest.raises(CannotCalibrate) as gone:
        write_back(path, change)
    path.write_text("shop: [", encoding="utf-8")
    with pytest.raises(CannotCalibrate) as broken:
        write_back(path, change)

    assert str(gone.value) == f"{path}: this file cannot be read any more"
    assert str(broken.value) == ("g.yaml: this file cannot be read any more; mend it first (gatekeeper check g.yaml)")
    assert path.read_text(encoding="utf-8") == "shop: ["


# ---------------------------------------------------------------- the command


def command(*words: str, answer: str = "") -> Result:
    return CliRunner().invoke(app, ["calibrate", *words], input=answer)


@pytest.fixture
def virtual(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(taking, "converters_for", lambda shop, *_: HandPlant(shop).converters())


@pytest.mark.usefixtures("virtual")
@pytest.mark.parametrize(
    ("words", "answer", "last"),
    [
        (("--yes",), "", "next: gatekeeper check {path}"),
        ((), "y\n", "next: gatekeeper check {path}"),
        ((), "n\n", "Nothing was written."),
    ],
)
def test_the_command_asks_before_it_writes(tmp_path: Path, words: tuple[str, ...], answer: str, last: str) -> None:
    path = tmp_path / "g.yaml"
    text = examples.example(GARAGE).read_text(encoding="utf-8")
    path.write_text(text, encoding="utf-8")
    done = command(str(path), "table saw", *words, answer=answer)

    lines = done.stdout.splitlines()
    assert done.exit_code == 0
    assert lines[5:8] == [
        "Off it draws nothing; the converter's noise is 0.021 A.",
        "Running free it draws 6.00 A, at most 6.00 A was seen.",
        "Trip: 0.55 A. That is 26.3 times what is there when it is off, and running free is 10.9 times the trip.",
    ]
    assert lines[-1].endswith(last.format(path=path))
    trip = "channel: 0, range: 40 A, trip: 0.55 A}"
    assert (trip in path.read_text(encoding="utf-8")) is last.startswith("next")
    assert (lines[-2] == "Written. A controller that is running takes this up when it starts again.") is (
        last.startswith("next")
    )
    assert path.read_text(encoding="utf-8").replace(", trip: 0.55 A", "") == text


@pytest.mark.usefixtures("virtual")
def test_an_example_is_never_changed() -> None:
    done = command(GARAGE, "table saw", "--yes")
    assert done.exit_code == 0
    assert done.stdout.splitlines()[-1] == (
        f"{GARAGE} is an example and stays as it is; copy it to a file of yours to keep this."
    )


def test_a_machine_without_a_clamp_and_pins_that_are_none() -> None:
    assert command("one-evening", "table saw", "--pins", "mock").stderr == (
        "table saw has no clamp on a converter: a current switch watches it, which only says yes or no.\n"
    )
    wrong = command(GARAGE, "table saw", "--pins", "brass")
    assert (wrong.exit_code, wrong.stderr) == (
        2,
        "There are no pins called 'brass'. Allowed are 'lgpio', 'gpiod', 'mock' and 'virtual'.\n",
    )


# ---------------------------------------------------------------- a clamp that several machines share


def test_on_a_shared_clamp_the_lower_trip_stays_with_its_own_margins() -> None:
    shop = example_shop("shared-twelve")
    circuit = next(found for found in shop.circuits.values() if len(found.tools) > 1)
    name, other = circuit.tools[0], circuit.tools[1]
    place = clamp_of_machine(shop, name)
    own = (place.channel.converter, place.channel.channel)
    found = Proposal(own, False, 0.8, 0.1, 0.02, 0.05, 6.0, 9.0)

    def with_trip(trip_a: float | None) -> Shop:
        changed = replace(circuit, sensor=replace(circuit.sensor, trip_a=trip_a))
        return replace(shop, circuits=shop.circuits | {circuit.name: changed})

    def written(trip_a: float | None) -> tuple[str, list[str]]:
        there = with_trip(trip_a)
        changes, said = changes_for(there, clamp_of_machine(there, name), found)
        assert changes[0].part == ("circuits", circuit.name, "sensor")
        return changes[0].value, said

    assert written(None)[0] == "0.8 A"
    assert written(0.9)[0] == "0.8 A"
    assert written(0.05)[0] == "0.8 A"  # under what this machine's noise and rest allow
    value, said = written(0.4)
    assert value == "0.4 A"
    assert said[2].startswith("Trip: 0.4 A. That is 8.0 times what is there when it is off, ")
    assert other in said[3]
    assert said[3].endswith(" on the same clamp may draw less, so its lower trip of 0.4 A stays.")
