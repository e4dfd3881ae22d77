"""Speeds, times and paths against printed and independently derived numbers."""

import json
import math
from pathlib import Path

import pytest

from crib.cutting.engagement import engage
from crib.cutting.kinematics import (
    clamp_diameter_mm,
    point_allowance_mm,
    regrips,
    removal_rate_mm3_s,
    spindle_rpm,
    surface_speed_m_min,
)
from crib.cutting.operations import CutOperation
from crib.cutting.passes import thread_depths_mm, thread_passes
from crib.life.taylor import TaylorConstants
from crib.life.wear import wear_per_part

ROWS = json.loads(
    (Path(__file__).parents[2] / "fixtures/published/kinematics.json").read_text("utf-8")
)["rows"]


def _speed(i):
    rpm = spindle_rpm(i["V_m_min"], i["D_mm"])
    limit = i.get("max_rpm", math.inf)
    cut = engage(
        CutOperation(
            "turn",
            i["D_mm"],
            length_mm=1,
            feed_mm_rev=0.1,
            cutting_speed_m_min=i["V_m_min"],
        ),
        {"machine": i.get("max_rpm")},
    )
    assert cut.spindle_rpm == pytest.approx(min(rpm, limit))
    return {
        "rpm": cut.spindle_rpm,
        "rpm_unclamped": rpm,
        "V_eff": cut.cutting_speed_m_min,
    }


def _turning(i):
    v = 60 * i["v_m_s"]
    operation = CutOperation(
        "turn",
        i["D_mm"],
        length_mm=i["L_mm"],
        feed_mm_rev=i["f_mm_rev"],
        depth_mm=i["d_mm"],
        cutting_speed_m_min=v,
    )
    return {
        "T_min": engage(operation).engaged_min,
        "MRR_mm3_s": removal_rate_mm3_s(v, i["f_mm_rev"], i["d_mm"]),
    }


def _drilling(i):
    allowance = point_allowance_mm(i["D_mm"], i["point_angle_deg"])
    cut = engage(
        CutOperation(
            "drill",
            i["D_mm"],
            length_mm=i["thickness_mm"] + allowance,
            feed_mm_rev=i["f_mm_rev"],
            cutting_speed_m_min=i["V_m_min"],
        )
    )
    return {"rpm": cut.spindle_rpm, "allowance_mm": allowance, "T_min": cut.engaged_min}


def _facing_cut(i, n=0.25):
    operation = CutOperation(
        "face",
        2 * i["r_outer_mm"],
        2 * i["r_inner_mm"],
        feed_mm_rev=i["f_mm_rev"],
        cutting_speed_m_min=i["V_m_min"],
    )
    return engage(operation, {"machine": i["max_rpm"]}, n)


def _facing(i):
    cut = _facing_cut(i)
    return {
        "r_clamp_mm": clamp_diameter_mm(i["V_m_min"], i["max_rpm"]) / 2,
        "T_s": cut.engaged_min * 60,
        "spiral_m": cut.length_cut_m,
    }


def _life_share(i):
    share = wear_per_part([_facing_cut(i, i["n"])], TaylorConstants(i["n"], i["C"]))
    return {"life_share_x1e6": share * 1e6, "cuts_per_edge": math.floor(1 / share)}


def _thread(i):
    return {
        "cutting_passes": thread_passes(i["depth_mm"], i["first_mm"]),
        "total": thread_passes(i["depth_mm"], i["first_mm"], i["spring"]),
        "second_depth": thread_depths_mm(i["depth_mm"], 17, i["first_mm"])[1],
    }


def _thread_time(i):
    cut = engage(
        CutOperation(
            "thread",
            6,
            length_mm=i["L_mm"] + i["leadin_mm"],
            feed_mm_rev=i["pitch_mm"],
            passes=i["passes"],
            spindle_rpm=i["rpm"],
        )
    )
    total = cut.engaged_min * 60
    return {"per_pass_s": total / cut.passes, "total_s": total}


def _strokes(i):
    again = regrips(i["length_to_feed_mm"], i["stroke_mm"])
    return {"regrips": again, "strokes": again + 1}


OURS = {
    "K-01": _speed,
    "K-02": _speed,
    "K-05": _turning,
    "K-07": _drilling,
    "K-09": _facing,
    "K-10": _facing,
    "K-13": _facing,
    "K-17": _thread,
    "K-19": _strokes,
    "K-20": _strokes,
    "K-22b": _strokes,
    "K-25": _thread_time,
    "K-27": _life_share,
}


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["id"])
def test_motion_agrees_with_the_printed_number(agrees, row):
    ours = OURS[row["id"]](row["inputs"])

    for name, value in row["expected"].items():
        agrees(row, name, value, ours[name], row["tol"][name])


def test_revolutions_and_surface_speed_undo_each_other():
    assert surface_speed_m_min(spindle_rpm(87.5, 6.35), 6.35) == pytest.approx(87.5)
