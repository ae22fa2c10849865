"""Results and looks of a layout with areas: JSON, frames, tables, verdict, trace, room, charts, columns of a study."""

import csv
import json
from pathlib import Path

import numpy as np
import pytest

import batsim
from batsim.measures.battery_course import battery_course
from batsim.measures.by_hour import attendants_by_hour
from batsim.measures.event_trace import event_frame, event_trace
from batsim.measures.parts import area_measures
from batsim.measures.room_course import room_course
from batsim.record.part import of_area
from batsim.study.compare import Comparison, compare
from batsim.study.running.replications import run
from batsim.views.text.part_tables import part_tables
from batsim.views.text.tables import comparison_text, runs_text
from batsim.views.text.trace_text import trace_csv, trace_text

FILE = Path(__file__).parents[1] / "cases" / "mixed_areas.yaml"
SITE = batsim.read(FILE)
SETTINGS = batsim.Settings(weeks=1.0, warm_up_weeks=1.0, replications=2, workers=1)
AREAS = ("north", "south", "plugged in")
WEEK_MIN = 7 * 1440.0
TUESDAY = WEEK_MIN + 1440.0
DOWN = "downtime_min_per_truck_shift"


@pytest.fixture(scope="module")
def found() -> Comparison:
    return compare(SITE, SETTINGS)


@pytest.fixture(scope="module")
def record() -> batsim.Record:
    return batsim.simulate(SITE, "mixed", settings=SETTINGS)


# --- numbers ---


def test_json_has_areas_beside_groups_and_battery_types(found):
    layouts = json.loads(json.dumps(found.as_json()))["layouts"]

    assert list(layouts["mixed"]) == ["measures", "areas", "groups", "battery_types", "targets"]
    assert tuple(layouts["mixed"]["areas"]) == AREAS
    assert layouts["one room"]["areas"] == {}
    for area, group in zip(AREAS, ("reach", "heavy", "pickers"), strict=True):
        ours = layouts["mixed"]["areas"][area]["measures"]
        assert ours[DOWN] == layouts["mixed"]["groups"][group]["measures"][DOWN]
        assert "wait_within_target_share" in ours
        assert "attendants_busy_share" not in ours
    assert layouts["mixed"]["areas"]["south"]["measures"]["batteries_per_truck"]["mean"] == 2.0
    assert layouts["mixed"]["areas"]["plugged in"]["measures"]["ready_batteries_min"]["mean"] is None
    assert layouts["mixed"]["areas"]["north"]["measures"]["chargers"]["mean"] == 6.0


def test_frames_tell_areas(found):
    frame = found.runs.frame_by_area

    assert list(frame.columns[:3]) == ["area", "layout", "measure"]
    assert dict.fromkeys(frame["area"]) == dict.fromkeys(AREAS)
    assert set(frame["layout"]) == {"mixed"}
    alone = run(SITE, batsim.Settings(layouts="one room", weeks=1.0, warm_up_weeks=0.0, replications=1, workers=1))
    assert list(alone.frame_by_area.columns) == list(frame.columns)
    assert len(alone.frame_by_area) == 0


def test_seasons_have_areas_too():
    site = batsim.changed(SITE, {"demand": {"weeks": {"47-48": "130 %"}}, "simulation": {"start_week": 20}})
    data = compare(site, batsim.Settings(weeks=1.0, warm_up_weeks=0.0, replications=1, workers=1)).as_json()

    assert tuple(data["layouts"]["mixed"]["seasons"]["47-48"]["areas"]) == AREAS


def test_tables_tell_areas_groups_and_types_of_a_layout_that_has_them(found):
    text = comparison_text(found)
    (trucks, truck_rows), (batteries, battery_rows) = part_tables(found.runs)

    assert trucks == "Areas and truck groups of layout 'mixed'"
    assert batteries == "Areas and battery types of layout 'mixed'"
    assert f"\n{trucks}:\n" in text
    names = ["site", "area north", "area south", "area plugged in"]
    assert [row[0] for row in truck_rows[2:]] == [*names, "group reach", "group heavy", "group pickers"]
    assert [row[0] for row in battery_rows[2:]] == [*names, "battery lead", "battery lead 80 V", "battery lithium"]
    per_truck, ready = battery_rows[0].index("per truck"), battery_rows[0].index("fewest ready")
    assert [row[per_truck] for row in battery_rows[2:6]] == ["1.80", "2.25", "2", "1"]
    assert battery_rows[5][ready] == "-"
    for name, row in zip(AREAS, truck_rows[3:6], strict=True):
        mean = found.runs.areas[name].interval("mixed", DOWN).mean
        assert float(row[1].partition(" ")[0]) == pytest.approx(mean, abs=0.5)


