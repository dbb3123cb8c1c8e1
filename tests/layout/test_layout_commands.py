"""``gatekeeper layout`` and ``gatekeeper airflow`` as a person and a machine meet them."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from gatekeeper.cli import app

GOLDEN = Path(__file__).parent / "golden"
Golden = Callable[[Path, str], None]

CURVE = "[0 m3/s at 2500 Pa, 0.3 m3/s at 2000 Pa, 0.6 m3/s at 0 Pa]"
TWO_MACHINES = """
shop: {name: Two machines, units: metric, mains: 50 Hz, air_goes: outside, open_flue_nearby: no}
motors:
  collector:
    power: 2 kW
    switched_by: {pin: GPIO17, when_board_dies: drops}
    fan_curve: [0 m3/s at 2500 Pa, 0.3 m3/s at 2000 Pa, 0.6 m3/s at 0 Pa]
ducts:
  main: {towards: collector, diameter: 125 mm, length: 3 m}
  saw drop: {towards: main, diameter: 100 mm, length: 2 m, flex: 1 m}
  lathe drop: {towards: main, diameter: 100 mm, length: 2 m}
gates:
  saw gate: {duct: saw drop}
  lathe gate: {duct: lathe drop}
tools:
  saw: {gates: saw gate, needs: 400 m3/h, sensor: {current_switch: GPIO23}}
  lathe: {gates: lathe gate, needs: 400 m3/h, sensor: {current_switch: GPIO24}}
