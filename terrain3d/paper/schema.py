"""What `results.json` holds, key by key: the source of its JSON Schema and of docs/results.md.

`scripts/write_docs.py` writes both from here. A program in Python may also read a file through these models:
`Results.model_validate_json(text)`.
"""

import json
from datetime import date
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

#: Units that a number may have, by the suffix of its key.
SUFFIXES = {
    "m": "_m", "m2": "_m2", "1/m2": "_per_m2", "deg": "_deg", "s": "_s", "min": "_min", "°C": "_c", "K": "_k",
    "m/s": "_mps", "W/m2/sr": "_w_m2_sr", "Hz": "_hz", "GHz": "_ghz", "mm": "_mm", "nT": "_nt",
    "share": "_share", "count": "_count",
}  # fmt: skip
#: What other numbers are in.
OTHERS = (
    "chance",
    "number from 1",
    "money",
    "weight",
    "pulses",
    "ratio",
    "any whole number",
    "year",
    "mA",
    "V",
    "Ah",
    "h",
    "ohm",
    "mm2",
)


def told(unit: str, meaning: str, null: str = "") -> Any:
    """A number, a list of numbers or a table of them: its unit, its meaning and what null means."""
    if unit not in {*SUFFIXES, *OTHERS}:
        raise ValueError(f"{unit!r} is no unit that is told")
    about: dict[str, Any] = {"x-unit": unit, **({"x-null": null} if null else {})}
    return Field(description=f"{meaning} Unit: {unit}.{_null(null)}", json_schema_extra=about)


def said(meaning: str, null: str = "") -> Any:
    """Anything else: its meaning and what null means."""
    about: dict[str, Any] = {"x-null": null} if null else {}
    return Field(description=f"{meaning}{_null(null)}", json_schema_extra=about)


def part(meaning: str) -> Any:
    """A key that is there only where it was asked for."""
    return Field(default=None, description=meaning)


def told_part(unit: str, meaning: str) -> Any:
    """A number, or several, that is there only where there is anything to tell."""
    if unit not in {*SUFFIXES, *OTHERS}:
        raise ValueError(f"{unit!r} is no unit that is told")
    return Field(default=None, description=f"{meaning} Unit: {unit}.", json_schema_extra={"x-unit": unit})


def _null(null: str) -> str:
    return f" Null: {null}." if null else ""


class Part(BaseModel):
    """One object of the file: it holds these keys and no others."""

    model_config = ConfigDict(extra="forbid", frozen=True)


CauseWords = Literal[
    "hidden by foliage", "hidden by a solid", "hidden by ground", "passes above the figure", "lands short",
    "below the layer", "beyond range", "outside arc", "microwave does not reach", "moves across",
]  # fmt: skip
#: Square metres by layer, then by cause.
Causes = dict[str, dict[CauseWords, float]]
LonLat = Annotated[tuple[float, float], Field(description="Longitude and latitude, WGS 84.")]
X = Annotated[float, told("m", "East, in the metres of `site.frame_wkt`.")]
Y = Annotated[float, told("m", "North, in the metres of `site.frame_wkt`.")]
Line = list[tuple[float, float]]


class Figure(Part):
    """Who walks: an upright line from the ground."""

    name: str = said("Name of the figure, built in or of the site file.")
    height_m: float = told("m", "Height; of an animal that of its shoulder.")


class SurveyDate(Part):
    """When a survey was measured, or else when its file was written."""

    first: date = said("The first day.")
    last: date = said("The last day; the first again where there is one.")
    source: str = Field(alias="from", description="Who says so: the site file, or where the survey does.")
    is_flown: bool = said("False where the days are those on which the file was written: measured by then.")


class StandingRead(Part):
    """What stands on the site, by where it comes from."""

    solids_found: int = told("count", "Solids that were found in the survey.")
    solids_drawn: int = told("count", "Solids that the site file draws.")
    leaves_found_m2: float = told("m2", "Ground under leaves that were found in the survey.")
    leaves_drawn_m2: float = told("m2", "Ground under leaves that the site file draws.")


class ReturnsStep(Part):
    """Measured ground with so many ground returns a square metre."""

    from_per_m2: float = told("1/m2", "As many or more.")
    below_per_m2: float | None = told("1/m2", "And fewer than this.", "however many")
    area_m2: float = told("m2", "Ground that was measured so; bridged gaps are left out.")
    share: float = told("share", "The same of `site.ground.worked_on_m2`.")


class ReturnsRead(Part):
    """How densely the returns of a cloud tell of the ground."""

    median_per_m2: float = told(
        "1/m2", "Half of the ground that was measured has so many ground returns a square metre, or more."
    )
    square_m: float = told("m", "Side of the square about each cell that they are counted over.")
    steps: list[ReturnsStep] = said("The ground that was measured, from the fewest returns to the most.")
    guessed_leaves_m2: float = told(
        "m2", "Ground on which leaves up to the height of a person are a guess: few pulses came so far down."
    )


class ProtectedGroundRead(Part):
    """How the ground of a protected area is known."""

    name: str = said("As the site file says.")
    area_m2: float = told("m2", "All its ground, known or not.")
    measured_m2: float = told("m2", "Its ground that is known and was not bridged; of drawn ground all.")
    measured_share: float = told("share", "The same of `area_m2`; 0 where the area has no cell.")
    known_m2: float = told("m2", "Its ground whose height is known, bridged gaps with it.")
    unknown_m2: float = told("m2", "Its ground that is not known, off the survey too.")
    bridged_m2: float = told("m2", "Of its known ground, what was not measured but bridged across gaps.")


class GroundRead(Part):
    """The ground that was worked on, cell by cell."""

    worked_on_m2: float = told("m2", "All of it, known or not: what the shares are of.")
    measured_m2: float = told("m2", "Ground that is known and was not bridged; of drawn ground all.")
    known_share: float = told("share", "The share of `known_m2`.")
    measured_share: float = told("share", "The share of `measured_m2`.")
    bridged_share: float = told("share", "The share of `bridged_m2`.")
    unknown_share: float = told("share", "The share of `unknown_m2`.")
    known_m2: float = told("m2", "Ground whose height is known, bridged gaps with it.")
    unknown_m2: float = told("m2", "Cells whose ground is not known: no verdict is given there.")
    bridged_m2: float = told("m2", "Of the known ground, what was not measured but bridged across gaps.")
    spacing_m: float | None = told(
        "m", "Typical distance between measured ground points.", "the ground is drawn, not surveyed"
    )
    dated: SurveyDate | None = said("When the survey was measured.", "neither it nor the site file says it")
    error_m: float | None = told(
        "m", "RMSE of its heights, as the site file or the survey states it.", "neither of them does"
    )
    error_from: str | None = said("Which of them does, and where.", "neither of them does")
    returns: ReturnsRead | None = said(
        "How densely it was measured.",
        "the ground comes from a grid or a mesh, is drawn, or none of it was measured",
    )
    standing: StandingRead = said("What the survey shows standing on it, and what the site file draws.")
    protected: list[ProtectedGroundRead] = said("Each `[[protect]]` area, in the order of the site file.")


class MarkedPlace(Part):
    """A fixed point to measure from."""

    name: str = said("As the site file says.")
    x: X
    y: Y
    ground_z: float | None = told(
        "m", "Height of the ground there, in the survey's own heights, as metres.", "no ground is known there"
    )


class Site(Part):
    """The site as it was read."""

    name: str = said("As the site file says.")
    cell_m: float = told("m", "Edge of a square cell of the ground.")
    figure: Figure = said("The figure that the verdicts are for.")
    frame_wkt: str = said(
        "The CRS of every x and y here and of the rasters, as WKT: a transverse Mercator of scale 1 centred"
        " on the site; without a CRS an engineering CRS, and x and y are those of the site file."
    )
    origin_lonlat: LonLat | None = told(
        "deg", "Where x = 0, y = 0 lies: longitude, latitude, WGS 84.", "the site has no CRS"
    )
    ground: GroundRead = said("How much of the ground is known.")
    marks: list[MarkedPlace] = said("The `[[mark]]` points, in the order of the site file.")
    doubts: list[str] = said("Sentences about the survey that every reader has to see.")


class HeadSet(Part):
    """One head of a unit as it is set."""

    pan_deg: float = told("deg", "Within the housing, clockwise.")
    range_m: float = told("m", "Range setting.")
    sensitivity: list[str] | None = said(
        "By the type's names: one for all layers, or one each.", "it is not set by name"
    )
    fill: dict[str, float] = told(
        "share", "Share of each layer that a figure has to fill to break it, by its name."
    )
    pulses: int = told("pulses", "Within the type's window, for an alarm.")
    masked: list[int] = told("number from 1", "Zones that are covered, from the left as the unit looks out.")
    masked_deg: list[tuple[float, float]] = told(
        "deg", "From and to of all that is covered, right of the middle of the head's arc."
    )
    open_deg: list[tuple[float, float]] = told("deg", "The same of what is left open.")


