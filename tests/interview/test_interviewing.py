"""The commands new and add, as somebody at the terminal has them."""

import subprocess
import sys
from pathlib import Path

import pytest

from gatekeeper.interview_keeping import CannotInterview
from gatekeeper.interviewing import HELP, interview_new, interview_parts
from gatekeeper.shop.examples import example
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop


def _shop(text: str) -> Shop:
    shop = load_shop(text, "shop.yaml")
    assert not isinstance(shop, Faults), shop.lines()
    return shop


def _last(said: list[str], first: str) -> list[str]:
    """What is said from the last line that begins so."""
    place = max(place for place, line in enumerate(said) if line.startswith(first))
    return said[place:]


def test_a_whole_session_through_a_pipe_writes_a_shop_that_check_accepts(tmp_path: Path, shed: tuple[str, ...]) -> None:
    command = [sys.executable, "-m", "gatekeeper"]
    typed = "\n".join([*shed, "", ""])
    done = subprocess.run([*command, "new", "shed.yaml"], input=typed, cwd=tmp_path, text=True, capture_output=True)
    assert (done.returncode, done.stderr) == (0, "")
    assert "That is all. Enter writes shed.yaml; back takes the last answer back: Written: shed.yaml." in done.stdout
    assert done.stdout.endswith("Assumed: planer drop, 10 ft of its length.\nnext: gatekeeper check shed.yaml\n")
    shop = _shop((tmp_path / "shed.yaml").read_text())
    planer = shop.tools["planer"].sensor
    assert planer is not None
    assert planer.contact is not None
    relay = shop.motors["collector"].switch.output
    assert relay is not None
    assert (planer.contact.line, relay.line) == (5, 17)
    assert [path.name for path in tmp_path.iterdir()] == ["shed.yaml"]
    again = subprocess.run([*command, "new", "shed.yaml"], input="", cwd=tmp_path, text=True, capture_output=True)
    assert (again.returncode, again.stdout) == (2, "")
    assert again.stderr == "shed.yaml: this file is there already; to add a machine to it: gatekeeper add shed.yaml\n"


def test_what_is_answered_is_kept_at_the_end_of_input_and_gone_on_with(tmp_path, shed, typed) -> None:  # type: ignore[no-untyped-def]
    out = tmp_path / "shed.yaml"
    first = typed(shed[:7])
    assert interview_new(out, first.face) is False
    kept = tmp_path / "shed.yaml.answers"
    assert first.said[-1] == f"Stopped. Your 7 answers are kept in {kept}; the same command goes on."
    assert kept.read_text() == "gatekeeper new\nShed\ninch\n60 Hz\n2 hp\nsingle\n6 in\nrelay\n"
    assert not out.exists()
    second = typed([*shed[7:], ""])
    assert interview_new(out, second.face) is True
    assert second.said[1] == f"Going on after 7 answers kept in {kept}."
    assert not kept.exists()
    _shop(out.read_text())


def test_back_a_question_mark_and_a_slip_are_answered(tmp_path, typed) -> None:  # type: ignore[no-untyped-def]
    one = typed(["back", "Shed", "?", "back", "Barn", "yards", "inch"])
    assert interview_new(tmp_path / "x.yaml", one.face) is False
    assert one.said[:24] == [
        HELP,
        "",
        "What is the shop called?",
        ">",
        "This is the first question.",
        "",
        "What is the shop called?",
        ">",
        "",
        "In which units do you read lengths and flows?",
        "   1 inch",
        "   2 metric",
        ">",
        "  Screens use them. Answers may be written in any unit all the same.",
        "",
        "In which units do you read lengths and flows?",
        "   1 inch",
        "   2 metric",
        ">",
        "Taken back.",
        "",
        "What is the shop called?",
        ">",
        "",
    ]
    assert '  "yards" is not one of these. Write its number or its word.' in one.said
    assert (tmp_path / "x.yaml.answers").read_text() == "gatekeeper new\nBarn\ninch\n"


