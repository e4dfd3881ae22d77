"""All tool keys: lives seen, what runs, where they swap today, which forecasts ran wrong."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from urllib.parse import quote

from flask import Blueprint, Response, request

from api.http.site import this_site
from api.pages.render import page
from crib.views.key_states import KeyState, key_states
from crib.views.key_uses import list_keys

blueprint = Blueprint("lives", __name__)


def life_address(key: str) -> str:
    """The page of a key."""
    return f"/lives/{quote(key, safe='/~')}"


@blueprint.record
def _add(state: object) -> None:
    state.app.jinja_env.globals["life_address"] = life_address  # type: ignore[attr-defined]


@dataclass(frozen=True, slots=True)
class Asked:
    """Which keys a page asks for; empty: all.

    Attributes:
        q: Words, each of which stands in the key, its parts, machines or specs.
        show: look, as_forecast, unknown, or doubted: with doubted lives.
        machine: Used on it.
        spec: Used by this tool spec.
    """

    q: str = ""
    show: str = ""
    machine: str = ""
    spec: str = ""

    @classmethod
    def of(cls, arguments: Mapping[str, str]) -> Asked:
        """What an address asks for."""
        return cls(*(arguments.get(one.name, "").strip()[:100] for one in fields(cls)))

    @property
    def any(self) -> bool:
        """Whether anything is asked for."""
        return any((self.q, self.show, self.machine, self.spec))

    def takes(self, state: KeyState) -> bool:
        """Whether a key is asked for."""
        one = state.listed
        text = " ".join((one.key, one.use.part or "", *one.use.machines, *one.use.specs))
        shown = one.doubted > 0 if self.show == "doubted" else self.show in ("", state.state)
        return (
            shown
            and self.machine in ("", *one.use.machines)
            and self.spec in ("", *one.use.specs)
            and all(word in text.casefold() for word in self.q.casefold().split())
        )


@blueprint.get("/lives")
def list_lives() -> Response:
    """One verdict, the keys that need a look, and folded up all keys or those asked for."""
    site = this_site()
    plan = site.plans.plan(site.clock())
    listed = list_keys(plan)
    every = key_states(plan, listed)
    asked = Asked.of(request.args)
    return page(
        "lives.html",
        every=every,
        keys=[one for one in every if asked.takes(one)],
        problems=(*listed.problems, *every.problems),
        over=sum(key.over for key in listed),
        doubted=sum(key.doubted for key in listed),
        asked=asked,
        machines=sorted({one for key in listed for one in key.use.machines}),
        specs=sorted({one for key in listed for one in key.use.specs}),
    )