class Microwave(Part):
    """The second sense of a unit, as its type has it."""

    arc_deg: float = told("deg", "Plan angle of its lobe about the unit's bearing.")
    elevation_deg: float = told("deg", "Of the lobe's axis above level.")
    thickness_deg: float = told("deg", "From the lobe's lower edge to its upper.")
    range_m: float = told("m", "Out to which it senses a whole person in the open.")
    frequency_ghz: float = told("GHz", "Of its waves.")
    needs: Literal["also", "either"] = said(
        "Whether an alarm takes it and the layers (`also`), or it or the layers (`either`)."
    )
    slowest_mps: float = told("m/s", "Towards or away, that it still senses.")


class WatchUnderScenario(Part):
    """How near a thing comes under a scenario."""

    name: str = said("Of the scenario.")
    distance_m: float = told("m", "From the unit to the nearest of the thing in its watch.")


class InWatch(Part):
    """A thing within the reach of a unit's watch against covering."""

    what: Literal["solid", "foliage", "ground"] = said("What it is.")
    name: str | None = said("As the site file or the survey names it.", "it is the ground")
    distance_m: float | None = told(
        "m", "From the unit to the nearest of it in the watch.", "it is in the watch under a scenario alone"
    )
    scenarios: list[WatchUnderScenario] = said("Those under which it is in the watch.")


class Watch(Part):
    """The watch of a unit against covering."""

    reach_m: float = told("m", "In front of the unit, that must stay free.")
    arc_deg: float = told("deg", "About straight ahead, from edge to edge.")
    things: list[InWatch] = said("What is within it: nearest first, then what is under a scenario alone.")


VerdictWords = Literal["both", "upper_only", "lower_only", "dead", "outside", "unknown"]


class Stretch(Part):
    """A stretch of a section with one verdict."""

    from_m: float = told("m", "Plan distance from the unit at which it starts.")
    to_m: float = told("m", "Where it ends.")
    verdict: VerdictWords = said("Of the ground there; `unknown` where no ground is known.")
    causes: dict[str, CauseWords] = said(
        "By layer what takes most of it, where it is not broken; empty where both layers hold."
    )


class LayerOverGround(Part):
    """How high a layer passes."""

    layer: str = said("Name of the layer.")
    over_ground_m: float = told("m", "Of its axis; 0 where it lands.")


class Change(Part):
    """Where the verdict changes along a section."""

    at_m: float = told("m", "Plan distance from the unit.")
    layers: list[LayerOverGround] = said("The layers that get there.")


class LayerEnd(Part):
    """What the axis of a layer meets before its range ends."""

    layer: str = said("Name of the layer.")
    at_m: float = told("m", "Plan distance from the unit.")
    meets: Literal["ground", "solid"] = said("What it meets.")
    name: str | None = said(
        "Of the solid, as the site file says.", "it is the ground, or found in the survey"
    )


class PassesOver(Part):
    """A layer that passes over the figure."""

    layer: str = said("Name of the layer.")
    from_m: float = told("m", "Plan distance from the unit from which on it does.")


class MostLost(Part):
    """What takes most of a section."""

    layer: str = said("Name of the layer, or `microwave`.")
    cause: CauseWords = said("The cause.")
    lost_m: float = told("m", "How much of the line it takes.")


class SectionAhead(Part):
    """The line from a unit straight ahead of one of its heads: verdicts are those of that unit alone."""

    bearing_deg: float = told("deg", "Of the line, clockwise from true north.")
    both_m: float = told("m", "Of the line out to `max_range_m`, held by both layers.")
    most_lost: MostLost | None = said("What takes most of it.", "nothing takes 0.2 m of it")
    stretches: list[Stretch] = said("The line within arc and range; what is shorter than 0.2 m is left out.")
    changes: list[Change] = said("Where the verdict changes on known ground.")
    ends: list[LayerEnd] = said("What ends layers before their range does, head by head.")
    passes_over: list[PassesOver] = said("From where on layers are over the head of the figure.")


class LayerAim(Part):
    """Where a layer points as the unit is set."""

    layer: str = said("Name of the layer.")
    elevation_deg: float = told("deg", "Of its axis in the middle of its head, above level.")
    thickness_deg: float = told("deg", "From its lower edge to its upper.")


class HeadOutlook(Part):
    """Where the layers of one head point."""

    arc_deg: float = told("deg", "Plan angle of the head.")
    layers: list[LayerAim] = said("Its layers.")


class LayerMeets(Part):
    """What becomes of a layer on its way, as shares of its directions; the four add up to 1."""

    layer: str = said("Name of the layer, of all heads together.")
    ground_share: float = told("share", "Meets the ground within the range.")
    solids_share: float = told("share", "Meets solids.")
    leaves_share: float = told("share", "Is taken by leaves.")
    past_range_share: float = told("share", "Runs on past the range.")
    name: str | None = said("Of the solid that takes most of it, a survey's by its number.", "it meets none")
    name_share: float = told("share", "Of all that solids take, what that one does; 0 where it meets none.")


class LayerBefore(Part):
    """How high over the ground a layer passes at a figure."""

    layer: str = said("Name of the layer.")
    from_m: float = told("m", "Lowest that it gets there over the ground.")
    to_m: float = told("m", "Highest.")


class FigureBefore(Part):
    """A figure that stands before a unit."""

    away_m: float = told("m", "Plan distance from the unit.")
    right_deg: float = told("deg", "Right of where the unit faces.")
    layers: list[LayerBefore] = said("The layers that get there; empty where none does.")


class Outlook(Part):
    """What a unit sees."""

    heads: list[HeadOutlook] = said("Its heads as they are set, in the type's order.")
    layers: list[LayerMeets] = said("What becomes of each layer.")
    figures: list[FigureBefore] = said("At 4, 8 and 12 m within the range, where ground is known.")


class SeenUnit(Part):
    """What is seen of a unit from where somebody stands."""

    unit: str = said("Name of the unit.")
    distance_m: float = told("m", "Slant, from the eye to the unit.")
    bearing_deg: float = told("deg", "In which it is seen, clockwise from true north.")
    elevation_deg: float = told("deg", "The same above level.")
    hidden_by: Literal["ground", "solid"] | None = said("What hides it.", "it is in sight")
    name: str | None = said(
        "Of the solid, as the site file says.", "none hides it, or one found in the survey"
    )
    through_share: float = told("share", "Of sight that leaves let through, as far as it goes.")


class SeenFrom(Part):
    """A place from which somebody looks at the units of an option, at the height of his eye."""

    name: str = said("Of the walk, the way in or the mark.")
    where: Literal["start", "middle", "end"] | None = said(
        "On the walk or the way in.", "it is a mark, or a walk that stands still"
    )
    units: list[SeenUnit] = said("Each unit of the option.")


class Detector(Part):
    """One unit of an option as it is posed, and what may mislead about it."""

    name: str = said("Unique within its option.")
    type: str = said("The name that its type gives itself.")
    mount: str = said("Name of the mount.")
    x: X
    y: Y
    lonlat: LonLat | None = told("deg", "Longitude, latitude, WGS 84.", "the site has no CRS")
    ground_z: float = told("m", "Height of the ground at the mount, in the survey's own heights, as metres.")
    height_m: float = told("m", "Of the unit above the ground at its mount.")
    allowed_height_m: tuple[float, float] = told("m", "Lowest and highest that its type allows.")
    bearing_deg: float = told("deg", "Facing, clockwise from true north, 0 to 360.")
    tilt_deg: float = told("deg", "Nose down positive.")
    roll_deg: float = told("deg", "Right side down positive.")
    pan_deg: list[float] = told("deg", "Of each head within the housing, clockwise, in the type's order.")
    head_bearing_deg: list[float] = told(
        "deg", "Where the middle of each head looks, clockwise from true north, in the type's order."
    )
    range_m: float = told("m", "Range setting.")
    max_range_m: float = told("m", "Slant distance out to which the type is rated.")
    fill: float = told("share", "Share of a layer that a figure has to fill to break it.")
    pulses: int = told("pulses", "Within the type's window, for an alarm.")
    is_inside_solid: bool = said("Whether it stands inside a solid.")
    solid_ahead_m: float | None = told(
        "m",
        "Slant distance to a solid that a head looks straight into.",
        "none stands within 0.6 m, or the unit is inside one",
    )
    across_unknown_m2: float = told("m2", "Ground in its reach seen across ground that is not known.")
    off_known_m2: float = told("m2", "Of its arcs out to `max_range_m`, what lies off the known ground.")
    off_known_share: float = told("share", "The same as a share of its arcs.")
    sections: list[SectionAhead] = said("The section straight ahead of each head, in the type's order.")
    outlook: Outlook = said("What it sees.")
    sensitivity: str = part("The unit's sensitivity setting by the type's name, where it is set so.")
    bracket: bool = part("Where the unit is on its bracket.")
    microwave: Microwave = part("The unit's second sense, where its type has one.")
    heads: list[HeadSet] = part("Each head, in the type's order, where some are set by themselves.")
    watch: Watch = part("Its watch against covering, where its type has one.")


