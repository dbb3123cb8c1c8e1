"""Every contact is worked once, and what changed is named: buttons, keys, detectors, doors, switches at gates.

Raw levels are read here, not the core's word: a wire on the wrong terminal must show even where the core would make
nothing of it. A level counts once it has held for a moment.
"""

from collections.abc import Mapping
from typing import Any

from gatekeeper.commissioning.facts import contact_said
from gatekeeper.commissioning.plan import WHOLE_SHOP
from gatekeeper.commissioning.record import Going
from gatekeeper.commissioning.steps import Figure, Step
from gatekeeper.commissioning.words import ALARM, FINGERS, STARTS
from gatekeeper.service.commissioning_scene import (
    Scene,
    Shown,
    Turn,
    ended,
    failed,
    going_on,
    passed,
    refused,
    unknown_press,
)
from gatekeeper.service.face import Answer, Press, Saying
from gatekeeper.service.face_commissioning import StepOffer
from gatekeeper.service.viewing_scene import RELEASE_CAUTION, cap, listing, plain
from gatekeeper.service.wiring import contacts_of
from gatekeeper.shop.model import Contact, Input, InputKind, Shop

#: A level that held for less is a bounce. Ours.
HELD_S = 0.015
#: Another contact spoke and this one did not: it is waited for so long before that is believed. Ours.
GRACE_S = 0.8
_WORDS = {
    InputKind.RED_BUTTON: ("pressed", "not pressed", "Press {}, and pull it out again."),
    InputKind.FIRE: ("alarm", "quiet", "Trip {} by its test button, and let it come back."),
    InputKind.DOOR: ("open", "shut", "Open {}, and shut it again."),
    InputKind.SHOP_KEY: ("open", "locked", "Turn {} to the other side, and back."),
    InputKind.BROKER_KEY: ("on", "off", "Turn {} on, and off again."),
    InputKind.BIN_FULL: ("full", "not full", "Work {} by hand, and let it go."),
    InputKind.FILTER_PRESSURE: ("loaded", "clean", "Work {} by hand, and let it go."),
}
_BUTTON = ("pressed", "not pressed", "Press {}, and let go.")
_END = ("made", "not made", "")
#: Which of them may rightly say yes while nobody works them.
_EITHER = frozenset({InputKind.SHOP_KEY, InputKind.BROKER_KEY, InputKind.BIN_FULL, InputKind.FILTER_PRESSURE})
_HOLD, _WORK, _RESET, _RELEASE = "hold", "work", "reset", "release"


def worked_contacts(shop: Shop) -> dict[str, Contact]:
    """Every contact that a hand can work, by the name that the wiring has for it."""
    meanings = ("input", "hand", "auto", "open", "shut")
    return {name: one for name, one in contacts_of(shop).items() if name.partition(":")[0] in meanings}


def called(shop: Shop, name: str) -> str:
    """A contact as people call it."""
    meaning, _, subject = name.partition(":")
    if meaning in ("hand", "auto"):
        return f"{subject}, {meaning}"
    return f"switch at the {meaning} end of {subject}" if meaning in ("open", "shut") else subject


def words_of(shop: Shop, name: str) -> tuple[str, str, str]:
    """What a contact says for yes and for no, and how it is worked."""
    meaning, _, subject = name.partition(":")
    if meaning == "input":
        return _WORDS.get(shop.inputs[subject].kind, _BUTTON)
    return _END


