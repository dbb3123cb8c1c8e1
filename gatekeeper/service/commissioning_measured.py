"""What a person measures: the resistance of a duct to ground, and one suction, which corrects the fan of the file."""

from collections.abc import Mapping
from typing import Any

from gatekeeper.commissioning.record import Going
from gatekeeper.commissioning.steps import Figure, Step
from gatekeeper.commissioning.words import CAUTIONS
from gatekeeper.service.calibration_file import CannotCalibrate
from gatekeeper.service.care import pressure
from gatekeeper.service.commissioning_scene import (
    NotNow,
    Scene,
    Shown,
    Turn,
    ended,
    failed,
    passed,
    refused,
    unknown_press,
)
from gatekeeper.service.face import Answer, Saying
from gatekeeper.service.face_commissioning import Field, StepOffer
from gatekeeper.service.fan_reading import NoCorrection, fan_from_reading
from gatekeeper.service.upkeep import open_gates, pressure_of, taps_of
from gatekeeper.service.viewing_scene import cap, plain
from gatekeeper.shop.model import Duct
from gatekeeper.shop.units import QuantityError, parse

#: A run of metal duct that is bonded all along reads less; more tells of a loose or painted joint. Common practice,
#: from memory; no published table of ours names it, and the local code decides.
MOST_OHM = 10.0
#: More than this is no meter's reading of a duct.
LONGEST_OHM = 1e9


class MeasureBond:
    """See ``commissioning_scene.Way``."""

    def begin(self, scene: Scene, step: Step) -> tuple[str, dict[str, Any]]:
        """One thing to do."""
        return "measure", {}

    def resumed(self, scene: Scene, step: Step, going: Going) -> tuple[str, dict[str, Any]]:
        """As it was."""
        return going.phase, going.memo

    def look(self, scene: Scene, step: Step, going: Going) -> Turn | None:
        """The controller measures nothing of it."""
        return None

    def press(self, scene: Scene, step: Step, going: Going, press: str, values: Mapping[str, str]) -> Turn:
        """What the meter showed."""
        if press == "no_connection":
            return ended(failed("The meter showed no connection to ground at all: the bond is missing or broken."))
        if press != "measured":
            raise unknown_press(press)
        ohm = ohm_of(values.get("ohm", ""))
        if ohm is None:
            raise NotNow("Write what the meter showed in ohm, such as 0.8; no number above 1 Gohm.", "no_reading")
        figure = Figure("resistance to ground", ohm_said(ohm), f"common practice: below {MOST_OHM:g} ohm")
        if ohm <= MOST_OHM:
            return ended(passed(f"{ohm_said(ohm)} to ground. The local code decides what is asked for.", [figure]))
        said = (
            f"{ohm_said(ohm)} to ground, more than the {MOST_OHM:g} ohm of common practice: look for a painted, glued "
            "or loose joint, a hose without its wire joined, or a bond that is missing. The local code decides."
        )
        return ended(failed(said, [figure]))

    def show(self, scene: Scene, step: Step, going: Going) -> Shown:
        """As it is now."""
        duct = scene.shop.ducts.get(step.subject)
        prompt = (
            f"Put an ohmmeter between ground and the far end of {plain(step.subject)}, with the collector off, and "
            "write what it shows."
        )
        field = Field("ohm", "Resistance to ground, ohm", "0.8")
        offers = (
            StepOffer("measured", "Write it down", fields=("ohm",)),
            StepOffer("no_connection", "It shows no connection (OL)"),
        )
        return Shown(Saying(prompt), _bond_notes(duct), (), (field,), offers, CAUTIONS[step.kind])


def _bond_notes(duct: Duct | None) -> tuple[str, ...]:
    notes = [f"Common practice is below {MOST_OHM:g} ohm for a metal duct; the local code decides."]
    if duct is not None and "plastic" in duct.material:
        notes.append("Plastic carries no current: measure the wire along it, from end to end and to ground.")
    if duct is not None and duct.flex_m > 0:
        notes.append("The wire in its hose is bared and joined at both ends; measure beyond it.")
    return tuple(notes)


def ohm_of(text: str) -> float | None:
    """What a meter showed, ohm; a number alone is in ohm. None where that cannot be read."""
    written = text.strip()
    if not any(letter.isalpha() for letter in written):
        written += " ohm"
    try:
        ohm = parse(written, "resistance")
    except QuantityError:
        return None
    return ohm if 0.0 <= ohm <= LONGEST_OHM else None


def ohm_said(ohm: float) -> str:
    """ "0.8 ohm", "12 kohm"."""
    return f"{ohm:.3g} ohm" if ohm < 1000 else f"{ohm / 1000:.3g} kohm"


