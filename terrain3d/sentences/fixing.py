"""What an installer is told of one unit: where, how high, which way, how steep, how it is set, what to
see."""

from dataclasses import dataclass

from terrain3d.fixing.aim import AimMark, HeadAim
from terrain3d.fixing.magnetism import CAUTION_NT, NO_COMPASS_NT, Magnetic
from terrain3d.fixing.places import Taped
from terrain3d.fixing.unit import BESIDE_M, HeadSet, UnitFixing
from terrain3d.lengths import given, length, lengths_name, over_level, span
from terrain3d.sentences.nuisances import advice
from terrain3d.sentences.uncertainty import tolerance_words
from terrain3d.wording import coordinate, counted, listed

#: Cautions that stand on each sheet, whatever the unit.
CAUTIONS = (
    "Work at height with safe access. Isolate the supply before you open the unit or a junction box.",
    "Follow the maker's instructions and local codes: where they differ from this sheet, they hold.",
    "Walk-test the unit when it is fixed. This sheet is a planning aid, not proof of detection.",
)

#: Under the pictures of a unit.
PICTURES_KEY = (
    "Plan: grey is held, dashes are tapes, dots lead to what it is aimed by, dashes and dots go round"
    " protected ground. Section: along head 1; grey posts stand where its indicator comes on and goes off."
)

_MAY_BE_OFF = "May be off"


@dataclass(frozen=True)
class SheetPart:
    """A part of the sheet: what it is about, the one thing to read from afar, and what more there is to
    it."""

    title: str
    main: str
    lines: tuple[str, ...] = ()


def sheet_parts(fixing: UnitFixing) -> tuple[SheetPart, ...]:
    """All that the sheet of a unit says, in the order of the work."""
    return (
        _where(fixing),
        _how_high(fixing),
        _which_way(fixing),
        _how_steep(fixing),
        SheetPart("Set it", "", tuple(head_words(fixing, head) for head in fixing.heads)),
        SheetPart("Walk and see", "", tuple(lights_words(aim) for aim in fixing.aims)),
        SheetPart(_MAY_BE_OFF, "", (tolerance_words(fixing.tolerance) + ".",)),
        *_troubles(fixing),
    )


def settings_text(fixing: UnitFixing) -> str:
    """The settings as plain text: what a code on the sheet holds, to be read without any network."""
    unit = fixing.unit
    lines = [
        f"{unit.name}: {unit.type.name} on {unit.mount}",
        f"at {coordinates_words(fixing.site_xy)}",
        f"height {length(unit.height_m, 2)}, bearing {bearing_words(unit.bearing_deg)} true",
        f"tilt {unit.tilt_deg:+.1f}° nose down, roll {unit.roll_deg:+.1f}° right side down",
        *(head_words(fixing, head) for head in fixing.heads),
    ]
    return "\n".join(lines)


def fixing_lines(fixing: UnitFixing) -> list[str]:
    """The same as sentences, for a terminal."""
    return [_line(part) for part in sheet_parts(fixing)]


def told_lines(fixing: UnitFixing) -> list[str]:
    """The same without what it may be off by, which is rounded down to hold and told as numbers beside it."""
    return [_line(part) for part in sheet_parts(fixing) if part.title != _MAY_BE_OFF]


def _line(part: SheetPart) -> str:
    words = [f"{part.main}." if part.main else "", *part.lines]
    return f"{part.title}: {' '.join(word for word in words if word)}"


def coordinates_words(site_xy: tuple[float, float]) -> str:
    """A place in the coordinates of the site file.

    >>> coordinates_words((560000.0, 4950006.25))
    '560000, 4950006.25'
    """
    return ", ".join(coordinate(round(value, 7)) for value in site_xy)


def _where(fixing: UnitFixing) -> SheetPart:
    lines = []
    if len(fixing.tapes) == 2:
        main = " and ".join(f"{length(tape.tape_m, 2)} from {place_name(tape)}" for tape in fixing.tapes)
    elif fixing.paced is not None:
        main = paced_words(fixing.paced)
    else:
        main = "by its coordinates"
        lines.append("No mark and no corner is drawn to tape from: draw a [[mark]] or two.")
    if len(fixing.tapes) == 2 and fixing.paced is not None:
        lines.append(f"Or {paced_words(fixing.paced)}.")
    place = f"Coordinates {coordinates_words(fixing.site_xy)}"
    if fixing.lonlat is not None:
        lon, lat = fixing.lonlat
        place += f"; longitude {lon:.6f}°, latitude {lat:.6f}°"
    return SheetPart("Where", main, (*lines, f"{place}."))


