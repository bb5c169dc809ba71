"""How right and how fast the program is; the simulator that makes films with their truth."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Annotated, Any, Literal

import typer

from pipeline.cli.options import BookName, ClusterOption, ConfigsOption, DeviceOption, JsonOption, settings_of
from pipeline.cli.screen import print_json, print_report, progress_bar, say, stage_bars
from pipeline.errors import SettingsError

app = typer.Typer()
evaluate = typer.Typer(help="Measure how right the program is, against truth or labels.", no_args_is_help=True)
app.add_typer(evaluate, name="evaluate")


PlanName = Literal[
    "weak_side_motion",
    "crowded_drive",
    "clear_drive",
    "unscripted",
    "transition",
    "free_throws",
    "excerpt",
    "game",
    "drill",
]
FolderArgument = Annotated[Path, typer.Argument(help="Folder in the documented form.")]
GamesArgument = Annotated[Path, typer.Argument(help="A game (or its folder of tables), or a folder of several.")]
TruthsArgument = Annotated[Path, typer.Argument(help="The game's folder of truth tables, or a folder of several.")]
AgainOption = Annotated[
    bool, typer.Option("--again", help="First find everything anew from the games' tracks, ball and touches.")
]
HELD_OUT = ("tv_c", "gym_b")
"""Games of the labelled real frames that the shipped networks never saw."""


@evaluate.command("film")
def evaluate_film_command(
    game: Annotated[Path, typer.Argument(help="Game folder of a library.")],
    truth: Annotated[Path, typer.Argument(help="Folder of truth tables.")],
    as_json: JsonOption = False,
) -> None:
    """Compare a game's tables with the truth of a simulated film."""
    from pipeline.evaluate.film import evaluate_film

    print_report(evaluate_film(game, truth), as_json)


@evaluate.command("films")
def evaluate_films_command(
    tables: Annotated[Path, typer.Argument(help="Library, or folder with a folder of tables for each film.")],
    truths: Annotated[Path, typer.Argument(help="Folder with the films' <film>_truth folders.")],
    as_json: JsonOption = False,
) -> None:
    """Compare several games with the truth of their simulated films, against the figures asked for."""
    from pipeline.evaluate.films import as_markdown, evaluate_films

    result = evaluate_films(tables, truths)
    if as_json:
        print_report(result, as_json)
    else:
        say(as_markdown(result))


@evaluate.command("actions")
def evaluate_actions_command(
    games: GamesArgument,
    truths: TruthsArgument,
    again: AgainOption = False,
    configs: ConfigsOption = None,
    as_json: JsonOption = False,
) -> None:
    """Compare the actions of games with the true ones: each kind, its moment, its measures."""
    _evaluate_events(games, truths, "actions", settings_of(configs) if again else None, as_json)


@evaluate.command("sets")
def evaluate_sets_command(
    games: GamesArgument,
    truths: TruthsArgument,
    again: AgainOption = False,
    configs: ConfigsOption = None,
    as_json: JsonOption = False,
) -> None:
    """Compare the sets found in games with those that were run."""
    _evaluate_events(games, truths, "sets", settings_of(configs) if again else None, as_json)


@evaluate.command("faults")
def evaluate_faults_command(
    games: GamesArgument,
    truths: TruthsArgument,
    again: AgainOption = False,
    configs: ConfigsOption = None,
    as_json: JsonOption = False,
) -> None:
    """Compare the spacing faults found in games with the true ones."""
    _evaluate_events(games, truths, "faults", settings_of(configs) if again else None, as_json)


@evaluate.command("court-frames")
def evaluate_court_frames_command(
    folder: FolderArgument,
    weights: Annotated[
        Path | None,
        typer.Option("--weights", help="Court network, ONNX or ultralytics weights; the shipped if left out."),
    ] = None,
    held_out: Annotated[
        list[str] | None,
        typer.Option("--held-out", help="Measure this game only, one that the weights never saw. May be repeated."),
    ] = None,
    rule_book: Annotated[BookName, typer.Option("--rule-book", help="Rule book of the labelled floors.")] = "fiba",
    configs: ConfigsOption = None,
    as_json: JsonOption = False,
) -> None:
    """Register labelled pictures and measure the floor's error in feet."""
    from pipeline.evaluate.court_frames import evaluate_court_frames
    from pipeline.night.networks import open_areas

    settings = settings_of(configs)
    with progress_bar("Registering") as progress:
        result = evaluate_court_frames(
            folder,
            open_areas(settings, weights),
            settings=settings.court.registration,
            marking=settings.court.marks,
            book_name=rule_book,
            games=held_out or (),
            on_progress=progress,
        )
    print_report(result, as_json)


