"""Machines with a hidden truth, and people who mostly do what the lists say."""

from __future__ import annotations

import random
from collections import Counter
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from tests.shops.files import MACHINES, PARTS, SPECS, WORK, ZONE

ZONE_INFO = ZoneInfo(ZONE)
STEP = timedelta(minutes=30)


def life_of(spec: str, dice: random.Random) -> float:
    """How many parts a new edge really makes."""
    law, spread, scale = SPECS[spec]["law"]
    usual = SPECS[spec].get("life_parts", 250) * scale
    if law == "weibull":
        return usual * dice.weibullvariate(1, spread)
    if law == "bimodal":
        return usual * (0.15 if dice.random() < spread else 1) * dice.lognormvariate(0, 0.15)
    return usual * dice.lognormvariate(0, spread)


class Lathe:
    """A machine: what is really in it, what it makes, and what its counter shows."""

    def __init__(self, name: str, number: int) -> None:
        self.name, self.number = name, number
        self.work = list(WORK[name])
        self.turn = 0
        self.part: str | None = self.work[0]
        self.tools: dict[tuple[int, int], dict[str, Any]] = {}
        self.cycles = 0.0
        self.base = 0
        self.stands_until: datetime | None = None
        self.waits_for: tuple[int, int] | None = None
        self.goal = 900 + 350 * number
        self.made = 0.0
        self.made_last: datetime | None = None
        self.untold: list[dict[str, Any]] = []
        self.run: int | None = None
        self.extra = 1.0

    def ops(self) -> dict[tuple[int, int], str]:
        ops = PARTS[self.part]["ops"] if self.part else ()
        return {(path, n): spec for path, n, spec in ops if (path, n) != (1, 9)}

    def open_at(self, at: datetime) -> tuple[bool, bool]:
        """Whether it may run then, and whether somebody is there."""
        kind = MACHINES[self.name].get("calendar")
        there = at.astimezone(ZONE_INFO)
        hour = there.hour + there.minute / 60
        if kind is None:
            return True, there.weekday() < 5 and 6 <= hour < 22
        if kind == "lit nights":
            nights = (there.weekday() < 5 and hour >= 22) or (
                1 <= there.weekday() <= 5 and hour < 6
            )
            day = there.weekday() < 5 and 6 <= hour < 22
            return day or nights, day
        if there.weekday() > 4 or (
            kind == "two shifts" and (there.month, there.day) == (3, 17)
        ):
            return False, False
        day = 6.5 <= hour < 15 if kind == "day only" else 6 <= hour < 22
        return day, day

    def shows(self) -> list[dict[str, Any]]:
        count = int(self.cycles) - self.base
        if "path_counters" in MACHINES[self.name]:
            return [{"count": count, "path": "1"}, {"count": count, "path": "2"}]
        return [{"count": count}]


