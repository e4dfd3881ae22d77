"""Right or wrong at the station: every mismatch at once, in plain words."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from crib.floor.cautions import (
    EDGES_CUT,
    MANUAL_FIRST,
    PROVE,
    STAND_STILL,
    axis_cautions,
    build_cautions,
    mount_cautions,
    removal_cautions,
)
from crib.floor.mount import Expected, Offered, Place, Scanned, lowest_rpm, mismatches

NOW = datetime(2026, 5, 4, 8, tzinfo=UTC)
EXPECTED = Expected("PIN-12", "TURN-R", 2, 4_000, "R", 6_000)
OFFERED = Offered(
    code="A00001N",
    tool_spec="TURN-R",
    holder="H-17",
    holder_interface="12 mm",
    holder_kind="turning",
    max_rpm=8_000,
    tip_orientation=2,
    nose_radius_tenths_um=3_950,
    hand="R",
    cutter_status="MEASURED",
    share_used=0.0,
    preset_accepted=True,
    preset_at=NOW - timedelta(hours=2),
    void_after=NOW + timedelta(days=7),
    gauge_valid=True,
    label_current=True,
)
PLACE = Place("L1", "T03", "S00003J", "12MM", "turning", 7_000)


def slugs(expected=EXPECTED, offered=OFFERED, place=PLACE, scanned=None, at=NOW):
    return [row.slug for row in mismatches(expected, offered, place, scanned, at)]


def test_the_right_tool_in_the_right_station_is_right():
    assert slugs(scanned=Scanned("S00003J", "A00001N")) == []


def test_a_program_that_nobody_knows_is_no_mismatch():
    assert slugs(expected=None) == []


@pytest.mark.parametrize(
    ("changed", "slug"),
    [
        ({"tip_orientation": 3}, "wrong-tip-orientation"),
        ({"hand": "L"}, "wrong-hand"),
        ({"nose_radius_tenths_um": 2_000}, "wrong-nose-radius"),
        ({"nose_radius_tenths_um": 0}, "wrong-nose-radius"),
        (
            {"nose_radius_tenths_um": None, "nominal_nose_radius_tenths_um": 8_000},
            "wrong-nose-radius",
        ),
        ({"label_current": False}, "earlier-label"),
        ({"preset_accepted": None}, "no-preset"),
        ({"preset_accepted": False}, "preset-not-accepted"),
        ({"void_after": NOW - timedelta(seconds=1)}, "preset-void"),
        ({"gauge_valid": False}, "gauge-not-checked"),
        ({"cutter_status": "BROKEN"}, "edge-broken"),
        ({"cutter_status": "EXPIRED"}, "edge-used-up"),
        ({"share_used": 1.0}, "edge-used-up"),
        ({"cutter_status": "TAGGED_OUT"}, "not-mountable"),
        ({"cutter_status": "UNKNOWN"}, "not-mountable"),
        ({"holder_out_of_service": "clamp cracked"}, "holder-out-of-service"),
        ({"mounted_at": "L2/T01"}, "mounted-elsewhere"),
        ({"holder_interface": "10 mm"}, "wrong-interface"),
        ({"holder_kind": "live"}, "wrong-kind"),
        ({"max_rpm": 5_000}, "too-fast"),
    ],
)
def test_one_thing_wrong_with_the_assembly_is_named(changed, slug):
    assert slugs(offered=replace(OFFERED, **changed)) == [slug]


def test_a_station_that_is_full_or_slow_is_named():
    assert slugs(place=replace(PLACE, occupied_by="A00009H")) == ["station-occupied"]
    assert slugs(place=replace(PLACE, max_rpm=5_999)) == ["too-fast"]


def test_the_wrong_station_says_where_the_tool_belongs():
    expected = replace(EXPECTED, tool_spec="GROOVE-2", wanted_at=("L1/T07",))

    (row,) = mismatches(expected, OFFERED, PLACE, None, NOW)

    assert row.slug == "wrong-station"
    assert row.sentence == (
        "A00001N is TURN-R; the program for PIN-12 expects GROOVE-2 there (station L1/T03): it "
        "belongs in L1/T07."
    )


def test_a_station_that_the_program_does_not_use_takes_no_tool():
    (row,) = mismatches(Expected("PIN-12"), OFFERED, PLACE, None, NOW)

    assert row.slug == "wrong-spec"
    assert "uses no tool there" in row.sentence


def test_a_scan_that_differs_from_what_was_typed_is_named_for_both():
    rows = mismatches(EXPECTED, OFFERED, PLACE, Scanned("S00004H", "A00002L"), NOW)

    assert [row.field for row in rows] == ["scanned.station", "scanned.assembly"]
    assert "S00004H" in rows[0].sentence
    assert "A00002L" in rows[1].sentence


def test_everything_wrong_is_said_at_once():
    rows = mismatches(
        Expected("PIN-12", "GROOVE-2", 3, 8_000, "L", 9_000),
        replace(
            OFFERED,
            cutter_status="BROKEN",
            label_current=False,
            preset_accepted=False,
            gauge_valid=False,
            void_after=NOW - timedelta(days=1),
            mounted_at="L2/T01",
            holder_out_of_service="lent",
        ),
        replace(PLACE, interface="16 mm", kind="live", occupied_by="A00009H"),
        Scanned("S00004H", "A00002L"),
        NOW,
    )

    assert len(rows) == 17
    for row in rows:
        assert row.sentence.endswith(".")
        assert ": " in row.sentence, "says what to do"


def test_a_tool_that_sits_in_this_very_station_is_said_once():
    assert slugs(
        offered=replace(OFFERED, mounted_at="L1/T03"),
        place=replace(PLACE, occupied_by="A00001N"),
    ) == ["mounted-elsewhere"]


def test_what_is_not_known_is_not_held_against_a_tool():
    bare = Offered("A00001N", "TURN-R", "H-17", preset_accepted=True)

    assert slugs(offered=bare) == []
    assert slugs(place=Place("L1", "T03", "S00003J")) == []


def test_a_used_edge_with_life_left_may_go_in():
    assert slugs(offered=replace(OFFERED, cutter_status="USED", share_used=0.6)) == []


def test_the_lowest_limit_counts():
    assert lowest_rpm(None, 8_000, 6_000) == 6_000
    assert lowest_rpm(None, None) is None


def test_a_mount_shows_the_cautions_that_apply_and_no_others():
    cautions = mount_cautions(axis_cautions(True, "in"), 6_000)

    text = " ".join(cautions)
    assert cautions[0] == PROVE
    assert "twice the distance from the axis" in text
    assert "inches, not millimetres" in text
    assert "Never above 6000 rpm" in text
    assert {EDGES_CUT, STAND_STILL} < set(cautions)
    assert cautions[-1] == MANUAL_FIRST

    plain = " ".join(mount_cautions(axis_cautions(False, "mm")))
    assert "on radius" in plain
    for word in ("inches", "rpm"):
        assert word not in plain
    assert " radius" not in " ".join(mount_cautions())


def test_building_and_removing_have_their_own_cautions():
    assert "Tighten to 1.2 N·m with a torque driver." in build_cautions(1.2)
    assert "that the maker of the holder states" in " ".join(build_cautions())
    assert removal_cautions()[0] == STAND_STILL


@pytest.mark.parametrize(
    ("status", "accepted", "found"),
    [
        ("NEW", None, ["no-preset"]),  # said once: it was never measured
        ("NEW", True, ["not-mountable"]),
        ("UNAVAILABLE", None, ["no-preset", "not-mountable"]),
    ],
)
def test_a_tool_that_was_never_measured_is_named_so_once(status, accepted, found):
    offered = replace(
        OFFERED, cutter_status=status, preset_accepted=accepted, void_after=None, preset_at=None
    )

    assert sorted(set(slugs(offered=offered)) & {"no-preset", "not-mountable"}) == sorted(found)
