"""What belongs together and what does not."""

from __future__ import annotations

import pytest

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


def _reasons(holder: str, insert: str, takes: str | None = None) -> list[str]:
    facts = HolderFacts("H-1", "SQ12", takes, designation=holder)
    item = ItemFacts("L-1", "CN-1", insert)
    return [misfit.detail for misfit in build_misfits(SPEC, facts, item)]


@pytest.mark.parametrize(
    ("holder", "insert"),
    [
        ("SCLCR1212F09", "CCMT09T304"),
        ("SCLCR1212F09", "CCMT32.51"),
        ("SCLCR1212F09", "ccmt 09 t3 08-pf"),
        ("PCLNR2020K12", "CNMG120408"),
        ("A16M-SCLCR09", "CCGT09T302FL"),
        ("A16M-SCLCR09", "CCGT09T302FR"),
        ("A16M-SDJCR11", "DCGT11T302FL"),  # a bar: built either way
        ("SDJCR1212F11", "DCGT11T302FR"),
        ("SDJCR1212F11", "DCGT11T302FN"),
        ("CTGPR1616H11", "TPGN110304"),
        ("SRDCN2020K12", "RCMT1204M0"),
        ("MWLNR2020K08", "WNMG432"),
        ("SCLCR1212F09", "CCMX09T304"),
    ],
)
def test_an_insert_goes_into_the_pocket_made_for_it(holder: str, insert: str):
    assert _reasons(holder, insert) == []


@pytest.mark.parametrize(
    ("holder", "insert", "words"),
    [
        ("SCLCR1212F09", "DCMT09T304", ["rhombic 55° (D)"]),
        ("SCLCR1212F09", "CPMT09T304", ["11° (P)"]),
        ("SCLCR1212F09", "CCMT060204", ["size is 06, the pocket takes 09"]),
        ("SCLCR1212F09", "CCMT21.51", ["size is 06, the pocket takes 09"]),
        ("SDJCR1212F11", "DCGT11T302FL", ["cuts left-handed, the holder right-handed"]),
        ("SDJCL1212F11", "DCGT11T302FR", ["cuts right-handed, the holder left-handed"]),
        ("PTGNR1616H16", "TNUN160408", ["no hole"]),
        ("SCLCR1212F09", "CCMR09T304", ["no hole"]),
        ("SSSNR2020K12", "SNMG120408", ["no countersunk hole"]),
        ("A16M-SCLCR09", "CCMT060204", ["the pocket takes 09"]),
        ("SCLCR1212F09", "DNMG150608", ["(D)", "0° (N)", "countersunk"]),
    ],
)
def test_every_reason_against_an_insert_is_named(holder: str, insert: str, words: list[str]):
    reasons = _reasons(holder, insert)

    assert len(reasons) == len(words)
    for reason, expected in zip(reasons, words, strict=True):
        assert expected in reason
        assert reason.startswith(f"{insert} does not go into holder H-1 ({holder}): it")


def test_what_the_shop_says_that_a_pocket_takes_decides():
    assert _reasons("SCLCR1212F09", "DNMG150608", "CCMT|DNMG15") == []
    assert _reasons("SCLCR1212F09", "CCMT09T304", "DNMG15") == [
        "CCMT09T304 does not go into holder H-1, which takes DNMG15"
    ]
    assert len(_reasons("SCLCR1212F09", "DNMG150608", " | ")) == 3


def test_nothing_is_known_of_what_a_shop_names_in_its_own_words():
    assert _reasons("parting shank 12", "CNMG120408") == []
    assert _reasons("SCLCR1212F09", "parting 1.5 P") == []


def test_each_misfit_says_which_field_and_why():
    item = ItemFacts("L-1", "CN-2", "VCGT110302")
    (pocket,) = build_misfits(SPEC, HolderFacts("H-1", "SQ12", "CNMG | DNMG"), item)
    (other,) = build_misfits(SPEC, HolderFacts("H-1", "ER16", "CNMG"), ITEM)
    (gone,) = build_misfits(SPEC, HolderFacts("H-1", "SQ12", "CNMG", retired=True), ITEM)
    (drawn,) = build_misfits(
        SPEC, HolderFacts("H-1", "SQ12", designation="PCLNR2020K12"), item
    )[:1]

    assert (pocket.field, other.field, gone.field, drawn.field) == (
        "lot", "holder", "holder", "lot",
    )  # fmt: skip
    assert pocket.detail.endswith("holder H-1, which takes CNMG or DNMG")
    assert other.detail == "holder H-1 is a ER16; OD needs a SQ12"
    assert gone.detail == "holder H-1 is retired; take another"
    assert "PCLNR2020K12" in drawn.detail