class VerdictAreas(Part):
    """Known ground by verdict; the five add up to `site.ground.known_m2`."""

    both: float = told("m2", "Held by both layers: an alarm can be raised there.")
    upper_only: float = told("m2", "The upper layer alone is broken.")
    lower_only: float = told("m2", "Another layer alone is broken.")
    dead: float = told("m2", "Dead ground: within arc and range, and no layer reaches the figure.")
    outside: float = told("m2", "Outside every arc or range.")


class NotHeld(Part):
    """Ground that is not held, and the cause."""

    cause: CauseWords = said("The cause.")
    name: str | None = said("Of the solid or the foliage that it is.", "the cause is none of them")
    area_m2: float = told("m2", "How much ground.")


class Protected(Part):
    """One protected area under an option."""

    name: str = said("As the site file says.")
    area_m2: float = told(
        "m2",
        "All its ground, known or not: cells whose middle lies in its outline, and what lies off the grid.",
    )
    both_fraction: float = told(
        "share",
        "Of `area_m2`, held by both layers: ground not known is not held; 0 where the area has no cell.",
    )
    weight: float = told("weight", "As the site file says.")
    out_of_reach_m2: float = told("m2", "Beyond the maximum range of every unit.")
    out_of_reach_share: float = told("share", "The same of `area_m2`; 0 where the area has no cell.")
    unknown_m2: float = told("m2", "Where no ground is known: counts as not held.")
    unknown_share: float = told("share", "The same of `area_m2`; 0 where the area has no cell.")
    hangs_on_leaves_m2: float = told("m2", "Where the verdict is another without any foliage.")
    hangs_on_leaves_share: float = told("share", "The same of `area_m2`; 0 where the area has no cell.")
    lost_to: list[NotHeld] = said(
        "What keeps its known ground from being held, most first: each piece once, by the layer that is"
        " farthest from being broken there."
    )
    words: str = said("The same as a sentence.")


class UnderScenarioProtected(Part):
    """One protected area under a scenario."""

    name: str = said("As the site file says.")
    both_fraction: float = told("share", "Of its `area_m2`, held by both layers under the scenario.")


class UnderScenario(Part):
    """An option judged on the site as a scenario of the site file has it."""

    name: str = said("Of the scenario.")
    protected_share: float | None = told(
        "share", "As of the option, under the scenario.", "nothing is protected"
    )
    weighted_share: float | None = told(
        "share", "As of the option, under the scenario.", "nothing is protected, or all weights are equal"
    )
    area_m2: VerdictAreas = told("m2", "Known ground by verdict.")
    protect: list[UnderScenarioProtected] = said("Every protected area, in the order of the site file.")
    better_m2: float = told("m2", "Ground whose verdict is better than on the site as it is.")
    worse_m2: float = told("m2", "Ground whose verdict is worse.")
    newly_held_m2: float = told("m2", "Held by both layers under the scenario, and not on the site as it is.")
    no_longer_held_m2: float = told("m2", "Held by both layers on the site as it is, and not here.")


class Body(Part):
    """How large a figure is seen from above."""

    breadth_m: float = told("m", "Across its walk.")
    length_m: float = told("m", "Along its walk.")
    source: str = said("Where the two come from.")


class Alarm(Part):
    """Where and when an alarm is raised."""

    x: X
    y: Y
    along_m: float = told("m", "Walked by then, in plan.")
    time_s: float = told("s", "Passed by then.")
    units: list[str] = said("Units that have raised theirs by then.")


class RouteAlarm(Alarm):
    """Where and when a route raises the alarm with the zones exactly as they are set."""

    left_m: float = told("m", "Still to walk from there to the end of the route.")


class Reached(Part):
    """One protected area and a walk."""

    name: str = said("Of the protected area.")
    enters_m: float | None = told("m", "Walked when the path first enters it.", "the path never does")
    left_along_m: float | None = told(
        "m",
        "From the alarm on along the path until it enters; negative where the alarm comes too late.",
        "there is no alarm, or the path never enters",
    )
    left_straight_m: float | None = told(
        "m", "From the alarm straight to the area; 0 within it.", "there is no alarm"
    )


class Pulse(Part):
    """One zone entered or left by a side of the figure while the layers that the alarm needs are broken."""

    x: X
    y: Y
    along_m: float = told("m", "Walked by then.")
    time_s: float = told("s", "Passed by then.")
    unit: str = said("Name of the unit.")
    head: int = told("number from 1", "Head of the unit, in the type's order.")
    layer: str = said("Name of the layer.")
    zone: int = told("number from 1", "Zone of the layer, from the left as the unit looks out.")
    entered: bool = said("True where the zone is entered, false where it is left.")


class SensedByMicrowave(Part):
    """What the microwave of one unit makes of a walk."""

    unit: str = said("Name of the unit.")
    sensed_m: float = told("m", "Walked where it senses the walker.")
    lost_m: dict[CauseWords, float] = told("m", "Walked where it does not, by cause.")
    fastest_mps: float = told("m/s", "Greatest speed towards or away where it senses; 0 where it never does.")
    shift_hz: float = told("Hz", "The Doppler shift at that speed.")


class WalkByMicrowave(Part):
    """What the microwaves of an option make of a walk."""

    layers_alone_s: float | None = told(
        "s", "When the layers alone would raise the alarm.", "the layers alone would raise none"
    )
    units: list[SensedByMicrowave] = said("Each unit that has a microwave.")


class WalkMoment(Part):
    """A walk at one moment."""

    x: X
    y: Y
    along_m: float = told("m", "Walked by then.")
    time_s: float = told("s", "Passed by then.")
    verdict: VerdictWords = said("Of the ground there; `unknown` where no ground is known.")
    pulses: dict[str, int] = told("pulses", "Of all units by then, by layer; layers of none are left out.")
    has_alarm: bool = said("Whether the alarm is raised by then.")


class Walk(Part):
    """One walk of the site file."""

    name: str = said("As the site file says.")
    figure: Figure = said("Who walks.")
    body: Body = said("How large the walker is seen from above.")
    speed_mps: float = told("m/s", "As the site file says.")
    length_m: float = told("m", "Of the whole path, in plan.")
    time_s: float = told("s", "For the whole path.")
    both_m: float = told("m", "Walked under both layers.")
    alarm: Alarm | None = said("The first alarm.", "none is raised")
    protect: list[Reached] = said("Every protected area, in the order of the site file.")
    pulses: list[Pulse] = said("In the order they come.")
    moments: list[WalkMoment] = said(
        "Eight moments from start to end, that of the alarm among them; none of a walk without length."
    )
    microwave: WalkByMicrowave = part("Where a unit has a microwave: what it makes of the walk.")
    words: str = said("The same as a sentence.")


class FanWalk(Part):
    """One straight walk of a fan."""

    bearing_deg: float = told("deg", "From the unit to the walk; to its middle where it goes across.")
    starts_at_m: float | None = told("m", "Plan distance from the unit at which it starts.", "it goes across")
    passes_at_m: float | None = told(
        "m", "Plan distance from the unit at which it passes.", "it goes straight at the unit"
    )
    walked_m: float | None = told("m", "Walked when the alarm is raised.", "none is raised")
    from_unit_m: float | None = told(
        "m", "Plan distance from the unit when the alarm is raised.", "none is raised"
    )


class ShareAlarmed(Part):
    """How many walks of a fan raise the alarm in time."""

    from_unit_m: float | None = told(
        "m", "In time is while the walker is farther from the unit than this.", "of walks across"
    )
    walked_m: float | None = told(
        "m", "In time is before more than this is walked.", "of walks straight at the unit"
    )
    share: float = told("share", "Of all walks of the fan.")


class Fan(Part):
    """Straight walks against one unit alone, every 5 degrees of its arcs."""

    unit: str = said("Name of the unit.")
    kind: Literal["straight at the unit", "across the unit"] = said("Which way they go.")
    figure: Figure = said("Who walks.")
    speed_mps: float = told("m/s", "Of every walk.")
    pulses: int = told("pulses", "That the unit's alarm takes, where its head says nothing else.")
    pulses_by_head: list[int] = told_part(
        "pulses", "Of each head, in the type's order, where one is set by itself."
    )
    walk_length_m: float = told("m", "Of every walk.")
    walk_count: int = told("count", "Walks of the fan.")
    alarm_count: int = told("count", "Walks that raise the alarm.")
    alarm_share: float = told("share", "The same of all walks of the fan; 0 where it has none.")
    early_m: float | None = told("m", "Distance from the unit that `early_count` goes by.", "of walks across")
    early_count: int | None = told(
        "count", "Walks that raise the alarm farther from the unit than that.", "of walks across"
    )
    weakest: FanWalk | None = said(
        "Of the walks that raise the alarm the one that does so last.", "none does"
    )
    share_alarmed: list[ShareAlarmed] = said("How many raise it in time, for several meanings of that.")
    walks: list[FanWalk] = said("Each walk.")
    words: str = said("The same as a sentence.")


class BorrowedFan(Fan):
    """A fan walked as a borrowed walk test says."""

    test: str = said("Name of the test.")
    grade: int = told("number from 1", "Grade of the test, 1 to 4.")
    status: str = said("How far the test's own figures can be trusted.")
    note: str = said("Says that the test is borrowed.")


