"""The command line: a few lines each over a use case; data to stdout, talk to stderr."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click

from api.feed_command import feed
from api.settings import VARIABLES, BadSetting, Settings
from api.shop_commands import export_folder, import_folder
from api.terminal import a_file, as_json_option, print_json, say, the_store, words_for_failure
from crib.errors import Refusal

_EPILOG = "Settings are read from the environment:\n\n" + "\n\n".join(
    f"{name}: {told}" for name, told in VARIABLES.items()
)


class Commands(click.Group):
    """Turns refusals into a sentence and exit code 1, bad settings into exit code 2."""

    def invoke(self, ctx: click.Context) -> Any:
        """Run a command."""
        try:
            return super().invoke(ctx)
        except Refusal as refusal:
            say(refusal.sentence)
            for error in refusal.errors:
                say(f"  {error.get('field', '')}: {error.get('detail', '')}")
            ctx.exit(1)
        except BadSetting as problem:
            say(str(problem))
            ctx.exit(2)
        except (click.ClickException, click.exceptions.Exit, click.Abort):
            raise
        except Exception as problem:
            words = words_for_failure(problem)
            if words is None:
                raise
            say(words)
            ctx.exit(1)


@click.group(
    cls=Commands,
    epilog=_EPILOG,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 96},
)
def main() -> None:
    """Know which tool fails next, and have its sister ready before it does."""


main.add_command(import_folder)
main.add_command(export_folder)
main.add_command(feed)


@main.command()
@click.option("--host", help="Address to listen on (CRIB_HOST).")
@click.option("--port", type=click.IntRange(1, 65535), help="Port (CRIB_PORT).")
@click.option("--workers", type=click.IntRange(1, 64), help="Processes (CRIB_WORKERS).")
@click.option("--access-log/--no-access-log", default=True, help="Log every request.")
def serve(host: str | None, port: int | None, workers: int | None, access_log: bool) -> None:
    """Serve the shop over HTTP until ctrl-C or SIGTERM."""
    from api.serving import serve as run

    settings = Settings.from_environment({**_environment(), **_given(host, port, workers)})
    with the_store(
        create=True
    ) as store:  # made and migrated once, before several processes open it
        say(f"database {store.path}")
    say(f"http://{_shown_host(settings.host)}:{settings.port}/")
    run(settings, access_log=access_log)


@main.command()
@click.option("--port", type=click.IntRange(1, 65535), help="Port (CRIB_PORT).")
@click.option("--workers", type=click.IntRange(1, 64), help="Processes (CRIB_WORKERS).")
@click.option("--seed", type=int, default=1, show_default=True, help="Which invented shop.")
@click.option(
    "--speed",
    type=click.FloatRange(1, 3600),
    default=60.0,
    show_default=True,
    help="Simulated seconds per second.",
)
@click.option(
    "--days",
    type=click.IntRange(2, 120),
    default=42,
    show_default=True,
    help="Length of its history [d].",
)
def demo(port: int | None, workers: int | None, seed: int, speed: float, days: int) -> None:
    """Create an invented shop, let it run, and serve it on this machine only."""
    from api.demo import run_demo

    environment = {**_environment(), **_given(None, port, workers)}
    run_demo(environment, seed=seed, speed=speed, days=days)


def _environment() -> dict[str, str]:
    import os

    return dict(os.environ)


def _given(host: str | None, port: int | None, workers: int | None) -> dict[str, str]:
    named = {"CRIB_HOST": host, "CRIB_PORT": port, "CRIB_WORKERS": workers}
    return {name: str(value) for name, value in named.items() if value is not None}


def _shown_host(host: str) -> str:
    return f"[{host}]" if ":" in host else host


@main.command()
@click.argument("codes", nargs=-1, metavar="CODE...")
@click.option("--stock", default="roll-62x29", show_default=True, help="Name of a label stock.")
@click.option("--start", type=click.IntRange(1), default=1, show_default=True,
              help="First free cell of a sheet, from 1.")  # fmt: skip
@click.option("--station", help="Station to print offsets for. Default: the one that needs it.")
@click.option("--out", type=click.Path(dir_okay=False, path_type=Path),
              help="File to write; else standard output.")  # fmt: skip
@click.option(
    "--list-stocks", is_flag=True, help="Print the names of the label stocks instead."
)
@as_json_option
def label(
    codes: tuple[str, ...],
    stock: str,
    start: int,
    station: str | None,
    out: Path | None,
    list_stocks: bool,
    as_json: bool,
) -> None:
    """Print labels of codes or marks as PDF, in that order."""
    from api.print_labels import labels_pdf
    from api.print_texts import Printing
    from crib.clock import now
    from crib.store.zones import zone_of_calendars
    from labels.media import load_stocks

    settings = Settings.from_environment()
    if list_stocks:
        names = sorted(load_stocks(settings.stocks_file))
        if as_json:
            print_json(names)
        else:
            click.echo("\n".join(names))
        return
    if not codes:
        raise click.UsageError("Give the code or mark of what to label.")
    if out is None and sys.stdout.isatty():
        raise click.UsageError("A PDF is nothing for a terminal: give --out FILE.")
    with the_store() as store, store.read() as tx:
        settings = settings.in_zone_of(zone_of_calendars(tx))
        data = labels_pdf(Printing(tx, now(), settings, station), codes, stock, start)
    if out is None:
        sys.stdout.buffer.write(data)
    else:
        out.write_bytes(data)
        say(f"{len(codes)} labels in {out}")


@main.command(name="swap-list")
@click.option("--hours", type=float, default=24.0, show_default=True, help="Horizon [h].")
@click.option("--machine", help="Only this machine.")
@as_json_option
def swap_list(hours: float, machine: str | None, as_json: bool) -> None:
    """Print what to swap within a horizon, the most urgent first."""
    from api.text_lists import breakage_lines, swap_lines, swap_rows
    from crib.acts.unclear_breakages import unclear_breakages
    from crib.clock import now
    from crib.outlook.plan_cache import PlanCache
    from crib.outlook.swap_list import make_swap_list
    from crib.store.resolve import machine_id_by_name
    from crib.store.zones import zone_of_calendars
    from crib.views.feed_process import feed_process

    settings = Settings.from_environment()
    with the_store() as store:
        plans = PlanCache(store, night_limit=settings.night_limit)
        with store.read() as tx:
            settings = settings.in_zone_of(zone_of_calendars(tx))
            feed = feed_process(tx, now())
            machine_id = None if machine is None else machine_id_by_name(tx, machine)
            broken = unclear_breakages(tx, machine_id)
        if not feed.works:
            say(f"counts do not come in: {feed.problem}")
        found = make_swap_list(plans.plan(now()), hours, machine)
        if as_json:
            for one in broken:
                say(one.sentence)
            print_json(swap_rows(found))
        else:
            for line in breakage_lines(broken, settings.time_zone):
                click.echo(line)
            for line in swap_lines(found, settings.time_zone):
                click.echo(line)
            if not found.rows:
                say(f"Nothing to swap within {hours:g} h.")
            say(f"times of {settings.time_zone.key}")
        plans.keeper.keep()


@main.command()
@click.option("--machine", help="Only this machine.")
def nights(machine: str | None) -> None:
    """Print what to do with each machine tonight, and the swaps to make first."""
    from api.text_lists import night_lines
    from crib.clock import now
    from crib.outlook.plan_cache import PlanCache
    from crib.store.night_rows import night_choices_after
    from crib.store.zones import zone_of_calendars
    from crib.views.night_view import tonight
    from crib.views.where_it_lies import places_now

    settings = Settings.from_environment()
    with the_store() as store:
        plans = PlanCache(store, night_limit=settings.night_limit)
        with store.read() as tx:
            settings = settings.in_zone_of(zone_of_calendars(tx))
            places = places_now(tx)
            decided = night_choices_after(tx, now())
        plan = plans.plan(now())
        found = tonight(plan, None if machine is None else plan.shop.machine_named(machine))
        for line in night_lines(found, places, settings.time_zone, decided):
            click.echo(line)
        for problem in found.problems:
            say(problem)
        say(f"times of {settings.time_zone.key}")


@main.command()
def migrate() -> None:
    """Create the database, or update it to this version."""
    from crib.store.migrate import schema_version

    with the_store(create=True) as store:
        click.echo(schema_version(store))


@main.command()
@click.argument("file", type=a_file)
def backup(file: Path) -> None:
    """Copy the database to FILE; the service may keep running."""
    from crib.store.backup import backup as run

    with the_store(bring_up=False) as store:
        run(store, file)
    say(f"Backed up to {file}.")


@main.command()
@click.argument("file", type=a_file)
def restore(file: Path) -> None:
    """Replace the database with the backup in FILE; stop the service first."""
    from crib.store.backup import restore as run

    kept = run(Settings.from_environment().database_url, file)
    say(f"Restored from {file}." + (f" What was there is kept as {kept}." if kept else ""))


@main.command()
@as_json_option
def check(as_json: bool) -> None:
    """Check the database for damage: exit 0 if it is sound, 1 if not."""
    from crib.store.checking import check as run

    with the_store(bring_up=False) as store:
        found = run(store)
    if as_json:
        print_json(found)
    else:
        for sentence in found:
            click.echo(sentence)
    if found:
        say(
            ("1 thing is" if len(found) == 1 else f"{len(found)} things are")
            + " wrong. Restore a backup of before: crib restore FILE "
            "(what is there now is kept aside)."
        )
    else:
        say("The database is whole.")
    sys.exit(1 if found else 0)


@main.group()
def person() -> None:
    """Add and list the people who record things."""


@person.command(name="add")
@click.argument("badge")
@click.argument("name")
@click.option(
    "--role",
    type=click.Choice(["attendant", "operator", "supervisor"]),
    required=True,
    help="What they do.",
)
def add_person(badge: str, name: str, role: str) -> None:
    """Add a person with a BADGE and a NAME; prints their code."""
    from crib.records.catalogue import PEOPLE
    from crib.records.values import read_cell
    from crib.store.records import get_record, insert_record

    values = {
        column.name: read_cell(column, text)
        for column, text in zip(PEOPLE.columns, (badge, name, role), strict=True)
    }
    with the_store() as store, store.write() as tx:
        code = get_record(tx, PEOPLE, insert_record(tx, PEOPLE, values))["code"]
    click.echo(code)


@person.command(name="list")
@as_json_option
def list_people(as_json: bool) -> None:
    """List the people."""
    from crib.records.catalogue import PEOPLE
    from crib.store.records import list_records

    with the_store() as store, store.read() as tx:
        rows = list_records(tx, PEOPLE)
    if as_json:
        names = ("code", "badge", "name", "role")
        print_json([{name: row[name] for name in names} for row in rows])
        return
    for row in rows:
        click.echo(f"{row['code']}  {row['badge']}  {row['role']}  {row['name']}")
