"""What every test may use: texts that are kept as golden files and change only on purpose."""

import os
from collections.abc import Callable, Generator
from pathlib import Path
from typing import Any

import pytest


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--rewrite-golden",
        action="store_true",
        help="Write the golden files anew from what the program says now. Refused under CI.",
    )


def under_ci() -> bool:
    """True where the environment says that this is a run of continuous integration."""
    return os.environ.get("CI", "").lower() not in ("", "0", "false")


#: The only reasons for which a test may be skipped under CI.
ALLOWED_SKIPS = ("missing hardware", "missing shared data")


@pytest.hookimpl(hookwrapper=True)
def pytest_runtest_makereport(item: pytest.Item, call: "pytest.CallInfo[None]") -> "Generator[None, Any, None]":
    """Under CI a test that is skipped for any other reason than missing hardware or missing shared data has failed."""
    outcome = yield
    report = outcome.get_result()
    if report.skipped and not hasattr(report, "wasxfail") and under_ci():
        reason = report.longrepr[2] if isinstance(report.longrepr, tuple) else str(report.longrepr)
        if not any(allowed in reason for allowed in ALLOWED_SKIPS):
            report.outcome = "failed"
            report.longrepr = f"skipped under CI: {reason}"


def pytest_configure(config: pytest.Config) -> None:
    if config.getoption("--rewrite-golden") and under_ci():
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
