"""A small shop for the tests of plays: two tools, one fan, switches at the gates, everything said in its file."""

from collections.abc import Iterable
from functools import lru_cache
from typing import Any

from gatekeeper.control.messages import Entry
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop
from sim.happening import Happening, What
from sim.play import Game
from sim.stage import Stage, stage_of

TEXT = """
shop: {name: A shop for plays, mains: 50 Hz, open_flue_nearby: no}
motors:
  fan:
    power: 2.2 kW
    phases: three
    inlet: 150 mm
    spin_down: 20 s
    spin_up: 3 s
    coast: 12 s
    release: 1 s
    starts_per_hour: 12 per hour
    rest: 60 s
    switched_by: {pin: GPIO17, when_board_dies: drops}
    confirmed_by: {converter: board, channel: 7, range: 40 A, within: 3 s}
ducts:
  main: {towards: fan, diameter: 150 mm, length: 6 m}
  saw drop: {towards: main, diameter: 125 mm, length: 3 m}
  planer drop: {towards: main, diameter: 125 mm, length: 2 m}
gates:
  saw gate: {duct: saw drop, servo: {pin: GPIO12}, travel: 2 s, open_contact: GPIO4, shut_contact: GPIO5}
  planer gate: {duct: planer drop, servo: {pin: GPIO13}, travel: 2 s}
converters:
  board: {chip_select: 0}
tools:
  saw: {gates: saw gate, needs: 800 m3/h, sensor: {converter: board, channel: 0, range: 30 A}}
  planer: {gates: planer gate, needs: 900 m3/h, sensor: {converter: board, channel: 1, range: 30 A}}
inputs:
  red button: {kind: red button, pin: GPIO22}
  here: {kind: air here, pin: GPIO23, at: saw}
"""


def shop_of(text: str = TEXT) -> Shop:
    shop = load_shop(text, "shop.yaml")
    assert isinstance(shop, Shop), str(shop)
    return shop


@lru_cache(maxsize=8)
def stage(text: str = TEXT) -> Stage:
    return stage_of(shop_of(text))


def cut(tool: str, on_s: float, off_s: float) -> list[Happening]:
    return [Happening(on_s, What.TOOL_ON, tool), Happening(off_s, What.TOOL_OFF, tool)]


class Heard:
    """A game with its record."""

    def __init__(self, happenings: Iterable[Happening] = (), text: str = TEXT, **how: Any) -> None:
        self.record: list[Entry] = []
        self.game = Game(stage(text), watch=self.record.append, strict=True, **how)
        for happening in happenings:
            self.game.happen(happening)

    def when(self, kind: str, subject: str | None, word: object, since_s: float = 0.0) -> float:
        """The instant of the first such entry."""
        return next(e.t_s for e in self.entries(kind, subject) if self.word(e) == word and e.t_s >= since_s)

    def entries(self, kind: str, subject: str | None = None) -> list[Entry]:
        return [e for e in self.record if e.kind == kind and subject in (None, e.subject)]

    def words(self, kind: str, subject: str | None = None) -> list[object]:
        return [self.word(e) for e in self.entries(kind, subject)]

    @staticmethod
    def word(entry: Entry) -> object:
        return entry.value["what"] if isinstance(entry.value, dict) else entry.value