class Worked:
    """Which contacts changed since an instant, from raw looks.

    Args:
        before: what each said then (True: yes).
    """

    def __init__(self, scene: Scene, since_s: float, before: Mapping[str, bool]) -> None:
        self._contacts = worked_contacts(scene.shop)
        self.now = {name: self._yes(name, scene.service.wires.contacts[name].made()) for name in self._contacts}
        self._words: dict[str, list[bool]] = {}
        self.first_s: dict[str, float] = {}
        held: dict[str, list[tuple[float, bool]]] = {}
        for look in scene.looks_since(since_s):
            if look.name in self._contacts:
                held.setdefault(look.name, []).append((look.t_s, self._yes(look.name, look.made)))
        for name in self._contacts:
            found = held.get(name, [])
            words = [before.get(name, self.now[name])]
            for number, (t_s, yes) in enumerate(found):
                ends_s = found[number + 1][0] if number + 1 < len(found) else scene.now_s
                if ends_s - t_s >= HELD_S and yes is not words[-1]:
                    words.append(yes)
                    self.first_s.setdefault(name, t_s)
            # An edge may have been lost: the level itself is read again on every look.
            if self.now[name] is not words[-1] and (not found or scene.now_s - found[-1][0] >= HELD_S):
                words.append(self.now[name])
                self.first_s.setdefault(name, scene.now_s)
            self._words[name] = words

    def _yes(self, name: str, made: bool) -> bool:
        return made is not self._contacts[name].normally_closed

    def changes(self, name: str) -> int:
        """How often a contact changed and held."""
        return len(self._words[name]) - 1

    def others(self, scene: Scene, own: str) -> list[str]:
        """Other contacts that changed, without those of gates that moved by themselves."""
        moved = {entry.subject for entry in scene.since(0) if entry.kind == "gate_command"}
        found = []
        for name in self._contacts:
            meaning, _, subject = name.partition(":")
            moves = meaning in ("open", "shut") and (subject in moved or scene.gate(subject).belief.endswith("ing"))
            if name != own and not moves and self.changes(name):
                found.append(name)
        return found


