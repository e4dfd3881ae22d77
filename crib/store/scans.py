"""One row for one scan: everything that is shown for a code, in one statement each."""

from __future__ import annotations

from typing import NamedTuple

from crib.store.engine import Tx, raw

_STEPPED = (
    "(SELECT coalesce(sum(c.change_tenths_um), 0) FROM corrections AS c"
    " WHERE c.mount_id = m.fact_id AND c.axis = '{axis}' AND NOT EXISTS"
    " (SELECT 1 FROM facts AS later WHERE later.reverses_id = c.fact_id))"
)
_OFFSETS = ", ".join(
    f"m.offset_{axis.lower()}_tenths_um + {_STEPPED.format(axis=axis)}"
    f" AS offset_{axis.lower()}_tenths_um"
    for axis in "XYZ"
)

_ASSEMBLY = f"""
    SELECT scanned.code AS scanned, scanned.superseded_at AS superseded_us, present.code,
           a.fact_id AS assembly_id, built.at AS built_us, state.cutter_status,
           state.ended_at AS ended_us, spec.tool_spec, spec.tip_orientation,
           spec.nose_radius_tenths_um, h.holder, h.code AS holder_code,
           h.location AS holder_location, h.condition AS holder_condition, i.cutting_item,
           i.grade, l.lot, l.code AS lot_code, a.edge, coalesce(i.edges, 1) AS edges,
           p.fact_id AS preset_id, measured.at AS preset_us, p.accepted, p.why_not,
           p.void_after AS void_after_us, p.lf_tenths_um, p.wf_tenths_um, p.hf_tenths_um,
           p.re_tenths_um, g.gauge, person.name AS measured_by,
           supervisor.name AS override_by, overridden.reason AS override_reason,
           s.code AS station_code, machine.machine, s.station, s.tool_number,
           coalesce(s.path, 1) AS path, coalesce(machine.x_on_diameter, 1) AS x_on_diameter,
           coalesce(machine.offset_unit, 'mm') AS offset_unit,
           coalesce(machine.offset_increment_tenths_um, 1) AS offset_increment_tenths_um,
           m.fact_id AS mount_id, mounted.at AS mounted_us, {_OFFSETS}
    FROM label_codes AS scanned
    JOIN label_codes AS present
      ON present.assembly_id = scanned.assembly_id AND present.superseded_at IS NULL
    JOIN assemblies AS a ON a.fact_id = scanned.assembly_id
    JOIN facts AS built ON built.id = a.fact_id
    JOIN assembly_state AS state ON state.assembly_id = a.fact_id
    JOIN tool_specs AS spec ON spec.id = a.tool_spec_id
    JOIN holders AS h ON h.id = a.holder_id
    JOIN lots AS l ON l.id = a.lot_id
    JOIN cutting_items AS i ON i.id = l.cutting_item_id
    LEFT JOIN presets AS p ON p.fact_id =
      (SELECT max(fact_id) FROM presets WHERE assembly_id = a.fact_id)
    LEFT JOIN facts AS measured ON measured.id = p.fact_id
    LEFT JOIN gauges AS g ON g.id = p.gauge_id
    LEFT JOIN people AS person ON person.id = measured.person_id
    LEFT JOIN preset_overrides AS overridden ON overridden.preset_id = p.fact_id
    LEFT JOIN people AS supervisor ON supervisor.id = overridden.person_id
    LEFT JOIN station_state AS sits ON sits.assembly_id = a.fact_id
    LEFT JOIN mounts AS m ON m.fact_id = sits.mount_id
    LEFT JOIN facts AS mounted ON mounted.id = m.fact_id
    LEFT JOIN stations AS s ON s.id = sits.station_id
    LEFT JOIN machines AS machine ON machine.id = s.machine_id
    WHERE scanned.code = ?
"""  # noqa: S608 - no value from outside


class AssemblyScan(NamedTuple):
    """Everything about a scanned label; instants in µs since 1970, lengths in 0.1 µm."""

    scanned: str
    superseded_us: int | None
    code: str
    assembly_id: int
    built_us: int
    cutter_status: str
    ended_us: int | None
    tool_spec: str
    tip_orientation: int | None
    nose_radius_tenths_um: int | None
    holder: str
    holder_code: str
    holder_location: str | None
    holder_condition: str | None
    cutting_item: str
    grade: str | None
    lot: str
    lot_code: str
    edge: int
    edges: int
    preset_id: int | None
    preset_us: int | None
    accepted: int | None
    why_not: str | None
    void_after_us: int | None
    lf_tenths_um: int | None
    wf_tenths_um: int | None
    hf_tenths_um: int | None
    re_tenths_um: int | None
    gauge: str | None
    measured_by: str | None
    override_by: str | None
    override_reason: str | None
    station_code: str | None
    machine: str | None
    station: str | None
    tool_number: int | None
    path: int
    x_on_diameter: int
    offset_unit: str
    offset_increment_tenths_um: int
    mount_id: int | None
    mounted_us: int | None
    offset_x_tenths_um: int | None
    offset_y_tenths_um: int | None
    offset_z_tenths_um: int | None


def scan_assembly(tx: Tx, code: str) -> AssemblyScan | None:
    """The assembly whose label carries a code, current or earlier."""
    # past SQLAlchemy, which would describe 46 columns again on every scan: four times as fast
    row = raw(tx).execute(_ASSEMBLY, (code,)).fetchone()
    return None if row is None else AssemblyScan(*row)