class Walks(Part):
    """Part `walks` of a study."""

    paths: list[Walk] = said("The walks of the site file.")
    fans: list[Fan] = said("Two of each unit: straight at it and across it.")
    borrowed_walk_tests: list[BorrowedFan] = said("Of each unit; empty where no grade is asked for.")
    note: str = said("What the numbers are not.")


class WayIn(Part):
    """A walk to a protected area, and how likely it is to raise the alarm."""

    start: str = said("Where it starts: an approach, or a side of the known ground.")
    figure: Figure = said("Who walks.")
    speed_mps: float = told("m/s", "Of the walk.")
    length_m: float = told("m", "In plan.")
    time_s: float = told("s", "For the whole of it.")
    expected_pulses: float = told("pulses", "To be expected along it, with the edges of zones spread evenly.")
    alarm_chance: float = told("chance", "That it raises the alarm: a model's, not a measured one.")
    alarm_as_set: RouteAlarm | None = said(
        "The alarm of the same walk with the zones exactly as they are set.", "none is raised"
    )
    line: Line = told("m", "Its corners, [x, y] each.")


class Shortest(Part):
    """The shortest clear route, which may run close by held ground."""

    length_m: float = told("m", "In plan.")
    line: Line = told("m", "Its corners, [x, y] each.")


class ClearRoute(Part):
    """A route that never touches ground held by both layers, as far from it as can be."""

    length_m: float = told("m", "In plan.")
    berth_m: float | None = told(
        "m", "How far its middle keeps from the nearest held ground.", "no ground is held at all"
    )
    into_m: float = told("m", "How deep into the area clear ground can be followed, from its outline.")
    line: Line = told("m", "Its corners, [x, y] each.")
    shortest: Shortest = said("The shortest clear route of all.")


class PlaceOn(Part):
    """A place."""

    x: X
    y: Y


class LeastHeld(Part):
    """Where no route is clear: the one that touches held ground for the shortest way."""

    length_m: float = told("m", "In plan.")
    held_m: float = told("m", "Walked touching held ground.")
    first_held: PlaceOn = said("Where it first touches held ground.")
    unseen_to_m: float = told("m", "How near to the area clear ground can be followed from outside.")
    line: Line = told("m", "Its corners, [x, y] each.")


class Routes(Part):
    """The ways to one protected area; a part `routes` of a study has one for each."""

    area: str = said("Name of the protected area.")
    start: str = said("Where the least likely walk starts, or where a walk was looked for.")
    least_likely: WayIn | None = said(
        "The walk to the area's edge that is least likely to raise the alarm.", "nobody can walk there"
    )
    much_shorter: WayIn | None = said(
        "The least likely of those to its edge that are much shorter: by a third, and by 10 m.",
        "there is none, or nobody can walk there",
    )
    least_likely_to_middle: WayIn | None = said(
        "The same to the ground deepest within it that can be walked to.", "nobody can walk there"
    )
    much_shorter_to_middle: WayIn | None = said(
        "The least likely of those there that are much shorter.", "there is none, or nobody can walk there"
    )
    clear: ClearRoute | None = said("A clear route.", "there is none, or nobody can walk there")
    least_held: LeastHeld | None = said(
        "The way over least held ground.", "there is a clear route, or nobody can walk there"
    )
    words: str = said("The same as sentences.")


class Animal(Figure):
    """What one animal makes of an option."""

    alarm_m2: float = told("m2", "Ground on which it raises the alarm (breaks what a person has to break).")
    nearest_m: float | None = told(
        "m", "Plan distance from the nearest unit to such ground.", "there is none"
    )


class Crawling(Figure):
    """Ground on which a person who crawls is not noticed and one upright is."""

    upright: Figure = said("Who is noticed walking upright.")
    unnoticed_m2: float = told("m2", "Ground that holds the one upright and not the one who crawls.")
    unnoticed_protected_m2: float = told("m2", "Of it, what is protected, each cell once.")
    nearest_m: float | None = told(
        "m", "Plan distance from the nearest unit to such ground.", "there is none"
    )


class PastBoundary(Part):
    """Ground beyond the boundary in the upper layer of any unit."""

    within_range: float = told(
        "m2", "A person breaks it within `max_range_m`, on a road the larger of a person and a vehicle."
    )
    on_past_range: float = told(
        "m2", "A vehicle breaks it on past that; what counts within range is left out."
    )
    by_microwave: float = told_part(
        "m2", "A microwave reaches such a figure, in the layer or not; there where a unit has one."
    )


class LandsOn(Part):
    """What the axis of a layer ends on; of bearings past the boundary alone where one is drawn."""

    what: Literal["nothing", "ground", "solid", "foliage", "end of the known ground"] = said("What it is.")
    solid: str | None = said("Name of the solid.", "it is no solid")
    arc_deg: float = told("deg", "Arc of bearings that end there.")
    nearest_m: float = told("m", "Slant distance from the unit.")
    farthest_m: float = told("m", "Slant distance from the unit.")


class UpperLayer(Part):
    """The upper layer of one head, or of each stretch of it that is left open, followed past own land."""

    unit: str = said("Name of the unit.")
    head: int = told("number from 1", "Head of the unit, in the type's order.")
    layer: str = said("Name of the layer.")
    max_range_m: float = told("m", "Slant distance out to which the type is rated.")
    followed_to_m: float = told("m", "Slant distance to which the layer is followed: three times that.")
    axis_past_within_range_m: float | None = told(
        "m", "Farthest that its axis runs past the boundary within range, in plan.", "no boundary is drawn"
    )
    layer_past_within_range_m: float | None = told(
        "m", "The same of its axis and its two edges.", "no boundary is drawn"
    )
    layer_past_on_past_range_m: float | None = told(
        "m", "The same on past its range, counted from there.", "no boundary is drawn"
    )
    known_ground_ends_m: float | None = told(
        "m", "Nearest slant distance at which it leaves the known ground.", "it does not"
    )
    lands_on: list[LandsOn] = said("Widest arc first.")


class Piece(Part):
    """One piece of ground of others."""

    name: str = said("As the site file says.")
    kind: Literal["road", "neighbour", "other"] = said("As the site file says.")
    keep_out: bool = said("As the site file says.")
    within_range_m2: float = told(
        "m2", "Of it in the upper layer of any unit within range, for a person or, on a road, a vehicle."
    )
    on_past_range_m2: float = told("m2", "Of it only on past range, where a vehicle is sensed.")
    nearest_m: float | None = told(
        "m", "Plan distance from a unit to the nearest such ground.", "there is none"
    )
    by_microwave_m2: float = told_part(
        "m2", "Of it where a microwave reaches such a figure; there where a unit has one."
    )


class MaskCost(Part):
    """What a mask would cost an option, judged with it: of protected ground, or of all where none is."""

    held_m2: float = told("m2", "Held by both layers as the option is set.")
    lost_m2: float = told("m2", "Of that, no longer held with the mask.")


class ZoneMask(Part):
    """Zones of one head to be masked."""

    unit: str = said("Name of the unit.")
    head: int = told("number from 1", "Head of the unit, in the type's order.")
    masked: list[int] = told("number from 1", "Zones, as the site file's `masked` takes them.")


class KeepOff(Part):
    """What would have to be masked so that nobody on some ground breaks an upper layer within its range."""

    ground: str | None = said("Name of a piece to keep out of.", "all ground past the boundary")
    masks: list[ZoneMask] = said("Head by head.")
    cost: MaskCost = said("What that would cost the option.")
    words: str = said("The same as a sentence.")


class Beyond(Part):
    """Part `beyond` of a study: where upper layers run past own land."""

    has_boundary: bool = said("Whether own land is drawn.")
    farthest_within_range_m: float | None = told(
        "m",
        "Farthest that any upper layer runs past the boundary within range, in plan.",
        "no boundary is drawn",
    )
    farthest_on_past_range_m: float | None = told(
        "m", "The same on past range, counted from there.", "no boundary is drawn"
    )
    past_boundary_m2: PastBoundary | None = told(
        "m2", "Ground beyond the boundary in an upper layer.", "no boundary is drawn"
    )
    layers: list[UpperLayer] = said("Of each head of each unit.")
    pieces: list[Piece] = said("Every piece of ground of others that is drawn.")
    keep_off: list[KeepOff] = said(
        "For each piece to keep out of, and for all ground past the boundary, where somebody there breaks an"
        " upper layer within its range."
    )
    notes: list[str] = said("What a reader has to know besides.")


