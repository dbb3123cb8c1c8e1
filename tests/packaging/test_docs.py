"""The documents hold what the program says: diagrams, commands, files that they name."""

import re
from pathlib import Path

import pytest
from typer.testing import CliRunner

from gatekeeper.cli import app
from gatekeeper.control.machine import TableMachine
from gatekeeper.control.tables import GATE_INITIAL, GATE_TABLE, MOTOR_INITIAL, MOTOR_TABLE, GateState, MotorState
from gatekeeper.shop.examples import names
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.load import load_shop

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    "machine",
    [
        TableMachine("gate", GateState, GATE_TABLE, GATE_INITIAL),
        TableMachine("motor", MotorState, MOTOR_TABLE, MOTOR_INITIAL),
    ],
    ids=lambda machine: machine.name,
)
def test_the_diagrams_are_drawn_from_the_tables(machine: TableMachine) -> None:
    assert f"```mermaid\n{machine.mermaid()}\n```" in DEVELOPERS


def test_the_first_two_blocks_are_the_demo_and_the_tests() -> None:
    blocks = re.findall(r"^```sh\n(.*?)^```$", README, re.MULTILINE | re.DOTALL)
    assert blocks[0].strip().endswith("gatekeeper demo")
    assert blocks[1] == "sh tests/all.sh\n"


def test_every_command_stands_in_the_readme_and_the_other_way_round() -> None:
    said = set(re.findall(r"^\| `gatekeeper ([a-z-]+)", README, re.MULTILINE))
    known = {command.name or command.callback.__name__ for command in app.registered_commands if command.callback}
    assert said == known


@pytest.mark.parametrize("command", ["check", "schema", "replay", "demo", "run", "outputs-off", "record", "calibrate"])
def test_every_command_helps(command: str) -> None:
    done = CliRunner().invoke(app, [command, "--help"])
    assert done.exit_code == 0
    assert f"gatekeeper {command}" in done.output or f" {command} " in done.output


def test_the_shop_in_the_readme_is_a_shop() -> None:
    (shop,) = re.findall(r"^```yaml\n(.*?)^```$", README, re.MULTILINE | re.DOTALL)
    assert not isinstance(load_shop(shop, "README.md"), Faults)


@pytest.mark.parametrize("document", ["README.md", "DEVELOPERS.md"])
def test_every_file_that_is_named_is_there(document: str) -> None:
    text = (ROOT / document).read_text(encoding="utf-8")
    links = re.findall(r"\]\(([^)#]+)\)", text) + re.findall(r'src="([^"]+)"', text)
    links += re.findall(r"`((?:gatekeeper|tests|sim|hardware|config)/[A-Za-z0-9_./-]+)`", text)
    assert links
    assert [link for link in links if not (ROOT / link).exists() and link != "gatekeeper/examples"] == []


def test_every_example_shop_is_named_in_the_readme() -> None:
    assert [name for name in names() if f"`{name}`" not in README and name != "recording-bench"] == []