class WorkContact:
    """See ``commissioning_scene.Way``."""

    def begin(self, scene: Scene, step: Step) -> tuple[str, dict[str, Any]]:
        """A switch at a gate is worked with a finger: the gate is held first."""
        meaning, _, subject = step.subject.partition(":")
        if meaning != "input" and scene.shop.gates[subject].is_actuated and not scene.gate(subject).worked:
            return _HOLD, {}
        return _WORK, _marked(scene)

    def resumed(self, scene: Scene, step: Step, going: Going) -> tuple[str, dict[str, Any]]:
        """Worked once more; a reset or release is still waited for."""
        return (going.phase, going.memo) if going.phase in (_RESET, _RELEASE) else self.begin(scene, step)

    def look(self, scene: Scene, step: Step, going: Going) -> Turn | None:
        """Goes on by itself, once it was worked and let go."""
        if going.phase == _RESET and not (scene.core.emergency or scene.core.fire):
            return ended(self._good(scene, step))
        if going.phase == _RELEASE and not scene.gate(step.subject.partition(":")[2]).worked:
            return ended(self._good(scene, step))
        if going.phase != _WORK:
            return None
        worked = Worked(scene, going.memo["from_s"], going.memo["before"])
        if worked.changes(step.subject) >= 2:
            return self._after(scene, step)
        others = worked.others(scene, step.subject)
        if not worked.changes(step.subject) and others:
            first = min(others, key=lambda name: worked.first_s[name])
            if scene.now_s - worked.first_s[first] >= GRACE_S:
                return self._wrong(scene, step, others)
        return None

    def _after(self, scene: Scene, step: Step) -> Turn:
        meaning, _, subject = step.subject.partition(":")
        if meaning == "input" and scene.shop.inputs[subject].kind in WHOLE_SHOP:
            return going_on("It is seen. Now reset.", _RESET, {})
        if meaning != "input" and scene.gate(subject).worked:
            return going_on("It is seen. Take your hand out, then release the gate.", _RELEASE, {})
        return ended(self._good(scene, step))

    def _good(self, scene: Scene, step: Step) -> Any:
        yes, no, _ = words_of(scene.shop, step.subject)
        contact = worked_contacts(scene.shop)[step.subject]
        said = f'Worked, it was seen as "{yes}"; let go, as "{no}". No other contact changed in its place.'
        return passed(said, [Figure("contact", contact_said(contact))])

    def _wrong(self, scene: Scene, step: Step, others: list[str]) -> Turn:
        contacts = worked_contacts(scene.shop)
        own = called(scene.shop, step.subject)
        there = listing([f"{called(scene.shop, name)} ({contact_said(contacts[name])})" for name in others])
        said = (
            f"{cap(own)} was worked, and {there} spoke instead. The file has {own} on "
            f"{contact_said(contacts[step.subject])}: their wires are swapped, or another one was worked."
        )
        return ended(failed(said, [Figure("spoke instead", called(scene.shop, name)) for name in others]))

    def press(self, scene: Scene, step: Step, going: Going, press: str, values: Mapping[str, str]) -> Turn:
        """Hold, nothing seen, stuck at yes, reset, release."""
        subject = step.subject.partition(":")[2]
        if going.phase == _HOLD and press == "hold":
            answer = scene.ask("hold", subject, why="its switches are tried")
            return going_on(answer.sentence, _WORK, _marked(scene)) if answer.accepted else refused(answer)
        contact = worked_contacts(scene.shop)[step.subject]
        own, yes = cap(called(scene.shop, step.subject)), words_of(scene.shop, step.subject)[0]
        if going.phase == _WORK and press == "nothing":
            changes = Worked(scene, going.memo["from_s"], going.memo["before"]).changes(step.subject)
            if changes:
                said = f"{own} was worked and let go, and came back only once or not at all: a loose or shorted wire."
            else:
                said = f"{own} was worked, and no contact that the file knows changed."
            return ended(failed(said, [Figure("contact", contact_said(contact))]))
        if going.phase == _WORK and press == "stuck":
            said = (
                f'{own} says "{yes}" although nobody works it: a broken wire, a lost plug, or a contact of the other '
                "kind than the file says."
            )
            return ended(failed(said, [Figure("contact", contact_said(contact))]))
        if going.phase == _RESET and press == "reset":
            return refused(scene.ask("reset", None, why="after a trial"))
        if going.phase == _RELEASE and press == "release":
            return refused(scene.ask("release", subject, why="after a trial"))
        raise unknown_press(press)

    def show(self, scene: Scene, step: Step, going: Going) -> Shown:
        """As it is now."""
        shop, (meaning, _, subject) = scene.shop, step.subject.partition(":")
        if going.phase == _HOLD:
            prompt = f"Hold {plain(subject)} first: then nothing moves it while your finger is at its switch."
            return Shown(Saying(prompt), offers=(StepOffer("hold", f"Hold {subject}"),), cautions=(FINGERS,))
        if going.phase == _RELEASE:
            offer = StepOffer("release", f"Release {subject}", Press.HOLD, RELEASE_CAUTION)
            return Shown(Saying(f"It is seen. Take your hand out, then release {plain(subject)}."), offers=(offer,))
        if going.phase == _RESET:
            return resetting(scene)
        worked = Worked(scene, going.memo["from_s"], going.memo["before"])
        yes, no, how = words_of(shop, step.subject)
        kind = shop.inputs[subject].kind if meaning == "input" else None
        contact = worked_contacts(shop)[step.subject]
        notes = [f"The file has it on {contact_said(contact)}."]
        offers = [StepOffer("nothing", "It was worked, and nothing is seen")]
        if worked.changes(step.subject) == 1:
            prompt = f'It says "{yes if worked.now[step.subject] else no}" now. Let it go, or put it back.'
        elif meaning != "input":
            prompt = f"Press the switch at the {meaning} end of {plain(subject)} with a finger, and let go."
            if not shop.gates[subject].is_actuated:
                prompt = f"Move {plain(subject)} to its {meaning} end and back, or work its switch there with a finger."
        else:
            prompt = how.format(plain(subject))
        if worked.now[step.subject] and not worked.changes(step.subject) and kind not in _EITHER and meaning == "input":
            notes.insert(0, f'It says "{yes}" already, although nobody was asked to work it yet.')
            offers.append(StepOffer("stuck", f'Nobody works it, and it says "{yes}"'))
        cautions = {InputKind.FIRE: (ALARM,), InputKind.AIR_HERE: (STARTS,)}.get(kind, ()) if kind is not None else ()
        return Shown(Saying(prompt), tuple(notes), _live(scene, step.subject, worked), (), tuple(offers), cautions)


