"""Every message has its heap, sentence, cause and remedy; every code that the program can give stands in the tables."""

import re
from collections.abc import Callable
from pathlib import Path

import pytest

from gatekeeper.control.alarms import FAULTS
from gatekeeper.message_table import message_table
from gatekeeper.service.troubles import TROUBLES, every_row

ROOT = Path(__file__).parents[2]
_REFUSED = re.compile(r"\b(safe|compliant|certified|protected|explosion-proof)\b", re.IGNORECASE)
_VERBS = re.compile(
    r"^(Do|Find|Stop|Open|Look|Run|Press|Shut|Clear|Start|Bring|Go|Once|Nothing|Keep|Back|Make|Switch|Take|"
    r"Empty|Clean|Lock|Compare|Walk|Feel|Mend|Leave)\b"
)


@pytest.mark.parametrize("code", sorted(every_row()))
def test_every_row_is_whole(code: str) -> None:
    row = every_row()[code]
    assert row.heap in ("now", "today", "when_you_can")
    for text in (row.happened, row.cause, row.remedy):
        assert text.endswith((".", "?"))
        assert _REFUSED.search(text) is None
    for text in (row.cause, row.remedy):
        assert "{" not in text
    assert set(re.findall(r"{(\w+)}", row.happened)) <= {"subject", "gate"}
    assert _VERBS.match(row.remedy), row.remedy


def test_no_code_stands_in_both_tables() -> None:
    assert set(FAULTS) & set(TROUBLES) == set()


def codes_in(folder: str, *patterns: str) -> set[str]:
    """What the program's text names as a code, by the ways in which it gives one."""
    found: set[str] = set()
    for path in (ROOT / "gatekeeper" / folder).rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        for pattern in patterns:
            found |= {code.partition(":")[0] for code in re.findall(pattern, text)}
    return found


def test_every_code_of_the_core_is_in_its_table() -> None:
    given = codes_in("control", r'found\["(\w+)", ', r'raise_alarm\(\s*"(\w+)"', r'\.latch = "(\w+)"')
    assert {"fire", "no_air", "lease_lost", "did_not_start", "gate_stuck"} <= given
    assert given - set(FAULTS) == set()


def test_every_code_of_the_service_is_in_its_table() -> None:
    given = codes_in(
        "service", r'[Rr]eport\("(\w+)"', r'[Tt]roubles\["(\w+)"\]', r'found\[f?"(\w+)[:"]', r'_troubles\[f"(\w+):'
    )
    given |= codes_in("records", r'[Rr]eport\("(\w+)"')
    assert {"converter", "broker", "device", "switch", "not_kept", "push", "control", "air"} <= given
    assert given - set(TROUBLES) == set()


def test_every_row_can_be_given() -> None:
    """No row of the core's table is for a message that nothing gives."""
    text = "".join(path.read_text(encoding="utf-8") for path in (ROOT / "gatekeeper" / "control").glob("*.py"))
    assert [code for code in FAULTS if text.count(f'"{code}"') < 2] == []


def test_the_page_of_messages_is_made_from_the_tables(golden: Callable[[Path, str], None]) -> None:
    golden(ROOT / "hardware" / "messages.md", message_table())