class InLayer(Part):
    """One nuisance thing in one layer of one head; seen and near ones first."""

    name: str = said("Of the thing.")
    kind: Literal["vent", "flue", "window", "road", "water", "foliage", "other"] = said(
        "As the site file says."
    )
    unit: str = said("Name of the unit.")
    head: int = told("number from 1", "Head of the unit, in the type's order.")
    layer: str = said("Name of the layer.")
    distance_m: float = told(
        "m", "Slant distance to the nearest part in the layer; of what is seen, where any is."
    )
    bearing_deg: float = told("deg", "To the middle of what lies in the layer.")
    is_within_range: bool = said("Whether that distance is within `max_range_m`.")
    is_seen: bool = said("False where ground and solids hide all of it.")
    zone: int = told("number from 1", "Zone that it fills most, from the left as the unit looks out.")
    zone_share: float = told("share", "Of that zone, if nothing stood between.")
    zone_share_seen: float = told("share", "Most that is seen of it in one zone.")
    mask: list[int] = told(
        "number from 1",
        "Zones of the head, as the site file's `masked` takes them, that hold all that is seen of it; empty"
        " where nothing is.",
    )
    mask_cost: MaskCost | None = said("What masking them would cost the option.", "nothing of it is seen")
    advice: str = said("What to do about it.")
    advice_source: str = said("Where the advice comes from.")


class BorrowedCondition(Part):
    """The contrast that the marks of fill are taken to be for."""

    difference_k: float = told("K", "Figure over background.")
    ground_c: float = told("°C", "Background.")
    contrast_w_m2_sr: float = told("W/m2/sr", "Of the two, 8 to 14 micrometres.")
    source: str = said("Where it comes from.")


class ByGround(Part):
    """What is held at one temperature of the ground."""

    ground_c: float = told("°C", "Of the ground.")
    contrast_w_m2_sr: float = told("W/m2/sr", "Figure less ground; negative where the figure shows colder.")
    ratio: float = told("ratio", "Size of the contrast over that of the borrowed condition.")
    both_m2: float = told("m2", "All ground held by both layers.")
    protected_share: float | None = told("share", "Of the protected ground, so held.", "nothing is protected")


class Lost(Part):
    """Between which temperatures of the ground a share of the held ground is lost."""

    share: float = told("share", "At least so much of what is held at full contrast is lost.")
    from_c: float | None = told("°C", "From here on.", "from the coldest ground looked at")
    to_c: float | None = told("°C", "Up to here.", "to the hottest ground looked at")


class Heat(Part):
    """Part `heat` of a study."""

    figure_c: float = told("°C", "Apparent surface of the figure.")
    emissivity: float = told("ratio", "Of the figure.")
    ground_emissivity: float = told("ratio", "Of the ground.")
    sky_below_k: float = told("K", "How much colder than the ground the sky shows.")
    borrowed_condition: BorrowedCondition = said("What contrasts are measured by.")
    by_ground: list[ByGround] = said("At each temperature of the site file's `grounds`.")
    lost: list[Lost] = said("Empty where nothing is held at any temperature.")
    words: list[str] = said("The same as sentences.")


class Season(Part):
    """A part of the year, both days included."""

    first: date = said("First day.")
    last: date = said("Last day, never before the first.")


class SunSpan(Season):
    """Days between which the sun comes in view every so often, and between which hours."""

    from_: str = Field(
        alias="from", pattern=r"^\d\d:\d\d$", description="Earliest clock time of all these days, HH:MM."
    )
    to: str = Field(pattern=r"^\d\d:\d\d$", description="Latest clock time; midnight at the end is 24:00.")
    longest_min: int = told("min", "Longest stay of one day.")


class SunLayer(Part):
    """The sun before one layer of one head."""

    unit: str = said("Name of the unit.")
    head: int = told("number from 1", "Head of the unit, in the type's order.")
    facing_deg: float = told("deg", "Bearing of the head.")
    layer: str = said("Name of the layer.")
    in_view_min: int = told("min", "In the year, with the sun in view.")
    hidden_min: int = told("min", "In the year, with the sun up and where it would be in view, but hidden.")
    seasons: list[Season] = said(
        "When in the year the sun comes in view: none, one, or two where the season runs over New Year; a"
        " pause of 14 days or less ends none."
    )
    spans: list[SunSpan] = said("The same in full: days and hours.")


class Sun(Part):
    """Part `sun` of a study."""

    placed: bool = said("False where the site has no CRS, so that nobody knows where the sun stands.")
    year: int = told("year", "That was looked at.")
    time_zone: str = said("Of the clock times, a name of the time zone database.")
    near_deg: float = told("deg", "How near to a layer the sun counts.")
    least_light_share: float = told("share", "Foliage that lets through less hides the sun.")
    step_min: int = told("min", "In which the sun was looked at.")
    layers: list[SunLayer] = said("Of each head of each unit; empty where the sun cannot be placed.")
    words: list[str] = said("The same as sentences.")


class AlongWall(Part):
    """A walk along the wall of a mount, half a body's breadth from where its units are, up to them."""

    units: list[str] = said("Names of those on the mount.")
    from_deg: float = told("deg", "Bearing from the mount to where the walk comes from.")
    near_m: float = told(
        "m", "Along the wall from the mount when the option raises the alarm; 0 where it does not."
    )
    is_noticed: bool = said("Whether it does.")


class CloseIn(Part):
    """Part `close-in` of a study: what is left open close to the units, the least good of them."""

    between_heads_m2: float | None = told(
        "m2",
        "Known ground within the maximum range in a wedge between heads on a mount, in the arc and range of"
        " none: under `any` of no unit, under `all` of none on that mount.",
        "no mount has two heads",
    )
    under_unit_m: float = told(
        "m",
        "Out to how far from a unit, over the bearings of its open arcs, ground is not held that a layer"
        " passes over close in; 0 is nowhere.",
    )
    under_unit: str | None = said("That unit.", "there is none")
    along_wall_m: float | None = told(
        "m", "Least `near_m` of the walks along walls.", "no unit is on a mount that names its wall"
    )
    along_wall: list[AlongWall] = said("From both sides of each mount on a wall that has a unit.")
    words: list[str] = said("The same as sentences.")


class FedUnit(Part):
    """A unit with the voltage that its cables leave it."""

    name: str = said("Name of the unit.")
    mount: str = said("Its mount.")
    fit: Literal["fits", "too low", "too high", "cannot be fed", "no run", "not stated"] = said(
        "Whether it gets what its type allows; `not stated`: its type states no supply."
    )
    rest_v: float | None = told("V", "With mains, all units at rest.", "nothing can be said of it: see `fit`")
    alarm_v: float | None = told(
        "V", "With the panel at its lowest, all units in alarm.", "nothing can be said of it: see `fit`"
    )
    allowed_v: tuple[float, float] | None = told(
        "V", "Lowest and highest that its type allows.", "its type states no supply, or no run ends there"
    )


class CableRun(Part):
    """A cable that feeds something, as it is loaded with the panel at its lowest and all units in alarm."""

    start: str = Field(alias="from", description="Where it starts: `panel`, or where another run ends.")
    to: str = said("Where it ends.")
    length_m: float = told("m", "Of the cable, over the ground, with what is added to it.")
    unknown_m: float = told("m", "Of that, what lies over ground that is not known, taken level.")
    cable: str = said("What is asked for by.")
    resistance: float = told("ohm", "Of both its cores, as warm as they are.")
    copper_c: float = told("°C", "Of its copper.")
    units: list[str] = said("Names of the units that it feeds.")
    milliamps: float | None = told("mA", "That it carries.", "the runs cannot carry what is drawn")
    drop_v: float | None = told("V", "Lost over both its cores.", "the runs cannot carry what is drawn")
    thinnest: float | None = told(
        "mm2",
        "Least size of its cores with which its units are fed, the other runs as they are.",
        "no size of the table does",
    )


class SupplyBattery(Part):
    """What the battery has to carry and to be; the panel's own current is in it."""

    rest: float = told("mA", "At rest.")
    alarm: float = told("mA", "In alarm.")
    needed: float = told("Ah", "That a new battery has to have.")
    given: float | None = told("Ah", "That the site file says is there.", "it says none")
    rest_hours: float = told("h", "At rest that it has to last.")
    alarm_hours: float = told("h", "In alarm that it has to last after them.")
    ageing: float = told("ratio", "Of a new battery to what an old one has to have; in `needed`.")
    coldest_c: float = told("°C", "Coldest that it has to work in.")
    colder: float = told("ratio", "Of what it has to have in that cold to the same at 25 °C; in `needed`.")


class SupplyChange(Part):
    """One thing that mends the supply by itself."""

    kind: Literal[
        "run", "all runs", "two cores", "volts", "less volts", "panel", "battery", "feed", "none"
    ] = said("What is changed; `feed` is a run to be laid, `none` says that nothing of these does.")
    run: str | None = said("The run that ends there.", "it is about no run")
    mm2: float | None = told("mm2", "Size of its cores.", "no size is changed")
    volts: float | None = told("V", "Of the panel.", "it is not about volts")
    milliamps: float | None = told("mA", "Of the panel.", "it is not about the panel's current")
    ah: float | None = told("Ah", "Of the battery.", "it is not about the battery")


class Material(Part):
    """Something to buy."""

    name: str = said("What it is.")
    pieces_count: int | None = told("count", "How many of it.", "it is cable")
    length_m: float | None = told("m", "How much cable.", "it is none")
    price: float | None = told("money", "Of all of it.", "it is not priced")