def _marked(scene: Scene) -> dict[str, Any]:
    contacts = worked_contacts(scene.shop)
    levels = {name: scene.service.wires.contacts[name].made() for name in contacts}
    before = {name: made is not contacts[name].normally_closed for name, made in levels.items()}
    return {"from_s": scene.now_s, "before": before}


def _live(scene: Scene, own: str, worked: Worked) -> tuple[tuple[str, str], ...]:
    """Every contact as it is at this instant, its own first, then those that changed."""

    def rank(name: str) -> tuple[bool, bool]:
        return name != own, not worked.changes(name)

    found = []
    for name in sorted(worked.now, key=rank):
        yes, no, _ = words_of(scene.shop, name)
        changed = ", changed" if worked.changes(name) else ""
        found.append((called(scene.shop, name), f"{yes if worked.now[name] else no}{changed}"))
    return tuple(found)


def resetting(scene: Scene) -> Shown:
    """What stops everything was worked, and waits for its reset."""
    still = (f"Still open: {listing(scene.core.open_circuits)}.",) if scene.core.open_circuits else ()
    if scene.core.fire:
        keys = [source.name for source in scene.shop.inputs.values() if source.kind is InputKind.RESET]
        prompt = f"It is seen, and everything stands. Press {plain(listing(keys)) or 'the reset'} at the controller."
        return Shown(Saying(prompt), ("A fire alarm is never reset from a page.", *still))
    prompt = "It is seen, and everything stands. Press Reset."
    return Shown(Saying(prompt), still or ("Nothing starts by it.",), offers=(StepOffer("reset", "Reset"),))


def source_of(shop: Shop, step: Step) -> Input:
    """The input that a step is about."""
    return shop.inputs[step.subject]


class TurnSelector:
    """A Hand-Off-Auto switch is turned round once; see ``commissioning_scene.Way``."""

    ORDER = ("auto", "off", "hand", "auto again")

    def begin(self, scene: Scene, step: Step) -> tuple[str, dict[str, Any]]:
        """At Auto first."""
        return self.ORDER[0], {}

    def resumed(self, scene: Scene, step: Step, going: Going) -> tuple[str, dict[str, Any]]:
        """Once more from the beginning."""
        return self.begin(scene, step)

    def look(self, scene: Scene, step: Step, going: Going) -> Turn | None:
        """Goes on by itself, once the core reads the place that was asked for."""
        if self._reads(scene, step) != going.phase.split()[0]:
            return None
        number = self.ORDER.index(going.phase) + 1
        if number < len(self.ORDER):
            return going_on("It is seen.", self.ORDER[number], {})
        return ended(passed("Turned to off, to hand and back to auto, each place was read as it is."))

    def _reads(self, scene: Scene, step: Step) -> str:
        return str(scene.motor(source_of(scene.shop, step).systems[0]).hand)

    def press(self, scene: Scene, step: Step, going: Going, press: str, values: Mapping[str, str]) -> Turn:
        """It stands there, and is read otherwise."""
        if press != "stands":
            raise unknown_press(press)
        asked, reads = going.phase.split()[0], self._reads(scene, step)
        if asked == reads:
            return Turn(Answer(True, "seen", "It is read as it stands."))
        more = ": its two contacts are swapped" if {asked, reads} == {"hand", "auto"} else ""
        figures = [Figure(what, how) for what, how in step.facts[:2]]
        return ended(failed(f"{cap(step.subject)} stands at {asked}, and is read as {reads}{more}.", figures))

    def show(self, scene: Scene, step: Step, going: Going) -> Shown:
        """As it is now."""
        asked = going.phase.split()[0]
        verb = "Leave" if going.phase == "auto" else "Turn"
        source = source_of(scene.shop, step)
        return Shown(
            Saying(f"{verb} {plain(source.name)} {'at' if verb == 'Leave' else 'to'} {asked}."),
            ("At Hand the fan may run by its own wire: see that nobody is at it.",),
            ((source.name, self._reads(scene, step)),),
            offers=(StepOffer("stands", f"It stands at {asked}, and is read otherwise"),),
        )
