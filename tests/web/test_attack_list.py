"""The written list of attacks and the tests are the same list."""

import ast
import re
from pathlib import Path

ROOT = Path(__file__).parents[2]
LIST = ROOT / "hardware" / "security.md"
PREFIX = "test_attack_"


def attacks_in_tests() -> list[str]:
    found: list[str] = []
    for file in sorted((ROOT / "tests").rglob("test_*.py")):
        if file == Path(__file__) or PREFIX not in (text := file.read_text(encoding="utf-8")):
            continue
        found += [
            one.name.removeprefix(PREFIX)
            for one in ast.walk(ast.parse(text))
            if isinstance(one, ast.FunctionDef) and one.name.startswith(PREFIX)
        ]
    return found


def test_every_attack_of_the_list_is_a_test_and_every_test_is_in_the_list() -> None:
    listed = re.findall(r"^\|[^|]+\|[^|]+\| `([a-z_]+)` \|$", LIST.read_text(encoding="utf-8"), re.M)
    assert len(listed) == len(set(listed)) >= 50
    assert sorted(listed) == sorted(attacks_in_tests())
