"""What the window is about: the options as set now, the chosen unit, and what a person is doing."""

from collections.abc import Callable
from dataclasses import replace

from terrain3d.cover.option import OptionResult
from terrain3d.cover.sighted import Look
from terrain3d.detector.fixing import check_turn, fixing_of, nearest_turn
from terrain3d.detector.pose import Detector
from terrain3d.errors import InputError, in_a_line
from terrain3d.job import Outcome, with_units
from terrain3d.show.live import controls
from terrain3d.show.live.controls import SETTINGS, Setting, Trials
from terrain3d.show.live.head_controls import (
    is_head_entry,
    next_sensitivity,
    read_head_entry,
    with_head_entry,
)
from terrain3d.sight.panorama import remembered
from terrain3d.study import OptionStudy, Study
from terrain3d.uncertainty.monte_carlo import OptionUncertainty

Save = Callable[[Outcome], None]
#: Panoramas that are kept: a few units at every height of a slider.
_MOST_LOOKS = 120
#: What may lie on the ground.
VERDICTS, ANIMALS, CHANCE = "verdicts", "animals", "chance"
#: The part of a study that each takes; verdicts take none.
GROUNDS = {VERDICTS: "", ANIMALS: "animals", CHANCE: "doubt"}
#: What a study lets be shown or hidden besides: the key and the words of each, and the parts it shows.
WAYS, BEYOND = "ways", "beyond"
EXTRAS = {WAYS: ("w", "ways"), BEYOND: ("b", "beyond own land")}
_EXTRA_PARTS = {WAYS: {"walks", "routes"}, BEYOND: {"beyond"}}
OTHERWISE = "Set otherwise than studied: run study again"


