"""Commands about the shop's own consistency: consistency, agree, setups."""

from __future__ import annotations

import sys
from datetime import datetime
from enum import StrEnum
from typing import Annotated

import typer

from fleetwear.cli.options import Form, FormOption, StoreOption, now, store_folder
from fleetwear.cli.program import app
from fleetwear.cli.talk import say, tell_waiting


class SourceName(StrEnum):
    """What readings come from."""

    INSTRUMENT = "instrument"
    METHOD = "method"
    SHOP = "shop"


@app.command()
def consistency(
    source: Annotated[SourceName | None, typer.Option("--source", help="Only these; all three if not given.")] = None,
    form: FormOption = Form.TABLE,
    store: StoreOption = None,
) -> None:
    """Tell which instruments, methods and shops have begun to read high or low, from control charts of residuals.

    Example: fleetwear consistency --source shop
    """
    from fleetwear.planning.consistency import CANNOT_TELL, read_consistency
    from fleetwear.reports.consistency_tables import source_table
    from fleetwear.reports.tables import render
    from fleetwear.store import open_snapshot

    con = open_snapshot(store_folder(store))
    try:
        found = read_consistency(con)
    finally:
        con.close()
    chosen = found.sources if source is None else found.sources[found.sources["source"] == source.value]
    render(source_table(chosen, short=form is Form.TABLE), form.value, sys.stdout.write)
    for text in chosen.loc[chosen["named"], "says"]:
        say(text)
    for row in found.agreements[found.agreements["stands"]].to_dict("records"):
        say(f"Agreed: {row['source']} {row['name']} counts for less from {row['since']:%Y-%m-%d} on.")
    say(CANNOT_TELL)
    if chosen["named"].any():
        say("Agree with: fleetwear agree SOURCE NAME")


@app.command()
def agree(
    source: Annotated[SourceName, typer.Argument(metavar="SOURCE", help="instrument, method or shop.")],
    name: Annotated[str, typer.Argument(metavar="NAME", help="Its name, as `fleetwear consistency` prints it.")],
    until: Annotated[
        datetime | None,
        typer.Option("--until", formats=["%Y-%m-%d"], help="The last day of it; open if not given."),
    ] = None,
    take_back: Annotated[bool, typer.Option("--take-back", help="Let it no longer stand.")] = False,
    why: Annotated[str, typer.Option("--why", help="Why.")] = "",
    by: Annotated[str, typer.Option("--by", help="Who agrees.")] = "",
    store: StoreOption = None,
) -> None:
    """Agree that a source that stands out is off: its readings count for less from the next forecast on.

    No number is altered.

    Example: fleetwear agree instrument D7 --why "found bent" --by T2
    """
    from fleetwear.planning import agreements
    from fleetwear.planning.consistency import read_consistency
    from fleetwear.store import Store, open_snapshot

    folder = store_folder(store)
    if take_back:
        with Store(folder).writer(on_wait=tell_waiting) as con:
            ended = agreements.take_back(con, source.value, name, agreed_at=now(), why=why or None, by=by or None)
        say(f"{ended} agreed about {source.value} {name}, taken back. Next: fleetwear forecast")
        return
    snapshot = open_snapshot(folder)
    try:
        found = read_consistency(snapshot)
    finally:
        snapshot.close()
    last = until.date() if until else None
    with Store(folder).writer(on_wait=tell_waiting) as con:
        since, ratio = agreements.agree(
            con, found, source.value, name, agreed_at=now(), until=last, why=why or None, by=by or None
        )
    say(
        f"From {since} on, readings of {source.value} {name} count with {ratio:.1f} times the variance of others. "
        "Next: fleetwear forecast"
    )


class GroupName(StrEnum):
    """What setup is told by."""

    METHOD = "method"
    SHOP = "shop"
    TECHNICIAN = "technician"


class PlayUnit(StrEnum):
    """Units of play."""

    MM = "mm"
    THOU = "thou"
    IN = "in"
    UM = "um"


@app.command()
def setups(
    by: Annotated[GroupName, typer.Option("--by", help="Within a method, by shop or technician.")] = GroupName.METHOD,
    kind: Annotated[str | None, typer.Option(help="Only this kind of joint; all together if not given.")] = None,
    unit: Annotated[
        PlayUnit | None, typer.Option("--unit", help="Unit of play; that of most vehicles if not given.")
    ] = None,
    form: FormOption = Form.TABLE,
    store: StoreOption = None,
) -> None:
    """Tell how well one visit's reading is known: setup beside repeatability, from repeat visits of the same joints.

    Standard deviations. A group of too few visits counts with what its method shows; figures by technician are for
    those who may see them.

    Example: fleetwear setups --by shop --unit thou
    """
    from fleetwear.planning.setups import HOW_TOLD, read_setups
    from fleetwear.reports.setup_tables import setup_figures, setup_table, setup_words
    from fleetwear.reports.tables import render
    from fleetwear.store import open_snapshot
    from fleetwear.vocabulary import READING_CAUTION

    con = open_snapshot(store_folder(store))
    try:
        found = read_setups(con, kind=kind, people=by is GroupName.TECHNICIAN)
    finally:
        con.close()
    own = unit.value if unit is not None else found.play_unit
    table = setup_table(found, by.value, own) if form is Form.TABLE else setup_figures(found, by.value, own)
    render(table, form.value, sys.stdout.write)
    for text in setup_words(found, own):
        say(text)
    say(HOW_TOLD)
    say(READING_CAUTION)
