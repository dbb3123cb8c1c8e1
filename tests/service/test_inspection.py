"""The list for whoever inspects a shop: made from its file, whole sentences, no word that promises what we cannot."""

import re
from collections.abc import Callable
from pathlib import Path

import pytest

from gatekeeper.inspection import BEFORE, chapters, inspection_html, inspection_markdown
from gatekeeper.inspection_drawing import drawn
from gatekeeper.service.face_people import Chapter, Trial
from gatekeeper.shop import examples
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop

ROOT = Path(__file__).parents[2]
_REFUSED = re.compile(r"\b(safe|safely|compliant|certified|approved?|protected|explosion-proof)\b", re.IGNORECASE)
HEAD = "shop: {name: Walk, mains: 50 Hz, open_flue_nearby: no}"
EVERYTHING = f"""{HEAD}
motors:
  fan:
    power: 2.2 kW
    phases: three
    switched_by: {{pin: GPIO17, when_board_dies: drops after 4 s}}
    confirmed_by: {{current_switch: GPIO27, within: 5 s}}
gates:
  saw gate: {{diameter: 125 mm, servo: {{pin: GPIO12}}, open_contact: GPIO4}}
  bin gate: {{diameter: 125 mm, coil: {{pin: GPIO16, holds: open}}}}
  hand gate: {{diameter: 125 mm}}
tools:
  saw: {{gates: saw gate, spin_down: 90 s, sensor: {{current_switch: GPIO23}}}}
  lathe: {{gates: hand gate, sensor: {{current_switch: GPIO24}}}}
inputs:
  red button: {{kind: red button, pin: GPIO22}}
  heat: {{kind: fire, pin: GPIO25}}
  reset key: {{kind: reset, pin: GPIO5}}
  sparks button: {{kind: sparks, pin: GPIO6}}
  bin door: {{kind: door, pin: GPIO13, motors: fan}}
  selector: {{kind: hand-off-auto, hand_pin: GPIO18, auto_pin: GPIO19, motors: fan}}
  key: {{kind: shop key, pin: GPIO20}}
signs:
  saw lamp: {{pin: GPIO21, at: saw}}
"""


def shop_of(text: str) -> Shop:
    shop = load_shop(text, "shop.yaml")
    assert isinstance(shop, Shop), str(shop)
    return shop


def example(name: str) -> Shop:
    return shop_of(examples.example(name).read_text(encoding="utf-8"))


def of(shop: Shop, title: str) -> dict[str, str]:
    (chapter,) = [one for one in chapters(shop) if one.title == title]
    return {trial.tried: trial.happens for trial in chapter.trials}


@pytest.mark.parametrize("name", examples.names())
def test_every_example_has_its_list_in_whole_sentences(name: str) -> None:
    every = chapters(example(name))
    assert [chapter.title for chapter in every][:2] == ["By wire alone", "Buttons and detectors"]
    texts = [*BEFORE, *(chapter.why for chapter in every)]
    texts += [text for chapter in every for trial in chapter.trials for text in (trial.tried, trial.happens)]
    for text in texts:
        assert text[0].isupper()
        assert text.endswith((".", '."'))
        assert not text.endswith("..")
        assert _REFUSED.search(text) is None, text
        assert "{" not in text
    tried = [trial.tried for chapter in every for trial in chapter.trials]
    assert len(set(tried)) == len(tried)


def test_every_part_of_a_shop_is_tried() -> None:
    shop = shop_of(EVERYTHING)
    said = " ".join(trial.tried + " " + trial.happens for chapter in chapters(shop) for trial in chapter.trials)
    for name in (*shop.motors, *shop.tools, *shop.inputs, *shop.signs, "saw gate", "bin gate", "hand gate"):
        assert name.lower() in said.lower(), name


def test_the_day_the_board_is_dead() -> None:
    tried = of(shop_of(EVERYTHING), "Hand, Off, Auto")
    assert tried["In mid-cut at saw pull the board's plug, turn selector of fan to Hand, cut on, plug in."] == (
        "Fan runs by its switch. After the plug is in: no message about it, no gate of saw shuts, nothing else starts, "
        'and the page says "Running by hand. Stop it at the switch."'
    )
    assert of(shop_of(EVERYTHING), "Power")["Pull the board's plug in mid-cut: fan."] == (
        "Each drops after 4 s. The machine runs on by its own switch."
    )


def test_what_the_shop_has_not_is_not_asked_for() -> None:
    titles = [chapter.title for chapter in chapters(example("one-evening"))]
    assert "Opening hours" not in titles
    assert "Fingers" not in titles  # every gate is moved by hand


def test_without_a_reset_key_sparks_end_on_the_page() -> None:
    with_key = of(shop_of(EVERYTHING), "Buttons and detectors")
    (said,) = [happens for tried, happens in with_key.items() if "I saw sparks" in tried]
    assert said.endswith("It ends at the reset in the shop only.")
    without = of(example("one-evening"), "Buttons and detectors")
    (said,) = [happens for tried, happens in without.items() if "I saw sparks" in tried]
    assert said.endswith("The whole shop is out of service until it is brought back on the page.")


def test_on_paper_every_trial_has_its_number_and_room_for_a_mark() -> None:
    shop = shop_of(EVERYTHING)
    html = inspection_html(shop)
    count = sum(len(chapter.trials) for chapter in chapters(shop))
    assert html.count('<td class="mark"></td>') == count
    assert f'<th scope="row">{count}</th>' in html
    odd = drawn((Chapter("A & B", "Why.", (Trial("<b>Try.</b>", "It happens."),)),), BEFORE)
    assert "&lt;b&gt;Try.&lt;/b&gt;" in odd
    assert "A &amp; B" in odd


def test_the_page_among_the_hardware_pages_is_made_from_an_example(golden: Callable[[Path, str], None]) -> None:
    golden(ROOT / "hardware" / "inspection.md", inspection_markdown(example("shared-twelve"), "shared-twelve"))
