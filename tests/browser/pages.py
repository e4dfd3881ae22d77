"""Every page that a person opens: add a new one here, and it is walked and can be shot."""

from __future__ import annotations

from typing import Final

from tests.browser.machine_floor import floor_of
from tests.browser.shop import DemoShop

#: Name of the page (of its screenshot too) and its address. Braces name something of the
#: demonstration shop, see ``known``.
PAGES: Final[dict[str, str]] = {
    "front": "/",
    "find": "/find?q=t01",
    "find-nothing": "/find?q=no-such-thing",
    "code-tool-mounted": "/C/{tool}",
    "code-holder": "/C/{holder}",
    "code-station": "/C/{station}",
    "code-lot": "/C/{lot}",
    "code-gauge": "/C/{gauge}",
    "code-person": "/C/{person}",
    "code-mistyped": "/C/A00001A",
    "bench": "/bench",
    "bench-build": "/bench/build",
    "bench-ready": "/bench/work/{racked}",
    "bench-readings": "/bench/work/{racked}?{readings}",
    "bench-take-apart": "/bench/take-apart/{racked}",
    "bench-gauges": "/bench/gauges",
    "bench-gauge": "/bench/gauges/{gauge}",
    "rack": "/rack",
    "shift": "/shift",
    "shift-machine": "/shift/machines/{machine}",
    "shift-nights": "/shift/nights/{machine}",
    "shift-kit": "/shift/kits/{run}",
    "shift-blocked": "/shift/blocked",
    "machines": "/machines",
    "machine": "/machines/{at}",
    "machine-station": "/machines/{at}/stations/{taken}",
    "machine-tool": "/machines/{at}/mount?tool={sister}",
    "machine-no": "/machines/{at}/mount?station={taken}&tool={sister}",
    "machine-yes": "/machines/{at}/mount?station={empty}&tool={fitting}",
    "machine-remove": "/machines/{at}/remove?station={taken}",
    "machine-correct": "/machines/{at}/correct?station={taken}",
    "feeds": "/shift/feeds",
    "feeds-without-agent": "/shift/feeds/without-agent",
    "counts-aside": "/shift/counts-aside",
    "questions": "/shift/questions",
    "workings": "/workings",
    "working-tool-life": "/workings/tool-life",
    "working-filled": "/workings/tool-life?cutting_speed_m_min=50&n=0.125&c_m_min=70",
    "working-complains": "/workings/tool-life?cutting_speed_m_min=0&n=0.2&c_m_min=90",
    "lives": "/lives",
    "life": "/lives/{key}",
    "life-asked": "/lives/{key}?wanted=600&in=parts&change=speed&parts=200&land_mm=0.1",
    "working-speed-for-life": "/workings/speed-for-life",
    "were-we-right": "/were-we-right",
    "were-we-right-keys": "/were-we-right/keys",
    "docs": "/v1/docs",
    "docs-words": "/v1/docs?q=holders",
    "docs-subject": "/v1/docs/plan",
    "docs-shape": "/v1/docs/shapes/SwapShape",
    "help": "/help",
    "help-files": "/help/shop-files",
    "help-feeds": "/help/machine-feeds",
    "help-settings": "/help/settings",
    "problems": "/problems",
    "problem": "/problems/bad-code",
}
#: Status of pages that say no; all others answer 200.
SAYS_NO: Final = {"code-mistyped": 404, "working-complains": 422}
#: Pages that say the same thousands of times, which axe-core takes minutes over: how many of
#: their headings, paragraphs and lists it looks at.
FIRST_PARTS: Final = {"docs": 20}


def known(shop: DemoShop) -> dict[str, str]:
    """What braces in an address stand for: codes of the shop, its first machine."""
    codes = {
        name: str(shop.get(f"/v1/{records}?limit=1")["items"][0]["code"])
        for name, records in (
            ("holder", "holders"),
            ("station", "stations"),
            ("lot", "lots"),
            ("gauge", "gauges"),
            ("person", "people"),
        )
    }
    listed = shop.get("/v1/swap-list")["items"]
    urgent = next(row for row in listed if row["assembly"])
    floor = floor_of(shop)
    racked = str(shop.get("/v1/rack")["racks"][0]["tools"][0]["code"])
    return {
        **codes,
        "tool": str(urgent["assembly"]),
        "machine": str(urgent["machine"]),
        "racked": racked,
        "readings": _readings(shop, racked),
        "run": _planned(shop),
        "key": str(shop.get("/v1/life")["items"][0]),
        "at": floor.machine,
        "taken": floor.taken,
        "sister": floor.sister,
        "empty": floor.empty,
        "fitting": floor.tool,
    }


def _planned(shop: DemoShop) -> str:
    """A run ahead, whose changeover has a kit."""
    runs = shop.get("/v1/runs?limit=200")["items"]
    return str(next(run["id"] for run in runs if run["state"] == "planned"))


def _readings(shop: DemoShop, code: str) -> str:
    """Two readings of a tool as an address carries them, one of them far out."""
    preset = shop.get(f"/v1/assemblies/{code}")["preset"]
    names = [name for name in ("LF", "WF") if preset[f"{name.lower()}_mm"] is not None]
    lines = (
        "+".join(f"{name}+{float(preset[f'{name.lower()}_mm']) + off:.4f}" for name in names)
        for off in (0.0, 0.5)
    )
    return "&".join(f"r={line}" for line in lines)


def address(name: str, shop: DemoShop, found: dict[str, str]) -> str:
    """Where a page is.

    Args:
        name: Of ``PAGES``.
        shop: Served.
        found: What ``known`` answered for it.
    """
    return shop.address + PAGES[name].format(**found)