class ReadSuction:
    """See ``commissioning_scene.Way``. The reading goes into the log of care, too: it is the first of its trend."""

    def begin(self, scene: Scene, step: Step) -> tuple[str, dict[str, Any]]:
        """The reading first."""
        return "read", {}

    def resumed(self, scene: Scene, step: Step, going: Going) -> tuple[str, dict[str, Any]]:
        """As it was."""
        return going.phase, going.memo

    def look(self, scene: Scene, step: Step, going: Going) -> Turn | None:
        """A person reads the gauge."""
        return None

    def press(self, scene: Scene, step: Step, going: Going, press: str, values: Mapping[str, str]) -> Turn:
        """The reading; then whether it is written into the file."""
        if going.phase == "read" and press == "read":
            return self._read(scene, step, values)
        if going.phase == "propose" and press == "write":
            return self._write(scene, step, going)
        if going.phase == "propose" and press == "leave":
            return Turn(Answer(True, "done", "The reading stands in the record; the file is as it was."), closes=True)
        raise unknown_press(press)

    def _read(self, scene: Scene, step: Step, values: Mapping[str, str]) -> Turn:
        tap, value = values.get("tap", ""), values.get("suction", "")
        gates = open_gates(scene.service, step.subject)
        answer = scene.upkeep.reading(step.subject, tap, value, scene.by)
        if not answer.accepted:
            return refused(answer)
        pa = pressure_of(value)
        assert pa is not None  # the machinery of care has read it just now
        figure = Figure(f"suction at {tap}", f"{value.strip()}", f"open: {', '.join(gates)}")
        try:
            proposal = fan_from_reading(scene.file_text(), scene.shop.name, step.subject, tap, pa, gates)
        except NoCorrection as trouble:
            return ended(passed(f"The reading is written down. It corrects nothing: {trouble}", [figure]))
        figures = [figure, Figure("pressure of the fan over that of the file", f"{proposal.factor:.2f}", "0.6 to 1.4")]
        verdict = passed(" ".join(proposal.said), figures)
        if proposal.text is None:
            return ended(verdict)
        memo = {"tap": tap, "pa": pa, "gates": gates, "said": list(proposal.said)}
        return Turn(Answer(True, "passed", answer.sentence), "propose", memo, verdict, goes_on=True)

    def _write(self, scene: Scene, step: Step, going: Going) -> Turn:
        memo = going.memo
        try:
            proposal = fan_from_reading(
                scene.file_text(), scene.shop.name, step.subject, str(memo["tap"]), float(memo["pa"]), memo["gates"]
            )
            if proposal.text is None:
                raise NoCorrection("There is nothing to write any more.")
            scene.write_text(proposal.text)
        except (NoCorrection, CannotCalibrate) as trouble:
            return refused(Answer(False, "not_written", str(trouble)))
        said = "The reading is written into the shop file; the air is computed with it after the next start."
        return Turn(Answer(True, "written", said), closes=True)

    def show(self, scene: Scene, step: Step, going: Going) -> Shown:
        """As it is now."""
        motor = plain(step.subject)
        if going.phase == "propose":
            offers = [StepOffer("leave", "Leave the file as it is")]
            notes = tuple(str(one) for one in going.memo["said"])
            if scene.file_said is None:
                offers.insert(0, StepOffer("write", "Write the reading into the file"))
            else:
                notes = (*notes, scene.file_said)
            return Shown(
                Saying("The reading is written down. The file may have it, too."), notes, (), (), tuple(offers)
            )
        part = scene.shop.motors[step.subject]
        gates = open_gates(scene.service, step.subject)
        is_on = scene.motor(step.subject).on
        taps = taps_of(scene.shop, part)
        fields = (
            Field("tap", "Where the gauge is", taps[0], taps[0], taps),
            Field("suction", "What it shows, with its unit", pressure(1500.0, scene.shop.units)),
        )
        live = (
            (step.subject, "runs" if is_on else "off"),
            ("open now", ", ".join(gates) if gates else "no gate that is known to be"),
        )
        prompt = Saying(f"Start a machine of {motor}, wait until the fan has its speed, and read the gauge.")
        rests_s = scene.motor(step.subject).may_start_at_s
        if not is_on and rests_s is not None and rests_s > scene.now_s:
            prompt = Saying(f"{cap(motor)} rests: no start is in hand for {{time}}. Then start a machine.", rests_s)
        offers = [StepOffer("read", "Write it down", fields=("tap", "suction"))]
        notes = ("Read at the full speed of a drive, with a clean filter where you can.",)
        return Shown(prompt, notes, live, fields, tuple(offers), CAUTIONS[step.kind])
