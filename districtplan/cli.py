"""The commands: options declared once, one library call each."""

from __future__ import annotations

import contextlib
import os
import platform
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import Console
from rich.markup import escape
from rich.progress import BarColumn, Progress, TaskID, TextColumn, TimeRemainingColumn
from rich.table import Table

from districtplan import __version__
from districtplan.errors import DistrictplanError

if TYPE_CHECKING:
    from collections.abc import Callable, Generator, Iterator

    from districtplan.results import Results

WRONG, FAULT, WIDE = 2, 3, 400
"""Exit codes of the user's input and of our own fault; columns of a printed table."""

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    help="Plan a season of hand-planted beans on sloping land, for a whole district.",
)
out = Console(soft_wrap=True, highlight=False)
err = Console(stderr=True, soft_wrap=True, highlight=False)

PlanArgument = Annotated[Path, typer.Argument(help="The plan file (TOML).", show_default=False)]
OutOption = Annotated[
    Path, typer.Option("--out", help="The run folder to write.", show_default=False)
]
ReplaceOption = Annotated[
    bool, typer.Option("--replace", help="Replace an older run in that folder.")
]


def _version(wanted: bool) -> None:
    if wanted:
        out.print(f"districtplan {__version__}")
        raise typer.Exit


@app.callback()
def common(
    quiet: Annotated[bool, typer.Option("--quiet", help="Print only errors.")] = False,
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    """Take the options that all commands share."""
    out.quiet = quiet


@contextlib.contextmanager
def _own_words() -> Generator[None]:
    """Keep what compiled libraries write to the standard output by themselves off it."""
    sys.stdout.flush()
    kept = os.dup(1)
    with Path(os.devnull).open("wb") as nowhere:
        os.dup2(nowhere.fileno(), 1)
    try:
        yield
    finally:
        os.dup2(kept, 1)
        os.close(kept)


@contextlib.contextmanager
def _progress() -> Generator[Callable[[str, float], None]]:
    """Show steps and time left; nothing where no one is watching."""
    columns = (
        TextColumn("{task.description:16}"),
        BarColumn(),
        TimeRemainingColumn(elapsed_when_finished=True),
    )
    watched = err.is_terminal and not out.quiet
    bar = Progress(*columns, console=err, disable=not watched, transient=True)
    with _own_words(), bar:
        tasks: dict[str, TaskID] = {}

        def tell(step: str, share: float) -> None:
            if step not in tasks:
                tasks[step] = bar.add_task(step, total=1.0)
            bar.update(tasks[step], completed=share)

        yield tell


def _say(results: Results) -> None:
    """Tell in a few lines what was found."""
    from districtplan.outputs import visit_words, wording
    from districtplan.outputs.texts import Texts

    texts = Texts.load("en")
    out.print(escape(" ".join(wording.served_sentences(results, texts))))
    for line in wording.served_by_village(results, texts):
        out.print(escape(line))
    out.print(escape(" ".join(wording.rows_sentences(results, texts))))
    out.print(escape(wording.district_finding(results, texts)))
    if results.visits is not None:
        said = visit_words.finding(results.visits, texts)[:1]
        for sentence in [*said, *visit_words.quality(results.visits, texts)]:
            out.print(escape(sentence))
    if len(results.set_aside):
        out.print(f"{len(results.set_aside)} of {results.rows_read} rows were set aside.")
    if not out.quiet:
        for warning in wording.noticed(results, texts):
            err.print(escape(f"Note: {warning}"))


@app.command()
def demo(
    folder: Annotated[Path, typer.Argument(help="Where the demo lands.")] = Path("maps/demo"),
) -> None:
    """Write an invented district and run it to finished maps."""
    from districtplan import pipeline

    with _progress() as tell:
        results = pipeline.demo(folder, tell)
    _say(results)
    out.print(f"Open {escape(str(folder / 'run' / 'index.html'))} in a browser.")


@app.command()
def new(
    folder: Annotated[Path, typer.Argument(help="A new folder.", show_default=False)],
    plots: Annotated[
        Path | None,
        typer.Option("--from", help="A plots file whose columns are guessed.", show_default=False),
    ] = None,
) -> None:
    """Write a starter plan with every key explained."""
    from districtplan import pipeline

    plan, guesses = pipeline.new(folder, plots)
    for each in guesses:
        value = "nothing" if each.value is None else ascii(each.value)
        out.print(escape(f"Guessed {each.key} = {value}: {each.why}."))
    out.print(f"Fill in {escape(str(plan))}, then: districtplan check {escape(str(plan))}")


def _set_aside_beside(results: Results) -> Iterator[str]:
    """Rows of the files beside the plots that can't be used, each with its file."""
    from districtplan.accepted import row_named

    aside = {"readings": results.readings.set_aside, "features": results.features.set_aside}
    aside |= {key: given.set_aside for key, given in results.beside.items()}
    for key, rows in aside.items():
        for cells in rows.to_dict("records"):
            name, about, at = results.plan.file_of(key), rows.columns[1], int(cells["source_row"])
            # Features have no head.
            where = f"row {at}" if key == "features" else row_named(at)
            what = f"{about} {cells[about]!r}: {cells['reason']}. {cells['remedy']}"
            yield f"{name} {where}, {what}"


@app.command()
def check(plan: PlanArgument) -> None:
    """Read everything a plan names and report every problem; write nothing."""
    from districtplan import pipeline

    with _progress() as tell:
        results = pipeline.find(plan, tell)
    _say(results)
    for row in results.set_aside.to_dict("records"):
        where = f"row {row['source_row']}"
        if "file_lines" in row:
            where = f"{row['file_lines']}, plot number {row['source_row']} of the file"
        who = f"plot {row['plot_id']}" if row["plot_id"] else "plot without an id"
        out.print(escape(f"{where}, {who}: {row['reason']}. {row['remedy']}"))
    for told in _set_aside_beside(results):
        out.print(escape(told))
    out.print("Nothing stands in the way of a run.")


@app.command()
def run(plan: PlanArgument, folder: OutOption, replace: ReplaceOption = False) -> None:
    """Work a plan out and write maps, tables and layers."""
    from districtplan import pipeline

    with _progress() as tell:
        results = pipeline.run(plan, folder, replace=replace, progress=tell)
    _say(results)
    out.print(f"Open {escape(str(folder / 'index.html'))} in a browser.")


@app.command()
def explain(
    plan: PlanArgument,
    plot_id: Annotated[str, typer.Argument(help="Id of a plot.", show_default=False)],
) -> None:
    """Tell how each number of a plot came about."""
    from districtplan import pipeline

    with _progress() as tell:
        steps = pipeline.explain(plan, plot_id, tell)
    for step in steps:
        out.print(f"[bold]{escape(step.title)}[/bold]")
        for head, text in (
            ("from", step.inputs),
            ("by", step.equation),
            ("source", step.source),
            ("so", step.result),
        ):
            if text:
                out.print(escape(f"  {head:7}{text}"))


@app.command()
def sources(
    plan: Annotated[
        Path | None, typer.Argument(help="A plan whose own tables count.", show_default=False)
    ] = None,
) -> None:
    """List the published numbers in force, each with its source."""
    from districtplan import pipeline

    table = Table("table", "what", "value", "unit", "source", "how met", show_lines=False)
    for entry in pipeline.sources(plan):
        fields = (entry.table, entry.what, entry.value, entry.unit, entry.source, entry.provenance)
        table.add_row(*(escape(field) for field in fields))
    # Not on a terminal: wide enough that no row breaks.
    Console(width=None if out.is_terminal else WIDE, quiet=out.quiet).print(table)


def main() -> None:
    """Run the command line; exit 0 done, 2 wrong use, plan or data, 3 a fault of ours."""
    try:
        app()
    except DistrictplanError as error:
        for fault in error.faults:
            err.print(escape(str(fault)))
        sys.exit(WRONG)
    except Exception as error:
        err.print(
            escape(
                f"A fault of ours: {type(error).__name__}: {error}\n"
                f"Please send this with the plan (not the data): districtplan {__version__}, "
                f"Python {platform.python_version()}."
            )
        )
        sys.exit(FAULT)
