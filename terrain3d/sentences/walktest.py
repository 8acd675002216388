"""What is told of a walk test: each point in words, what differs, what explains it, and what to walk next."""

from terrain3d.fixing.places import Taped
from terrain3d.lengths import given, length, retold, small, small_figure
from terrain3d.sentences.fixing import paced_words
from terrain3d.walktest.explain import Told
from terrain3d.walktest.faults import Cause
from terrain3d.walktest.plan import WalkPoint, WalkTest
from terrain3d.walktest.read import UnitReading, Walked, WalkReading
from terrain3d.walktest.spots import BENT, Proof
from terrain3d.wording import counted, listed

#: Said on every sheet.
HOW_TO_WALK = (
    "Set the unit to walk test, so that its indicator shows each alarm. Let it come to rest before each walk."
    " Walk past the point at an even pace, the way that is told, half the length before it and half after it,"
    " and write down whether the indicator lit."
)
#: Beside its plan.
PLAN_KEY = (
    "On the plan: a black number where the indicator lights, a white one where it stays dark; arrows show"
    " which way, not how far; grey is held, dashes and dots go round protected ground."
)
#: What whoever walks fills in above the points.
FILLED_IN = ("Walked on", "by", "weather, light")
#: Over the columns of its table: how a point is walked, what the indicator should do, what to tick.
TABLE_HEADS = ("Walk", "Indicator", "Did it light?")
WALK_CAUTION = (
    "A walk test shows what happened on that day with that person. Walk again by night, in the cold and in"
    " the heat, and after anything has changed."
)


def proof_words(proof: Proof) -> str:
    """What a walk is there for.

    >>> proof_words(Proof("way in", "the lane")), proof_words(Proof("edge"))
    ('the way in "the lane"', 'the edge of held ground')
    """
    if proof.kind == "way in":
        return f'the way in "{proof.name}"'
    if proof.kind == "wall":
        return f'close in along the wall of "{proof.name}"'
    return {
        "held": "held ground",
        "edge": "the edge of held ground",
        "dead": "ground that no alarm comes from",
        "wedge": "the wedge between heads",
        "leaves": "what hangs on leaves",
        "open": "beyond what is held",
        "hangs": "how the unit hangs",
    }[proof.kind]


def place_words(taped: Taped) -> str:
    """Where a point is.

    >>> place_words(Taped("gate post", 7.4, 7.6, 212.4))
    '7.6 m (10 paces) from "gate post", bearing 212°'
    """
    return f'at "{taped.name}"' if taped.level_m < 0.05 else paced_words(taped, 1)


def should_words(lights: bool) -> str:
    """What the indicator should do."""
    return "lights" if lights else "stays dark"


def posture_words(point: WalkPoint) -> str:
    """Who walks: a figure of the site by its name, or a person bent so low."""
    return retold(point.figure) if point.figure.startswith(BENT) else point.figure


def walk_words(point: WalkPoint) -> str:
    """How a point is walked, and what for."""
    return (
        f"walk {length(point.length_m)} towards {round(point.towards_deg) % 360}° as {posture_words(point)}"
        f" ({proof_words(point.proof)})"
    )


def point_words(point: WalkPoint) -> str:
    """One point of the sheet in a sentence."""
    return (
        f"{point.number}. {place_words(point.taped)}: {walk_words(point)}; {point.unit}"
        f" {should_words(point.lights)}."
    )


def plan_lines(plan: WalkTest) -> list[str]:
    """The whole sheet as sentences."""
    return [HOW_TO_WALK, *(point_words(point) for point in plan.points)]


def reading_lines(reading: WalkReading) -> list[str]:
    """What the answers say, the answer of each unit first."""
    lines = []
    for unit in reading.units:
        lines.append(unit_answer(unit))
        lines += [f"  {differs_words(one)}" for one in unit.walked if not one.is_as_told]
        lines += [f"  Next: {point_words(point)}{again_words(unit, point)}" for point in unit.next]
        if unit.left_out:
            numbers = [str(point.number) for point in unit.left_out]
            lines.append(f"  Not walked: {listed(numbers, 8)}.")
    return lines


def again_words(unit: UnitReading, point: WalkPoint) -> str:
    """That a point to be walked was walked already; begins with a space, empty where it was not."""
    before = unit.walked_before(point)
    return "" if before is None or before == point.number else f" That is point {before} again."


