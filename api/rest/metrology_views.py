"""Where stations really hold their tools, and what gauges are worth."""

from __future__ import annotations

from flask_smorest import Blueprint

from api.http.operation import Call, reads
from api.schemas.results import shape_from
from api.schemas.views import AsOfQuery
from crib.acts.study_gauge import GaugeStudied, study_gauge
from crib.views.show_datum import StationDatum, show_datum

blueprint = Blueprint(
    "measuring", __name__, description="Stations as first-offs show them, studies of gauges."
)


@reads(
    blueprint,
    "/v1/stations/<name:code>/datum",
    shape_from(StationDatum, "StationDatumShape")(),
    query=AsOfQuery(),
)
def read_station_datum(call: Call, code: str) -> StationDatum:
    """Show what each first-off in a station showed of its datum."""
    return show_datum(call.tx, call.as_of, code)


@reads(
    blueprint,
    "/v1/gauges/<name:code>/study",
    shape_from(GaugeStudied, "GaugeStudyShape")(),
    query=AsOfQuery(),
)
def read_gauge_study(call: Call, code: str) -> GaugeStudied:
    """Study a gauge by its checks: bias, Cg, Cgk, drift, and what was found later."""
    return study_gauge(call.tx, call.as_of, code)
