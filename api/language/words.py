"""Single words that stand for things in data: what ``say`` has to know beyond sentences."""

from __future__ import annotations

from api.language.texts import mark

#: Kinds of things, states, reasons, roles and units of counting, as facts hold them.
WORDS = (
    # what a code stands for
    mark("tool assembly"), mark("assembly"), mark("holder"), mark("station"), mark("lot"),
    mark("gauge"), mark("person"), mark("machine"), mark("tool"), mark("insert"), mark("edge"),
    mark("edges"), mark("tools"), mark("piece"), mark("pieces"), mark("machines"),
    # cutter status (MTConnect)
    mark("NEW"), mark("MEASURED"), mark("AVAILABLE"), mark("ALLOCATED"), mark("USED"),
    mark("EXPIRED"), mark("BROKEN"), mark("TAGGED_OUT"), mark("UNAVAILABLE"),
    # why a tool came out
    mark("worn_as_planned"), mark("worn_early"), mark("size"), mark("finish"), mark("burr"),
    mark("chipped"), mark("broken"), mark("built_up_edge"), mark("job_change"),
    mark("inspection"), mark("worn as planned"), mark("worn early"), mark("built up edge"),
    mark("job change"),
    # roles, and what a run, an insert or a station is
    mark("attendant"), mark("operator"), mark("supervisor"), mark("planned"), mark("running"),
    mark("done"), mark("turning"), mark("live"), mark("drilling"), mark("round"),
    mark("main"), mark("sub"), mark("both"), mark("right"), mark("left"), mark("neutral"),
    mark("yes"), mark("no"), mark("nothing"), mark("several"), mark("speed"), mark("feed"),
    mark("program"), mark("none"),
    mark("depth"), mark("radius"), mark("length"), mark("width"), mark("height"),
    # what a number is counted in
    mark("parts"), mark("part"), mark("minutes"), mark("hours"), mark("days"),
)  # fmt: skip
