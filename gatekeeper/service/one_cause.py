"""One cause, one message: what stands for the same reason is told once, with everything that it is about."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from gatekeeper.service.face import Heap, MessageView
from gatekeeper.service.troubles import TROUBLES
from gatekeeper.service.viewing_scene import cap, listing
from gatekeeper.shop.model import Sensor, Shop

#: Several of these are told as one, in these words; each is one event of the shop that concerns many of its parts.
TOGETHER: Mapping[str, str] = {
    "no_air": "{subject} are cutting without air.",
    "found_running": "{subject} were found running. Their collector does not start by itself.",
    "one_system_only": "{subject} are served by one of their two systems only.",
    "lease_lost": "{subject} were switched off because the controller was late.",
    "starts_lost": "The records of motor starts of {subject} were lost.",
    "shop_shut_start": "{subject} were started while the shop is shut.",
    "out_of_service": "{subject} are out of service.",
}
_STAYS = "Gates stay as they are; say Stopped when a tool is off."
_HARM = (Heap.NOW, Heap.TODAY, Heap.WHEN_YOU_CAN)


class OneCause:
    """Folds the messages of one shop.

    Args:
        shop: tells which sensors hang on one circuit, converter or broker.
    """

    def __init__(self, shop: Shop) -> None:
        # The wider cause comes last and takes what the narrower ones have gathered.
        self._sources: dict[str, frozenset[str]] = {}
        for circuit in shop.circuits.values():
            self._sources[f"circuit:{circuit.name}"] = frozenset(f"sensor_lost:{tool}" for tool in circuit.tools)
        sensors = list(_sensors(shop))
        for name in shop.converters:
            on_it = [keys for sensor, keys in sensors if sensor.channel and sensor.channel.converter == name]
            self._sources[f"converter:{name}"] = frozenset().union(*on_it)
        for name in shop.brokers:
            meters = {meter.name for meter in shop.meters.values() if meter.broker == name}
            by_it = [keys for sensor, keys in sensors if sensor.metered and sensor.metered.meter in meters]
            self._sources[f"broker:{name}"] = frozenset().union(*by_it)

    def folded(self, standing: Sequence[MessageView]) -> list[MessageView]:
        """The messages, with those of one cause as one. Whoever is told that it was seen is told it of all in it."""
        left = {message.key: message for message in standing}
        for key, members in self._sources.items():
            lost = [left[member] for member in sorted(members) if member in left]
            own = left.get(key)
            is_whole = len(members) > 1 and len(lost) == len(members)
            if not lost or not (own or is_whole):
                continue
            for message in lost:
                del left[message.key]
            left[key] = _of_source(key, own, lost)
        for code in TOGETHER:
            alike = [message for message in left.values() if message.key.startswith(f"{code}:")]
            if len(alike) > 1:
                for message in alike:
                    del left[message.key]
                names = listing([message.key.partition(":")[2] for message in alike], most=6)
                one = _one(alike, f"{code}:each")
                left[one.key] = replace(one, sentence=cap(TOGETHER[code].format(subject=names)))
        return list(left.values())


def _sensors(shop: Shop) -> Iterable[tuple[Sensor, frozenset[str]]]:
    """Every sensor with the keys of the messages that its silence gives rise to."""
    for tool in shop.tools.values():
        if tool.sensor is not None:
            yield tool.sensor, frozenset({f"sensor_lost:{tool.name}"})
    for circuit in shop.circuits.values():
        yield circuit.sensor, frozenset(f"sensor_lost:{tool}" for tool in circuit.tools)
    for motor in shop.motors.values():
        if motor.confirmed_by is not None:
            yield motor.confirmed_by, frozenset({f"motor_sensor_lost:{motor.name}"})


def _of_source(key: str, own: MessageView | None, lost: Sequence[MessageView]) -> MessageView:
    """The one message of a circuit, converter or broker whose sensors say nothing."""
    code, _, subject = key.partition(":")
    row = TROUBLES[code]
    one = _one([*([own] if own else []), *lost], key)
    said = own.sentence if own else cap(row.happened.format(subject=subject))
    names = listing([message.key.partition(":")[2] for message in lost], most=8)
    return replace(
        one,
        sentence=f"{said} Nothing tells whether {names} {'run' if len(lost) > 1 else 'runs'}.",
        cause=row.cause,
        remedy=f"{row.remedy} {_STAYS}",
    )


def _one(alike: Sequence[MessageView], key: str) -> MessageView:
    """One message out of several: from the first time to the last, as bad as the worst, seen when all were."""
    return replace(
        alike[0],
        key=key,
        heap=min((message.heap for message in alike), key=_HARM.index),
        first_wall_s=min(message.first_wall_s for message in alike),
        last_wall_s=max(message.last_wall_s for message in alike),
        count=max(message.count for message in alike),
        seen=all(message.seen for message in alike),
        subject=None,
        offers=tuple(offer for message in alike for offer in message.offers),
        stands_for=tuple(one for message in alike for one in (message.stands_for or (message.key,))),
    )
