"""Shops of another form than the life model: what differs from one to the next.

Every world is the plain one with one trouble more, so that a figure that gets worse has one
cause. All numbers are invented.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class World:
    """A kind of shop.

    Attributes:
        name: Its name in the tables.
        pace_sd: Spread of the pace of wear from edge to edge [ln].
        scatter: Least and most scatter of the life about the use at which the land meets the
            limit; every key has its own.
        waiting: Shape of the gamma law that the life follows instead; 0: it does not.
        tied: Whether an edge that wears fast also ends early; if not, life and land are
            drawn apart.
        power: Power of the use by which the land grows after its run-in.
        chip: Chance that an edge breaks before it is worn.
        box_sd: Spread from box to box [ln].
        bad_boxes: Share of the boxes whose edges are of a second kind.
        bad_life: Life of those edges over the others'.
        melt_sd: Spread from melt to melt of a material [ln], shared by all its keys.
        melt_weeks: Weeks that a melt lasts.
        change_week: Week in which the coating of every other item changes; 0: never.
        change_life: Life after the change over that before.
        wrong: Share of the removals written down with another reason.
        lost: Share of the edges of which a part of the count was lost.
        swapped: Share of the removals booked to a like key.
        thrown: Share of the edges thrown out at the end of a run while still good.
        run_sd: Error of the reckoned wear from run to run [ln].
        land_noise: Error of a measured land, share of the land.
        mark: Marks of the scale to which a land is rounded, share of the limit; 0: none.
        end_looks: Share of the edges whose land is measured when they come out.
        middle_looks: Share of the edges whose land is measured on the way.
        sums: Shape per usual life of the gamma process by which damage adds up, until it meets
            a limit that scatters; 0: it does not.
        count: Count at which edges are swapped, over the shop's guess of the median life.
    """

    name: str
    pace_sd: float = 0.15
    scatter: tuple[float, float] = (0.12, 0.25)
    waiting: float = 0.0
    tied: bool = True
    power: float = 1.0
    chip: float = 0.02
    box_sd: float = 0.05
    bad_boxes: float = 0.0
    bad_life: float = 1.0
    melt_sd: float = 0.0
    melt_weeks: float = 5.0
    change_week: float = 0.0
    change_life: float = 1.0
    wrong: float = 0.0
    lost: float = 0.0
    swapped: float = 0.0
    thrown: float = 0.0
    run_sd: float = 0.0
    land_noise: float = 0.10
    mark: float = 0.0
    end_looks: float = 0.30
    middle_looks: float = 0.15
    sums: float = 0.0
    count: float = 0.85


WORLDS: Final = (
    World("plain"),
    World("untied", tied=False),
    World("boxes", bad_boxes=0.2, bad_life=0.45),
    World("melts", melt_sd=0.2),
    World("coating", change_week=15.0, change_life=0.5),
    World("wrong2", wrong=0.02),
    World("wrong15", wrong=0.15),
    World("lost", lost=0.08),
    World("swapped", swapped=0.05),
    World("even", pace_sd=0.03, scatter=(0.035, 0.045), box_sd=0.01),
    World("random", waiting=1.1),
    World("rising", power=3.0),
    World("runs", thrown=0.5, run_sd=0.2),
    World("measured", end_looks=1.0, middle_looks=0.0),
    World("marks", pace_sd=0.3, land_noise=0.15, mark=1 / 6, end_looks=1.0, middle_looks=0.0),
    World("sums", sums=25.0, pace_sd=0.05, mark=1 / 6, end_looks=1.0, middle_looks=0.0),
)


def named(names: str) -> list[World]:
    """Worlds by their names, with commas between; "all" for every one.

    Raises:
        SystemExit: A name that no world has.
    """
    known = {world.name: world for world in WORLDS}
    wanted = list(known) if names == "all" else names.split(",")
    if unknown := [name for name in wanted if name not in known]:
        raise SystemExit(
            f"no world is called {', '.join(unknown)}; there are {', '.join(known)}"
        )
    return [known[name] for name in wanted]