class Circuit(Part):
    """The supply of an option as `[supply]` of the site file has it."""

    holds: bool = said("Whether all that is stated fits.")
    units: list[FedUnit] = said("Every unit, in the option's order.")
    runs: list[CableRun] = said("Every run that feeds something, in the order of the site file.")
    rest: float | None = told(
        "mA", "From the panel, all units at rest.", "the runs cannot carry what is drawn"
    )
    alarm: float | None = told(
        "mA",
        "The same with the panel at its lowest and all units in alarm.",
        "the runs cannot carry what is drawn",
    )
    panel: float | None = told("mA", "That the panel can give.", "the site file does not say it")
    battery: SupplyBattery | None = said(
        "The battery.", "no hours without mains are given, or the runs cannot carry what is drawn"
    )
    thinnest: float | None = told(
        "mm2",
        "The least size that does for all runs alike.",
        "no size of the table does, or no run feeds any",
    )
    changes: list[SupplyChange] = said("What mends it, each by itself; empty where it holds.")
    materials: list[Material] = said("What is bought.")
    words: list[str] = said("The same as sentences.")
    caution: str = said("What has to be told with it.")


class Outlay(Part):
    """What the units of an option cost and draw together, and how they are fed."""

    price: float | None = told(
        "money", "Of all units, fixed, in the money of their types.", "a type does not state its price"
    )
    milliamps: float | None = told("mA", "Drawn by all units.", "a type does not state its supply")
    volts: tuple[float, float] | None = told(
        "V",
        "Lowest and highest that suit all units.",
        "no voltage suits all, or a type does not state its supply",
    )
    circuit: Circuit = part("How they are fed, where the site file has `[supply]`.")


class TapedPlace(Part):
    """A place as it lies from a mark, a mount or a corner of something drawn."""

    name: str = said("Of the mark, the mount or what has the corner.")
    part: str | None = said("Which corner or end of it.", "it is a mark or a mount")
    level_m: float = told("m", "Between them in plan.")
    tape_m: float = told("m", "Between them along a straight line from ground to ground, as a tape reads.")
    bearing_deg: float = told("deg", "From there to the place, clockwise from true north.")
    paces_count: int = told("count", "The same in paces of 0.75 m.")


Shows = Literal["lights", "stays dark"]


class WalkPoint(Part):
    """One short walk past a place."""

    number: int = told("number from 1", "On the sheet.")
    unit: str = said("Whose indicator is looked at.")
    x: X
    y: Y
    towards_deg: float = told("deg", "Which way it goes, clockwise from true north.")
    length_m: float = told("m", "Half of it before the place, half after.")
    figure: str = said("Who walks.")
    figure_height_m: float = told("m", "How high they are, as they walk.")
    expect: Shows = said("What the indicator should do.")
    proves: Literal["held", "edge", "dead", "way in", "wedge", "wall", "leaves", "open", "hangs"] = said(
        "What it is there for; of points read back `held`."
    )
    name: str | None = said("Of the way in, or of the mount on the wall.", "it is there for something else")
    from_place: TapedPlace = said("Where it lies.")


class WalkedPoint(Part):
    """A point that was walked."""

    number: int = told("number from 1", "On the sheet.")
    seen: Shows = said("What the indicator did.")
    is_as_told: bool = said("Whether that is what it should do.")


class WalkCause(Part):
    """Something that may be off, with how likely it is by what was seen."""

    cause: Literal[
        "as set", "height", "bearing", "tilt", "roll", "range", "head", "leaves", "ground", "unit"
    ] = said(
        "What is off; `as set`: nothing is, by more than its standard deviation; `unit`: it lights nowhere."
    )
    chance: float = told("chance", "How likely it is; of all causes together 1.")
    height_m: tuple[float, float, float] | None = told(
        "m", "Too high by: 5 %, the middle and 95 % of its own chance.", "it is another cause"
    )
    angle_deg: tuple[float, float, float] | None = told(
        "deg",
        "The same of bearing (clockwise), tilt (nose down) or roll (right side down).",
        "it is another cause",
    )
    range_m: float | None = told("m", "The range setting it has instead.", "it is another cause")
    head: int | None = told("number from 1", "The head that is dead.", "it is another cause")
    leaves_ratio: tuple[float, float, float] | None = told(
        "ratio", "Leaf area by what was read: 5 %, the middle and 95 %.", "it is another cause"
    )


class WalkedUnit(Part):
    """What the answers say of one unit."""

    name: str = said("Name of the unit.")
    walked: list[WalkedPoint] = said("Its points that were walked.")
    left_out: list[int] = told("number from 1", "Its points that were not.")
    causes: list[WalkCause] = said("Everything that may be off, the likeliest first.")
    is_told: bool = said("Whether the first is sure enough to be named.")
    next: list[WalkPoint] = said("What to walk next to tell more; empty where it is told.")
    words: str = said("The same as a sentence.")


class WalkReading(Part):
    """The answers of a walk test, read."""

    walked_count: int = told("count", "Points that were walked.")
    as_told_count: int = told("count", "Points of them at which the indicator did what it should.")
    units: list[WalkedUnit] = said("Every unit of the option.")


class WalkTest(Part):
    """The walk test of an option: its points, and what came of them."""

    points: list[WalkPoint] = said("As they are walked.")
    reading: WalkReading | None = said("What was seen.", "it is the sheet to be walked")
    words: list[str] = said("The same as sentences.")
    caution: str = said("What has to be told with it.")


class SlackM(Part):
    """How far a length may be off to each side before too much is lost."""

    less_m: float = told("m", "Lower, or shorter; not negative.")
    more_m: float = told("m", "Higher, or longer; not negative.")
    less_open: bool = said("True where no more was looked at: the limit, or the last setting that there is.")
    more_open: bool = said("The same to the other side.")


class SlackDeg(Part):
    """How far an angle may be off to each side before too much is lost."""

    less_deg: float = told("deg", "To the left, or nose up, or right side up; not negative.")
    more_deg: float = told("deg", "To the right, or nose down, or right side down; not negative.")
    less_open: bool = said("True where no more was looked at: the limit, or the end of the swivel.")
    more_open: bool = said("The same to the other side.")


class HeadSlack(SlackM):
    """The same of the range setting of one head."""

    head: int = told("number from 1", "Head of the unit, in the type's order.")


class Settings(Part):
    """The tolerance of each setting, the others as they are."""

    height: SlackM = said("Of height.")
    bearing: SlackDeg = said("Of bearing.")
    tilt: SlackDeg = said("Of tilt.")
    roll: SlackDeg = said("Of roll.")
    range: SlackM = part(
        "Of the range setting: by how much the shortest and longest that will do differ; not there where"
        " every head has its own."
    )


class UnitTolerance(Part):
    """How far each setting of one unit may be off."""

    unit: str = said("Name of the unit.")
    counted_m2: float = told(
        "m2", "Ground that the whole option holds and that may be lost: protected ground, or all."
    )
    settings: Settings | None = said("Each setting.", "the option holds nothing to lose")
    range_of_heads: list[HeadSlack] = part("The range setting of each head that has its own, where one has.")


class HeightOnSlope(Part):
    """How the ground lies at the foot of a pole, and what a plumb tape beside it reads."""

    fall_share: float = told("share", "Fall of the ground: 0.12 is 12 %.")
    fall_deg: float = told("deg", "The bearing it falls towards.")
    beside_m: float = told("m", "How far beside the pole the tape hangs.")
    uphill_m: float = told("m", "From the ground uphill of the pole to the middle of the unit's height.")
    downhill_m: float = told("m", "From the ground downhill of it.")


class Magnetic(Part):
    """What a compass shows there."""

    model: str = said("The World Magnetic Model by its year.")
    on: date = said("The day it is for.")
    compass_deg: float = told("deg", "What a compass shows along the unit's bearing.")
    declination_deg: float = told("deg", "What is added to that for true north; east is positive.")
    error_deg: float = told("deg", "The model's own standard deviation; steel near by is not in it.")
    horizontal_nt: float = told("nT", "What turns the needle.")


class AimMark(Part):
    """A mark, a mount or a corner of something drawn, beside which the unit looks."""

    name: str = said("As the site file says.")
    part: str | None = said("Which corner or end of it.", "it is a mark or a mount")
    distance_m: float = told("m", "From the unit, in plan.")
    bearing_deg: float = told("deg", "From the unit.")
    right_deg: float = told("deg", "How far the unit faces to the right of it; negative is left.")
    right_m: float = told("m", "The same at the mark, across the line to it.")


class FixedHead(Part):
    """One head as it is set."""

    bearing_deg: float = told("deg", "Where it looks.")
    pan_deg: float = told("deg", "Within the housing, clockwise.")
    range_m: float = told("m", "Its range setting.")
    pulses: int = told("pulses", "That an alarm takes.")
    fill: list[float] = told("share", "Of each layer, that breaks it.")
    masked: list[int] = told("number from 1", "Zones that are masked, from the left as it looks out.")
    masked_deg: list[tuple[float, float]] = told("deg", "Arcs that are masked, right of its middle.")


