"""What every test may use: texts that are kept as golden files and change only on purpose."""

import os
from collections.abc import Callable
from pathlib import Path

import pytest


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--rewrite-golden",
        action="store_true",
        help="Write the golden files anew from what the program says now. Refused under CI.",
    )


def pytest_configure(config: pytest.Config) -> None:
    if config.getoption("--rewrite-golden") and os.environ.get("CI", "").lower() not in ("", "0", "false"):
        raise pytest.UsageError("--rewrite-golden is refused under CI: read the change first, then commit it")


@pytest.fixture
def golden(request: pytest.FixtureRequest) -> Callable[[Path, str], None]:
    """Compare a text with a golden file, or write the file when the named flag says so."""

    def compare(path: Path, text: str) -> None:
        if request.config.getoption("--rewrite-golden"):
            path.write_text(text, encoding="utf-8")
        assert path.exists(), f"{path.name} is missing: run pytest --rewrite-golden and read what it wrote"
        assert text == path.read_text(encoding="utf-8")

    return compare