def unit_answer(unit: UnitReading) -> str:
    """Whether the map holds for a unit, or which error explains what was seen."""
    told = unit.explanation
    if told is None:
        return f"{unit.unit}: none of its points was walked."
    n, as_told = len(unit.walked), sum(walked.is_as_told for walked in unit.walked)
    counts = f"{as_told} of {counted(n, 'point')} as told"
    top = told.causes[0]
    if told.is_told and top.cause is Cause.AS_SET:
        return f"{unit.unit}: the map holds: {share_words(top.chance)} ({counts})."
    if told.is_told:
        return f"{unit.unit}: {cause_words(top)}: {share_words(top.chance)} ({counts}).{mend_words(top)}"
    likely = [f"{cause_words(one)} ({share_words(one.chance)})" for one in told.likely]
    choice = " or ".join([", ".join(likely[:-1]), likely[-1]] if len(likely) > 1 else likely)
    names = [_NAMES[one.cause] for one in told.likely if one.cause is not Cause.AS_SET]
    apart = "not sure yet"
    if Cause.AS_SET in {one.cause for one in told.likely}:
        apart = "these results do not tell yet whether anything is off"
    elif len(names) > 1:
        which = " from ".join(names) if len(names) == 2 else f"{listed(names, len(names))} apart"
        apart = f"these results do not tell {which}"
    return f"{unit.unit}: {apart}: {choice} ({counts}).{next_words(unit)}"


_NAMES = {
    Cause.HEIGHT: "height", Cause.BEARING: "bearing", Cause.TILT: "tilt",
    Cause.ROLL: "roll", Cause.RANGE: "range", Cause.HEAD: "a dead head", Cause.LEAVES: "leaves",
    Cause.GROUND: "ground", Cause.UNIT: "a dead unit",
}  # fmt: skip


def cause_words(told: Told) -> str:
    """What is off, and how far.

    >>> cause_words(Told(Cause.TILT, 0.93, 2.0, 1.5, 2.5)), cause_words(Told(Cause.RANGE, 0.9, 8.0, 8.0, 8.0))
    ('the nose is 1.5 to 2.5 degrees too low', 'the range is set to 8 m')
    """
    if told.cause is Cause.RANGE:
        return f"the range is set to {given(told.value)}"
    if told.cause is Cause.HEAD:
        return f"head {told.value:g} is dead"
    if told.cause is Cause.UNIT:
        return "the unit lights nowhere"
    if told.cause is Cause.LEAVES:
        how = "thinner" if told.value < 1 else "thicker"
        return f"the leaves are {how} than read, {told.low:.1f} to {told.high:.1f} times as dense"
    if told.cause is Cause.GROUND:
        return "the ground lies otherwise than in the survey"
    if told.cause is Cause.AS_SET:
        return "all is as set"
    more = told.value > 0
    low, high = sorted((abs(told.low), abs(told.high)))
    if told.cause is Cause.HEIGHT:
        return f"it hangs {small_figure(low)} to {small(high)} too {'high' if more else 'low'}"
    span = f"{low:.1f} to {high:.1f} degrees"
    return {
        Cause.TILT: f"the nose is {span} too {'low' if more else 'high'}",
        Cause.ROLL: f"its {'right' if more else 'left'} side is {span} too low",
        Cause.BEARING: f"it faces {span} too far to the {'right' if more else 'left'}",
    }[told.cause]


def mend_words(told: Told) -> str:
    """What to do on the pole about a cause; begins with a space, empty where there is nothing to turn."""
    more = told.value > 0
    if told.cause is Cause.TILT:
        return f" Turn its nose {'up' if more else 'down'} by {abs(told.value):.1f} degrees."
    if told.cause is Cause.ROLL:
        return f" Turn its {'right' if more else 'left'} side up by {abs(told.value):.1f} degrees."
    if told.cause is Cause.BEARING:
        return f" Turn it to its {'left' if more else 'right'} by {abs(told.value):.0f} degrees."
    if told.cause is Cause.HEIGHT:
        return f" Move it {'down' if more else 'up'} by {small(abs(told.value))}."
    return {
        Cause.RANGE: " Set the range that the sheet says.",
        Cause.HEAD: " Look for covered zones, a loose plug or a setting that turns the head off.",
        Cause.UNIT: " Look whether it has power, and whether it is set to walk test.",
        Cause.LEAVES: " Cut them, or draw them in the site file as they are.",
        Cause.GROUND: " Measure the ground between the unit and these points.",
    }.get(told.cause, "")


def next_words(unit: UnitReading) -> str:
    """What to walk next; begins with a space, empty where nothing would tell more."""
    if not unit.next:
        return " No other walk would tell more: look at the unit."
    numbers = [str(point.number) for point in unit.next]
    return f" Walk {'point' if len(numbers) == 1 else 'points'} {listed(numbers)} next."


def differs_words(one: Walked) -> str:
    """One point at which the indicator did otherwise."""
    did = "lit" if one.seen else "stayed dark"
    should = "stay dark" if one.seen else "light"
    return f"Point {one.point.number}, {place_words(one.point.taped)}: it {did} and should {should}."


def share_words(chance: float) -> str:
    """A chance that is no more sure than it is.

    >>> share_words(0.934), share_words(0.9996)
    ('93 %', 'over 99 %')
    """
    return "over 99 %" if chance > 0.995 else f"{100 * chance:.0f} %"
