"""The command day-without: its tables, its sentences, its JSON, what it refuses."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

import batsim
from batsim.cli import main
from batsim.scenario.settings import Settings
from batsim.study.day_without import AS_IT_IS, WITH_STANDBY, WITHOUT, Day, DayWithout, LostMinutes
from batsim.views.text.day_without_text import day_without_answer, day_without_text

CART_ROOM = Path(__file__).parents[1] / "cases" / "cart_room.yaml"
CAUTION = """\
Whether the parts fit, ventilation, supply, cost: batsim plan. Batteries are heavy and hold acid,
charging makes hydrogen, connectors can arc, loads can fall: follow local codes and leave it to
licensed, competent people.
"""


def call(*arguments: str) -> Result:
    """Run the command on the room worked out by hand."""
    return CliRunner().invoke(main, ["day-without", str(CART_ROOM), "--workers", "1", *arguments])


def test_what_it_prints() -> None:
    """Layouts one after another, each with its table and its sentence."""
    result = call("--layout", "table stands by", "--layout", "nothing stands by")

    assert (result.exit_code, result.stderr) == (0, "")
    assert (
        result.stdout
        == f"""\
By hand: a day without its devices
2 replications of that week, seed 1; paired

table stands by: hand cart
                           min per truck-shift that day  more truck-hours that week
  as it is                                           20                           0
  out, standby takes over                            80                           1
  out, no standby                                 1,090                       17.83
A day without the hand cart in 'table stands by' (week 1 Tue 00:00 for 24 h) is bridged by 1 lifting
table: trucks lose 80 min per truck-shift that day instead of 20, 1 truck-hour more in that week;
without what stands by they would lose 1,090 min per truck-shift and 18 truck-hours.

nothing stands by: hand cart
                   min per truck-shift that day  more truck-hours that week
  as it is                                   20                           0
  out, no standby                         1,090                       17.83
A day without the hand cart in 'nothing stands by' (week 1 Tue 00:00 for 24 h) stops exchanges:
trucks lose 1,090 min per truck-shift that day instead of 20, 18 truck-hours more in that week.
State a 'standby' to see what it would save.

± is the half width of a 95 % interval. A device that is at work when the day begins finishes that
exchange. The day begins with its first shift, the worst hour where trucks come at the change of
shifts: one that begins at another hour may cost less.
{CAUTION}"""
    )


def test_one_replication_has_no_intervals() -> None:
    """Numbers without ±, and the note says so."""
    result = call("--layout", "two devices", "--device", "winch", "-r", "1", "--seed", "7")

    assert (result.exit_code, result.stderr) == (0, "")
    assert (
        result.stdout
        == f"""\
By hand: a day without its devices
1 replication of that week, seed 7; paired

two devices: winch
                   min per truck-shift that day  more truck-hours that week
  as it is                                   20                           0
  out, no standby                         1,090                        17.8
A day without the winch in 'two devices' (week 1 Tue 00:00 for 24 h) stops exchanges: trucks lose
1,090 min per truck-shift that day instead of 20, 18 truck-hours more in that week. State a
'standby' to see what it would save.

One replication has no intervals; take more to know how sure this is. A device that is at work when
the day begins finishes that exchange. The day begins with its first shift, the worst hour where
trucks come at the change of shifts: one that begins at another hour may cost less.
{CAUTION}"""
    )


def test_no_layout_with_a_device() -> None:
    """Is said in place of tables."""
    result = call("--layout", "no device", "--layout", "in the truck")

    assert (result.exit_code, result.stderr) == (0, "")
    assert (
        result.stdout
        == f"""\
By hand: a day without its devices
2 replications of that week, seed 1; paired

No layout here depends on a device of which there is a number.
{CAUTION}"""
    )


def test_in_narrow_lines() -> None:
    """With their half widths; heads in two lines where one would be too long."""
    site = batsim.read(CART_ROOM)
    found = {
        AS_IT_IS: (LostMinutes(20.0, 600.0), LostMinutes(30.0, 660.0), LostMinutes(40.0, 540.0)),
        WITH_STANDBY: (LostMinutes(60.0, 700.0), LostMinutes(80.0, 800.0), LostMinutes(70.0, 600.0)),
        WITHOUT: (LostMinutes(400.0, 1800.0), LostMinutes(500.0, 1980.0), LostMinutes(600.0, 1800.0)),
    }
    stated = Settings(layouts=("no device",), replications=3, weeks=1.0, warm_up_weeks=0.0, seed=1).schedule(site)
    one = DayWithout(stated, "building", "hand_cart", 2, "1 table", Day(1440.0, "week 1 Tue 00:00", 2.0), found)

    assert (
        day_without_text(one, 69)
        == """\
building: hand cart
                           min per truck-shift  more truck-hours
                                      that day         that week
  as it is                             15 ± 12                 0
  out, standby takes over              35 ± 12         1.7 ± 1.7
  out, no standby                    250 ± 124        21.0 ± 2.5
A day without both hand carts in 'building' (week 1 Tue 00:00 for 24
h) is bridged by 1 table: trucks lose 35 min per truck-shift that day
instead of 15, 2 truck-hours more in that week; without what stands
by they would lose 250 min per truck-shift and 21 truck-hours."""
    )
    assert day_without_text(one) in day_without_answer(stated, [one])
    assert max(map(len, day_without_answer(stated, [one], 69).split("\n\n")[1].splitlines())) <= 69


def test_json() -> None:
    """One entry for each layout and device, as the answers give it."""
    result = call("--json", "--device", "hand_cart")
    found = batsim.day_without(batsim.read(CART_ROOM), batsim.Settings(workers=1), device="hand_cart")

    assert (result.exit_code, result.stderr) == (0, "")
    data = json.loads(result.stdout)
    assert data["scenario"] == "By hand"
    assert data["days"] == [{"layout": one.layout, **one.as_json()} for one in found]
    assert [(day["layout"], day["standby"]) for day in data["days"]] == [
        ("table stands by", "1 lifting table"), ("nothing stands by", None), ("two devices", None),
    ]  # fmt: skip
    assert json.loads(call("--json", "--layout", "no device").stdout)["days"] == []


@pytest.mark.parametrize(
    ("arguments", "rule"),
    [
        (("--device", "hand_card"),
         "device: no such device in these layouts; did you mean 'hand_cart'? (got 'hand_card')"),
        (("--layout", "no devices"), "layouts.no devices: no layout of this name; did you mean 'no device'?"),
    ],
)  # fmt: skip
def test_names_that_are_not_there(arguments: tuple[str, ...], rule: str) -> None:
    """With the nearest right one."""
    result = call(*arguments)

    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == f"{CART_ROOM}: 1 problem\n  {CART_ROOM}: {rule}\n"


def test_the_length_is_fixed() -> None:
    """So --weeks is refused."""
    result = call("--weeks", "4")

    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.splitlines()[-1] == "Error: the day and its week are fixed; leave --weeks out"
