"""First numbers of a scenario: the rule of thumb that is shown fits the shifts of the site."""

import pytest

import batsim
from batsim.study.first_estimate import outline
from batsim.views.text.summary import summary_text

EARLY, LATE, NIGHT = (
    f'{{days: {days}, from: "{start}", to: "{end}"}}'
    for days, start, end in (
        ("Mon-Fri", "06:00", "14:00"),
        ("Mon-Fri", "14:00", "22:00"),
        ("Sun-Thu", "22:00", "06:00"),
    )
)
ALWAYS = '{days: Mon-Sun, from: "00:00", to: "24:00"}'
TEXT = """\
site: {{name: Thumb (invented)}}
week: {{shifts: {{{shifts}}}}}
trucks: [{{group: trucks, count: 10, shifts: [{names}], battery: plain, run_time: 8 h, first_run: 8 h}}]
batteries: {{plain: {{from: vented_lead_acid_48v, charge_time: 8 h, cool_down: 8 h, watering: none}}}}
handling: {{by hand: {{title: By hand, bay: spot, steps: [{{step: exchange, by: driver, time: 1 min}}]}}}}
layouts: {{one: {{handling: by hand, batteries: 40, chargers: 20 x electronic_iuia}}}}
"""


@pytest.mark.parametrize(
    ("shifts", "says"),
    [
        ({"early": EARLY}, "rule of thumb for one-shift work: 1.00 a truck, 10 in all"),
        ({"early": EARLY, "late": LATE}, "rule of thumb for two-shift work: 2.00 a truck, 20 in all"),
        (
            {"early": EARLY, "late": LATE, "night": NIGHT},
            "rule of thumb for work round the clock: 3.00 a truck, 30 in all",
        ),
        ({"long": EARLY.replace("14:00", "17:30")}, "rule of thumb for one-shift work: 1.44 a truck, 15 in all"),
        ({"long": EARLY.replace("14:00", "18:30")}, "rule of thumb for two-shift work: 1.56 a truck, 16 in all"),
        ({"always": ALWAYS}, "rule of thumb for work round the clock: 3.00 a truck, 30 in all"),
    ],
)
def test_one_two_or_three_batteries_a_truck(shifts: dict[str, str], says: str) -> None:
    """8 h of work, 8 h of charge and 8 h of rest."""
    named = ", ".join(f"{name}: {shift}" for name, shift in shifts.items())
    site = batsim.read_scenario_text(TEXT.format(shifts=named, names=", ".join(shifts)), "thumb.yaml")

    assert f"      {says}" in summary_text(outline(site), 200).splitlines()


def test_three_shifts_with_breaks() -> None:
    """A shift of 20 min less is one still: 23 h of work on batteries that last 8 h."""
    shifts = {"early": EARLY, "late": LATE, "night": NIGHT}
    breaks = dict(zip(shifts, ("09:30", "18:00", "02:00"), strict=True))
    with_breaks = {name: f'{shift[:-1]}, breaks: ["{breaks[name]} for 20 min"]}}' for name, shift in shifts.items()}
    named = ", ".join(f"{name}: {shift}" for name, shift in with_breaks.items())
    site = batsim.read_scenario_text(TEXT.format(shifts=named, names=", ".join(shifts)), "thumb.yaml")

    lines = summary_text(outline(site), 200).splitlines()

    assert "      rule of thumb for three-shift work: 2.88 a truck, 29 in all" in lines


def equalising_of(text: str) -> list[str]:
    """What a summary says of equalising."""
    return [line.strip() for line in text.splitlines() if "equalised" in line or "not stated" in line]


def test_equalising_of_the_catalogue_is_told_with_its_source() -> None:
    """Only where it is not stated: its numbers, between what they lie, and where that comes from."""
    stated = {"every": "7 days", "length": "3 h", "current": "5 A per 100 Ah"}
    kestrel = batsim.read("scenarios/kestrel-lane.yaml")
    own = batsim.changed(kestrel, {"batteries.lead 48 V 750 Ah.equalising": stated})
    none = batsim.changed(kestrel, {"batteries.lead 48 V 750 Ah.equalising": "none"})

    assert equalising_of(summary_text(outline(kestrel), width=400)) == [
        "lead 48 V 750 Ah: equalised every 17.5 days for 4 h at 3.5 A per 100 Ah",
        "not stated: the middle of 7 to 28 days, 2 to 6 h, 2 to 5 A per 100 Ah (common practice, no source; DIN 41776, "
        "charging of batteries, I and Ia characteristics; as explained in secondary texts, the standard was not read)",
    ]
    assert equalising_of(summary_text(outline(own))) == []
    assert equalising_of(summary_text(outline(none))) == []
