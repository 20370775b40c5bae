"""`chalkbeam location`: the places on a garment, their rules, and the user's presets."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calibration.refusal import Refusal
from chalkbeam.basics.units import Unit
from chalkbeam.cli.options.as_json import JsonOption
from chalkbeam.cli.options.garment import UnitsOption

if TYPE_CHECKING:
    from chalkbeam.locations import Band, Location
    from chalkbeam.record.taste import Habit

locations_app = typer.Typer(
    help="Locations: list them, show their rules, check or start a preset of your own.",
    no_args_is_help=True,
)

AgeOption = Annotated[str, typer.Option(help="adult, youth, toddler or infant.")]


@locations_app.command("list")
def list_locations(units: UnitsOption = Unit.INCH, json: JsonOption = False) -> None:
    """List the locations, with the usual width or height of art for adults."""
    from chalkbeam.locations import locations, presets_folder
    from chalkbeam.placement.location_words import usual_words

    known = locations()
    if json:
        _print_json({name: as_json(location) for name, location in known.items()})
        return
    from rich.table import Table

    columns = ("name", "face", "usual art for adults", "")
    table = Table(*columns, box=None, pad_edge=False, header_style="bold")
    for name, location in sorted(known.items(), key=lambda item: (item[1].face, item[0])):
        whose = "yours" if location.origin else ""
        table.add_row(name, location.face.replace("_", " "), usual_words(location, units), whose)
    _print(table)
    print(f"\nYour own presets live in {presets_folder()}")


@locations_app.command("show")
def show_location(
    name: Annotated[str, typer.Argument(help="Name, such as left-chest.")],
    age: AgeOption = "adult",
    units: UnitsOption = Unit.INCH,
    json: JsonOption = False,
) -> None:
    """Show a location's rules."""
    from chalkbeam.garments import AGES
    from chalkbeam.locations import location
    from chalkbeam.placement.location_words import (
        asked_of,
        conditions,
        kind_words,
        usual_words,
        ways_words,
    )

    found = location(name)
    chosen = next((known for known in AGES if known == age), None)
    if chosen is None:
        raise Refusal(f"There is no age “{age}”: write {', '.join(AGES)}.")
    if json:
        _print_json(as_json(found))
        return
    from rich.table import Table
    from rich.text import Text

    title = found.title[:1].upper() + found.title[1:]
    _print(Text(f"{title} ({found.name}), on the {found.face.replace('_', ' ')}", "bold"))
    facts = [found.preset.basis]
    if found.preset.turn:
        rising = "rising to the right" if found.preset.turn > 0 else "falling to the right"
        facts.append(f"turned {abs(found.preset.turn):.0f}°, {rising}")
    sizes = usual_words(found, units, chosen)
    facts += [f"usual art for {chosen} sizes {sizes}"] if sizes else []
    _print(Text("; ".join(facts)))
    table = Table("rule", chosen, "kind", box=None, pad_edge=False, header_style="bold")
    for rule in found.rules:
        if chosen in rule.ages:
            asked = asked_of(rule, rule.by[chosen], units)
            table.add_row(rule.says + conditions(rule), asked, kind_words(rule))
    _print(table)
    if ways := ways_words(found):
        _print(Text(ways))


@locations_app.command("check")
def check_location(
    file: Annotated[Path, typer.Argument(help="A location file of your own (TOML).")],
    json: JsonOption = False,
) -> None:
    """Check a location file: its form, and whether garments have the lines it names."""
    from chalkbeam.locations.library import read_location
    from chalkbeam.placement.garment_lines import known_faces, unknown_lines

    found = read_location(file)
    for location in found:
        if location.face not in known_faces():
            raise Refusal(
                f"{file}: no garment has a face “{location.face}”: write one of "
                f"{', '.join(sorted(known_faces()))}."
            )
    missing = {location.name: unknown_lines(location) for location in found}
    if json:
        _print_json(
            {
                location.name: {**as_json(location), "unknown_lines": list(missing[location.name])}
                for location in found
            }
        )
    for location in found:
        if json:
            continue
        for line in missing[location.name]:
            print(f"{location.name}: no garment has a line “{line}” on its {location.face}.")
        if not missing[location.name]:
            print(f"{location.name}: {len(location.rules)} rules, all in order.")
    if any(missing.values()):
        raise typer.Exit(1)


@locations_app.command("new")
def new_location(
    name: Annotated[str, typer.Argument(help="Its name, such as house-chest.")],
    line: Annotated[str, typer.Argument(help="Where: “7 in down from the shoulder, 4 in across”.")],
    face: Annotated[
        str, typer.Option(help="front, back, left_sleeve, left_leg, left_hood, panel …")
    ] = "front",
    width: Annotated[str, typer.Option(help="Usual width of the art there.")] = "3.5in",
) -> None:
    """Make a location of your own from one plain line."""
    from calibration.files import write_whole
    from chalkbeam.basics.units import parse_length
    from chalkbeam.locations import presets_folder
    from chalkbeam.locations.plain_line import plain_text, read_line
    from chalkbeam.placement.garment_lines import known_faces, known_lines

    name = "-".join(name.lower().split())
    _check_name(name)
    side = face.strip().lower().replace(" ", "_")
    if side not in known_faces():
        raise Refusal(f"No garment has a face “{face}”: take one of {', '.join(known_faces())}.")
    said = read_line(line, side)
    across, along = known_lines(side)
    for wanted, known in ((said.along, along), (said.across, across)):
        if wanted not in known:
            raise Refusal(
                f"The {side.replace('_', ' ')} of a garment has no {wanted.replace('_', ' ')}: "
                "count from another line, or name another face."
            )
    place = presets_folder() / f"{name}.toml"
    if place.exists():
        raise Refusal(f"{place} is there already: choose another name.")
    place.parent.mkdir(parents=True, exist_ok=True)
    write_whole(place, plain_text(said, name, side, parse_length(width)).encode())
    print(f"{name}: {line}. It is in {place}; see it with chalkbeam location show {name}")


