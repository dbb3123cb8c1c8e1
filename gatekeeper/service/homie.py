"""The shop in the words of the Homie convention, version 5 (homieiot.github.io): one device, a node for each thing.

A pure mapping: names become ids of a to z, 0 to 9 and -, a view becomes topics with texts, a command's topic becomes a
request. Nothing here knows a broker or a thread.
"""

import json
import unicodedata
import zlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from gatekeeper.service.face import GateWord, Heap, RequestWhat, SensorWord, ShopView
from gatekeeper.shop.model import Homie, Shop

ROOT = "homie/5"
_GATE_WORDS = {word: word.value.replace(" ", "-") for word in GateWord}


@dataclass(frozen=True, slots=True)
class Wish:
    """A command as a request to the core. ``for_s`` 0 ends what was asked for."""

    what: RequestWhat
    subject: str
    for_s: float | None = None


def id_of(name: str) -> str:
    """A name in the letters that the convention allows; ``x`` where nothing of it is left."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    words = "".join(mark if mark.isalnum() else " " for mark in plain).split()
    return "-".join(words) or "x"


def ids_of(names: Iterable[str]) -> dict[str, str]:
    """An id for each name, no two alike; the same names in the same order get the same ids."""
    found: dict[str, str] = {}
    for name in names:
        wanted, number = id_of(name), 1
        made = wanted
        while made in found.values():
            number += 1
            made = f"{wanted}-{number}"
        found[name] = made
    return found


class HomieDevice:
    """One shop as a device of the convention.

    Args:
        shop: the shop.
        homie: how its file describes it.
    """

    def __init__(self, shop: Shop, homie: Homie) -> None:
        self._shop = shop
        self._commands = homie.commands
        self._base = f"{ROOT}/{homie.device}"
        self._ids = ids_of(["shop", *shop.motors, *shop.tools, *shop.gates])
        self._wishes = self._all_wishes() if homie.commands else {}
        self._described = json.dumps(self._description(), separators=(",", ":"), ensure_ascii=False)

    @property
    def state_topic(self) -> str:
        """Where the device's state goes."""
        return f"{self._base}/$state"

    @property
    def command_topics(self) -> tuple[str, ...]:
        """Every topic that takes a command; none unless the shop's file allows them."""
        return tuple(dict.fromkeys(topic for topic, _ in self._wishes))

    def wish(self, topic: str, word: str) -> Wish | None:
        """What a command asks for; None where it is none of ours."""
        return self._wishes.get((topic, word))

    def texts(self, view: ShopView, *, is_heard: bool, takes_commands: bool) -> dict[str, str]:
        """Every topic but the state's, with its text. ``is_heard``: the control thread gave a sign of life."""
        found = {f"{self._base}/$description": self._described}
        self._put(found, "shop", "sentence", _plain(view.sentence.text))
        self._put(found, "shop", "commands", _truth(takes_commands))
        for motor in view.motors:
            self._put(found, motor.name, "runs", _truth(motor.runs))
            self._put(found, motor.name, "state", motor.word)
        for tool in view.tools:
            self._put(found, tool.name, "runs", _truth(tool.sensor is SensorWord.RUNNING))
            self._put(found, tool.name, "sensor", tool.sensor.value)
        for gate in view.gates:
            self._put(found, gate.name, "place", _GATE_WORDS[gate.word])
        worst = next((m.sentence for m in view.messages if m.heap is Heap.NOW and not m.cleared), "")
        found[f"{self._base}/$alert/now"] = worst
        silent = "" if is_heard else "The controller gives no sign of life. The shop may be running."
        found[f"{self._base}/$alert/silent"] = silent
        return found

    # ---------------------------------------------------------------- inside

    def _put(self, found: dict[str, str], name: str, key: str, text: str) -> None:
        found[f"{self._base}/{self._ids[name]}/{key}"] = text

    def _all_wishes(self) -> Mapping[tuple[str, str], Wish]:
        found: dict[tuple[str, str], Wish] = {}
        for motor in self._shop.motors:
            found[f"{self._base}/{self._ids[motor]}/stop/set", "true"] = Wish("stop", motor)
        for tool in self._shop.tools:
            topic = f"{self._base}/{self._ids[tool]}/air/set"
            found[topic, "true"] = Wish("air_here", tool)
            found[topic, "false"] = Wish("air_here", tool, 0.0)
        return found

    def _description(self) -> dict[str, Any]:
        nodes: dict[str, Any] = {
            self._ids["shop"]: _node(
                self._shop.name, "shop", sentence=_text("Now"), commands=_boolean("Commands are taken")
            )
        }
        settable = {"settable": True, "retained": False}
        for motor in self._shop.motors.values():
            more = {"stop": _boolean("Stop") | settable} if self._commands else {}
            node = _node(motor.name, motor.kind.value, runs=_boolean("Runs"), state=_text("State"), **more)
            nodes[self._ids[motor.name]] = node
        for tool in self._shop.tools:
            more = {"air": _boolean("Air here") | settable} if self._commands else {}
            sensor = _enum("Sensor", [word.value for word in SensorWord])
            nodes[self._ids[tool]] = _node(tool, "machine", runs=_boolean("Runs"), sensor=sensor, **more)
        for gate in self._shop.gates:
            nodes[self._ids[gate]] = _node(gate, "gate", place=_enum("Place", [*_GATE_WORDS.values()]))
        body = {"homie": "5.0", "name": self._shop.name, "nodes": nodes}
        # It must change with the rest, so it is made of the rest.
        return body | {"version": zlib.crc32(json.dumps(body).encode())}


def _node(name: str, kind: str, **properties: dict[str, Any]) -> dict[str, Any]:
    return {"name": name, "type": kind, "properties": properties}


def _text(name: str) -> dict[str, Any]:
    return {"name": name, "datatype": "string"}


def _boolean(name: str) -> dict[str, Any]:
    return {"name": name, "datatype": "boolean"}


def _enum(name: str, words: list[str]) -> dict[str, Any]:
    return {"name": name, "datatype": "enum", "format": ",".join(words)}


def _truth(value: bool) -> str:
    return "true" if value else "false"


def _plain(sentence: str) -> str:
    """A sentence without its running time, which would be a message a second."""
    return " ".join(sentence.replace("{time}", "a while").split())
