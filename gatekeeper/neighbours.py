"""The neighbours of a running shop, put together: a broker that hears of it, where the shop's file names one."""

from collections.abc import Callable

from gatekeeper.records.state_form import Change
from gatekeeper.service.broker_leave import BrokerLeave
from gatekeeper.service.face import Face
from gatekeeper.service.homie import HomieDevice
from gatekeeper.service.neighbour import HomieNeighbour, Speaker
from gatekeeper.service.running import Service
from gatekeeper.shop.model import Shop

SpeakerOf = Callable[[Callable[[str, str], None]], Speaker]


def speaker_for(shop: Shop) -> SpeakerOf | None:
    """What speaks to the broker of the shop's file; None where there is no such neighbour. Connects to nothing yet.

    Raises:
        DeviceError: the broker's password or the library is not there.
    """
    homie = shop.neighbours.homie
    if homie is None:
        return None
    from gatekeeper.devices.mqtt_meter import password_of
    from gatekeeper.devices.mqtt_speaker import MqttSpeaker, needs_library

    needs_library()
    broker, device = shop.brokers[homie.broker], HomieDevice(shop, homie)
    where = broker.password_from
    password = password_of(where[0].value, where[1]) if where is not None else None

    def made(hear: Callable[[str, str], None]) -> Speaker:
        return MqttSpeaker(
            f"{broker.name} (Homie)",
            broker.host,
            broker.port,
            state_topic=device.state_topic,
            heard=device.command_topics,
            hear=hear,
            user=broker.user,
            password=password,
        )

    return made


def join(service: Service, face: Face, speaker_of: SpeakerOf) -> HomieNeighbour:
    """Start the neighbour of a running service; it ends with the service, and its trouble is told on the page."""
    homie = service.shop.neighbours.homie
    assert homie is not None
    leave = BrokerLeave(service.shop, service.contacts.broker_may_ask, lambda by, for_s: _noted(service, by, for_s))
    device = HomieDevice(service.shop, homie)
    made = HomieNeighbour(device, face, speaker_of, leave.stands, leave if homie.commands else None)
    service.links.append(made)
    made.start()
    return made


def _noted(service: Service, by: str, for_s: float | None) -> None:
    """Who let commands in and kept them out is kept with the changes of settings."""
    change = Change(service.wall_s(), by, None, "broker_commands_s", None, for_s)
    service.keeper.submit([], lambda kept, why: None, [change])