class HeadAim(Part):
    """Where the middle of one head looks, on the ground."""

    bearing_deg: float = told("deg", "Where it looks.")
    staff_m: float | None = told("m", "How far off a staff is stood.", "no staff meets the lower axis")
    lower_m: float | None = told(
        "m", "How high the lowest axis passes it, above the ground there.", "no staff meets the lower axis"
    )
    upper_m: float | None = told("m", "The same of the uppermost axis.", "no staff meets the lower axis")
    lands_m: float | None = told(
        "m", "How far off the lowest axis comes to the ground.", "it does not within the range"
    )
    lights_m: list[tuple[float, float]] = told("m", "Where a walk across lights its indicator: from, to.")


class Fixing(Part):
    """All that fixes one unit."""

    name: str = said("Name of the unit.")
    x: X
    y: Y
    coordinates: str = said("The same in the coordinates of the site file.")
    lonlat: LonLat | None = told("deg", "The same as longitude and latitude.", "the site has no CRS")
    tapes: list[TapedPlace] = said("The two marks or mounts that fix it best by tape, where there are two.")
    paced: TapedPlace | None = said("From the nearest one.", "there is no other mark or mount")
    height_m: float = told("m", "Above the ground at the foot.")
    height_on_slope: HeightOnSlope | None = said("How the ground lies there.", "it is not known")
    bearing_deg: float = told("deg", "True.")
    magnetic: Magnetic | None = said("By compass.", "the site has no CRS, or no day was given")
    mark: AimMark | None = said("What it looks at.", "nothing that can be named is ahead of it")
    tilt_deg: float = told("deg", "Nose down is positive.")
    roll_deg: float = told("deg", "Right side down is positive.")
    level_mm: float = told("mm", "How much lower the front end of a level of 100 mm is.")
    heads: list[FixedHead] = said("Its heads as they are set.")
    aims: list[HeadAim] = said("Its heads as they look.")
    tolerances: UnitTolerance = said("How far each setting may be off before 5 % is lost.")
    words: list[str] = said("The same as sentences.")
    cautions: list[str] = said("What has to be told with it.")


class WalkTested(Part):
    """A walk test that was done, as `[[walk_tested]]` of the site file has it."""

    on: date = said("The day.")
    points_count: int = told("count", "Points that were walked.")
    as_told_count: int = told("count", "Points of them at which the indicator did what it should.")


class Wedge(Part):
    """A gap between two heads on a mount, in plan, as if they were level."""

    mount: str = said("Name of the mount.")
    bearing_deg: float = told("deg", "Of its middle, clockwise from true north.")
    width_deg: float = told("deg", "From the one arc to the other: up to 45 degrees.")


class InReach(Part):
    """Ground within the arc and range of a unit, by one layer: of several units of the one that decides."""

    layer: str = said("Name of the layer, or `microwave`.")
    area_m2: float = told("m2", "All of it: masked arcs and ground not known are left out.")
    broken_m2: float = told("m2", "Of that, where a figure breaks the layer.")


class HeldBeside(Part):
    """Ground that an option and the best one hold with both layers."""

    both_m2: float = told("m2", "Held by either.")
    option_alone_m2: float = told("m2", "Held by this option and not by the best one.")
    best_alone_m2: float = told("m2", "Held by the best one and not by this option.")


class BesideBest(HeldBeside):
    """The same of all ground, and of protected ground."""

    protected: HeldBeside | None = said(
        "Of protected ground; that of two areas counts once.", "nothing is protected"
    )


class Option(Part):
    """One option, judged; the parts of a study stand in it where they were asked for."""

    model_config = ConfigDict(
        json_schema_extra={
            "dependentRequired": {
                "animals": ["crawling"],
                "crawling": ["animals"],
                "beyond": ["nuisances"],
                "nuisances": ["beyond"],
            }
        }
    )

    name: str = said("As the site file says, or what a search found it as.")
    combine: Literal["any", "all"] = said("Whether any or all of its units have to hold a piece of ground.")
    detectors: list[Detector] = said("Its units.")
    protected_share: float | None = told(
        "share",
        "Of all protected ground, known or not, by plain area, held by both layers; ground of two areas"
        " counts in both.",
        "nothing is protected",
    )
    weighted_share: float | None = told(
        "share",
        "The same by weight: what options are ranked by.",
        "nothing is protected, or all weights are equal",
    )
    area_m2: VerdictAreas = told("m2", "Known ground by verdict.")
    protect: list[Protected] = said("Every protected area, in the order of the site file.")
    causes: Causes = told(
        "m2",
        "All ground on which a layer is not broken, by layer and by what its axis meets first on the way"
        " there, or where it meets nothing by what takes most of the band; causes of 0 are left out. Under"
        " `microwave` all ground that a unit's microwave does not reach.",
    )
    protected_lost_m2: Causes | None = told(
        "m2",
        "The same of protected ground that is not held; under `microwave` where all layers are broken there.",
        "nothing is protected",
    )
    taken_by: dict[str, dict[str, float]] = told(
        "m2",
        "Of all ground, by layer, or `microwave`, and by the name of the solid or foliage that takes it, most"
        " first: what `causes` has as hidden by a solid and by foliage. Things of one name count together.",
    )
    in_reach: list[InReach] = said("Ground within arc and range, layer by layer, and a microwave's.")
    beside_best: BesideBest | None = said(
        "What it holds beside the option that is ranked first.", "it is that option"
    )
    seen_from: list[SeenFrom] = said(
        "What is seen of its units from each walk, way in and mark on known ground."
    )
    hangs_on_leaves_m2: float = told(
        "m2", "Ground whose verdict is another without any foliage; `leaves.tif` shows it."
    )
    unknown_m2: float | None = told(
        "m2",
        "Protected ground that is not known, which counts as not held; ground of two areas counts in both.",
        "nothing is protected",
    )
    scenarios: list[UnderScenario] = said(
        "The option on the site as each scenario of the site file has it; of a search none."
    )
    warnings: list[str] = said("Sentences, those of the survey with them.")
    supply: Outlay = part(
        "What its units cost and draw, where their types state either for all of them or the site file has"
        " `[supply]`."
    )
    wedges: list[Wedge] = part("Gaps between its heads on one mount, where there are any.")
    walk_tested: WalkTested = part("Its walk test, where the site file has `[[walk_tested]]` for it.")
    fixing: list[Fixing] = part(
        "Of `terrain3d sheet`, for the option that was asked for, and of a pack, for the best."
    )
    walktest: WalkTest = part(
        "Of `terrain3d walktest`, for the option that was asked for, and of a pack, for the best."
    )
    walks: Walks = part("Part `walks` of a study.")
    routes: list[Routes] = part("Part `routes` of a study: one for each protected area.")
    animals: list[Animal] = part("Part `animals` of a study: lowest animal first.")
    crawling: Crawling = part("Of part `animals` too: a person who crawls.")
    beyond: Beyond = part("Part `beyond` of a study.")
    nuisances: list[InLayer] = part("Of part `beyond` too: things that may trouble a unit.")
    close_in: CloseIn = part("Part `close-in` of a study.")
    heat: Heat = part("Part `heat` of a study.")
    sun: Sun = part("Part `sun` of a study.")


class Reason(Part):
    """What costs an option most of the ground that the best one holds and it does not."""

    option: str = said("Name of the option that is not the best.")
    layer: str | None = said("Name of the layer.", "it holds as much, or no cause takes 0.5 m2")
    cause: CauseWords | None = said("The cause.", "as of `layer`")
    lost_m2: float | None = told("m2", "Plain ground that the cause takes.", "as of `layer`")
    name: str | None = said(
        "Of the drawn solid or foliage that takes most of that ground.", "none takes half of it"
    )
    of_m2: float | None = told(
        "m2", "Plain ground that the best one holds and it does not, all of it.", "as of `layer`"
    )


class Spread(Part):
    """Standard deviations that the draws were made with."""

    ground_m: float = told("m", "Of the survey's heights.")
    ground_source: str = said("Where that comes from.")
    correlation_m: float = told("m", "Distance over which they err alike.")
    height_m: float = told("m", "Of a unit's height.")
    bearing_deg: float = told("deg", "Of a unit's bearing.")
    tilt_and_roll_deg: float = told("deg", "Of a unit's tilt, and of its roll.")


class RankingHolds(Part):
    """How firmly the options rank."""

    best_share: float = told("share", "Of draws in which the best option stays the best.")
    order_share: float = told("share", "Of draws in which all options keep their order.")
    words: str | None = said("The same as a sentence.", "there is one option only")


class Limits(Part):
    """How far off each setting was looked at, to each side; range has the settings of its type."""

    height_m: float = told("m", "Of height.")
    bearing_deg: float = told("deg", "Of bearing.")
    tilt_deg: float = told("deg", "Of tilt.")
    roll_deg: float = told("deg", "Of roll.")


class OfDraws(Part):
    """One amount over all draws."""

    middle: float = told("share", "The median.")
    worst_twentieth: float = told("share", "Reached or bettered in 95 % of the draws.")
    mean: float = told("share", "The mean.")


