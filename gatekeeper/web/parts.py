"""The parts of the page that change while one looks: each is a function of the view, drawn once and shared by all."""

from collections.abc import Sequence

from gatekeeper.markup import Html, el, join
from gatekeeper.service.face import (
    Attention,
    BenchControl,
    CalibrationStep,
    GateView,
    GateWord,
    HandWord,
    Heap,
    MessageView,
    MotorView,
    Offer,
    Press,
    Saying,
    SensorWord,
    ShopView,
    StopWord,
    ToolView,
)
from gatekeeper.web import words
from gatekeeper.web.asking import CAUTION, NO_START, STARTS

_HEAP_TITLE = {Heap.NOW: "Now", Heap.TODAY: "Today", Heap.WHEN_YOU_CAN: "When you can"}
_WORST_FIRST = (StopWord.NOT_CONFIRMED, StopWord.SENT, StopWord.STOPPING, StopWord.STOPPED)


def hidden(name: str, value: str | float | None) -> Html | None:
    """A hidden form field, or nothing."""
    return None if value is None else el("input", {"type": "hidden", "name": name, "value": value})


def offer(view: ShopView, one: Offer) -> Html:
    """One offer as a form with one button. A start is never drawn where the shop does not allow it."""
    if one.what in STARTS and not view.remote_start:
        return Html("")
    key = f"{one.what} {one.subject or ''}"
    start = one.what in STARTS or one.press is Press.HOLD
    told = one.caution or (CAUTION if start else None)
    caution = el("p", {"class": "caution"}, told) if told else None
    asked: Html | None = None
    if one.asks_text:
        asked = join(
            el("label", None, "Who ", el("input", {"name": "by", "maxlength": 60, "required": True})),
            el("label", None, "Why ", el("input", {"name": "why", "maxlength": 120, "required": True})),
        )
    button = el(
        "button",
        {"class": "start" if start else None, "data-hold": start},
        one.label,
        el("small", None, " hold for one second") if start else None,
    )
    form = el(
        "form",
        {"method": "post", "action": "/ask", "data-ask": True, "data-key": key},
        hidden("what", one.what),
        hidden("subject", one.subject),
        hidden("for_s", one.for_s),
        caution,
        asked,
        button,
    )
    if not one.asks_text:
        return form
    return el("details", {"data-key": key}, el("summary", None, one.label), form)


def offers(view: ShopView, every: Sequence[Offer]) -> Html | None:
    """All offers of one thing."""
    drawn = [offer(view, one) for one in every]
    return el("div", {"class": "offers"}, drawn) if any(drawn) else None


# ---------------------------------------------------------------- what is so, what needs somebody


def top(view: ShopView) -> Html:
    """The one sentence."""
    loud = "loud" if view.harm is Heap.NOW else None
    return el("h1", {"class": loud}, words.said(view.sentence, view.now_s))


def _times(message: MessageView) -> str:
    first, last = words.clock(message.first_wall_s), words.clock(message.last_wall_s)
    if message.count == 1:
        return f"At {first}."
    return f"{message.count} times, first at {first}, last at {last}."


def message_card(view: ShopView, message: MessageView) -> Html:
    """A message: what is so, when and how often, why, what to do, and a way to say "seen"."""
    state = "Over. " if message.cleared else ""
    seen = None if message.seen else Offer("seen", message.key, "Seen")
    return el(
        "li",
        {"class": "card now" if message.heap is Heap.NOW and not message.cleared else "card", "data-key": message.key},
        el("p", {"class": "what"}, message.sentence),
        el("p", None, el("b", None, message.remedy)),
        el("p", {"class": "soft"}, f"{message.cause} " if message.cause else None, state, _times(message)),
        offers(view, [*message.offers, *([seen] if seen else [])]),
    )


def _attention_card(view: ShopView, one: Attention) -> Html:
    loud = "card now" if one.harm is Heap.NOW else "card"
    return el(
        "li",
        {"class": loud, "data-key": one.saying.text},
        el("p", {"class": "what"}, words.said(one.saying, view.now_s)),
        offers(view, one.offers),
    )


def needs(view: ShopView) -> Html | None:
    """What needs somebody: the messages of the first heap, then questions and things that stay on."""
    cards = [message_card(view, m) for m in view.messages if m.heap is Heap.NOW and not m.cleared]
    cards += [_attention_card(view, one) for one in view.attention]
    if not cards:
        return None
    return join(el("h2", None, "Needs somebody"), el("ul", {"class": "cards"}, cards))


def messages(view: ShopView) -> Html:
    """The other heaps, and what is over."""
    parts: list[Html] = [el("h2", None, "Messages")]
    for heap in (Heap.TODAY, Heap.WHEN_YOU_CAN):
        of_heap = [m for m in view.messages if m.heap is heap and not m.cleared]
        parts.append(el("h3", None, _HEAP_TITLE[heap]))
        if of_heap:
            parts.append(el("ul", {"class": "cards"}, [message_card(view, m) for m in of_heap]))
        else:
            parts.append(el("p", {"class": "soft"}, "Nothing."))
    over = [m for m in view.messages if m.cleared]
    if over:
        cards = el("ul", {"class": "cards"}, [message_card(view, m) for m in over])
        parts.append(el("details", {"data-key": "over"}, el("summary", None, f"Over ({len(over)})"), cards))
    return join(parts)