class WindowState:
    """The state of the window; nothing here draws.

    Parameters
    ----------
    outcome : Outcome
        As read.
    option : int
        Index of the option to begin with.
    save : callable, optional
        Puts the settings of an outcome into the site file; raises InputError where it cannot.
    study : Study, optional
        What was found out about the options as read.
    look : callable, optional
        What sees the panorama of an eye, and remembers.

    Attributes
    ----------
    mode : {"look", "type", "keys", "ask"}
        Looking at the site, typing a value, reading the list of keys, asked whether to save.
    message, is_refusal : str, bool
        What was said last, and whether it refused something.
    head_at : int or None
        Index of the chosen head; None is the whole unit.
    ground : {"verdicts", "animals", "chance"}
        What is asked to lie on the ground.
    extras : set of {"ways", "beyond"}
        What of the study is asked to be shown besides.
    beside : str
        Name of the option that the chosen one is compared with; the one before it where there is none.
    """

    def __init__(
        self,
        outcome: Outcome,
        option: int = 0,
        save: Save | None = None,
        study: Study | None = None,
        look: Look | None = None,
    ) -> None:
        self.outcome = outcome
        self.at = option % len(outcome.options)
        self.unit_at = 0
        self.head_at: int | None = None
        self.setting: Setting = controls.BEARING
        self.is_comparing = False
        self.beside = ""
        self.mode = "look"
        self.entry = ""
        self.message = ""
        self.is_refusal = False
        self.study = study
        self.ground = VERDICTS
        self.extras = {WAYS} & set(self.extras_studied)
        self._save = save
        self._trials = Trials(outcome.options)
        # Turning and tilting a unit casts no ray.
        self._look = look or remembered(_MOST_LOOKS)

    @property
    def option(self) -> OptionResult:
        return self.outcome.options[self.at]

    @property
    def unit(self) -> Detector:
        return self.option.detectors[self.unit_at]

    @property
    def wall_deg(self) -> float | None:
        """What the wall of the chosen unit's mount faces, degrees; None for a pole."""
        return self.outcome.terrain.wall_of(self.unit.mount)

    @property
    def shown(self) -> tuple[int, ...]:
        """Indices of the options in view, from left to right; the last is the one that is set."""
        if not self.is_comparing:
            return (self.at,)
        names = [option.name for option in self.outcome.options]
        before = (self.at - 1) % len(names)
        beside = names.index(self.beside) if self.beside in names else before
        return (before if beside == self.at else beside, self.at)

    @property
    def unsaved(self) -> tuple[str, ...]:
        return self._trials.unsaved(self.outcome.options)

    @property
    def grounds_studied(self) -> tuple[str, ...]:
        """What may lie on the ground, in the order in which it is gone round."""
        parts = ("", *self.study.parts) if self.study is not None else ("",)
        return tuple(kind for kind, part in GROUNDS.items() if part in parts)

    @property
    def extras_studied(self) -> tuple[str, ...]:
        """What of the study may be shown besides."""
        parts = self.study.parts if self.study is not None else ()
        return tuple(extra for extra, shown in _EXTRA_PARTS.items() if shown & {*parts})

    @property
    def ground_shown(self) -> str:
        """What lies on the ground of every option in view: verdicts where one was set otherwise since."""
        is_studied = all(self.studied(self.outcome.options[index]) is not None for index in self.shown)
        return self.ground if is_studied else VERDICTS

    def studied(self, option: OptionResult) -> OptionStudy | None:
        """What was found out about an option; None once it is set otherwise than studied."""
        if self.study is None:
            return None
        read = next((one for one in self.study.outcome.options if one.name == option.name), None)
        return self.study.of(option.name) if read is not None and read.detectors == option.detectors else None

    def next_ground(self) -> None:
        """Go on to what else may lie on the ground, round and round."""
        kinds = self.grounds_studied
        self.ground = kinds[(kinds.index(self.ground) + 1) % len(kinds)]
        self.say("" if self.ground_shown == self.ground else OTHERWISE)

    def toggle(self, extra: str) -> None:
        """Show or hide something of the study."""
        self.extras ^= {extra}
        self.say("" if self.studied(self.option) is not None else OTHERWISE)

    def renewed(self, outcome: Outcome, study: Study | None = None) -> "WindowState":
        """The state of a site that is drawn or set anew: what is chosen stays so, as far as it is there."""
        names = [option.name for option in outcome.options]
        at = names.index(self.option.name) if self.option.name in names else min(self.at, len(names) - 1)
        new = WindowState(outcome, at, self._save, study, self._look)
        if new.option.name == self.option.name and new.option.detectors:
            new.unit_at = min(self.unit_at, len(new.option.detectors) - 1)
            is_head = self.head_at is not None and self.head_at < len(new.unit.type.head)
            new.head_at = self.head_at if is_head else None
        new.setting, new.beside = self.setting, self.beside
        new.is_comparing = self.is_comparing and len(names) > 1
        new.ground = self.ground if self.ground in new.grounds_studied else VERDICTS
        new.extras = self.extras & set(new.extras_studied)
        new.message, new.is_refusal = self.message, self.is_refusal
        return new

    def say(self, message: str, is_refusal: bool = False) -> None:
        self.message, self.is_refusal = message, is_refusal

    def step_option(self, by: int) -> None:
        """Go to another option, round and round."""
        self.at = (self.at + by) % len(self.outcome.options)
        self.unit_at, self.head_at = 0, None
        self.say("")

    def compare(self) -> None:
        """One option or two."""
        if len(self.outcome.options) < 2:
            self.say("There is one option only: nothing to compare with", True)
            return
        self.is_comparing = not self.is_comparing

    def choose_unit(self, index: int) -> None:
        """Choose a unit of the option, counted from 0."""
        count = len(self.option.detectors)
        if not 0 <= index < count:
            self.say(f"There is no unit {index + 1}: this option has {count}", True)
            return
        self.unit_at, self.head_at = index, None
        self.say("")

    def step_head(self) -> None:
        """Go on to the next head of the unit; after the last to all of it."""
        after = 0 if self.head_at is None else self.head_at + 1
        self.head_at = after if after < len(self.unit.type.head) else None
        self.say(self.head_words or "All of the unit")

    @property
    def head_words(self) -> str:
        """Which head is chosen; empty for all of the unit."""
        return "" if self.head_at is None else f"head {self.head_at + 1} of {len(self.unit.type.head)}"

    def step_sensitivity(self) -> None:
        """Set the unit, or the chosen head, to the next sensitivity of its type."""
        try:
            self.put(next_sensitivity(self.unit, self.head_at))
        except InputError as error:
            self.say(in_a_line(error), True)

    def begin_mask(self) -> None:
        """Begin to type which zones are masked."""
        self.begin_entry()
        if self.head_at is None and len(self.unit.type.head) > 1:
            self.entry = "head 1 mask "
        else:
            self.entry = "mask "

    def step_unit(self, by: int) -> None:
        self.choose_unit((self.unit_at + by) % len(self.option.detectors))

    def step_setting(self, by: int) -> None:
        self.setting = SETTINGS[(SETTINGS.index(self.setting) + by) % len(SETTINGS)]

    def step_value(self, by: int) -> None:
        """Set the chosen setting some steps further."""
        self.put(controls.stepped(self.unit, self.setting, by, self.head_at))

    def slide(self, setting: Setting, share: float, is_same_change: bool = False) -> None:
        """Move a slider's knob to a share of its way; the setting becomes the chosen one."""
        self.setting = setting
        self.put(controls.at_share(self.unit, setting, share, self.head_at), is_same_change)

    def put(self, unit: Detector, is_same_change: bool = False) -> None:
        """Set the chosen unit otherwise, and judge its option anew.

        What its housing cannot be turned to ends where it can, and that is said.

        Parameters
        ----------
        unit : Detector
        is_same_change : bool
            Goes on with the change before, as while a slider is moved: taken back in one.
        """
        unit, refusal = self._as_it_turns(unit)
        if unit == self.unit:
            self.say(refusal, bool(refusal))
            return
        if not is_same_change:
            self._trials.note(self.option.name, self.option.detectors)
        units = self.option.detectors
        self._set(self.option.name, (*units[: self.unit_at], unit, *units[self.unit_at + 1 :]))
        self.say(refusal, bool(refusal))

    def take_back(self) -> None:
        """Undo the last change, in whatever option it was."""
        past = self._trials.take_back()
        if past is None:
            self.say("There is no change to take back")
            return
        name, units = past
        self._set(name, units)
        self.at = [option.name for option in self.outcome.options].index(name)
        self.unit_at = min(self.unit_at, len(units) - 1)
        self.head_at = None if self.head_at is None else min(self.head_at, len(self.unit.type.head) - 1)
        self.say("The last change is taken back")

    def as_read(self) -> None:
        """Set the option in view back to what was read; this too can be taken back."""
        units = self._trials.as_read(self.option.name)
        if units == self.option.detectors:
            self.say("This option is set as it was read")
            return
        self._trials.note(self.option.name, self.option.detectors)
        self._set(self.option.name, units)
        self.say("This option is set back to what was read")

    def save(self) -> bool:
        """Write the settings of all options into the site file; False where it was refused."""
        if self._save is None:
            self.say("There is no site file to save to", True)
            return False
        if not self.unsaved:
            self.say("Nothing to save: the site file holds these settings")
            return True
        try:
            self._save(self.outcome)
        except InputError as error:
            self.say(f"Not saved: {in_a_line(error)}", True)
            return False
        self._trials.saved(self.outcome.options)
        self.say("Saved in the site file")
        return True

    def begin_entry(self) -> None:
        self.mode, self.entry = "type", ""
        self.say("")

    def type_letter(self, letter: str) -> None:
        if letter.isprintable() and len(self.entry) < 40:
            self.entry += letter
            self.say("")

    def rub_out(self) -> None:
        self.entry = self.entry[:-1]
        self.say("")

    def end_entry(self) -> None:
        """Set what was typed; what cannot be set stays to be mended, with the reason beside it."""
        if not self.entry.strip():
            self.mode = "look"
            return
        try:
            if is_head_entry(self.entry):
                head, what, rest = read_head_entry(self.entry, self.unit, self.head_at)
                setting = self.setting
                unit = with_head_entry(self.unit, head, what, rest) if what else self.unit
            else:
                head = self.head_at
                setting, value = controls.read_entry(self.entry, self.setting)
                unit = controls.with_value(self.unit, setting, value, head)
            self._check_turn(unit)
        except InputError as error:
            self.say(in_a_line(error), True)
            return
        self.mode, self.setting, self.head_at = "look", setting, head
        self.put(unit)

    def cancel(self) -> None:
        """Leave typing, the list of keys or the question."""
        self.mode = "look"
        self.say("")

    def _check_turn(self, unit: Detector) -> None:
        check_turn(unit.type, unit.bracket, self.wall_deg, unit.bearing_deg, unit.tilt_deg)

    def _as_it_turns(self, unit: Detector) -> tuple[Detector, str]:
        """The nearest that the housing can be turned to, and why it is not what was wanted."""
        try:
            self._check_turn(unit)
        except InputError as error:
            limits = fixing_of(unit.type, unit.bracket)
            bearing, tilt = nearest_turn(limits, self.wall_deg, unit.bearing_deg, unit.tilt_deg)
            return replace(unit, bearing_deg=bearing, tilt_deg=tilt), in_a_line(error)
        return unit, ""

    def _set(self, name: str, units: tuple[Detector, ...]) -> None:
        self.outcome = with_units(self.outcome, name, units, self._look)


def uncertainty_of(state: WindowState, option: OptionResult) -> OptionUncertainty | None:
    """What the draws say of an option; None where none were made."""
    if state.study is None or state.study.uncertainty is None:
        return None
    return next(one for one in state.study.uncertainty.options if one.name == option.name)
