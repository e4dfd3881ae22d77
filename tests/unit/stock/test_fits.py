"""What belongs together and what does not."""

from __future__ import annotations

from crib.stock.fits import HolderFacts, ItemFacts, SpecFacts, accepts, build_misfits

SPEC = SpecFacts("OD", "SQ12", ("CN-1", "CN-2"))
HOLDER = HolderFacts("H-1", "SQ12", "CNMG")
ITEM = ItemFacts("L-1", "CN-2", "CNMG120408")


def test_what_belongs_together_has_no_misfits():
    assert build_misfits(SPEC, HOLDER, ITEM) == ()


def test_a_pocket_takes_any_of_its_starts():
    assert accepts("VCGT | DCGT11", "DCGT11T302")
    assert accepts("dcgt 11", "DCGT11T302")
    assert not accepts("VCGT|DCGT07", "DCGT11T302")


def test_a_pocket_without_starts_takes_anything():
    assert accepts(None, "DCGT11T302")
    assert accepts(" | ", "DCGT11T302")


def test_every_misfit_is_named():
    spec = SpecFacts("OD", "SQ12", ("CN-1",), retired=True)
    holder = HolderFacts("H-1", "ER16", "DR", "lent", out_of_service=True, retired=True)
    item = ItemFacts("L-1", "VC-1", "VCGT110302", lot_retired=True, item_retired=True)

    fields = [misfit.field for misfit in build_misfits(spec, holder, item)]

    assert fields == ["tool_spec", "holder", "holder", "holder", "lot", "lot", "lot", "lot"]


def test_an_item_beside_those_that_the_spec_takes_is_a_misfit():
    item = ItemFacts("L-1", "CN-3", "CNMG120404")

    (misfit,) = build_misfits(SPEC, HOLDER, item)

    assert "CN-1 or CN-2" in misfit.detail