def test_the_drawing_grows_and_the_air_is_told_at_each_machine(tmp_path, shed, typed) -> None:  # type: ignore[no-untyped-def]
    one = typed(shed)
    interview_new(tmp_path / "x.yaml", one.face)
    drawn = one.said.index("    `-- bandsaw drop: 4 in, 7 ft, 45 wye, hose 3 ft, to bandsaw")
    assert one.said[drawn - 2 : drawn] == ["collector", "`-- main 1: 6 in, 8 ft, 90 elbow"]
    assert one.said[drawn + 1] == "The bandsaw gets 600 cfm alone by an estimated fan and needs 350 cfm."
    told = [line for line in one.said if line.startswith("This changes the bandsaw: ")]
    assert told == ["This changes the bandsaw: 29 % less air, 425 cfm, with planer gate open beside it."]


def test_a_machine_more_leaves_the_rest_of_the_file_alone(tmp_path, typed) -> None:  # type: ignore[no-untyped-def]
    path = tmp_path / "garage.yaml"
    text = example("garage-one-collector").read_text(encoding="utf-8")
    path.write_text(text, encoding="utf-8")
    answers = ["lathe", "into main far", "", "", "5 ft", "45", "", "2 ft", "", "", "servo", "current", "", ""]
    one = typed(answers)
    assert interview_parts(path, text, _shop(text), one.face, None, None) is True
    changed = path.read_text(encoding="utf-8")
    added = [line for line in changed.splitlines() if line not in text.splitlines()]
    assert added == [
        "  lathe drop: {towards: main far, diameter: 4 in, length: 5 ft, fittings: [45 wye, 45 elbow], flex: 2 ft}",
        "  lathe gate: {duct: lathe drop, servo: {bank: servo bank, channel: 0}}",
        "  lathe:",
        "    gates: lathe gate",
        "    sensor: {current_switch: GPIO4}",
        "servo_banks:",
        "  # A PCA9685. 10 k from its OE to 3.3 V keep the gates limp until the program runs.",
        "  servo bank: {enable: GPIO21}",
    ]
    assert [line for line in changed.splitlines() if line not in added] == [*text.splitlines(), ""]
    assert _last(one.said, "To commission anew:") == [
        "To commission anew:",
        "  - servo bank: with the program stopped, every servo on it can be turned by hand.",
        "  - lathe drop: bond it to ground, close its joints, and measure its resistance to ground.",
        "  - lathe gate: jog it to both ends, set them, and time a whole move.",
        "  - lathe: switch it on once and see that the page names it and no other machine.",
        "  - Nothing else changed: 13 other motors, gates and tools keep what was proved of them.",
        f"next: gatekeeper check {path}",
    ]


def test_a_machine_that_waited_is_wired_and_its_comment_goes(tmp_path, shed, typed) -> None:  # type: ignore[no-untyped-def]
    path = tmp_path / "shed.yaml"
    interview_new(path, typed([*shed, ""]).face)
    text = path.read_text()
    one = typed(["1", "", "", "", "clamp"])
    assert interview_parts(path, text, _shop(text), one.face, None, None) is False
    one = typed([""])
    (tmp_path / "shed.yaml.answers").unlink()
    one = typed(["1", "", "", "", "current", "", ""])
    assert interview_parts(path, text, _shop(text), one.face, None, None) is True
    assert "What tells that the bandsaw runs? [current switch]" in one.said
    changed = path.read_text()
    assert "not wired yet" in text
    assert "not wired yet" not in changed
    assert "\n  bandsaw:\n    gates: bandsaw gate\n    sensor: {current_switch: GPIO6}\n\npage:\n" in changed


