"""The drawing of the ducts, its list form, and the words for numbers and times."""

import re
from dataclasses import replace

import pytest
from shop_views import cutting, gate, large, shop, stuck, tool, with_gates

from gatekeeper.markup import el, join
from gatekeeper.service.face import GateWord, Saying, SensorWord, ShopView, StopView, StopWord, Units
from gatekeeper.web import drawing, parts, words

GATES = {
    GateWord.OPEN: "bar open",
    GateWord.SHUT: "bar shut",
    GateWord.OPENING: "bar opening",
    GateWord.SHUTTING: "bar shutting",
    GateWord.NOT_KNOWN: "bar not_known",
    GateWord.STUCK: "bar stuck",
    GateWord.HELD: "bar held",
}


def marks(html: str) -> dict[str, str]:
    """The drawn mark of every gate by the gate's name."""
    return dict(re.findall(r'data-key="gate ([^"]+)">(.*?</g>)</g>', html))


@pytest.mark.parametrize("word", list(GateWord))
def test_a_gate_is_told_by_its_shape_and_its_word(word: GateWord) -> None:
    base = shop()
    view = replace(base, gates=with_gates(base, bandsaw=gate("Bandsaw", word)))
    html = drawing.picture(view)
    mark = marks(html)["Bandsaw gate"]
    assert f'class="{GATES[word]}"' in mark
    assert mark.count("<rect") == (2 if word is GateWord.STUCK else 1)
    assert ("brace" in mark) is (word is GateWord.HELD)
    assert f"gate {word.value}</em>" in html


def test_a_hand_gate_has_a_knob() -> None:
    drawn = marks(drawing.picture(shop()))
    assert "knob" in drawn["Spindle sander gate"]
    assert "knob" not in drawn["Planer gate"]
    assert "hand gate shut" in drawing.picture(shop())


def test_line_width_is_duct_diameter() -> None:
    html = drawing.picture(shop())
    walls = html[html.index('class="walls"') : html.index('class="bores"')]
    assert re.findall(r'stroke-width="([\d.]+)"', walls) == [
        "10.8",  # planer, 150 mm
        "9.0",  # table saw, 125 mm
        "10.8",  # back main, where it folds
        "7.2",  # bandsaw, 100 mm
        "5.8",  # router table, 80 mm
        "10.8",  # back main
        "14.4",  # main, 200 mm
        "7.2",  # lathe
        "7.2",  # spindle sander
        "11.5",  # far main, 160 mm
    ]


def test_air_is_drawn_only_where_it_moves_at_a_pace_that_follows_its_velocity() -> None:
    assert "air p" not in drawing.picture(shop())
    html = drawing.picture(cutting())
    airs = html[html.index('class="airs"') :]
    assert re.findall(r'class="(air p\d)"', airs) == ["air p3", "air p3"]
    slow = [replace(duct, velocity_ms=5.0, moves=True) for duct in shop().ducts]
    assert "air p0" in drawing.picture(replace(shop(), ducts=tuple(slow)))
    unknown = [replace(duct, velocity_ms=None, moves=True) for duct in shop().ducts]
    assert "air p2" in drawing.picture(replace(shop(), ducts=tuple(unknown)))


@pytest.mark.parametrize("view", [shop(), cutting(), stuck(), large()])
def test_every_gate_has_a_row_of_its_own_and_nothing_is_drawn_outside(view: ShopView) -> None:
    html = drawing.picture(view)
    rows = html.count("<li>")
    assert rows == len(view.gates) + len(view.motors)
    assert len(marks(html)) == len(view.gates)
    for system in html.split('class="system"')[1:]:
        box = re.search(r'viewBox="0 0 124 (\d+)"', system)
        assert box is not None
        assert int(box[1]) == 72 * system.count("<li>")
        places = re.findall(r'translate\(([\d.]+),([\d.]+)\)[^>]*data-key="gate', system)
        heights = [float(y) for _, y in places]
        assert len(set(heights)) == len(heights)
        assert all(0 < y < int(box[1]) for y in heights)
        for path in re.findall(r'<path d="([^"]+)"', system):
            assert all(0 <= float(number) <= int(box[1]) for number in re.findall(r"[\d.]+", path))


def test_a_gate_on_a_main_stands_upright_on_it_and_has_its_words() -> None:
    base = shop()
    main = replace(base.ducts[0], gate="Shop gate")
    on_main = replace(gate("Planer", GateWord.SHUT), name="Shop gate", tools=(), duct="Main")
    view = replace(base, gates=(*base.gates, on_main), ducts=(main, *base.ducts[1:]))
    html = drawing.picture(view)
    assert 'transform="translate(20,108) rotate(90)" data-key="gate Shop gate"' in html
    assert "<b>Shop gate</b>" in html


def test_a_drop_that_ends_at_the_collector_itself_is_drawn() -> None:
    base = shop()
    only = replace(base.ducts[3], towards="Collector", moves=True)
    html = drawing.picture(replace(base, ducts=(only,), gates=base.gates[:1]))
    assert 'd="M124,108H20"' in html
    assert 'd="M20,108V36"' in html


def test_machines_that_share_a_gate_share_a_higher_row_and_only_the_awake_are_named() -> None:
    base = shop()
    shared = replace(base.gates[2], tools=("Bandsaw", "Lathe"))
    view = replace(base, gates=(*base.gates[:2], shared, *base.gates[3:]))
    html = drawing.picture(view)
    row = re.search(r'<li class="n2">(.*?)</li>', html)
    assert row is not None
    assert row[1] == (
        '<a href="/machine/Bandsaw">Bandsaw</a><a href="/machine/Lathe">Lathe</a>'
        "<span>stopped · <em>gate shut</em></span>"
    )
    assert 'viewBox="0 0 124 568"' in html  # six rows of 72 and one of 136
    assert 'translate(92,284)" data-key="gate Bandsaw gate"' in html
    lathe = tool("Lathe", SensorWord.RUNNING, since_s=995.0)
    running = replace(view, tools=tuple(lathe if one.name == "Lathe" else one for one in view.tools))
    said = 'Lathe running <time data-since="995.0">5\u00a0s</time> · <em>gate shut</em>'
    assert said in drawing.picture(running)