# ---------------------------------------------------------------- what runs


def _motor_row(view: ShopView, motor: MotorView, several: bool) -> Html:
    stop = Offer("stop", motor.name, f"Stop {motor.name}") if several and motor.runs else None
    counts = None
    if motor.stops_at_s is not None:
        left = Saying("{time}", until_s=motor.stops_at_s)
        change = el("a", {"href": "#spin"}, "Change the delay") if motor.spin_down else None
        counts = el(
            "p", {"class": "count"}, words.said(left, view.now_s), el("small", None, " until it stops "), change
        )
    return el(
        "li",
        {"data-key": f"motor {motor.name}"},
        el("p", {"class": "what"}, el("b", None, motor.name), f": {motor.word}."),
        el("p", None, words.said(motor.reason, view.now_s)) if motor.reason else None,
        el("p", {"class": "soft"}, "Speed ", words.said(motor.speed, view.now_s)) if motor.speed else None,
        counts,
        _next_start(view, motor),
        _by_hand(motor),
        out_of_service(motor),
        offers(view, [*([stop] if stop else []), *motor.offers]),
    )


def _next_start(view: ShopView, motor: MotorView) -> Html | None:
    """Until when a start has to wait, said before Stop is pressed too."""
    if motor.starts is None or motor.starts.next_at_s is None or motor.starts.next_at_s <= view.now_s:
        return None
    waits = Saying("Once stopped, it can start again in {time}.", until_s=motor.starts.next_at_s)
    if not motor.runs:
        waits = Saying("It can start again in {time}.", until_s=motor.starts.next_at_s)
    return el("p", None, words.said(waits, view.now_s))


def _by_hand(motor: MotorView) -> Html | None:
    if motor.hand is HandWord.HAND:
        return el("p", None, "Its switch stands on Hand. Running by hand. Stop it at the switch.")
    if motor.hand is HandWord.OFF:
        return el("p", None, "Its switch stands on Off. Nothing is switched on until it is turned to Auto.")
    return None


def out_of_service(motor: MotorView) -> Html | None:
    """Who took it out of service, why and since when; and what that is not."""
    out = motor.out_of_service
    if out is None:
        return None
    since = f", since {words.clock(out.since_wall_s)}" if out.since_wall_s is not None else ""
    return el(
        "p", None, f"Out of service by {out.who}: {out.why}{since}. This is no padlock. Lock the disconnect as well."
    )


def _gate_rows(view: ShopView) -> list[Html]:
    """Gates that are not simply shut, in their own order; those that stand alike for the same reason share a row."""
    alike: dict[tuple[GateWord, Saying | None], list[GateView]] = {}
    for gate in view.gates:
        if gate.word is not GateWord.SHUT:
            alike.setdefault((gate.word, gate.reason), []).append(gate)
    return [
        el(
            "li",
            {"data-key": f"gate {gates[0].name}"},
            el("p", {"class": "what"}, el("b", None, ", ".join(gate.name for gate in gates)), f": {word.value}."),
            el("p", None, words.said(reason, view.now_s)) if reason else None,
        )
        for (word, reason), gates in alike.items()
    ]


def _tool_row(view: ShopView, tool: ToolView) -> Html:
    note = el("p", None, tool.sensor_note) if tool.sensor_note else None
    link = el("a", {"href": words.machine_path(tool.name)}, tool.name)
    return el(
        "li", {"data-key": f"tool {tool.name}"}, el("p", {"class": "what"}, link, ": ", _tool_state(view, tool)), note
    )


def _tool_state(view: ShopView, tool: ToolView) -> Html:
    current = f", {tool.current_a:.1f} A" if tool.current_a is not None and tool.sensor is SensorWord.RUNNING else ""
    return join(words.tool_words(tool, view.now_s), current, ".")


def _is_plain(motor: MotorView) -> bool:
    """Whether there is nothing to say of a motor but that it is off."""
    by_hand = motor.hand in (HandWord.HAND, HandWord.OFF)
    return not (motor.runs or motor.reason or motor.out_of_service or motor.stop or by_hand)


def is_calibrating(view: ShopView) -> bool:
    """Whether a machine is being calibrated, and another would have to wait."""
    over = (CalibrationStep.WRITTEN, CalibrationStep.REFUSED)
    return view.calibration is not None and view.calibration.step not in over


def _calibration(view: ShopView) -> Html | None:
    if view.calibration is None or not is_calibrating(view):
        return None
    machine = view.calibration.machine
    way = el("a", {"href": words.calibration_path(machine)}, words.title(machine))
    return el("ul", {"class": "lines"}, el("li", None, el("p", {"class": "what"}, way, " is being calibrated.")))


