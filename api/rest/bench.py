"""Gauges checked, boxes moved, cutters ground, machines stopped, facts taken back."""

from __future__ import annotations

from typing import Any

from flask_smorest import Blueprint

from api.http.operation import Call, Reply, writes
from api.schemas.bodies import (
    GaugeCheckBody,
    NightChoiceBody,
    RegrindBody,
    ReversalBody,
    StockMoveBody,
    StopBody,
)
from api.schemas.results import shape_from
from crib.acts.check_gauge import CheckGauge, GaugeChecked, check_gauge_on_master
from crib.acts.choose_night import ChooseNight, NightChosen, choose_night
from crib.acts.move_stock import (
    MoveStock,
    Regrind,
    Reground,
    StockMoved,
    move_stock,
    regrind,
)
from crib.acts.report_stop import ReportStop, StopReported, report_stop
from crib.acts.reverse_fact import FactReversed, ReverseFact, reverse_fact
from crib.metrology.preset import Reading

blueprint = Blueprint("bench", __name__, description="Gauges, stock, stops, facts taken back.")

_FACT = {"fact_id": "fact"}
_PIECE = {"fact_id": "fact", "code": "lot_code"}

GaugeCheckShape = shape_from(
    GaugeChecked, "GaugeCheckShape", rename={"fact_id": "fact", "code": "gauge_code"}
)
StockMoveShape = shape_from(StockMoved, "StockMoveShape", rename=_PIECE)
RegrindShape = shape_from(Reground, "RegrindShape", rename=_PIECE)
StopShape = shape_from(StopReported, "StopShape", rename=_FACT)
NightChoiceShape = shape_from(NightChosen, "NightChoiceShape", rename=_FACT)
ReversalShape = shape_from(
    FactReversed, "ReversalShape", rename={"fact_id": "fact", "reversed_fact_id": "reversed"}
)


def _made(name: str, done: Any) -> Reply:
    return Reply(done, headers={"Location": f"/v1/{name}/{done.fact_id}"})


@writes(blueprint, "/v1/gauge-checks", GaugeCheckShape(), body=GaugeCheckBody())
def post_gauge_check(call: Call) -> Reply:
    """Record the check of a gauge on its setting master."""
    body = dict(call.body)
    readings = [Reading(**reading) for reading in body.pop("readings")]
    command = CheckGauge(readings=readings, **body)
    return _made("gauge-checks", check_gauge_on_master(call.tx, call.present, command))


@writes(blueprint, "/v1/stock-moves", StockMoveShape(), body=StockMoveBody())
def post_stock_move(call: Call) -> Reply:
    """Book a receipt, an issue, a return, scrap or a stocktaking."""
    return _made("stock-moves", move_stock(call.tx, call.present, MoveStock(**call.body)))


@writes(blueprint, "/v1/regrinds", RegrindShape(), body=RegrindBody())
def post_regrind(call: Call) -> Reply:
    """Book a cutter back from grinding: its edges are fresh again."""
    return _made("stock-moves", regrind(call.tx, call.present, Regrind(**call.body)))


@writes(blueprint, "/v1/stops", StopShape(), body=StopBody())
def post_stop(call: Call) -> Reply:
    """Record that a machine stands still."""
    return _made("stops", report_stop(call.tx, call.present, ReportStop(**call.body)))


@writes(blueprint, "/v1/night-choices", NightChoiceShape(), body=NightChoiceBody())
def post_night_choice(call: Call) -> Reply:
    """Decide what a machine does while nobody is there."""
    return _made("night-choices", choose_night(call.tx, call.present, ChooseNight(**call.body)))


@writes(blueprint, "/v1/reversals", ReversalShape(), body=ReversalBody())
def post_reversal(call: Call) -> Reply:
    """Take a mistaken fact back by a new one that names it."""
    done = reverse_fact(call.tx, call.present, ReverseFact(**call.body))
    return Reply(done)
