"""What the questions of a new shop come to: drafts, sections of the file, what was asked on the way."""

from dataclasses import replace

from interview_paths import told

from gatekeeper.interview.draft import ShopDraft
from gatekeeper.interview.engine import Interview
from gatekeeper.interview.new import new_shop
from gatekeeper.interview.writing import draft_text
from gatekeeper.shop.choosing import choices_for, with_pins
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.lines import TO_BE_CHOSEN
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop

SHED = {
    "name": "Shed",
    "units": "metric",
    "power": "1.5 kW",
    "inlet": "100 mm",
    "at_the_collector": ["machine"],
    "alike": "no",
}
LATHE = {**SHED, "machine": "lathe", "sensor": "current"}

DRIVE = {
    "switched_by": "variable",
    "drive_command": "0x2000",
    "drive_start": "1",
    "drive_stop": "5",
    "drive_status": "0x2100",
}

TWO_BROKERS = {
    **SHED,
    "at_the_collector": ["machine"] * 2,
    "machine": ["lathe +", "lathe"],
    "gate": "behind",
    "sensor": "current",
}


def draft_of(**answers: str | list[str]) -> ShopDraft:
    """The shop that these answers tell; see ``told``."""
    draft: ShopDraft = told(new_shop(), **answers).stand().draft
    return draft


def lines_of(section: str, **answers: str | list[str]) -> list[str]:
    """The lines of one section of the file; the file is a shop, and every pin of it can be chosen."""
    text = draft_text(draft_of(**answers))
    pinned(text)
    lines = iter(text.splitlines())
    assert f"{section}:" in lines
    found = []
    for line in lines:
        if not line:
            break
        found.append(line.removeprefix("  "))
    return found


def pinned(text: str) -> Shop:
    """The shop of a file once every pin of it is chosen."""
    whole = with_pins(text, "x", choices_for(text, "x"))
    assert TO_BE_CHOSEN not in whole
    shop = load_shop(whole, "x")
    assert not isinstance(shop, Faults), shop.lines()
    return shop


def asked_about(**answers: str | list[str]) -> list[str]:
    """The short words of all questions that were asked."""
    answered = told(new_shop(), **answers).answers
    asked = []
    for count in range(len(answered)):
        question = replace(new_shop(), answers=answered[:count]).stand().question
        assert question is not None
        asked.append(question.about)
    return asked


def at_question(about: str, **answers: str | list[str]) -> Interview[ShopDraft]:
    """The interview where a question of this short word is due for the last time."""
    whole = told(new_shop(), **answers)
    places = [place for place, word in enumerate(asked_about(**answers)) if word == about]
    return replace(whole, answers=whole.answers[: places[-1]])