def test_a_machine_with_two_gates_has_both_named() -> None:
    base = shop()
    saw = replace(base.tools[1], gates=("Table saw gate", "Lathe gate"))
    over = replace(base.gates[4], tools=("Table saw",))
    view = replace(base, tools=(base.tools[0], saw, *base.tools[2:]), gates=(*base.gates[:4], over, base.gates[5]))
    html = drawing.picture(view)
    assert "Table saw</a><small>Table saw gate</small>" in html
    assert "Table saw</a><small>Lathe gate</small>" in html


def test_the_list_says_the_same_with_sizes_and_velocities() -> None:
    text = drawing.listed(cutting())
    assert "Collector, on. Air comes from:" in text
    assert "Main: 200\u00a0mm, 3.0\u00a0m; air moves at 22.4\u00a0m/s." in text
    assert (
        "Table saw drop: 125\u00a0mm, 2.0\u00a0m; Table saw gate is open, moved automatically, serves Table saw; "
        "air moves at 22.4\u00a0m/s."
    ) in text
    assert "Spindle sander gate is shut, moved by hand, serves Spindle sander; no air." in text
    inches = drawing.listed(replace(cutting(), units=Units.INCH))
    assert "Main: 7.75\u00a0in, 9.8\u00a0ft; air moves at 4410\u00a0ft/min." in inches


@pytest.mark.parametrize(
    ("value_s", "left", "told"),
    [
        (5.2, True, "6\u00a0s"),
        (5.8, False, "5\u00a0s"),
        (-3.0, True, "0\u00a0s"),
        (119.0, True, "119\u00a0s"),
        (120.0, True, "2\u00a0min"),
        (121.0, True, "3\u00a0min"),
        (179.9, False, "2\u00a0min"),
        (3599.0, False, "59\u00a0min"),
        (3599.0, True, "1\u00a0h 0\u00a0min"),
        (5400.0, False, "1\u00a0h 30\u00a0min"),
    ],
)
def test_running_times_in_words(value_s: float, left: bool, told: str) -> None:
    assert words.span(value_s, left=left) == told


def test_a_saying_keeps_counting_where_it_holds_a_time() -> None:
    assert words.said(Saying("Still."), 5.0) == "Still."
    assert words.said(Saying("Off in {time}.", until_s=9.0), 5.0) == ('Off in <time data-until="9.0">4\u00a0s</time>.')
    assert words.said(Saying("On for {time}.", since_s=1.0), 5.0) == ('On for <time data-since="1.0">4\u00a0s</time>.')


def test_markup_escapes_text_and_attributes() -> None:
    assert el("p", {"title": '"<', "hidden": True, "id": None}, "a<b", join("&")) == (
        '<p title="&quot;&lt;" hidden>a&lt;b&amp;</p>'
    )
    assert el("input", {"name": "x"}) == '<input name="x">'
    assert el("path", {"d": "M0,0"}) == '<path d="M0,0"/>'


def test_the_stop_bar_tells_the_worst_of_several_stops_once() -> None:
    by_phone = "Stopped from the page by 192.168.1.23 at 14:03."
    base = large()
    first, second = base.motors
    view = replace(
        base,
        motors=(
            replace(first, stop=StopView(StopWord.STOPPED, by_phone)),
            replace(second, stop=StopView(StopWord.NOT_CONFIRMED, by_phone)),
        ),
    )
    assert parts.stops(view) == (f'<p data-stop="not confirmed">{by_phone} Not confirmed. Use the red button.</p>')
    assert parts.stops(base) == '<p data-stop=""></p>'


def test_what_runs_names_a_lost_sensor_and_each_collector_has_its_own_stop() -> None:
    lost = tool("Lathe", SensorWord.LOST, sensor_note="The lathe's sensor says nothing believable.")
    html = parts.runs(replace(shop(), tools=(lost,)))
    assert ">Lathe</a>: sensor lost.</p><p>The lathe&#x27;s sensor says nothing believable.</p>" in html
    assert "Stop Collector" in parts.runs(large())
    assert "Stop Second collector" not in parts.runs(large())


def test_gates_that_stand_alike_for_the_same_reason_share_a_row() -> None:
    lost = Saying("Nobody knows where it stands.")
    base = shop()
    view = replace(
        base,
        gates=with_gates(
            base,
            bandsaw=gate("Bandsaw", GateWord.NOT_KNOWN, reason=lost),
            lathe=gate("Lathe", GateWord.NOT_KNOWN, reason=lost),
            router_table=gate("Router table", GateWord.NOT_KNOWN, reason=Saying("Its driver is silent.")),
        ),
    )
    html = parts.runs(view)
    assert "<b>Bandsaw gate, Lathe gate</b>: not known.</p><p>Nobody knows where it stands.</p>" in html
    assert "<b>Router table gate</b>: not known.</p><p>Its driver is silent.</p>" in html


def test_motors_of_which_nothing_is_to_say_stand_behind_one_line() -> None:
    html = parts.runs(large())
    assert '<details data-key="off"><summary>Off: Second collector</summary>' in html
    assert html.index("It runs for machine number 1.") < html.index("Off: Second collector")
    assert "Off:" not in parts.runs(shop())
