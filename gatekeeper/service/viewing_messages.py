"""Messages: the core's standing ones and the service's own, newest first, each with what can be done about it."""

from collections.abc import Iterable
from dataclasses import replace

from gatekeeper.control.alarms import FAULTS, UNTIL_CLEARED, Fault, gate_called, short_of_air
from gatekeeper.control.snapshot import AlarmNow
from gatekeeper.service.care_troubles import FULL_BIN, is_bin
from gatekeeper.service.coil_gates import at_the_gate
from gatekeeper.service.face import Heap, MessageView, Offer
from gatekeeper.service.one_cause import OneCause
from gatekeeper.service.viewing_notes import ExtraMessage
from gatekeeper.service.viewing_scene import Scene, cap, made
from gatekeeper.shop.model import Shop

#: Messages that are over stay for the reader: so many, and so long.
OVER_MOST = 20
OVER_S = 12 * 3600.0

_HEAPS = {"now": Heap.NOW, "today": Heap.TODAY, "when_you_can": Heap.WHEN_YOU_CAN}
#: Worst first.
HARM = (Heap.NOW, Heap.TODAY, Heap.WHEN_YOU_CAN)
_NOT_RESET = "not reset yet"
#: A circuit that is whole again is not called open.
_NOT_RESET_YET = {
    "fire": "There was heat, smoke or the building's alarm, and it is not reset yet. Every motor is off.",
    "emergency": "The emergency circuit is whole again and not reset yet. Every motor is off.",
}


def words_of(code: str, subject: str) -> Fault:
    """A row of the fault table with its subject filled in, ready for the screen."""
    row = FAULTS[code]
    if subject == _NOT_RESET and code in _NOT_RESET_YET:
        return row._replace(happened=_NOT_RESET_YET[code])
    return row._replace(happened=cap(row.happened.format(subject=subject, gate=gate_called(subject))))


class Messages:
    """The messages of one view after the other; it remembers those that are over for a while.

    An over message counts as seen: the core answers only for those that stand. One that comes back while it is
    remembered goes on with its first time and its count.

    Args:
        shop: tells what has one cause.
    """

    def __init__(self, shop: Shop) -> None:
        self._causes = OneCause(shop)
        self._stood: dict[str, MessageView] = {}
        self._over: dict[str, MessageView] = {}
        self._before: dict[str, tuple[float, int]] = {}

    def views(self, scene: Scene, wall_s: float) -> tuple[MessageView, ...]:
        """All messages, newest first."""
        standing = {view.key: self._again(view) for view in self._causes.folded(_standing(scene))}
        for key, view in self._stood.items():
            if key not in standing:
                self._over[key] = replace(view, cleared=True, seen=True, offers=())
                self._before[key] = (view.first_wall_s, view.count)
        self._stood = standing
        kept = [view for key, view in self._over.items() if key not in standing and wall_s - view.last_wall_s < OVER_S]
        self._over = {view.key: view for view in kept[-OVER_MOST:]}
        self._before = {key: told for key, told in self._before.items() if key in self._over or key in standing}
        return tuple(sorted((*standing.values(), *self._over.values()), key=_newest_first))

    def _again(self, view: MessageView) -> MessageView:
        """A message that stood before and was over, with its first time and how often it came."""
        before = self._before.get(view.key)
        if before is None:
            return view
        first_wall_s, count = before
        return replace(view, first_wall_s=first_wall_s, count=view.count + count)


def _newest_first(view: MessageView) -> tuple[float, bool, int]:
    return (-view.last_wall_s, view.cleared, HARM.index(view.heap))


def worst(messages: Iterable[MessageView]) -> Heap | None:
    """The worst heap on which a message stands."""
    standing = {message.heap for message in messages if not message.cleared}
    return next((heap for heap in HARM if heap in standing), None)


def _standing(scene: Scene) -> list[MessageView]:
    names = {*scene.motors, *scene.gates, *scene.tools}
    return [
        *(_core_message(scene, alarm, names) for alarm in scene.core.alarms),
        *(_extra_message(extra, names) for extra in scene.notes.extra),
    ]


def _core_message(scene: Scene, alarm: AlarmNow, names: set[str]) -> MessageView:
    row = at_the_gate(scene.ground.shop, alarm.code, alarm.subject, words_of(alarm.code, alarm.subject))
    if alarm.code == "short_of_air":
        running = [tool.name for tool in scene.core.tools if tool.wants_gates]
        missing = scene.plan.missing_air(alarm.subject, running)
        row = row._replace(happened=cap(short_of_air(alarm.subject, missing)))
    if alarm.code == "door_open" and is_bin(scene.ground.shop, alarm.subject):
        row = FULL_BIN._replace(happened=FULL_BIN.happened.format(subject=alarm.subject))
    stands = alarm.standing
    return MessageView(
        key=f"{alarm.code}:{alarm.subject}",
        heap=_HEAPS[row.heap],
        sentence=row.happened,
        cause=row.cause,
        remedy=row.remedy,
        first_wall_s=scene.wall(stands.since_s),
        last_wall_s=scene.wall(stands.last_s),
        count=stands.count,
        seen=stands.seen,
        subject=alarm.subject if alarm.subject in names else None,
        offers=_offers(scene, alarm.code, alarm.subject),
    )


def _extra_message(extra: ExtraMessage, names: set[str]) -> MessageView:
    return MessageView(
        key=f"{extra.code}:{extra.subject}",
        heap=extra.heap,
        sentence=extra.sentence,
        cause=extra.cause,
        remedy=extra.remedy,
        first_wall_s=extra.first_wall_s,
        last_wall_s=extra.last_wall_s,
        count=extra.count,
        seen=extra.seen,
        subject=extra.subject if extra.subject in names else None,
    )


def _offers(scene: Scene, code: str, subject: str) -> tuple[Offer, ...]:
    """What can be done about one message now."""
    if code == "emergency":
        return made(scene.reset_offer())
    if code in ("found_running", "no_air"):
        idle = [motor for motor in scene.motors_of(subject) if not motor.on and motor.wait_why is None]
        return made(*(scene.start_offer(motor) for motor in idle))
    if code in ("gate_stuck", "gate_held"):
        return made(scene.release_offer(scene.gates[subject]))
    if code in ("did_not_start", "stopped_itself", "starts_lost"):
        return made(scene.clear_offer(scene.motors[subject]))
    if code in ("still_running", "sensor_lost"):
        tool = scene.tools[subject]
        return made(scene.still_running_offer(tool), scene.stopped_offer(tool))
    if code == "out_of_service":
        return made(scene.back_offer(scene.motors[subject]))
    if code in UNTIL_CLEARED:
        known = subject in scene.motors or subject in scene.gates or subject in scene.tools
        return (Offer("clear", subject if known else f"{code}:{subject}", "Clear this message"),)
    return ()