def _check_name(name: str) -> None:
    import re

    if not re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", name):
        raise Refusal(f"“{name}” is no name: use small letters, figures and hyphens.")


@locations_app.command("copy")
def copy_location(
    name: Annotated[str, typer.Argument(help="The location to start from.")],
    to: Annotated[
        str,
        typer.Argument(metavar="NEW-NAME", help="Its new name; the same name replaces it for you."),
    ],
) -> None:
    """Copy a location's file into your presets, to be edited there."""
    import re

    from calibration.files import write_whole
    from chalkbeam.basics.toml_files import read_text
    from chalkbeam.locations import location, presets_folder
    from chalkbeam.locations.library import DATA

    found = location(name)
    _check_name(to)
    source = found.origin or DATA / f"{found.name}.toml"
    if not source.is_file():
        raise Refusal(f"{found.name} is the twin of another location: copy that one.")
    place = presets_folder() / f"{to}.toml"
    if place.exists():
        raise Refusal(f"{place} is there already: choose another name.")
    text = read_text(source)
    if to != found.name:  # two presets cannot share one twin
        text = re.sub(r"(?m)^twin(_also)? = .*\n", "", text)
    write_whole(place, text.encode())
    print(f"Copied to {place}: edit it there, then run chalkbeam location check {place}")


RecordOption = Annotated[Path | None, typer.Option(help="The record; the shop's own without.")]


@locations_app.command("habits")
def list_habits(
    record: RecordOption = None, units: UnitsOption = Unit.INCH, json: JsonOption = False
) -> None:
    """List what you move again and again, to be kept as the shop's own rule or not."""
    from chalkbeam.record.taste import habit_words

    found = _habits(record)
    if json:
        from dataclasses import asdict

        _print_json([asdict(each) for each in found])
        return
    for each in found:
        group = each.group
        age = "" if group.age == "adult" else f" --age {group.age}"
        print(habit_words(each, units))
        print(f"  chalkbeam location keep {group.location} --style {group.style}{age}    (or --no)")
    if not found:
        print("Nothing is moved again and again: nothing is offered.")


@locations_app.command("keep")
def keep_habit(
    name: Annotated[str, typer.Argument(help="The location, as in location habits.")],
    style: Annotated[str, typer.Option(help="The garments' style.")],
    age: AgeOption = "adult",
    no: Annotated[
        bool, typer.Option("--no", help="Keep the place as it is, and have nothing else offered.")
    ] = False,
    record: RecordOption = None,
    units: UnitsOption = Unit.INCH,
) -> None:
    """Keep an offered habit as the shop's own rule, in its own location file."""
    from chalkbeam.garments import AGES
    from chalkbeam.garments.library import find_style
    from chalkbeam.locations import location
    from chalkbeam.locations.house import HouseMove, keep_move
    from chalkbeam.record.taste import move_words

    found, wanted = location(name), find_style(style)[0]
    chosen = next((known for known in AGES if known == age), None)
    offered = next(
        (
            each
            for each in _habits(record)
            if (each.group.location, each.group.style, each.group.age)
            == (found.name, wanted, chosen)
        ),
        None,
    )
    if offered is None or chosen is None:
        raise Refusal(
            f"Nothing is offered for {found.title} on {wanted.replace('_', ' ')}, {age} sizes: "
            "chalkbeam location habits lists what is."
        )
    house = found.house(wanted, chosen)
    right, down = (offered.right, offered.down) if not no else house.by if house else (0.0, 0.0)
    place = keep_move(HouseMove(found.name, wanted, chosen, right, down, settled=no))
    how = "stays as it is" if no else f"goes {move_words(right, down, units)}"
    print(f"From now on {found.title} on {wanted.replace('_', ' ')} {how}: {place}")


def _habits(record: Path | None) -> tuple[Habit, ...]:
    from chalkbeam.record.store import Store, is_record, record_file
    from chalkbeam.record.taste import shop_habits

    path = record or record_file()
    if not is_record(path):
        return ()
    with Store(path) as store:
        return shop_habits(store)


def as_json(location: Location) -> dict[str, object]:
    """Return a location for another program: lengths in mm, by age."""

    def band(value: Band) -> list[float]:
        return [round(length, 4) for length in (value.low, value.usual, value.high)]

    preset = location.preset
    return {
        "name": location.name,
        "title": location.title,
        "face": location.face,
        "also": list(preset.also),
        "basis": preset.basis,
        "turn_deg": preset.turn,
        "file": str(location.origin) if location.origin else None,
        "width_mm": {age: band(value) for age, value in preset.width.items()},
        "height_mm": {age: band(value) for age, value in preset.height.items()},
        "rules": [
            {
                "says": rule.says,
                "art": rule.art,
                "side": rule.direction,
                "line": rule.line,
                "by_mm": {age: band(value) for age, value in rule.by.items()},
                "bound": rule.bound,
                "weight": rule.weight,
                "hard": rule.hard,
                "check": rule.check,
                "when": list(rule.when),
                "unless": list(rule.unless),
                "ages": list(rule.ages),
                "fits": list(rule.fits),
                "grows": rule.grows.model_dump() if rule.grows else None,
            }
            for rule in location.rules
        ],
    }


def _print(part: object) -> None:
    from chalkbeam.cli.terminal import terminal

    terminal().print(part)


def _print_json(value: object) -> None:
    import json

    print(json.dumps(value, indent=1, ensure_ascii=False))


def register(app: typer.Typer) -> None:
    """Add the group to the program."""
    app.add_typer(locations_app, name="location")
