"""A day without a device: what it costs, worked out by hand in a room where nothing is random."""

import json

import pytest
from click.testing import CliRunner

import batsim
from batsim.cli import main
from batsim.study.day_without import AS_IT_IS, WITH_STANDBY, WITHOUT, usual_day

TEXT = """\
question: What does a day without the cart cost?
site: {name: By hand}
week:
  shifts:
    all day: {days: Mon-Sun, from: "00:00", to: "24:00"}
trucks:
  - {group: trucks, count: 1, shifts: [all day], battery: plain, run_time: 590 min, first_run: 590 min}
batteries:
  plain: {from: vented_lead_acid_48v, charge_time: 0 min, cool_down: 0 min, watering: none}
handling:
  cart:
    title: With a cart
    place: spot
    devices: {cart: 1}
    steps: [{step: exchange, by: driver, device: cart, time: 10 min}]
  by hand:
    title: By hand
    place: spot
    devices: {table: 1}
    steps: [{step: exchange, by: driver, device: table, time: 40 min}]
  bare:
    title: Without a device
    place: spot
    steps: [{step: exchange, by: driver, time: 10 min}]
layouts:
  with standby: {handling: cart, batteries: 3, chargers: 2 x electronic_iuia, standby: {handling: by hand}}
  without: {handling: cart, batteries: 3, chargers: 2 x electronic_iuia}
  no device: {handling: bare, batteries: 3, chargers: 2 x electronic_iuia}
  in the truck: {handling: in_truck, chargers: 1 x electronic_iuia}
simulation: {replications: 2, warm_up: 0 weeks, length: 1 week}
"""
SITE = batsim.read_scenario_text(TEXT)

# By hand. The truck comes at 590 min and every 600 min after it has left: at 590, 1190, 1790, ... minutes. The usual
# day is Tuesday, 1440 to 2880 min. As it is, it is away 10 min at 1790 and 2390 min: 20 min of the one truck-shift of
# that day. Without the cart it comes at 1790 and stands until 2880: 1090 min that day, and 10 min more for the
# exchange. With the slow table it is away from 1790 to 1830 and from 2420 to 2460: 80 min.


def test_minutes_of_the_day_are_those_worked_out_by_hand():
    with_standby, without = batsim.day_without(SITE, workers=1)

    assert (with_standby.layout, with_standby.device, with_standby.count) == ("with standby", "cart", 1)
    assert (with_standby.standby, without.standby) == ("1 table", "")
    assert with_standby.day == (1440.0, "week 1 Tue 00:00", 1.0)
    assert [with_standby.downtime(way).mean for way in (AS_IT_IS, WITH_STANDBY, WITHOUT)] == [20.0, 80.0, 1090.0]
    assert [without.downtime(way).mean for way in (AS_IT_IS, WITHOUT)] == [20.0, 1090.0]
    assert with_standby.cost_h(AS_IT_IS).mean == 0.0
    assert WITH_STANDBY not in without.found


def test_the_week_counts_what_the_day_leaves_behind():
    """As it is: 16 visits of 10 min from 590 min to the end of the week. Without: two, one of 1100 min, and 11 from
    3480 min on."""
    _, without = batsim.day_without(SITE, workers=1)
    usual, bare = (sum(each.week_min for each in without.found[way]) / 2 for way in (AS_IT_IS, WITHOUT))

    assert usual == 160.0
    assert bare == 2 * 10.0 + 1100.0 + 11 * 10.0
    assert without.cost_h(WITHOUT).mean == pytest.approx((bare - usual) / 60.0)


def test_sentences():
    with_standby, without = batsim.day_without(SITE, workers=1)

    assert with_standby.sentence == (
        "A day without the cart in 'with standby' (week 1 Tue 00:00 for 24 h) is bridged by 1 table: trucks lose "
        "80 min per truck-shift that day instead of 20, 1 truck-hours more in that week; without what stands by they "
        "would lose 1090 min per truck-shift and 18 truck-hours."
    )
    assert without.sentence == (
        "A day without the cart in 'without' (week 1 Tue 00:00 for 24 h) stops exchanges: trucks lose 1090 min per "
        "truck-shift that day instead of 20, 18 truck-hours more in that week. State a 'standby' to see what it would "
        "save."
    )


def test_frame_and_json():
    with_standby, _ = batsim.day_without(SITE, workers=1)

    frame = with_standby.frame
    assert list(frame.columns) == ["way", "day_min_per_truck_shift", "low", "high", "more_truck_hours_in_week"]
    assert frame["way"].tolist() == [AS_IT_IS, WITH_STANDBY, WITHOUT]
    assert "<table" in with_standby._repr_html_()
    data = json.loads(json.dumps(with_standby.as_json()))
    assert (data["device"], data["units"], data["standby"], data["day"]) == ("cart", 1, "1 table", "week 1 Tue 00:00")
    assert data["ways"][WITHOUT]["day_min_per_truck_shift"] == {"mean": 1090.0, "low": 1090.0, "high": 1090.0}


