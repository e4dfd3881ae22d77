"""What each measure of a preset came to, as the bench shows it: figures, words, a drawing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from api.language import _, mark
from api.language.formats import length, nominal_length
from api.pages.bench.scale import ScaleDrawn, draw_scale
from crib.acts.recipe import Recipe
from crib.metrology.preset import MEASURES, MeasureResult, Reading, half_width_tenths_um
from crib.units import TENTHS_UM_PER_MM
from crib.views.preview_preset import PresetPreview

#: What a measure is called (ISO 13399).
NAMES = {
    "LF": mark("LF, functional length"),
    "WF": mark("WF, functional width"),
    "HF": mark("HF, functional height"),
    "RE": mark("RE, corner radius"),
}


@dataclass(frozen=True, slots=True)
class MeasureShown:
    """One measure of readings that were taken.

    Attributes:
        result: What they came to.
        spread_tenths_um: From the smallest reading to the largest [0.1 µm].
        nominal_tenths_um: The nominal, if there is one.
        half_tenths_um: Half the width of its limits, if there are any.
        drawn: The drawing; None without limits.
        sentence: The drawing in words.
    """

    result: MeasureResult
    spread_tenths_um: int
    nominal_tenths_um: int | None
    half_tenths_um: int | None
    drawn: ScaleDrawn | None
    sentence: str


def measures_shown(
    preview: PresetPreview, readings: Sequence[Reading]
) -> tuple[MeasureShown, ...]:
    """Every measure that the readings have."""
    return tuple(_shown(result, preview, readings) for result in preview.measures)


def _shown(
    result: MeasureResult, preview: PresetPreview, readings: Sequence[Reading]
) -> MeasureShown:
    name = result.measure
    values = [value for one in readings if (value := one.value(name)) is not None]
    nominal = preview.nominals_tenths_um.get(name)
    tolerance = preview.tolerance_tenths_um
    spread = max(values) - min(values)
    if nominal is None or tolerance is None:
        return MeasureShown(result, spread, nominal, None, None, "")
    half = half_width_tenths_um(name, nominal, tolerance)
    drawn = draw_scale(
        nominal, half, values, result.mean_tenths_um, result.expanded_uncertainty_mm
    )
    said = _(
        "{measure} to scale: limits {lower} to {upper}, nominal {nominal}; mean {mean}, "
        "uncertainty {uncertainty} (95 %).",
        measure=name,
        lower=nominal_length(nominal - half),
        upper=nominal_length(nominal + half),
        nominal=nominal_length(nominal),
        mean=length(result.mean_tenths_um),
        uncertainty=length(round(result.expanded_uncertainty_mm * TENTHS_UM_PER_MM)),
    )
    return MeasureShown(result, spread, nominal, half, drawn, said)


def asked_measures(
    recipe: Recipe, readings: Sequence[Reading], needed: Sequence[str] = ()
) -> list[tuple[str, str]]:
    """The measures to type by hand with their names.

    As in the readings before; else as the recipe and the stations that it is for have them.
    """
    if readings:
        wanted = readings[0].carried()
    else:
        nominals = (
            recipe.lf_nominal_tenths_um,
            recipe.wf_nominal_tenths_um,
            recipe.hf_nominal_tenths_um,
            recipe.nose_radius_tenths_um,
        )
        known = zip(MEASURES, nominals, strict=True)
        wanted = tuple(name for name, nominal in known if nominal or name in needed)
        wanted = wanted or ("LF", "WF")
    return [(name, _(NAMES[name])) for name in wanted]