class Shop:
    """The people: an attendant, operators and a supervisor, and one clock for all."""

    def __init__(self, client, clock, store, machines: list[str], seed: int) -> None:
        self.client, self.clock, self.store = client, clock, store
        self.dice = random.Random(seed)  # noqa: S311 - no secret
        self.lathes = {one: Lathe(one, n) for n, one in enumerate(machines)}
        self.told: Counter[str] = Counter()
        self.refused: list[str] = []
        self.refused_sisters: list[str] = []
        self.faults: list[str] = []
        self.broke: list[dict[str, Any]] = []
        self.listed: dict[str, dict[str, Any]] = {}
        self.diligence = 0.85
        self.carry = 60

    def post(self, where: str, /, ok: tuple[int, ...] = (200, 201, 202), **body: Any) -> Any:
        answer = self.client.post(where, json=body)
        self.told[f"{where.split('/')[2]} {answer.status_code}"] += 1
        if answer.status_code >= 500:
            self.faults.append(
                f"{self.clock()} POST {where} {body} {answer.get_data(as_text=True)[:300]}"
            )
        if answer.status_code not in ok:
            self.refused.append(
                f"{self.clock():%d %H:%M} {where} {body} -> {answer.status_code}"
            )
            return None
        return answer.get_json()

    def get(self, path: str) -> Any:
        answer = self.client.get(path)
        if answer.status_code != 200:
            self.faults.append(f"{self.clock()} GET {path} {answer.status_code}")
            return None
        return answer.get_json()

    def all(self, path: str) -> list[dict[str, Any]]:
        found, after = [], 0
        join = "&" if "?" in path else "?"
        while after is not None:
            page = self.get(f"{path}{join}limit=200&after={after}")
            found += page["items"]
            after = page.get("next")
        return found

    # ---- machines

    def machines_run(self) -> None:
        now = self.clock()
        for lathe in self.lathes.values():
            self._run(lathe, now)
            self._tell(lathe, now)

    def _run(self, lathe: Lathe, now: datetime) -> None:
        is_open, attended = lathe.open_at(now - STEP)
        if not is_open or lathe.part is None:
            return
        if lathe.stands_until and now <= lathe.stands_until:
            return
        ops = lathe.ops()
        empty = [one for one in ops if one not in lathe.tools]
        if empty and not (attended and self.dice.random() < 0.05):
            return
        if lathe.waits_for:
            if not attended or lathe.waits_for not in lathe.tools:
                return
            lathe.waits_for = None
        if self.dice.random() < 0.01:
            lathe.stands_until = now + timedelta(hours=self.dice.choice((1, 3, 9)))
            if self.dice.random() < 0.4:
                self.post(
                    "/v1/stops",
                    machine=lathe.name,
                    reason="bar feeder",
                    by="13",
                    ends_at=(now + timedelta(hours=2)).isoformat(),
                )
            return
        self._make(lathe, attended, now)

    def _make(self, lathe: Lathe, attended: bool, now: datetime) -> None:
        cycles = (
            STEP.total_seconds() / PARTS[lathe.part]["cycle_s"] * self.dice.uniform(0.8, 0.95)
        )
        per = int(MACHINES[lathe.name].get("parts_per_cycle", 1))
        lasts = cycles
        for place in lathe.ops():
            tool = lathe.tools.get(place)
            if tool is None:
                continue
            many = per * (2 if place[0] == 2 and "path_counters" in MACHINES[lathe.name] else 1)
            if tool["left"] - cycles * many <= 0 < tool["left"]:
                self._fails(lathe, place, tool, now)
                if self.dice.random() < 0.7 or not attended:
                    lasts = min(lasts, max(tool["left"] / many, 0))
                    lathe.waits_for = place
            tool["left"] -= cycles * many
        lathe.cycles += lasts
        if lasts:
            lathe.made_last = now
        lathe.made += lasts * per
        if lathe.made >= lathe.goal * lathe.extra:
            self._job_ends(lathe, now)

    def _fails(self, lathe, place, tool, now) -> None:
        row = self.listed.get(tool["code"])
        self.broke.append(
            {
                "at": now,
                "machine": lathe.name,
                "place": place,
                "spec": tool["spec"],
                "code": tool["code"],
                "row": row,
                "since": tool["since"],
                "new": tool["since"] >= getattr(self, "looked_at", now),
            }
        )
        tool["failed"] = True
        if self.dice.random() < 0.3:
            self.post(
                "/v1/breakages",
                machine=lathe.name,
                tool_number=place[1],
                path=place[0],
                signal="load",
                at=now.isoformat(),
                ok=(201, 409, 404),
            )
        elif self.dice.random() < 0.05:
            self.post(
                "/v1/observations",
                machine=lathe.name,
                observations=[{"at": now.isoformat(), "breakage": "TB-9"}],
                ok=(200, 201, 202),
            )

    def _tell(self, lathe: Lathe, now: datetime) -> None:
        is_open, _ = lathe.open_at(now - STEP)
        if not is_open and lathe.open_at(now)[0] is False and self.dice.random() < 0.9:
            return
        if self.dice.random() < 0.004:
            lathe.base = int(lathe.cycles)  # somebody set the counter
            if self.dice.random() < 0.5:
                for one in lathe.shows():
                    self.post(
                        "/v1/counter-settings",
                        machine=lathe.name,
                        by="12",
                        count=0,
                        at=(now - timedelta(minutes=1)).isoformat(),
                        **({"path": int(one["path"])} if "path" in one else {}),
                    )
        lathe.untold += [{"at": now.isoformat()} | one for one in lathe.shows()]
        if self.dice.random() < (0.9 if lathe.number % 4 else 0.4):
            self.post("/v1/counts", machine=lathe.name, readings=lathe.untold)
            lathe.untold = []

    # ---- jobs

    def _job_ends(self, lathe: Lathe, now: datetime) -> None:
        kind = self.dice.random()
        if kind < 0.25 and lathe.extra == 1.0:
            lathe.extra = 1.0 + self.dice.choice((0.03, 0.15))
            return
        self.refresh_runs()
        if lathe.run is not None:
            change = {"state": "done"} | ({"end_at": now.isoformat()} if kind < 0.9 else {})
            self.patch(f"/v1/runs/{lathe.run}", **change)
        lathe.turn = (lathe.turn + 1) % len(lathe.work)
        lathe.part, lathe.made, lathe.extra = lathe.work[lathe.turn], 0.0, 1.0
        lathe.goal = self.dice.choice((120, 700, 1500, 3000))
        run = {"machine": lathe.name, "part": lathe.part, "quantity": lathe.goal}
        state = {"state": "running", "start_at": now.isoformat()} if kind < 0.8 else {}
        made = self.post("/v1/runs", **run, **state)
        lathe.run = made and made.get("id", made.get("run"))
        for place in [p for p in lathe.tools if p not in lathe.ops()]:
            if self.dice.random() < 0.5:
                self.take_out(lathe, place, "job_change")

    def refresh_runs(self) -> None:
        for one in self.all("/v1/runs"):
            lathe = self.lathes[one["machine"]]
            if one["state"] == "running" or (
                one["state"] == "planned" and one["part"] == lathe.part
            ):
                lathe.run = one["id"]

    def patch(self, path: str, **body: Any) -> Any:
        tag = self.client.get(path).headers.get("ETag")
        answer = self.client.patch(path, json=body, headers={"If-Match": tag})
        self.told[f"patch {answer.status_code}"] += 1
        if answer.status_code >= 400:
            self.refused.append(
                f"{self.clock():%d %H:%M} PATCH {path} {body} -> {answer.status_code}"
            )
        return answer.get_json()

    def supervisor(self) -> None:
        for lot in self.all("/v1/lots"):
            if lot["lot"].endswith("/1") and lot["cutting_item"] not in ("X-1", "T-16"):
                self.post(
                    "/v1/stock-moves", lot=lot["lot"], move="receipt", quantity=12, by="13"
                )
        for one in self.get("/v1/parts-without-run")["items"]:
            if one["runs"] and self.dice.random() < 0.5:
                self.post("/v1/run-claims", ok=(200, 409), run=one["runs"][0]["run"])
        for one in self.get("/v1/questions")["items"]:
            if one["number"] is not None and self.dice.random() < 0.5:
                self.post(
                    "/v1/question-dismissals",
                    question=one["number"],
                    by="13",
                    note="looked, all whole",
                )
        for one in self.all("/v1/refused-counts?open=true"):
            if self.dice.random() < 0.5:
                self.post(
                    "/v1/count-verdicts",
                    ok=(201, 409),
                    refusal=one["fact"],
                    verdict="discard",
                    by="13",
                    note="no",
                )

    def work(self, hour: float) -> None:
        """Half an hour of everybody's shift."""
        if hour == 6:
            self.check_gauge()
        self.bench_works()
        self.operators()
        if hour in (9, 17):
            self.supervisor()

    # ---- bench

    def check_gauge(self) -> None:
        self.post(
            "/v1/gauge-checks",
            gauge="bench-1",
            by="11",
            readings=[{"lf_mm": f"{100 + self.dice.gauss(0, 0.0005):.4f}"} for _ in range(10)],
        )

    def bench_works(self, jobs: int = 3) -> None:
        for job in self.get("/v1/bench-queue?hours=24")["items"][:jobs]:
            if self.dice.random() > self.diligence:
                continue
            if job["holder_from"]:
                continue  # still in a machine
            code = job["assembly"]
            if job["work"] == "build":
                built = self.post(
                    "/v1/assemblies",
                    tool_spec=job["tool_spec"],
                    holder=job["holder"],
                    lot=job["lot"],
                    by="11",
                )
                if built is None:
                    continue
                code = built["code"]
            if self.dice.random() < 0.05:
                continue  # built, not measured
            self.measure(code, job["tool_spec"])

    def measure(self, code: str, spec: str) -> None:
        lf = 85 if "lf_nominal_mm" in SPECS[spec] else 60
        wf = 16
        made = self.post(
            f"/v1/assemblies/{code}/presets",
            gauge="bench-1",
            by="11",
            readings=[
                {
                    "lf_mm": f"{lf + self.dice.gauss(0.02, 0.001):.4f}",
                    "wf_mm": f"{wf + self.dice.gauss(0.01, 0.001):.4f}",
                }
                for _ in range(3)
            ],
        )
        if made and made.get("accepted"):
            self.post(
                f"/v1/assemblies/{made['assembly']}/label-prints",
                ok=(201, 409, 422),
                by="11",
                stock="roll-62x29",
            )

    # ---- operators

    def operators(self) -> None:
        now = self.clock()
        rows = self.all("/v1/swap-list?hours=24")
        self.listed = {one["assembly"]: one for one in rows if one["assembly"]}
        self.looked_at = now
        for row in rows:
            lathe = self.lathes[row["machine"]]
            if not lathe.open_at(now)[1] or self.dice.random() > self.diligence:
                continue
            place = (row["path"], row["tool_number"])
            tool = lathe.tools.get(place)
            due = datetime.fromisoformat(row["swap_by"]) <= now + STEP and not row["standby"]
            if row["ordinal"] or not (due or (tool and tool.get("failed"))):
                continue
            sister = row["sister"]
            if tool and (sister["state"] == "ready" or tool.get("failed")):
                self.take_out(
                    lathe, place, "broken" if tool.get("failed") else "worn_as_planned"
                )
                if self.dice.random() < 0.05:
                    continue
            if sister["state"] == "ready" and place not in lathe.tools:
                mounted = self.mount(lathe, place, sister["assembly"], row["tool_spec"])
                if due and not mounted:
                    self.refused_sisters.append(f"{now} {row}")
        self.look_at_the_machines(now)

    def look_at_the_machines(self, now: datetime) -> None:
        """A person sees a failed edge at the machine, listed or not."""
        for lathe in self.lathes.values():
            if not lathe.open_at(now)[1]:
                continue
            for place, tool in list(lathe.tools.items()):
                if tool.get("failed") and self.dice.random() < 0.5:
                    self.take_out(lathe, place, "broken")
        if self.dice.random() < 0.1:
            self.wrong_mount()

    def take_out(self, lathe: Lathe, place: tuple[int, int], reason: str) -> None:
        done = self.post(
            "/v1/removals",
            station=f"{lathe.name}/P{place[0]}-{place[1]}",
            reason=reason,
            by="12",
        )
        if done is not None:
            lathe.tools.pop(place, None)

    def mount(self, lathe, place, code, spec) -> bool:
        done = self.post(
            "/v1/mounts", station=f"{lathe.name}/P{place[0]}-{place[1]}", assembly=code, by="12"
        )
        if done is not None:
            lathe.tools[place] = {
                "code": done["assembly"],
                "spec": spec,
                "since": self.clock(),
                "left": life_of(spec, self.dice),
            }
        return done is not None

    def wrong_mount(self) -> None:
        waiting = self.all("/v1/assemblies?open=true")
        lathe = self.dice.choice(list(self.lathes.values()))
        for one in waiting[:40]:
            wrong = [p for p, spec in lathe.ops().items() if spec != one["tool_spec"]]
            if wrong:
                place = self.dice.choice(wrong)
                answer = self.client.post(
                    "/v1/mounts",
                    json={
                        "station": f"{lathe.name}/P{place[0]}-{place[1]}",
                        "assembly": one["code"],
                        "by": "12",
                    },
                )
                self.told[f"wrong mount {answer.status_code}"] += 1
                return