def runs(view: ShopView) -> Html:
    """What runs: every motor with its reason and its end, running machines, and gates that are not simply shut."""
    several = len(view.motors) > 1
    plain = [motor for motor in view.motors if several and _is_plain(motor)]
    telling = [motor for motor in view.motors if motor not in plain]
    tools = [tool for tool in view.tools if tool.sensor is not SensorWord.STOPPED]
    gates = _gate_rows(view)
    off = None
    if plain:
        rows = el("ul", {"class": "lines"}, [_motor_row(view, motor, several) for motor in plain])
        names = ", ".join(motor.name for motor in plain)
        off = el("details", {"data-key": "off"}, el("summary", None, f"Off: {names}"), rows)
    return join(
        el("h2", None, "What runs"),
        el("ul", {"class": "lines"}, [_motor_row(view, motor, several) for motor in telling]) if telling else None,
        el("ul", {"class": "lines"}, [_tool_row(view, tool) for tool in tools]) if tools else None,
        el("ul", {"class": "lines"}, gates) if gates else None,
        _calibration(view),
        off,
        offers(view, view.offers),
    )


# ---------------------------------------------------------------- one machine


def machine_state(view: ShopView, tool: ToolView) -> Html:
    """One machine: how it stands, its gates, air here, and what is wrong."""
    gates = [gate for gate in view.gates if gate.name in tool.gates]
    motors = [motor for motor in view.motors if motor.name in tool.motors]
    names = {tool.name, *tool.gates}
    wrong = [m for m in view.messages if m.subject in names and not m.cleared]
    return join(
        el("h1", None, tool.name, ": ", _tool_state(view, tool)),
        el("p", None, tool.sensor_note) if tool.sensor_note else None,
        el("h2", None, "What is wrong"),
        el("ul", {"class": "cards"}, [message_card(view, m) for m in wrong])
        if wrong
        else el("p", {"class": "soft"}, "Nothing is known to be wrong here."),
        el("h2", None, "Its gate" if len(gates) == 1 else "Its gates"),
        el("ul", {"class": "lines"}, [_gate_here(view, gate) for gate in gates]),
        el("h2", None, "Air here"),
        el("ul", {"class": "lines"}, [_air_here(view, motor) for motor in motors]),
        None if view.remote_start else el("p", {"class": "soft"}, NO_START),
        offers(view, tool.offers),
    )


def _gate_here(view: ShopView, gate: GateView) -> Html:
    how = "Moved automatically" if gate.automatic else "Moved by hand"
    proof = f"; {gate.proof}" if gate.proof else ""
    return el(
        "li",
        {"data-key": gate.name},
        el("p", {"class": "what"}, el("b", None, gate.name), f": {gate.word.value}."),
        el("p", None, words.said(gate.reason, view.now_s)) if gate.reason else None,
        el("p", {"class": "soft"}, f"{how}{proof}."),
        offers(view, gate.offers),
    )


def _air_here(view: ShopView, motor: MotorView) -> Html:
    return el(
        "li",
        {"data-key": motor.name},
        el("p", {"class": "what"}, el("b", None, motor.name), f": {motor.word}."),
        el("p", None, words.said(motor.reason, view.now_s)) if motor.reason else None,
        out_of_service(motor),
    )


# ---------------------------------------------------------------- stop, bench


def stops(view: ShopView) -> Html:
    """What became of the last stop: who stopped, and only what is confirmed."""
    asked = [motor.stop for motor in view.motors if motor.stop]
    told = list(dict.fromkeys(stop.sentence for stop in asked))
    word = min((stop.word for stop in asked), key=_WORST_FIRST.index, default=None)
    advice = " Not confirmed. Use the red button." if word is StopWord.NOT_CONFIRMED else ""
    return el("p", {"data-stop": word.value if word else ""}, " ".join(told), advice)


def bench(controls: Sequence[BenchControl], *, all_open: bool = False) -> Html:
    """The bench of a virtual shop: every part under its heading, with what can be done to it.

    ``all_open``: no heading is folded away, where there are few parts.
    """
    groups: dict[str, list[Html]] = {}
    for control in controls:
        buttons = [
            el(
                "form",
                {"method": "post", "action": "/bench", "data-ask": True, "data-key": choice.to},
                hidden("key", control.key),
                hidden("to", choice.to),
                el("button", {"aria-label": f"{control.label}: {choice.label}"}, choice.label),
            )
            for choice in control.choices
        ]
        line = el(
            "li",
            {"data-key": control.key},
            el("p", None, el("b", None, control.label), f": {control.word}"),
            el("div", {"class": "offers"}, buttons),
        )
        groups.setdefault(control.group, []).append(line)
    drawn = [
        el(
            "details",
            {"data-key": title, "open": all_open or number == 0},
            el("summary", None, el("b", None, title)),
            el("ul", {"class": "bench"}, lines),
        )
        for number, (title, lines) in enumerate(groups.items())
    ]
    return join(
        el("h2", None, "Bench"),
        el("p", {"class": "soft"}, "This shop is virtual. Here you move what a real shop would move for you."),
        drawn,
    )