def paced_words(taped: Taped, decimals: int = 2) -> str:
    """A place from the nearest mark.

    >>> paced_words(Taped("gate post", 7.4, 7.5, 212.4))
    '7.50 m (10 paces) from "gate post", bearing 212°'
    """
    taut, paces = length(taped.tape_m, decimals), counted(taped.paces, "pace")
    return f"{taut} ({paces}) from {place_name(taped)}, bearing {round(taped.bearing_deg) % 360}°"


def place_name(place: Taped | AimMark) -> str:
    """What a place is called by.

    >>> place_name(Taped("barn", 4.0, 4.0, 90.0, "north-east corner"))
    'the north-east corner of "barn"'
    """
    return f'the {place.part} of "{place.name}"' if place.part else f'"{place.name}"'


def _how_high(fixing: UnitFixing) -> SheetPart:
    main = f"{length(fixing.unit.height_m, 2)} above the ground at the foot"
    if fixing.height is None:
        return SheetPart("How high", main, ("How the ground lies about the foot is not known.",))
    slope = fixing.height
    if slope.fall_percent < 2:
        return SheetPart("How high", main, ("The ground about the foot is level.",))
    told = (
        f"The ground falls {slope.fall_percent:.0f} % towards {round(slope.fall_deg) % 360}°:"
        f" {length(BESIDE_M, 2)} uphill of the pole a plumb tape reads {length(slope.uphill_m, 2)}, as far"
        f" downhill {length(slope.downhill_m, 2)}."
    )
    return SheetPart("How high", main, (told,))


def _which_way(fixing: UnitFixing) -> SheetPart:
    true = f"{bearing_words(fixing.unit.bearing_deg)} true"
    lines = []
    if fixing.magnetic is not None:
        main = f"{true}, {bearing_words(fixing.magnetic.compass_deg(fixing.unit.bearing_deg))} by compass"
        lines += magnetic_lines(fixing.magnetic)
    else:
        main = true
        lines.append(
            f"By compass: {true}, less the declination of the place (east positive). With a CRS and a day in"
            " the site file this sheet says it."
            if fixing.lonlat is None
            else "Give a day for what a compass shows."
        )
    if fixing.mark is not None:
        return SheetPart("Which way", mark_words(fixing.mark), (f"{main}.", *lines))
    return SheetPart("Which way", main, tuple(lines))


def mark_words(mark: AimMark) -> str:
    """Where the unit faces beside a mark, as one sees it from the unit.

    >>> mark_words(AimMark("gate", 10.0, 5.7, -5.7))
    '5.7° left of "gate", that is 1.0 m there'
    """
    if abs(mark.right_deg) < 0.25:
        return f"right at {place_name(mark)}"
    side = "right" if mark.right_deg > 0 else "left"
    return (
        f"{abs(mark.right_deg):.1f}° {side} of {place_name(mark)}, that is {length(abs(mark.right_m))} there"
    )


def bearing_words(bearing_deg: float) -> str:
    """A bearing with three figures.

    >>> bearing_words(7.25), bearing_words(359.97)
    ('007.2°', '000.0°')
    """
    return f"{round(bearing_deg, 1) % 360:05.1f}°"


def magnetic_lines(magnetic: Magnetic) -> list[str]:
    """How a compass errs at a place, and what it cannot know."""
    if magnetic.horizontal_nt < NO_COMPASS_NT:
        return ["So near the magnetic pole no compass can be used: take the mark."]
    side = "east" if magnetic.declination_deg >= 0 else "west"
    lines = [
        f"Declination {abs(magnetic.declination_deg):.1f}° {side} by {magnetic.model} on"
        f" {magnetic.on.isoformat()}, give or take {magnetic.error_deg:.1f}°. A steel pole, steel in a wall"
        " or a vehicle pulls a compass by degrees at arm's length: take the bearing from some"
        f" {lengths_name()} off, or by the mark."
    ]
    if magnetic.horizontal_nt < CAUTION_NT:
        lines.append("So near the magnetic pole a compass is to be trusted little.")
    return lines