def test_a_move_and_a_leave_through_the_command(tmp_path: Path) -> None:
    path = tmp_path / "garage.yaml"
    text = example("garage-one-collector").read_text(encoding="utf-8")
    path.write_text(text, encoding="utf-8")
    command = [sys.executable, "-m", "gatekeeper", "add", "garage.yaml"]
    typed = "\n".join(["into riser", "", "", "2 ft", "", "1 ft", ""]) + "\n"
    done = subprocess.run([*command, "--move", "planer"], input=typed, cwd=tmp_path, text=True, capture_output=True)
    assert (done.returncode, done.stderr) == (0, "")
    # 8 ft of duct and hose instead of 35 ft, at 10 m/s, and one second.
    assert "  - planer gate: its branch now needs 1.2 s to clear (before: 2.1 s).\n" in done.stdout
    moved = path.read_text(encoding="utf-8")
    assert [line for line in moved.splitlines() if line not in text.splitlines()] == [
        "  planer drop: {towards: riser, diameter: 4 in, length: 2 ft, fittings: [45 wye], flex: 1 ft}"
    ]
    done = subprocess.run(
        [*command, "--retire", "table saw"], input="is taken\n\n", cwd=tmp_path, text=True, capture_output=True
    )
    assert (done.returncode, done.stderr) == (0, "")
    left = path.read_text(encoding="utf-8")
    gone = [line for line in moved.splitlines() if line not in left.splitlines()]
    assert [line.strip().split(":")[0] for line in gone][:3] == ["saw drop", "saw gate", "table saw"]
    assert [name for name in ("saw sign", "saw air button", "signs:", "stop mushroom") if name in left] == [
        "stop mushroom"
    ]


MACHINES = "they are table saw, jointer, planer, bandsaw, drum sander and mitre saw"


@pytest.mark.parametrize(
    ("move", "retire", "said"),
    [
        (None, "lathe", f'"lathe" is no machine of this shop; {MACHINES}.'),
        ("plane", None, f'"plane" is no machine of this shop; {MACHINES}; did you mean "planer"?'),
    ],
)
def test_machines_that_are_not_there_are_refused(tmp_path, typed, move, retire, said) -> None:  # type: ignore[no-untyped-def]
    text = example("garage-one-collector").read_text(encoding="utf-8")
    with pytest.raises(CannotInterview) as refused:
        interview_parts(tmp_path / "x.yaml", text, _shop(text), typed([]).face, move, retire)
    assert str(refused.value) == said


def test_answers_of_another_question_and_a_file_changed_meanwhile_are_refused(tmp_path, typed) -> None:  # type: ignore[no-untyped-def]
    path = tmp_path / "x.yaml"
    text = example("garage-one-collector").read_text(encoding="utf-8")
    path.write_text(text + "# changed\n", encoding="utf-8")
    kept = tmp_path / "x.yaml.answers"
    kept.write_text("gatekeeper add\nlathe\n", encoding="utf-8")
    with pytest.raises(CannotInterview) as refused:
        interview_parts(path, text, _shop(text), typed([]).face, None, "planer")
    assert str(refused.value) == (
        f"{kept}: these are the answers of gatekeeper add. Finish that first, or take the file away."
    )
    kept.unlink()
    with pytest.raises(CannotInterview) as refused:
        interview_parts(path, text, _shop(text), typed(["", ""]).face, None, "planer")
    assert str(refused.value) == f"{path}: the file was changed meanwhile; ask again."
    assert kept.exists()


def test_a_motor_more_is_tried_before_it_is_trusted(tmp_path: Path) -> None:
    path = tmp_path / "shed.yaml"
    text = example("one-evening").read_text(encoding="utf-8")
    path.write_text(text, encoding="utf-8")
    command = [sys.executable, "-m", "gatekeeper", "add", "shed.yaml", "--motor"]
    done = subprocess.run(command, input="\n200 W\n\n\n", cwd=tmp_path, text=True, capture_output=True)
    assert (done.returncode, done.stderr) == (0, "")
    assert (
        "To commission anew:\n"
        "  - air cleaner: click its switch with the motor isolated, then start it once, and see that it stops.\n"
        "  - Nothing else changed: 4 other motors, gates and tools keep what was proved of them.\n"
    ) in done.stdout
    assert "air cleaner" in _shop(path.read_text(encoding="utf-8")).motors
    both = subprocess.run([*command, "--move", "planer"], cwd=tmp_path, text=True, capture_output=True)
    assert both.returncode == 2
    assert both.stderr == "--move, --retire, --gate and --motor are different things; give one of them.\n"