def test_nothing_is_added_for_a_layout_of_one_area():
    settings = batsim.Settings(layouts="one room", weeks=1.0, warm_up_weeks=0.0, replications=1, workers=1)
    found = compare(SITE, settings)

    assert part_tables(found.runs) == []
    assert "area north" not in comparison_text(found)
    assert "worst area" not in comparison_text(found)
    assert found.worst_area_sentence == ""


def test_run_prints_every_measure_of_each_area(found):
    text = runs_text(found.runs, (DOWN,))

    assert "mixed (areas north, south, plugged in)\n" in text
    assert "mixed, north (Side roller beds with a battery carriage)\n" in text
    assert "one room (" in text
    assert text.count("energy per working day") == 5


def test_the_worst_area_is_named_in_the_verdict(found):
    only = Comparison(run(SITE, batsim.Settings(**{**vars(SETTINGS), "layouts": "mixed"})))
    means = {area: runs.interval("mixed", DOWN).mean for area, runs in only.runs.areas.items()}
    worst = max(means, key=means.__getitem__)

    assert only.worst_area_sentence.startswith(f"The worst area in 'mixed' is '{worst}': {means[worst]:.1f}")
    assert only.worst_area_sentence.endswith("for all areas.")
    assert only.worst_area_sentence in " ".join(comparison_text(only).split())
    assert only.worst_area_sentence in only._repr_html_().replace("&#x27;", "'")
    assert only.as_json()["worst_area"] == only.worst_area_sentence


def test_another_area_becomes_the_worst(found):
    """South is the worst with one battery for each truck and no spare ones ready."""
    few = batsim.changed(
        SITE, {"layouts.mixed.areas.south.batteries": 4, "layouts.mixed.areas.south.chargers": "1 x e80"}
    )
    only = Comparison(run(few, batsim.Settings(**{**vars(SETTINGS), "layouts": "mixed"})))

    assert "is 'south'" in only.worst_area_sentence
    assert "is 'heavy'" in only.worst_group_sentence


# --- event by event ---


def test_a_trace_names_the_area_and_counts_within_it(record):
    text = trace_text(record, TUESDAY, TUESDAY + 1440.0)

    assert "south: hoist 1 is out of use" in text
    assert "south: hoist 1 is back in use" in text
    assert "plugged in: truck 8 (pickers) takes a charging spot" in text
    assert "plugged in: truck 8 (pickers) unplugs" in text
    assert "Tue 06:00:00  2 attendants on duty from now on" in text
    for line in text.splitlines():
        assert "roller bay" not in line or " north: " in line
        assert "floor bay" not in line or " south: " in line
        assert " leaves the station " not in line or " plugged in: " not in line


def test_trucks_that_wait_are_counted_within_their_queue(record):
    """Three trucks share one charging spot, whatever waits elsewhere."""
    events = event_trace(record, WEEK_MIN, 2 * WEEK_MIN)
    waiting = [event.trucks_waiting for event in events if event.area == 2 and event.trucks_waiting >= 0]

    assert 1 <= max(waiting) <= 2
    assert {event.ready for event in events if event.area == 2} == {-1}
    assert max(event.ready for event in events if event.area == 0) > 0
    for area, batteries in enumerate((range(9), range(9, 15), range(15, 18))):
        assert {event.battery for event in events if event.area == area} - {-1} <= set(batteries)


def test_one_area_of_a_trace(record):
    text = trace_text(record, TUESDAY, TUESDAY + 1440.0, area="south")
    rows = list(csv.DictReader(trace_csv(record, TUESDAY, TUESDAY + 1440.0, "south").splitlines()))

    assert {line.split("  ")[1].split(":")[0] for line in text.splitlines()[2:]} >= {"south"}
    assert " north: " not in text
    assert {row["area"] for row in rows} == {"south", ""}
    assert set(event_frame(record, TUESDAY, TUESDAY + 1440.0)["area"]) >= {"north", "south"}
    with pytest.raises(ValueError, match="has north, south, plugged in"):
        trace_text(record, TUESDAY, TUESDAY + 1440.0, area="west")


# --- the room over time ---


def test_rooms_of_areas_add_up_to_the_whole(record):
    whole = room_course(record, TUESDAY, TUESDAY + 1440.0)
    courses = [room_course(of_area(record, area), TUESDAY, TUESDAY + 1440.0) for area in AREAS]

    def at(course, counts):
        return counts[np.searchsorted(course.time_min, whole.time_min, side="right") - 1]

    for state, counts in whole.batteries.items():
        assert np.array_equal(counts, sum(at(course, course.batteries[state]) for course in courses)), state
    for state, counts in whole.chargers.items():
        assert np.array_equal(counts, sum(at(course, course.chargers[state]) for course in courses)), state
    for name in ("stations_busy", "trucks_away"):
        assert np.array_equal(getattr(whole, name), sum(at(course, getattr(course, name)) for course in courses))
    assert [course.chargers_in_all for course in (whole, *courses)] == [13.0, 6.0, 4.0, 3.0]
    assert [course.stations for course in (whole, *courses)] == [5.0, 2.0, 2.0, 1.0]
    assert list(whole.ready) == ["lead", "lead 80 V"]
    assert np.array_equal(whole.ready["lead"], at(courses[0], courses[0].batteries["ready"]))
    assert courses[2].ready == {}


