"""The packed program: built as a wheel, installed elsewhere, run from another folder."""

import signal
import subprocess
import sys
import urllib.request
import venv
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("dist")
    subprocess.run(
        [sys.executable, "-m", "build", "--wheel", "--outdir", str(folder), str(ROOT)], check=True, capture_output=True
    )
    (made,) = folder.glob("*.whl")
    return made


@pytest.fixture(scope="module")
def installed(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The commands' folder of a fresh environment with the wheel and what it asks for."""
    folder = tmp_path_factory.mktemp("fresh")
    venv.create(folder, with_pip=True)
    python = folder / "bin" / "python"
    subprocess.run(
        [str(python), "-m", "pip", "install", "-q", "--disable-pip-version-check", str(wheel)],
        check=True,
        capture_output=True,
    )
    return folder / "bin"


def test_the_wheel_holds_the_examples_and_the_page(wheel: Path) -> None:
    names = zipfile.ZipFile(wheel).namelist()
    for shop in sorted((ROOT / "config").glob("*.yaml")):
        assert f"gatekeeper/examples/{shop.name}" in names
    for scenario in sorted((ROOT / "sim" / "scenarios").glob("*.yaml")):
        assert f"sim/scenarios/{scenario.name}" in names
    for static in sorted((ROOT / "gatekeeper" / "web" / "static").iterdir()):
        assert f"gatekeeper/web/static/{static.name}" in names
    assert not [name for name in names if name.startswith("tests/")]


@pytest.mark.slow
def test_the_commands_run_from_another_folder(installed: Path, tmp_path: Path) -> None:
    def run(*words: str) -> "subprocess.CompletedProcess[str]":
        return subprocess.run(
            [str(installed / "gatekeeper"), *words],
            capture_output=True,
            text=True,
            cwd=tmp_path,
            check=False,
            timeout=120,
        )

    checked = run("check", "garage-one-collector")
    assert checked.returncode == 0, checked.stderr
    assert checked.stdout.splitlines()[0] == "Back-wall garage (garage-one-collector)"
    csv = tmp_path / "current.csv"
    csv.write_text("amperes\n" + "0\n" * 400 + "".join(f"{5 if n % 40 < 20 else -5}\n" for n in range(1200)))
    replayed = run("replay", "current.csv", "--rate", "2000", "--mains", "50")
    assert replayed.returncode == 0, replayed.stderr
    played = run("simulate", "garage-one-collector", "planer-then-saw")
    assert played.returncode == 0, played.stdout + played.stderr
    assert played.stdout.splitlines()[-1] == "next: gatekeeper simulate garage-one-collector --day"
    assert replayed.stdout.splitlines()[-1] == "1 start of the tool seen; the collector was switched on once."


@pytest.mark.slow
def test_the_demo_runs_from_another_folder_and_ends_by_a_signal(installed: Path, tmp_path: Path) -> None:
    command = [str(installed / "gatekeeper"), "demo", "--port", "0"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=tmp_path) as demo:
        assert demo.stdout is not None
        assert demo.stderr is not None
        said = [demo.stdout.readline() for _ in range(3)]
        assert said[:2] == ["Back-wall garage: a virtual shop under the real controller.\n", "The page:\n"]
        with urllib.request.urlopen(said[2].strip(), timeout=60) as page:
            assert page.status == 200
            assert "Back-wall garage" in page.read().decode()
        demo.send_signal(signal.SIGTERM)
        assert demo.wait(60) == 0
        assert demo.stderr.read() == ""
    assert list(tmp_path.iterdir()) == []