@evaluate.command("boxes")
def evaluate_boxes_command(folder: FolderArgument, configs: ConfigsOption = None, as_json: JsonOption = False) -> None:
    """Score the detector on pictures with labelled boxes."""
    from pipeline.evaluate.boxes import evaluate_boxes

    settings = settings_of(configs)
    with progress_bar("Detecting") as progress:
        result = evaluate_boxes(folder, settings=settings.detector, on_progress=progress)
    print_report(result, as_json)


@evaluate.command("mot")
def evaluate_mot_command(
    folder: FolderArgument,
    seed: Annotated[int, typer.Option("--seed", min=0, help="Seed of the disturbance.")] = 0,
    as_json: JsonOption = False,
) -> None:
    """Score this tracker and three public ones on the same disturbed boxes."""
    from pipeline.evaluate.mot import evaluate_mot

    with progress_bar("Tracking") as progress:
        result = evaluate_mot(folder, seed, on_step=lambda _name, done, total: progress(done, total))
    print_report(result, as_json)


@evaluate.command("play")
def evaluate_play_command(
    folder: FolderArgument,
    labels: Annotated[
        Path | None, typer.Option("--labels", help="Readers' labels; labels.json of the folder if left out.")
    ] = None,
    rule_book: Annotated[BookName, typer.Option("--rule-book", help="Rule book of the court.")] = "nba",
    configs: ConfigsOption = None,
    as_json: JsonOption = False,
) -> None:
    """How often every action, set and fault is found in tracked possessions, and agreement with their readers."""
    from pipeline.evaluate.play import evaluate_play, play_lines

    settings = settings_of(configs)
    with progress_bar("Reading possessions") as progress:
        result = evaluate_play(folder, settings=settings, labels=labels, book=rule_book, on_progress=progress)
    if as_json:
        print_json(result)
    else:
        say(*play_lines(result))


@evaluate.command("report")
def evaluate_report_command(
    data: Annotated[Path, typer.Option("--data", help="Folder of outside data.")] = Path("../shared/data"),
    films: Annotated[Path, typer.Option("--clips", help="Films with their truth beside them.")] = Path("sample_clips"),
    boxes: Annotated[
        list[Path] | None, typer.Option("--boxes", help="Folder of pictures with labelled boxes. May be repeated.")
    ] = None,
    held_out: Annotated[
        list[str] | None, typer.Option("--held-out", help="Game that training did not see. May be repeated.")
    ] = None,
    film_tables: Annotated[
        Path | None, typer.Option("--film-tables", help="Library or folders of tables of a set of simulated films.")
    ] = None,
    film_truths: Annotated[
        Path | None, typer.Option("--film-truths", help="Folder of that set's <film>_truth folders.")
    ] = None,
    played: Annotated[
        Path | None, typer.Option("--games", help="Games whose actions, sets and faults are scored.")
    ] = None,
    played_truths: Annotated[Path | None, typer.Option("--game-truths", help="Folder of those games' truth.")] = None,
    drills: Annotated[
        Path | None, typer.Option("--drills", help="Folder of simulated drills, scored on their true tracks.")
    ] = None,
    readme: Annotated[Path, typer.Option("--readme", help="File whose table is written.")] = Path("README.md"),
) -> None:
    """Run every evaluation whose data is at hand and write the README's table of numbers."""
    from pipeline.evaluate.report import Sources, write_report

    if not readme.is_file():
        raise SettingsError(f"{readme} does not exist; run this in a checkout, or name the file with --readme.")
    if (film_tables is None) != (film_truths is None):
        raise SettingsError("--film-tables and --film-truths belong together; give both or neither.")
    if (played is None) != (played_truths is None):
        raise SettingsError("--games and --game-truths belong together; give both or neither.")
    source = Sources(
        films,
        data,
        tuple(boxes or ()),
        tuple(held_out or HELD_OUT),
        film_tables,
        film_truths,
        played,
        played_truths,
        drills,
    )
    with stage_bars() as bars:
        rows = write_report(source, readme, lambda name: bars(name)(0, 1))
    for row in rows:
        say(f"{row.measure}, {row.data}: {row.value} ({row.count})")


def _evaluate_events(games: Path, truths: Path, family: str, again: Any, as_json: bool) -> None:
    from pipeline.evaluate.games import Family, as_lines, found_again, game_pairs, score_games

    pairs = game_pairs(games, truths)
    with tempfile.TemporaryDirectory() as folder:
        if again is not None:
            with progress_bar("Finding anew") as progress:
                for number, (name, (game, truth)) in enumerate(pairs.items()):
                    pairs[name] = (found_again(game, Path(folder) / str(number), again), truth)
                    progress(number + 1, len(pairs))
        result = score_games(pairs, Family(family))
    if as_json:
        print_report(result, as_json)
    else:
        say(*as_lines(result))