"""


def run(*words: str) -> Result:
    return CliRunner().invoke(app, list(words))


def changed(folder: Path, *pairs: tuple[str, str]) -> str:
    text = TWO_MACHINES
    for old, new in pairs:
        assert old in text
        text = text.replace(old, new)
    path = folder / "two.yaml"
    path.write_text(text, encoding="utf-8")
    return str(path)


def codes(named: str, *words: str) -> list[str]:
    return [finding["code"] for finding in json.loads(run("layout", named, "--json", *words).stdout)["findings"]]


# ---------------------------------------------------------------- what is printed


@pytest.mark.parametrize(
    ("name", "words", "status"),
    [
        ("garage", ["layout", "garage-one-collector"], 1),
        ("garage-all-open", ["layout", "garage-one-collector", "--all-open"], 1),
        ("long-narrow", ["layout", "long-narrow"], 1),
        ("school-room", ["layout", "school-room"], 1),
        ("shared-twelve", ["layout", "shared-twelve"], 1),
        ("one-evening", ["layout", "one-evening"], 0),
        ("beside", ["layout", "garage-one-collector", "one-evening"], 1),
        ("saw-open", ["airflow", "garage-one-collector", "--open", "saw gate"], 0),
        ("all-shut", ["airflow", "long-narrow"], 0),
    ],
)
def test_the_words_of_each_answer(golden: Golden, name: str, words: list[str], status: int) -> None:
    result = run(*words)

    assert result.exit_code == status
    assert all(len(line) <= 100 for line in result.stdout.splitlines())
    golden(GOLDEN / f"{name}.txt", result.stdout)


def test_json_of_a_state_balances_and_has_units_in_its_keys() -> None:
    opened = ["--open", "saw gate", "--open", "planer gate"]
    told = json.loads(run("airflow", "garage-one-collector", *opened, "--json").stdout)
    system = told["systems"]["collector"]
    ducts = system["ducts"]

    assert (told["file"], told["shop"]) == ("garage-one-collector", "Back-wall garage")
    assert told["open_gates"] == system["open_gates"] == ["saw gate", "planer gate"]
    assert system["shut_gates"] == ["jointer gate", "bandsaw gate", "sander gate", "mitre gate"]
    feeding = [ducts[name]["flow_m3s"] for name in ("main far", "saw drop", "jointer drop")]
    assert ducts["main near"]["flow_m3s"] == pytest.approx(sum(feeding), rel=1e-9)
    assert ducts["riser"]["flow_m3s"] == pytest.approx(system["fan_flow_m3s"], rel=1e-9)
    riser = ducts["riser"]
    assert riser["velocity_ms"] == pytest.approx(riser["flow_m3s"] / riser["area_m2"])
    assert riser["total_pressure_upstream_pa"] - riser["total_pressure_downstream_pa"] == pytest.approx(
        riser["loss_pa"]
    )
    assert system["fan_static_pressure_pa"] == pytest.approx(
        system["collector_loss_pa"] - riser["total_pressure_downstream_pa"]
    )
    assert set(system["tools"]) == {"table saw", "planer"}
    ends = ("_m", "_m2", "_m3s", "_ms", "_pa", "reynolds")
    assert all(key.endswith(ends) for duct in ducts.values() for key in duct)


def test_json_of_a_study_has_every_set_and_every_finding() -> None:
    told = json.loads(run("layout", "garage-one-collector", "--json").stdout)
    sets = told["systems"]["collector"]["sets"]

    assert (told["is_whole"], told["is_short"], told["all_open"]) == (True, True, False)
    assert len(sets) == 6 + 15 + 20
    assert sets[0]["running"] == ["table saw"]
    assert sets[0]["extra_gates"] == ["jointer gate"]
    assert [finding["code"] for finding in told["findings"]] == ["settles", "not_together", "gates_cut_airflow"]
    assert [finding["harm"] for finding in told["findings"]] == [2, 4, 7]


def test_json_of_two_is_a_list_of_both() -> None:
    told = json.loads(run("layout", "garage-one-collector", "one-evening", "--json").stdout)

    assert [one["file"] for one in told["layouts"]] == ["garage-one-collector", "one-evening"]


# ---------------------------------------------------------------- what is found


def first(named: str, code: str) -> dict[str, Any]:
    findings = json.loads(run("layout", named, "--json").stdout)["findings"]
    return next(finding for finding in findings if finding["code"] == code)


def test_a_good_shop_has_nothing_to_mend(tmp_path: Path) -> None:
    named = changed(tmp_path, ("diameter: 125 mm", "diameter: 100 mm"))
    result = run("layout", named)

    assert result.exit_code == 0
    assert "\nNothing to mend.\n" in result.stdout
    assert codes(named) == ["air_outside", "gates_cut_airflow"]


def test_a_starved_machine_is_the_worst_and_a_wider_drop_is_computed(tmp_path: Path) -> None:
    drop = "saw drop: {towards: main, diameter:"
    named = changed(tmp_path, (f"{drop} 100 mm", f"{drop} 50 mm"))
    found = first(named, "starved")

    assert run("layout", named).exit_code == 1
    assert (found["harm"], found["is_short"]) == (1, True)
    assert found["title"].startswith("The saw gets ")
    assert found["remedies"][0]["do"] == "Make the saw drop 63 mm instead of 50 mm"
    wider = changed(tmp_path, (f"{drop} 100 mm", f"{drop} 63 mm"))
    sets = json.loads(run("layout", wider, "--json").stdout)["systems"]["collector"]["sets"]
    flow_m3h = sets[0]["tools"]["saw"]["flow_m3s"] * 3600
    assert found["remedies"][0]["effect"].startswith(f"it gets {round(flow_m3h / 5) * 5:d} m3/h")


def test_a_main_made_smaller_is_computed(tmp_path: Path) -> None:
    main = "main: {towards: collector, diameter:"
    named = changed(tmp_path, (f"{main} 125 mm", f"{main} 160 mm"))
    found = first(named, "settles")
    remedy = found["remedies"][0]

    assert found["title"] == "Chips settle in the main when any one machine runs alone."
    assert remedy["do"].startswith("Make the main ")
    size_mm = int(remedy["do"].split()[3])
    again = changed(tmp_path, (f"{main} 125 mm", f"{main} {size_mm} mm"))
    sets = json.loads(run("layout", again, "--json").stdout)["systems"]["collector"]["sets"]
    slowest_ms = min(one["velocities_ms"]["main"] for one in sets[:2])
    assert remedy["effect"].startswith(f"{slowest_ms:.1f}")


def test_a_point_beyond_the_curve_is_a_finding(tmp_path: Path) -> None:
    named = changed(tmp_path, (CURVE, "[0 m3/s at 2500 Pa, 0.05 m3/s at 2450 Pa]"))
    found = first(named, "beyond_curve")

    assert found["title"] == "The collector works beyond its fan curve in 3 of 3 cases."
    assert found["why"] == (
        "The curve is given between 0 and 180 m3/h; what lies beyond is drawn on in a straight line and is a guess."
    )


def test_a_fan_on_its_rising_part_is_a_finding(tmp_path: Path) -> None:
    curve = "[0 m3/s at 1500 Pa, 0.5 m3/s at 3000 Pa, 0.6 m3/s at 0 Pa]"
    named = changed(tmp_path, (CURVE, curve))

    assert first(named, "hunts")["why"] == "Below 1800 m3/h such a fan hunts and rumbles: open another gate."


def test_a_small_port_on_a_collector_wants_a_vacuum(tmp_path: Path) -> None:
    named = changed(tmp_path, ("saw: {gates: saw gate,", "saw: {gates: saw gate, port: 60 mm,"))
    found = first(named, "wrong_fan")

    assert found["title"] == "The saw has a port smaller than 100 mm on a collector."
    assert (
        found["why"] == "A collector has too little pressure for such a port; a tool vacuum has it (common practice)."
    )


def test_a_large_port_on_a_vacuum_wants_a_collector(tmp_path: Path) -> None:
    vacuum = "power: 2 kW\n    kind: tool vacuum\n    starts_per_hour: 20 per hour\n    rest: 30 s\n"
    named = changed(tmp_path, ("power: 2 kW\n", vacuum))

    assert first(named, "wrong_fan")["title"] == "The saw and lathe have ports of 100 mm or more on a tool vacuum."


def test_an_assumed_need_and_an_estimated_fan_are_told(tmp_path: Path) -> None:
    named = changed(
        tmp_path,
        (f"    fan_curve: {CURVE}\n", ""),
        ("lathe: {gates: lathe gate, needs: 400 m3/h,", "lathe: {gates: lathe gate,"),
    )

    assert first(named, "need_assumed")["title"] == "What the lathe needs is assumed."
    assert first(named, "fan_estimate")["title"] == (
        "The fan of the collector is an estimate from motor power: every flow may be off by 25 %."
    )


def test_air_that_goes_outside_costs_heat_and_wants_a_way_in(tmp_path: Path) -> None:
    named = changed(tmp_path)
    told = json.loads(run("layout", named, "--json").stdout)
    most_m3s = max(one["fan_flow_m3s"] for one in told["systems"]["collector"]["sets"][:2])
    heat_kw = most_m3s * 1.2041 * 1006 * 10 / 1000

    assert first(named, "air_outside")["why"] == (
        f"Each 10 C that it is colder outside costs {heat_kw:.1f} kW while it runs, and as much air must come in: "
        f"leave an opening of at least {most_m3s / 2:.2f} m2."
    )


def test_all_open_studies_one_set_and_says_so(tmp_path: Path) -> None:
    named = changed(tmp_path)
    told = json.loads(run("layout", named, "--all-open", "--json").stdout)

    (only,) = told["systems"]["collector"]["sets"]
    assert (only["running"], only["open_gates"]) == (["saw", "lathe"], ["saw gate", "lathe gate"])
    assert "all_open" in codes(named, "--all-open")
    assert "not_together" not in codes(named, "--all-open")


# ---------------------------------------------------------------- what is refused


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (
            ["airflow", "one-evening", "--open", "saw gat"],
            '"saw gat" is no gate of this shop; they are saw gate and planer gate; did you mean "saw gate"?\n',
        ),
        (
            ["airflow", "one-evening", "--open", "attic"],
            '"attic" is no gate of this shop; they are saw gate and planer gate.\n',
        ),
        (
            ["layout", "one-evening", "--report", "no-such-folder/out.html"],
            "no-such-folder/out.html: the report cannot be written there (No such file or directory).\n",
        ),
    ],
)
def test_a_wrong_word_is_one_sentence_and_exit_2(words: list[str], said: str) -> None:
    result = run(*words)

    assert (result.exit_code, result.stdout, result.stderr) == (2, "", said)


@pytest.mark.parametrize("command", ["airflow", "layout"])
@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("saw drop: {towards: main", "saw drop: {towards: attic", '"attic" is none of the ducts or motors'),
        ("main: {towards: collector", "main: {towards: saw drop", "these ducts run in a ring: main, saw drop, main"),
        ("saw gate: {duct: saw drop}", "saw gate: {duct: cellar}", '"cellar" is none of the ducts of this shop'),
        ("length: 2 m, flex", "length: -2 m, flex", "two.yaml:10:"),
        ("diameter: 125 mm", "diameter: 0 mm", "two.yaml:9:"),
        ("0.6 m3/s at 0 Pa", "0.6 m3/s at 2600 Pa", "two.yaml:7:"),
    ],
)
def test_a_wrong_file_is_told_with_its_place(tmp_path: Path, command: str, old: str, new: str, said: str) -> None:
    result = run(command, changed(tmp_path, (old, new)))

    assert result.exit_code == 2
    assert said in result.stderr
    assert "two.yaml:" in result.stderr
    assert "Traceback" not in result.output
