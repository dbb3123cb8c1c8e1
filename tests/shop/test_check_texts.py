"""Every sentence that ``gatekeeper check`` says, held in golden files: one shop file per kind of trouble."""

from collections.abc import Callable
from pathlib import Path

import pytest

from gatekeeper.printing import check_lines
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.load import load_shop

GOLDEN = Path(__file__).parent / "golden"
CASES = sorted(path.stem for path in GOLDEN.glob("*.yaml"))
VALID = {"bites", "drive-speed-bites", "driver-bites", "neighbour-bites", "sensor-bites"}


@pytest.mark.parametrize("case", CASES)
def test_check_says_exactly_this(case: str, golden: Callable[[Path, str], None]) -> None:
    name = f"{case}.yaml"
    shop = load_shop((GOLDEN / name).read_text(encoding="utf-8"), name)

    assert isinstance(shop, Faults) is (case not in VALID)
    golden(GOLDEN / f"{case}.txt", "\n".join(check_lines(name, shop, show_all=True)) + "\n")


def test_no_golden_text_is_left_over() -> None:
    assert sorted(path.stem for path in GOLDEN.glob("*.txt")) == CASES


@pytest.mark.parametrize("case", CASES)
def test_no_text_uses_a_word_that_promises_what_we_cannot(case: str) -> None:
    text = " ".join((GOLDEN / f"{case}.txt").read_text(encoding="utf-8").lower().split())
    text = text.replace("this is no safety-rated controller", "")

    assert [word for word in ("safe", "compliant", "certified", "protected", "explosion-proof") if word in text] == []