@app.command()
def bench(
    film: Annotated[Path, typer.Argument(help="The film.")],
    device: DeviceOption = None,
    rate: Annotated[
        float | None, typer.Option("--rate", min=1, max=60, help="Frames of film a second that the networks look at.")
    ] = None,
    runs: Annotated[int, typer.Option("--runs", min=1, max=50, help="How often; medians are shown.")] = 1,
    times: Annotated[
        int, typer.Option("--times", min=1, max=500, help="Also run the film so many times over, to see the memory.")
    ] = 1,
    cluster: ClusterOption = None,
    workers: Annotated[
        list[int] | None,
        typer.Option("--workers", min=1, help="With --cluster: measure the film with so many workers; several times."),
    ] = None,
    configs: ConfigsOption = None,
    as_json: JsonOption = False,
) -> None:
    """Measure a film: decoding alone, every stage, and ultralytics' own track call; or the workers of a cluster."""
    from pipeline.night.bench import bench_as_json, bench_film, bench_lines

    settings = settings_of(configs, device=device, rate=rate)
    if cluster is not None:
        from pipeline.night.scaling import scaling_as_json, scaling_lines, scaling_of

        with stage_bars() as bars:
            scaling = scaling_of(film, cluster, workers or [1], settings, lambda name: bars(name)(0, 1), runs)
        if as_json:
            print_json(scaling_as_json(scaling))
        else:
            say(*scaling_lines(scaling))
        return
    with stage_bars() as bars:
        result = bench_film(film, settings, lambda name: bars(name)(0, 1), runs=runs, times=times)
    if as_json:
        print_json(bench_as_json(result))
    else:
        say(*bench_lines(result))


@app.command()
def sim(
    plan: Annotated[PlanName, typer.Argument(help="The script, 'excerpt' (two minutes with cuts), 'game' or 'drill'.")],
    to: Annotated[Path, typer.Option("--out", help="Folder for the film and its truth.")] = Path("simulated"),
    seed: Annotated[int, typer.Option("--seed", min=0, help="Decides movement, cameras, cuts and look.")] = 1,
    look_seed: Annotated[int | None, typer.Option("--look-seed", min=0, help="Another look for the same game.")] = None,
    rule_book: Annotated[
        BookName | None, typer.Option("--rule-book", help="Court markings; drawn from the seed if left out.")
    ] = None,
    venue: Annotated[Literal["arena", "hall", "gym"], typer.Option("--venue", help="Kind of building.")] = "arena",
    width: Annotated[int, typer.Option("--width", min=160, max=3840, help="Width of the picture, pixels.")] = 1280,
    height: Annotated[int, typer.Option("--height", min=90, max=2160, help="Height of the picture, pixels.")] = 720,
    rate: Annotated[
        str | None, typer.Option("--rate", help="Frames a second, e.g. 25 or 30000/1001; from the seed if left out.")
    ] = None,
    minutes: Annotated[float, typer.Option("--minutes", help="Length of the plans 'game' and 'drill'.")] = 5.0,
    bodies: Annotated[
        int | None, typer.Option("--bodies", min=0, max=7, help="Others in the paint on the scripted drive.")
    ] = None,
    quality: Annotated[
        Literal["good", "bad"] | None, typer.Option("--quality", help="Execution of the set; drawn if left out.")
    ] = None,
    name: Annotated[str | None, typer.Option("--name", help="Stem of the files; plan and seed if left out.")] = None,
    workers: Annotated[int, typer.Option("--workers", min=1, max=128, help="Drawing processes.")] = 2,
) -> None:
    """Make a simulated film with its truth; the same seed gives the same truth."""
    from pydantic import ValidationError

    from pipeline.sim.make import sim_command
    from pipeline.sim.settings import SimSettings

    try:
        wanted = SimSettings(
            plan=plan,
            seed=seed,
            look_seed=look_seed,
            rule_book=rule_book,
            venue=venue,
            width_px=width,
            height_px=height,
            rate=rate,
            minutes=minutes,
            bodies=bodies,
            quality=quality,
            workers=workers,
        )
    except ValidationError as error:
        first = error.errors()[0]
        raise SettingsError(f"'{first['loc'][0]}' cannot be {first['input']!r}: {first['msg']}; change it.") from error
    with progress_bar("Drawing") as progress:
        made = sim_command(wanted, to, name=name, progress=progress)
    say(f"{made.film}: {made.seconds:.1f} s, {made.frames} frames, {made.faults} crowded drive(s)")
    say(f"{made.truth}: truth")
