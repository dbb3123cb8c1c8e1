"""``gatekeeper check`` and ``gatekeeper schema`` as a person and a machine meet them."""

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from gatekeeper.cli import app
from gatekeeper.shop import examples
from gatekeeper.shop.faults import listed
from gatekeeper.shop.schema import shop_schema

GOLDEN = Path(__file__).parent / "golden"


def run(*words: str) -> Result:
    return CliRunner().invoke(app, list(words))


def test_a_good_shop_exits_0_and_shows_ten_findings() -> None:
    result = run("check", "shared-twelve")

    lines = result.stdout.splitlines()
    assert result.exit_code == 0
    assert lines[0] == "Riverside shared shop (shared-twelve)"
    assert lines[1] == (
        "1 collector, 1 air cleaner, 1 filter shaker, 10 gates (10 automatic, 0 by hand), 11 tools, 1 outlet"
    )
    assert lines[3] == "Stops you: nothing."
    assert sum(line.startswith("  - ") for line in lines) == 10
    assert lines[-2:] == [
        "13 more. To see all: gatekeeper check shared-twelve --all",
        "next: gatekeeper demo shared-twelve",
    ]


def test_all_shows_all() -> None:
    lines = run("check", "shared-twelve", "--all").stdout.splitlines()

    assert sum(line.startswith("  - ") for line in lines) == 23
    assert lines[-2:] == ["", "next: gatekeeper demo shared-twelve"]


def test_a_wrong_shop_exits_2_with_every_fault() -> None:
    result = run("check", str(GOLDEN / "values.yaml"))

    assert result.exit_code == 2
    assert result.stdout.splitlines()[0] == "Stops you: 38 things."
    assert "Traceback" not in result.output


def test_json_has_the_three_heaps() -> None:
    good = json.loads(run("check", "one-evening", "--json").stdout)
    wrong = run("check", str(GOLDEN / "no-gate.yaml"), "--json")

    assert (good["ok"], good["stops"]) == (True, [])
    assert [finding["code"] for finding in good["bites"]] == ["unconfirmed", "proof_person"]
    assert all(set(finding) == {"code", "subject", "said"} for finding in good["bites"] + good["nice"])
    assert wrong.exit_code == 2
    assert json.loads(wrong.stdout)["stops"][1] == {
        "line": 5,
        "column": 22,
        "path": ["tools", "table saw", "gates"],
        "said": '"saw gate" is none of the gates of this shop; there are none',
    }


def test_a_file_that_cannot_be_read_is_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "latin.yaml").write_bytes(b"shop: {name: B\xfccherei}\n")
    names = listed(examples.names())
    expected = {
        "one-evenin": f"one-evenin: there is no such file; name a shop file, or an example: {names}; "
        'did you mean "one-evening"?',
        str(tmp_path): f"{tmp_path}: this is a folder; name a shop file",
        str(tmp_path / "latin.yaml"): f"{tmp_path / 'latin.yaml'}: byte 15 is no UTF-8 text; save the file as UTF-8",
        "x" * 5000: f"{'x' * 5000}: this file cannot be read (File name too long)",
        "a\0b": "a\0b: this file cannot be read (its name cannot be used)",
    }

    for named, said in expected.items():
        result = run("check", named)
        assert (result.exit_code, result.stderr, result.stdout) == (2, said + "\n", "")


def test_the_schema_is_printed_as_json() -> None:
    result = run("schema")

    assert result.exit_code == 0
    assert json.loads(result.stdout) == shop_schema()


@pytest.mark.parametrize("words", [(), ("chek",), ("check",)])
def test_a_wrong_command_exits_2(words: tuple[str, ...]) -> None:
    result = run(*words)

    assert result.exit_code == 2
    assert "Traceback" not in result.output
