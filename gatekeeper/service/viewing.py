"""From what the core believes to what the page shows: one finished, frozen ``ShopView`` per change.

The sentences live beside their subjects (``viewing_motors``, ``viewing_gates``, ``viewing_tools``,
``viewing_messages``, ``viewing_sentence``); here they are put together with what this shop always has to be told.
"""

from collections.abc import Callable, Iterator, Mapping

from gatekeeper.control.plan import Plan
from gatekeeper.control.snapshot import CoreView, MotorNow
from gatekeeper.service.face import Offer, OutOfService, Press, ShopView, Units
from gatekeeper.service.live_air import LiveAir
from gatekeeper.service.viewing_gates import Ducts, gate_view
from gatekeeper.service.viewing_messages import Messages, worst
from gatekeeper.service.viewing_motors import motor_view, out_of_service_view, stop_due_s
from gatekeeper.service.viewing_notes import ExtraMessage, Notes, SpinDownChange, StopAsked
from gatekeeper.service.viewing_scene import RUN_S, START_CAUTION, Ground, Scene, cap, listing, made
from gatekeeper.service.viewing_sentence import attention, top_sentence
from gatekeeper.service.viewing_tools import tool_view
from gatekeeper.shop.model import BoardDeath, InputKind, Proof, Shop, StartsFrom

__all__ = ["ExtraMessage", "Notes", "SpinDownChange", "StopAsked", "Viewing"]


class Viewing:
    """Makes the page's views; one thread owns it.

    It remembers two things between views: messages that are over, and when it first saw a motor out of service.

    Args:
        shop: the shop's file.
        plan: what the core runs on, made from the same file.
        wall: the wall clock, seconds since 1970.
        air: what is known of velocities in the ducts.
    """

    def __init__(self, shop: Shop, plan: Plan, wall: Callable[[], float], air: LiveAir | None = None) -> None:
        self._ground = Ground(shop, plan)
        self._wall = wall
        self._ducts = Ducts(shop, air)
        self._messages = Messages(shop)
        self._cautions = tuple(cautions(shop))
        self._out_since: dict[str, tuple[tuple[str, str, float], float | None]] = {}
        self._seen_before = False
        self.due_s: float | None = None
        """The instant (monotonic) at which the last view changes although the core does nothing; None for never."""

    def view(self, core: CoreView, *, version: int, amperes: Mapping[str, float | None], notes: Notes) -> ShopView:
        """The whole shop at one instant.

        Args:
            core: what the core believes.
            version: for the view; the caller counts.
            amperes: per tool the last current; a tool that is missing has none.
            notes: what the service adds.
        """
        scene = Scene(self._ground, core, notes)
        shop = self._ground.shop
        wall_s = self._wall()
        messages = self._messages.views(scene, wall_s)
        outs = {motor.name: self._out_of_service(scene, motor) for motor in core.motors}
        self._seen_before = True
        self.due_s = stop_due_s(scene)
        return ShopView(
            version=version,
            seq=core.seq,
            now_s=core.now_s,
            wall_s=wall_s,
            name=shop.name,
            units=Units(shop.units.value),
            sentence=top_sentence(scene, messages),
            harm=worst(messages),
            remote_start=self._ground.plan.remote_start,
            attention=attention(scene),
            motors=tuple(motor_view(scene, motor, outs[motor.name]) for motor in core.motors),
            gates=tuple(gate_view(scene, gate, self._ducts.of_gate[gate.name]) for gate in core.gates),
            tools=tuple(tool_view(scene, tool, amperes.get(tool.name)) for tool in core.tools),
            ducts=self._ducts.views(scene),
            messages=messages,
            cautions=self._cautions,
            offers=_shop_offers(scene),
        )

    def _out_of_service(self, scene: Scene, motor: MotorNow) -> OutOfService | None:
        """Since when: the core's instant is on this run's clock only where this run saw it being set."""
        record = motor.out_of_service
        if record is None:
            self._out_since.pop(motor.name, None)
            return None
        known = self._out_since.get(motor.name)
        if known is None or known[0] != record:
            since_wall_s = scene.wall(record[2]) if self._seen_before else None
            known = self._out_since[motor.name] = (record, since_wall_s)
        return out_of_service_view(record, scene.notes.out_since_wall.get(motor.name, known[1]))


# ---------------------------------------------------------------- the whole shop


def _shop_offers(scene: Scene) -> tuple[Offer, ...]:
    out = [motor for motor in scene.core.motors if motor.out_of_service is not None]
    everything = Offer("out_of_service", None, "Take the whole shop out of service", asks_text=True)
    caution = "Is everybody out, and every door shut? Nothing starts by itself."
    back = Offer("back_in_service", None, "The whole shop back in service", caution=caution)
    return made(
        scene.reset_offer(),
        scene.sparks_offer(),
        _sweep(scene),
        everything if len(out) < len(scene.core.motors) else None,
        back if len(out) > 1 else None,
    )


def _sweep(scene: Scene) -> Offer | None:
    """The floor sweep, where the shop has a gate for it and every one of them may be opened and given air."""
    gates = [
        scene.gates[name] for name in scene.plan.sweep_gates if scene.plan.gates[name].system in scene.ground.ducted
    ]
    movable = all(scene.movable(gate) for gate in gates if scene.plan.gates[gate.name].actuated)
    startable = all(scene.startable(scene.motors[scene.plan.gates[gate.name].system]) for gate in gates)
    if not gates or not movable or not startable:
        return None
    return Offer("sweep", None, "Floor sweep for 10 min", RUN_S, Press.HOLD, START_CAUTION)


def cautions(shop: Shop) -> Iterator[str]:
    """What people of this very shop should always be told, in whole sentences."""
    for motor in shop.motors.values():
        name = cap(motor.name)
        if motor.starts_from is StartsFrom.ESTIMATE:
            yield f"{name}: a single-phase motor, so its starts per hour are an estimate."
        if motor.confirmed_by is None:
            yield f"{name}: nothing confirms that it runs or stops. After Stop, look and listen."
        if motor.switch.board_death is BoardDeath.STAYS:
            yield f"{name}: if the controller's board dies, it stays as it is. Stop it at its own switch."
        elif motor.switch.board_death is BoardDeath.DROPS_LATER:
            yield f"{name}: if the controller's board dies, it runs on for {motor.switch.death_after_s:g} s."
        if motor.resume:
            yield f"{name}: it may start by itself after a fault of the program. It wears a sign that says so."
        if motor.has_ducts:
            yield from _air_cautions(shop, motor.name, motor.proof)
    if shop.page.remote_start:
        yield "A motor may be started from the page: every motor wears a sign that it may start by itself."
    kinds = {source.kind for source in shop.inputs.values()}
    if InputKind.RED_BUTTON not in kinds:
        yield "The controller is not told of the red button. The red button must work by wire alone."
    if InputKind.FIRE in kinds:
        yield "The fire input only reads the detector, which must stop the motors by wire itself."


def _air_cautions(shop: Shop, motor: str, proof: Proof) -> Iterator[str]:
    gates = shop.gates_of(motor)
    name = cap(motor)
    if proof is Proof.PERSON:
        yield f"{name}: every gate is moved by hand. See that one is open before the fan runs."
        return
    unseen = [gate.name for gate in gates if not gate.is_actuated and not gate.has_open_switch]
    if unseen:
        yield f"{name}: nothing says where {listing(unseen)} stands, so another gate stays open beside it."
    if proof is Proof.TIME:
        yield f"{name}: a gate counts as open once its travel time is over. Nothing at the gates sees it."