def _how_steep(fixing: UnitFixing) -> SheetPart:
    unit = fixing.unit
    if abs(unit.tilt_deg) < 0.05:
        main = "level: no tilt"
    else:
        way = "down" if unit.tilt_deg > 0 else "up"
        main = f"nose {way} {abs(unit.tilt_deg):.1f}°: {over_level(abs(fixing.level_mm) / 100)}"
    lines = [staff_words(aim, len(fixing.aims) > 1) for aim in fixing.aims]
    if abs(unit.roll_deg) >= 0.05:
        side = "right" if unit.roll_deg > 0 else "left"
        lines.insert(0, f"Its {side} side {abs(unit.roll_deg):.1f}° down, as the unit looks out.")
    return SheetPart("How steep", main, tuple(lines))


def staff_words(aim: HeadAim, is_one_of_several: bool) -> str:
    """How high the axes of a head pass a staff.

    >>> staff_words(HeadAim(1, 90.0, 5.0, 0.583, 1.0, 12.0, ()), False)
    'On a staff 5 m off at 090.0°: lower axis 0.58 m high, upper 1.00 m; the lower lands 12.0 m off.'
    """
    who = f"Head {aim.head}: " if is_one_of_several else ""
    if aim.staff_m is None or aim.lower_m is None or aim.upper_m is None:
        return f"{who}{'no' if who else 'No'} staff near by meets the lower axis."
    upper = "" if abs(aim.upper_m - aim.lower_m) < 0.005 else f", upper {length(aim.upper_m, 2)}"
    lands = "does not land within the range" if aim.lands_m is None else f"lands {length(aim.lands_m)} off"
    return (
        f"{who}{'on' if who else 'On'} a staff {given(aim.staff_m)} off at {bearing_words(aim.bearing_deg)}:"
        f" lower axis {length(aim.lower_m, 2)} high{upper}; the lower {lands}."
    )


def head_words(fixing: UnitFixing, head: HeadSet) -> str:
    """How a head is set."""
    fills = sorted({f"{fill:g}" for fill in head.fill})
    named = fixing.unit.sensitivity if fixing.unit.heads == () else None
    own = fixing.unit.head(head.head - 1).sensitivity
    sensitivity = " and ".join(own) if own else (named or f"a layer filled to {listed(fills)}")
    pan = f", panned {head.pan_deg:+g}°" if head.pan_deg else ""
    told = f"range {given(head.range_m)}, {counted(head.pulses, 'pulse')}, sensitivity: {sensitivity}"
    covered = ""
    if head.masked:
        zones = listed([str(zone) for zone in head.masked], 20)
        noun = "zone" if len(head.masked) == 1 else "zones"
        covered = f"; mask {noun} {zones}, counted from the left as it looks out"
    elif head.masked_deg:
        arcs = [f"{low:g}° to {high:g}°" for low, high in head.masked_deg]
        covered = f"; mask {listed(arcs, 9)} right of its middle"
    who = f"Head {head.head} at {bearing_words(head.bearing_deg)}{pan}: " if len(fixing.heads) > 1 else ""
    return f"{who}{told}{covered}." if who else f"{told[:1].upper()}{told[1:]}{covered}."


def lights_words(aim: HeadAim) -> str:
    """Where the indicator must light along the middle of a head, and where it must not.

    >>> lights_words(HeadAim(1, 90.0, 5.0, 0.6, 1.0, 12.0, ((0.5, 7.4),)))
    'Head 1, straight out at 090.0°: walk across; it lights from 0.5 to 7.4 m, and nowhere else.'
    """
    who = f"Head {aim.head}, straight out at {bearing_words(aim.bearing_deg)}"
    if not aim.lights_m:
        return f"{who}: walk across; it lights nowhere."
    spans = [f"from {span(low, high)}" for low, high in aim.lights_m]
    return f"{who}: walk across; it lights {listed(spans, 5)}, and nowhere else."


def _troubles(fixing: UnitFixing) -> tuple[SheetPart, ...]:
    lines = [
        f"{thing.thing} ({thing.kind}) shows in the {thing.layer} layer of head {thing.head},"
        f" {length(thing.distance_m)} off: {advice(thing)}"
        for thing in fixing.things
    ]
    if fixing.unit.type.anti_masking is not None:
        reach = fixing.unit.type.anti_masking.reach
        lines.append(f"Keep {given(reach)} in front of it free: its watch against covering looks there.")
    return (SheetPart("Would trouble it", "", tuple(lines)),) if lines else ()