def test_all_units_of_a_kind_are_out():
    two = SITE.replace("layouts.without.devices", {"cart": 2})
    (one,) = batsim.day_without(two, "without", workers=1)

    assert one.downtime(WITHOUT).mean == 1090.0
    assert one.sentence.startswith(
        "A day without all 2 carts in 'without' (week 1 Tue 00:00 for 24 h) stops exchanges: "
    )


def test_stated_outages_and_breakdowns_are_left_out():
    """The day is to differ in nothing else."""
    out = [{"thing": "cart", "from": "week 1 Tue 00:00", "for": "24 h"}]
    worse = SITE.replace("layouts.without.out", out)
    (one,) = batsim.day_without(worse, "without", workers=1)

    assert one.downtime(AS_IT_IS).mean == 20.0


def test_layouts_without_a_device_have_no_such_day():
    assert batsim.day_without(SITE, ["no device", "in the truck"], workers=1) == []


def test_a_device_that_nobody_has():
    with pytest.raises(batsim.ScenarioError) as caught:
        batsim.day_without(SITE, "without", "card")

    rule = "no such device in these layouts; did you mean 'cart'? (got 'card')"
    assert str(caught.value) == f"scenario.yaml: 1 problem\n  scenario.yaml: device: {rule}"


@pytest.mark.parametrize(
    ("shift", "day"),
    [
        ({"days": "Mon-Fri", "from": "06:00", "to": "14:00"}, (1800.0, "week 1 Tue 06:00", 1.0)),
        ({"days": "Wed", "from": "06:00", "to": "14:00"}, (3240.0, "week 1 Wed 06:00", 1.0)),
        ({"days": "Sun-Thu", "from": "22:00", "to": "06:00"}, (2760.0, "week 1 Tue 22:00", 1.0)),
        (
            {"days": "Mon-Fri", "from": "06:00", "to": "14:00", "breaks": ["09:00 for 60 min"]},
            (1800.0, "week 1 Tue 06:00", 1.0),
        ),
    ],
)
def test_the_usual_day(shift, day):
    """The second working day, from the start of its first shift on."""
    site = batsim.read_scenario_text(
        TEXT.replace('all day: {days: Mon-Sun, from: "00:00", to: "24:00"}', f"all day: {json.dumps(shift)}")
    )

    assert usual_day(site) == day


def test_the_same_on_two_processes(monkeypatch):
    monkeypatch.setattr("batsim.study.executors.POOL_PAYS_S", 0.0)
    one, two = (batsim.day_without(SITE, "with standby", workers=workers) for workers in (1, 2))

    assert [each.found for each in one] == [each.found for each in two]


# --- the command ---


def call(tmp_path, *arguments):
    """Run the command on the room worked out by hand."""
    file = tmp_path / "by-hand.yaml"
    file.write_text(TEXT, encoding="utf-8")
    return CliRunner().invoke(main, ["day-without", str(file), "--workers", "1", *arguments])


def test_what_the_command_prints(tmp_path):
    result = call(tmp_path, "--layout", "with standby")

    assert result.exit_code == 0
    assert (
        result.stdout
        == """\
By hand: a day without its devices
2 replications of that week, seed 1; paired

with standby: cart
                             min per truck-shift that day  more truck-hours that week
  as it is                                             20                           0
  out, standby in its place                            80                           1
  out, no standby                                    1090                       17.83
A day without the cart in 'with standby' (week 1 Tue 00:00 for 24 h) is bridged by 1 table: trucks
lose 80 min per truck-shift that day instead of 20, 1 truck-hours more in that week; without what
stands by they would lose 1090 min per truck-shift and 18 truck-hours.

± is the half width of a 95 % interval. A device that is at work when the day begins finishes that
exchange.
Not covered here: whether the parts fit, ventilation, supply, money. Batteries are heavy and hold
acid, charging makes hydrogen, connectors can arc, loads can fall: follow local codes and leave it
to licensed, competent people.
"""
    )


def test_json_of_the_command(tmp_path):
    data = json.loads(call(tmp_path, "--json", "--device", "cart").stdout)

    assert data["scenario"] == "By hand"
    assert [day["layout"] for day in data["days"]] == ["with standby", "without"]


def test_no_layout_with_a_device(tmp_path):
    result = call(tmp_path, "--layout", "no device")

    assert result.exit_code == 0
    assert "\nNo layout here depends on a device of which there is a number.\n" in result.stdout


def test_the_length_is_fixed(tmp_path):
    result = call(tmp_path, "--weeks", "4")

    assert result.exit_code == 2
    assert result.stderr.endswith("Error: the day and its week are fixed; leave --weeks out\n")