def test_a_chart_of_a_day_shows_one_area_or_all(record):
    for part, title in ((record, "mixed: "), (of_area(record, "plugged in"), "mixed, plugged in: ")):
        figure = batsim.room_chart(part, TUESDAY, TUESDAY + 1440.0)
        assert figure.texts[0].get_text().startswith(title)
        panels = {ax.get_ylabel(): ax for ax in figure.axes}
        assert "in all" in panels["Chargers"].get_legend_handles_labels()[1]
        assert ("Ready\nbatteries" in panels) == (part is record)
    ready = batsim.room_chart(record, TUESDAY, TUESDAY + 1440.0).axes[1]
    assert ready.get_legend_handles_labels()[1] == ["lead", "lead 80 V"]
    lines = batsim.life_line_chart(of_area(record, "south"), [0, 5], TUESDAY, TUESDAY + 1440.0)
    assert "mixed, south" in lines.get_title(loc="left") + "".join(text.get_text() for text in lines.texts)


def test_a_chart_of_a_week_tells_ready_batteries_of_each_type():
    over = batsim.room_over(SITE, "mixed", batsim.Settings(weeks=1.0, replications=1, workers=1))
    one = batsim.room_over(SITE, "mixed", batsim.Settings(weeks=1.0, replications=1, workers=1), area="north")

    legend = [text.get_text() for text in batsim.week_chart(over).axes[1].get_legend().get_texts()]
    assert legend[-2:] == ["lead", "lead 80 V"]
    assert len(batsim.week_chart(one).axes[1].get_legend().get_texts()) == 1
    types = [over.counts[count] for count in over.ready_by_type.values()]
    assert np.allclose(sum(types), over.counts["ready"])
    assert np.allclose(types[0], one.counts["ready"])


def test_a_battery_and_the_attendants_of_a_mixed_layout(record):
    """Batteries keep their number over the site; one in a truck is never ready."""
    picker = battery_course(record, 15, TUESDAY, TUESDAY + 1440.0, 5.0)
    first = battery_course(of_area(record, "plugged in"), 0, TUESDAY, TUESDAY + 1440.0, 5.0)

    assert picker.attrs["type"] == "lithium"
    assert "ready" not in set(picker["state"])
    assert picker.drop(columns="state").equals(first.drop(columns="state"))
    assert attendants_by_hour(record)["on_duty"].max() == 2.0
    south = attendants_by_hour(of_area(record, "south"))
    assert south["on_duty"].isna().all()
    assert 0.0 < south["busy"].sum() < attendants_by_hour(record)["busy"].sum()


def test_areas_of_all_layouts_stand_side_by_side(found):
    ax = batsim.downtime_chart(found.by_area)
    names = {label.get_text().replace("\n", " ") for label in ax.get_yticklabels()}

    assert names == {f"mixed, {area}" for area in AREAS}


# --- studies ---


def test_a_study_keeps_and_exports_areas_groups_and_types(tmp_path):
    settings = batsim.Settings(replications=1, weeks=1.0, warm_up_weeks=1.0, workers=1)
    vary = {"layouts.mixed.areas.north.batteries": [8, 9]}
    batsim.sweep(SITE, settings, vary=vary, store=tmp_path / "cases.sqlite")
    batsim.export_store(tmp_path / "cases.sqlite", tmp_path / "cases.csv")
    rows = list(csv.DictReader((tmp_path / "cases.csv").read_text().splitlines()))
    meanings = {
        row["column"]: row["meaning"]
        for row in csv.DictReader((tmp_path / "cases.dictionary.csv").read_text().splitlines())
    }

    mixed = [row for row in rows if row["layout"] == "mixed"]
    assert [float(row["batteries of area north"]) for row in mixed] == [8.0, 9.0]
    assert mixed[0][f"{DOWN} of group heavy"] == mixed[0][f"{DOWN} of area south"] != ""
    assert float(mixed[1]["batteries of battery lead 80 V"]) == 6.0
    assert {row[f"{DOWN} of area north"] for row in rows if row["layout"] == "one room"} == {""}
    assert meanings["batteries of area north"].startswith("area north: ")
    expected = area_measures(batsim.simulate(SITE, "mixed", settings=SETTINGS), "north", 10.0)
    assert float(mixed[1]["wait_min_per_exchange of area north"]) == pytest.approx(expected["wait_min_per_exchange"])
