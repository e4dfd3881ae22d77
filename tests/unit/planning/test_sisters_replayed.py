"""Sisters replayed by a plain model of the shop: nothing is given twice, nothing left lying."""

from collections import Counter
from dataclasses import replace
from datetime import UTC, datetime, timedelta

from hypothesis import given, settings
from hypothesis import strategies as st

from crib.planning.shelf import (
    FreeHolder,
    LotEdges,
    Shelf,
    SpecNeeds,
    SwapNeed,
    WaitingAssembly,
)
from crib.planning.sisters import find_sisters

NOW = datetime(2026, 3, 2, 6, tzinfo=UTC)
MINUTE = timedelta(minutes=1)
SPECS = {
    "s0": SpecNeeds("t0", ("i0", "i1"), preset_minutes=20),
    "s1": SpecNeeds("t0", ("i1",), preset_minutes=45),
    "s2": SpecNeeds("t1", ("i2",), items_per_tool=2, preset_minutes=30),
}


@st.composite
def shops(draw):
    """Swaps of a few stations over ten hours, and a toolroom that can serve some of them."""
    needs = []
    for station in range(draw(st.integers(1, 5))):
        minutes = sorted(draw(st.sets(st.integers(0, 600), max_size=4)))
        spec = draw(st.sampled_from(sorted(SPECS)))
        mounted = draw(st.booleans())
        needs += [
            SwapNeed(
                station, "M", f"T{station}", station, 1, spec, None, ordinal,
                NOW + minute * MINUTE, f"H of {station}" if mounted and not ordinal else None,
            )
            for ordinal, minute in enumerate(minutes)
        ]  # fmt: skip
    waiting = [
        WaitingAssembly(
            f"A{number}",
            spec,
            f"waiting {number}",
            SPECS[spec].holder_type,
            draw(st.none() | st.integers(0, 600).map(lambda m: NOW + m * MINUTE)),
        )
        for number, spec in enumerate(
            draw(st.lists(st.sampled_from(sorted(SPECS)), max_size=6))
        )
    ]
    measured = draw(st.integers(0, len(waiting)))
    types = draw(st.lists(st.sampled_from(["t0", "t1"]), max_size=4))
    lots = draw(
        st.lists(st.tuples(st.sampled_from(["i0", "i1", "i2"]), st.integers(0, 4)), max_size=4)
    )
    shelf = Shelf(
        ready=tuple(waiting[:measured]),
        unmeasured=tuple(replace(w, void_after=None) for w in waiting[measured:]),
        holders=tuple(FreeHolder(f"free {i}", kind) for i, kind in enumerate(types)),
        lots=tuple(LotEdges(f"L{i}", item, edges) for i, (item, edges) in enumerate(lots)),
        specs=SPECS,
    )
    return draw(st.permutations(needs)), shelf


def _by_time(needs, sisters):
    pairs = zip(needs, sisters, strict=True)
    return sorted(pairs, key=lambda p: (p[0].swap_by, p[0].ordinal, p[0].station_id))


@given(shops())
@settings(max_examples=150)
def test_every_piece_is_where_it_is_taken_from(shop):
    needs, shelf = shop
    free = {h.holder: (h.holder_type, NOW) for h in shelf.holders}
    waiting = {w.code: w for w in (*shelf.ready, *shelf.unmeasured)}
    edges = {lot.lot: lot for lot in shelf.lots}
    seated = {n.station_id: n.releases_holder for n in needs if n.ordinal == 0}

    for need, sister in _by_time(needs, find_sisters(needs, shelf)):
        spec = SPECS[need.tool_spec]
        if sister.lot is not None:
            lot = edges[sister.lot]
            assert lot.cutting_item == sister.cutting_item
            assert sister.cutting_item in spec.cutting_items
            assert lot.edges_left >= spec.items_per_tool
            edges[sister.lot] = replace(lot, edges_left=lot.edges_left - spec.items_per_tool)
        own = seated[need.station_id]
        if sister.state in ("ready", "measure"):
            taken = waiting.pop(sister.assembly)
            assert (taken.tool_spec, taken.holder) == (need.tool_spec, sister.holder)
            if sister.state == "ready":
                assert taken in shelf.ready
                assert taken.void_after is None or taken.void_after >= need.swap_by
        if sister.state == "build":
            kind, from_at = free.pop(sister.holder)
            assert kind == spec.holder_type
            assert sister.holder_from in (None, from_at)
            if from_at > NOW:
                assert from_at + spec.preset_minutes * MINUTE <= need.swap_by
        if not (sister.state == "blocked" and sister.lot):
            seated[need.station_id] = sister.holder
            if own is not None:
                free[own] = (spec.holder_type, need.swap_by)


@given(shops())
@settings(max_examples=100)
def test_only_a_blocked_sister_misses_something_and_then_it_is_not_there(shop):
    needs, shelf = shop
    sisters = find_sisters(needs, shelf)
    left = Counter({lot.lot: lot.edges_left for lot in shelf.lots})
    used_holders = {sister.holder for sister in sisters}
    used_codes = {sister.assembly for sister in sisters}
    for need, sister in zip(needs, sisters, strict=True):
        if sister.lot:
            left[sister.lot] -= SPECS[need.tool_spec].items_per_tool

    for need, sister in zip(needs, sisters, strict=True):
        assert bool(sister.missing) == (sister.state == "blocked")
        spec = SPECS[need.tool_spec]
        if sister.state == "blocked":
            built = [w for w in (*shelf.ready, *shelf.unmeasured) if w.code not in used_codes]
            assert all(w.tool_spec != need.tool_spec for w in built)
        for missing in sister.missing:
            if missing.what == "edge":
                lots = [lot for lot in shelf.lots if lot.cutting_item in missing.names]
                assert all(left[lot.lot] < spec.items_per_tool for lot in lots)
            else:
                idle = [h for h in shelf.holders if h.holder not in used_holders]
                assert all(h.holder_type != spec.holder_type for h in idle)


def _most_ready(needs, shelf):
    """The largest matching of swaps and presets that hold, by augmenting paths."""
    owner = {}

    def place(need, seen):
        for waiting in shelf.ready:
            fits = waiting.tool_spec == need.tool_spec and (
                waiting.void_after is None or waiting.void_after >= need.swap_by
            )
            if fits and waiting.code not in seen:
                seen.add(waiting.code)
                if waiting.code not in owner or place(owner[waiting.code], seen):
                    owner[waiting.code] = need
                    return True
        return False

    return sum(place(need, set()) for need in needs)


@given(shops())
@settings(max_examples=100)
def test_no_other_choice_has_more_sisters_ready(shop):
    needs, shelf = shop

    ready = sum(sister.state == "ready" for sister in find_sisters(needs, shelf))

    assert ready == _most_ready(needs, shelf)


@given(shops(), st.randoms(use_true_random=False))
@settings(max_examples=60)
def test_the_order_in_which_things_are_listed_changes_nothing(shop, chance):
    needs, shelf = shop
    shuffled = chance.sample(needs, len(needs))
    mixed = replace(
        shelf,
        ready=tuple(chance.sample(shelf.ready, len(shelf.ready))),
        unmeasured=tuple(chance.sample(shelf.unmeasured, len(shelf.unmeasured))),
        holders=tuple(chance.sample(shelf.holders, len(shelf.holders))),
    )

    first = dict(zip(needs, find_sisters(needs, shelf), strict=True))
    second = dict(zip(shuffled, find_sisters(shuffled, mixed), strict=True))

    assert first == second