class AreaOfDraws(Part):
    """One area over all draws."""

    middle: float = told("m2", "The median.")
    worst_twentieth: float = told("m2", "Reached or bettered in 95 % of the draws.")
    mean: float = told("m2", "The mean.")


class ChanceAreas(Part):
    """Ground by the share of draws in which both layers hold it."""

    at_least_95_percent: float = told("m2", "In 95 % of the draws or more.")
    at_least_half: float = told("m2", "In half of them or more.")
    above_none: float = told("m2", "In any of them.")


class OptionDoubt(Part):
    """How one option fares over the draws."""

    name: str = said("Of the option.")
    protected_share: OfDraws | None = told(
        "share", "Of the protected ground, held by both layers.", "nothing is protected"
    )
    both_m2: AreaOfDraws | None = told("m2", "All ground held by both layers.", "some ground is protected")
    words: str = said("The same as a sentence.")
    best_share: float = told("share", "Of draws in which it is the best option.")
    chance_m2: ChanceAreas = told("m2", "Ground by how often it is held.")
    tolerance: list[UnitTolerance] = said("Of each unit.")


class Doubt(Part):
    """Part `doubt` of a study: the options judged again on sites that are a little off."""

    draws: int = told("count", "How many.")
    seed: int = told("any whole number", "Of the site file.")
    spread: Spread = said("How far off they are.")
    ranking_holds: RankingHolds = said("How firmly the options rank.")
    tolerance_loss_share: float = told("share", "Of the held ground that may be lost, for every tolerance.")
    tolerance_limits: Limits = said("How far off settings were looked at.")
    options: list[OptionDoubt] = said("In the order of the site file.")


class Space(Part):
    """What was searched, besides the mounts and their heights."""

    types: list[str] = said("Names that the types give themselves.")
    bearing_step_deg: float = told("deg", "From one bearing to the next.")
    tilts_deg: list[float] = told("deg", "Every tilt.")
    ranges_m: list[float] | None = told(
        "m", "Range settings, of those that a type has.", "all that each type has"
    )


class AimOff(Part):
    """How far the aim may be off for ground still to count as surely held, to each side."""

    bearing_deg: float = told("deg", "Of bearing.")
    tilt_deg: float = told("deg", "Of tilt.")


class Current(Part):
    """Electric current."""

    milliamps: float = told("mA", "All that is meant together.")


class LeastDrawing(Part):
    """The unit that draws least of those that come into question, where even that is too much."""

    type_in_site_file: str = said("Its type as the site file names it.")
    milliamps: float = told("mA", "What one draws.")


class SearchLimits(Part):
    """What was asked for."""

    most_units: int | None = told("count", "Units of a set.", "no limit: money or a share to hold decides")
    budget: float | None = told("money", "In the money of the types' prices.", "no limit")
    hold_share: float | None = told(
        "share",
        "Of the ground that counts, by weight, to be held at least cost.",
        "as much as can be is held",
    )
    apart: bool = said("Whether two units of a set may not see each other.")
    current: Current = part("Most that a set may draw, where that is limited.")


class FoundUnit(Part):
    """One unit of a set; the whole of it stands in `options`."""

    name: str = said("Of the unit, as in its option.")
    mount: str = said("Name of the mount.")
    type: str = said("The name that its type gives itself.")
    type_in_site_file: str = said("The type as a site file names it: built in, or a path.")
    height_m: float = told("m", "Above the ground at its mount.")
    bearing_deg: float = told("deg", "Facing, clockwise from true north.")
    tilt_deg: float = told("deg", "Nose down positive.")
    range_m: float = told("m", "Range setting.")


class Aimed(Part):
    """An area by how the units are aimed."""

    surely: float = told("m2", "Held wherever within `search.tolerance` each unit is aimed.")
    aimed_exactly: float = told("m2", "Held with every unit aimed exactly.")


class AimedShare(Part):
    """A share by how the units are aimed."""

    surely: float = told("share", "Held wherever within `search.tolerance` each unit is aimed.")
    aimed_exactly: float = told("share", "Held with every unit aimed exactly.")


class Choice(Part):
    """One set of units."""

    option: str = said("Name of the option that it is.")
    units: list[FoundUnit] = said("Its units.")
    weighted_m2: Aimed = told("m2", "Ground that counts, by weight; all ground where nothing is protected.")
    weighted_share: AimedShare = told("share", "The same as a share of all that counts.")
    protected_share: float | None = told(
        "share", "Of the protected ground, by plain area, surely held.", "nothing is protected"
    )
    slack_deg: float = told("deg", "Least of its units': by how much a bearing may be off with little lost.")
    animal_m2: float = told("m2", "Ground on which a large dog raises the alarm, each unit's summed.")
    price: float | None = told("money", "Of its units.", "a type has no price")
    current: Current = part("What its units draw, where that is limited.")


class Margin(Part):
    """By how much the best set beats the runner-up: one of the three, the one it was chosen by."""

    weighted_m2: float | None = told("m2", "More surely held, by weight.", "a share to hold was given")
    price: float | None = told("money", "Less money.", "it was not chosen by price")
    unit_count: int | None = told("count", "Fewer units.", "it was not chosen by their number")


class Grid(Part):
    """A part of the ground, as it was read."""

    cell_m: float = told("m", "Edge of a cell.")
    bounds_m: tuple[float, float, float, float] = told("m", "West, south, east and north edge, as x and y.")


class Surroundings(Part):
    """What the parts `beyond` and `sun` looked at."""

    ground: Grid = said("Read as for the verdicts, and past them: what upper layers are followed over.")
    far: list[Grid] = said("Around it, for the sun alone: surfaces of the survey, from near to far.")
    doubts: list[str] = said("Sentences about what is looked at here alone.")


class Cheapest(Part):
    """The cheapest unit that comes into question, where even that is beyond the budget."""

    type_in_site_file: str = said("Its type as the site file names it.")
    price: float = told("money", "What one costs, in the unit of the site file's prices.")


class Search(Part):
    """What a search found."""

    settings_judged: int = told("count", "Settings of one unit that were judged.")
    mount_count: int = told("count", "Mounts that were searched.")
    seed: int = told("any whole number", "Of the site file.")
    space: Space = said("What was searched.")
    tolerance: AimOff = said("How far the aim may be off.")
    limits: SearchLimits = said("What was asked for.")
    best: Choice | None = said("The best set.", "nothing fits the budget")
    runner_up: Choice | None = said("The next best that differs.", "there is none")
    best_unit: Choice | None = said("The best unit alone.", "nothing fits the budget")
    margin: Margin | None = said("By how much the best is better.", "there is no runner-up")
    gap_share: float | None = told(
        "share", "What the solver left open over the settings kept; 0 is proved.", "nothing fits the budget"
    )
    gap_all_settings_share: float | None = told(
        "share",
        "What is open over all settings; 0 is proved.",
        "a share to hold was given, or nothing fits the budget",
    )
    cheapest: Cheapest | None = said("What the cheapest unit would cost.", "something fits the budget")
    least_drawing: LeastDrawing = part("What it would draw, where no unit is within `limits.current`.")
    why: str = said("As the top-level `why`.")


class Results(Part):
    """Everything that terrain3d writes into results.json."""

    schema_: Literal["terrain3d/results/2"] = Field(
        alias="schema", description="Which schema the file is of."
    )
    caution: str = said("What has to be told with every number here.")
    site: Site = said("The site as it was read.")
    options: list[Option] = said(
        "In the order of the site file; of a search the best set, the runner-up, the best unit."
    )
    ranking: list[str] = said("Names of the options, best first.")
    why: str = said("Why the first is the best.")
    reasons: list[Reason] = said("What `why` is made of: the runner-up, and the best from other mounts.")
    doubt: Doubt = part("Part `doubt` of a study.")
    surroundings: Surroundings = part("Of the parts `beyond` and `sun` of a study.")
    search: Search = part("Of `terrain3d search` alone.")


def schema_text() -> str:
    """The JSON Schema (draft 2020-12) of a file, as `results.schema.json` beside this module has it."""
    found = _plain(Results.model_json_schema(by_alias=True))
    objects = found.pop("$defs")
    for node in (found, *objects.values()):
        for value in node["properties"].values():
            # pydantic leaves out what the object says of itself in the same words.
            if set(value) == {"$ref"}:
                value["description"] = objects[value["$ref"].rpartition("/")[2]]["description"]
    head = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "results.json of terrain3d, terrain3d/results/2",
    }
    return json.dumps({**head, **found, "$defs": objects}, indent=1, ensure_ascii=False) + "\n"


def _plain(node: Any) -> Any:
    """A schema without the titles and defaults that pydantic makes up from names."""
    if isinstance(node, list):
        return [_plain(below) for below in node]
    if not isinstance(node, dict):
        return node
    kept = {key: below for key, below in node.items() if not (key == "title" and isinstance(below, str))}
    if "default" in kept and kept["default"] is None:
        del kept["default"]
    return {key: _plain(below) for key, below in kept.items()}
