"""Conductors, circuits and batteries against tables of standards and circuits solved otherwise.

Values without another source are those of the project's check values: IEC 60228 and AWG as restated there,
voltage drops and batteries worked out by hand from them.
"""

import json
import math
from pathlib import Path

import numpy as np
import pytest
import scipy.optimize
from hypothesis import given
from hypothesis import strategies as st
from site_files import SLOPE, option_text, run, written

from terrain3d import job
from terrain3d.detector.pose import Detector
from terrain3d.detector.types import Supply, load_type
from terrain3d.errors import InputError
from terrain3d.paper.results import results_json
from terrain3d.ready import ready_site
from terrain3d.site import CONDUCTOR_SIZES, SupplyRun, SupplySetting
from terrain3d.supply.battery import AGEING, colder, needed_ah
from terrain3d.supply.circuit import solve_volts
from terrain3d.supply.conductors import OHM_PER_KM, Conductor, awg_ohm_per_km, ohm_per_m, warmed
from terrain3d.supply.option import Fit, judge_supply
from terrain3d.supply.runs import Run

ONE = load_type("one-head-90")


def unit(milliamps: float, mount: str = "pole", volts=(9.0, 16.0), **more) -> Detector:
    """A unit that draws so much."""
    supply = Supply(volts=volts, milliamps=milliamps, **more)
    return Detector(f"on {mount}", ONE.model_copy(update={"supply": supply}), mount, 0, 0, 0, 1.0, 0.0)


def cable(
    mm2: float, metres: float, iec_class: int = 5, warm: float = 20.0, start="panel", end="pole"
) -> Run:
    return Run(start, end, metres, 0.0, Conductor(mm2, None, None, iec_class, temperature_c=warm))


@pytest.mark.parametrize(
    ("mm2", "solid", "flexible", "tinned"),
    [
        (0.5, 36.0, 39.0, 40.1),
        (0.75, 24.5, 26.0, 26.7),
        (1.0, 18.1, 19.5, 20.0),
        (1.5, 12.1, 13.3, 13.7),
        (2.5, 7.41, 7.98, 8.21),
        (0.22, 96.0, 96.0, 99.0),  # one trade table headed DIN VDE 0295
    ],
)
def test_conductors_are_those_of_the_standard(mm2, solid, flexible, tinned):
    """IEC 60228:2004, tables 1 to 4, ohm a kilometre at 20 °C."""
    for iec_class, is_tinned, ohm in (
        (1, False, solid),
        (2, False, solid),
        (5, False, flexible),
        (6, True, tinned),
    ):
        assert 1000 * ohm_per_m(Conductor(mm2, None, None, iec_class, is_tinned)) == pytest.approx(
            ohm, abs=1e-9
        )
    # No maximum lies under what pure copper of that size would have (IACS, 1/58 ohm mm2/m).
    assert solid > 1000 / 58 / mm2


def test_sizes_of_the_site_file_are_those_of_the_table():
    """A size that the file may say has a resistance."""
    assert tuple(OHM_PER_KM) == CONDUCTOR_SIZES


@pytest.mark.parametrize(("awg", "ohm_per_kft"), [(18, 6.385), (20, 10.15), (22, 16.14)])
def test_gauges_are_those_of_a_table_of_copper_wire(awg, ohm_per_kft):
    """Ohm a thousand feet of solid wire as a handbook table prints it."""
    assert awg_ohm_per_km(awg) * 0.3048 == pytest.approx(ohm_per_kft, rel=5e-4)


@pytest.mark.parametrize(
    ("awg", "diameter_mm", "area_mm2", "ohm_per_km", "stranded_per_kft"),
    [
        (18, 1.02369, 0.82305, 20.9482, 6.505),
        (20, 0.81182, 0.51762, 33.3090, 10.34),
        (22, 0.64380, 0.32553, 52.9634, 16.45),
    ],
)
def test_gauges_by_their_definition(awg, diameter_mm, area_mm2, ohm_per_km, stranded_per_kft):
    """Diameter 0.127 mm * 92^((36 - n) / 39), area of a circle, 1/58 ohm mm2/m: worked by hand; what
    tables of the trade print for stranded wire is no more than is reckoned with."""
    assert 0.127 * 92 ** ((36 - awg) / 39) == pytest.approx(diameter_mm, rel=1e-5)
    assert math.pi / 4 * diameter_mm**2 == pytest.approx(area_mm2, rel=2e-5)
    assert awg_ohm_per_km(awg) == pytest.approx(ohm_per_km, rel=1e-5)
    assert awg_ohm_per_km(awg) == pytest.approx(1000 / 58 / area_mm2, rel=2e-5)
    stranded = 1000 * ohm_per_m(Conductor(None, awg, None, 2)) * 0.3048
    assert stranded_per_kft <= stranded <= 1.06 * 1.001 * awg_ohm_per_km(awg) * 0.3048


@pytest.mark.parametrize(
    ("degrees", "factor"), [(-20, 0.8428), (0, 0.9214), (40, 1.0786), (60, 1.1572), (70, 1.1965)]
)
def test_copper_warms(degrees, factor):
    """IEC 60028: 0.00393 a kelvin; and IEC 60228's own correction 254.5 / (234.5 + t) turned round."""
    assert warmed(degrees) == pytest.approx(factor, abs=6e-5)
    assert warmed(degrees) == pytest.approx((234.5 + degrees) / 254.5, abs=2e-4)


@pytest.mark.parametrize(
    ("mm2", "iec_class", "warm", "drop"),
    [
        (0.5, 5, 20, 0.655200),
        (0.5, 5, 40, 0.706699),
        (1.0, 5, 20, 0.327600),
        (1.0, 5, 40, 0.353349),
        (1.5, 5, 20, 0.223440),
        (1.5, 5, 40, 0.241002),
        (0.5, 2, 20, 0.604800),
        (0.22, 2, 20, 1.612800),
    ],
)
def test_the_drop_of_one_run(mm2, iec_class, warm, drop):
    """70 mA over 120 m, there and back: worked out by hand from the resistances above."""
    found = judge_supply(SupplySetting(volts=12.0), (cable(mm2, 120.0, iec_class, warm),), (unit(70.0),))
    assert found.units[0].alarm_v == pytest.approx(12.0 - drop, abs=1e-6)
    assert found.runs[0].drop_v == pytest.approx(drop, abs=1e-6)
    assert found.holds


def test_units_one_after_another():
    """Four of 20 mA, 25 m apart, 0.5 mm2 of class 5: 11.844, 11.727, 11.649, 11.610 V; r s i n (n+1) / 2 in
    all."""
    places = ["panel", "a", "b", "c", "d"]
    runs = [cable(0.5, 25.0, start=places[k], end=places[k + 1]) for k in range(4)]
    found = judge_supply(SupplySetting(volts=12.0), runs, [unit(20.0, place) for place in places[1:]])
    assert [one.alarm_v for one in found.units] == pytest.approx([11.844, 11.727, 11.649, 11.610], abs=5e-4)
    assert found.units[-1].alarm_v == pytest.approx(12 - 2 * 0.039 * 25 * 0.020 * 4 * 5 / 2, abs=1e-9)
    assert [len(one.units) for one in found.runs] == [4, 3, 2, 1]
    assert found.runs[0].milliamps == pytest.approx(80)


def test_a_load_of_constant_power():
    """1 W over 100 m of 1.0 mm2 of class 5: 11.665686 V, 85.7215 mA; none above V^2 / 4R = 9.230769 W."""
    run_ = cable(1.0, 100.0)
    found = judge_supply(SupplySetting(volts=12.0), (run_,), (unit(1000 / 12, power_at=12.0),))
    assert found.units[0].alarm_v == pytest.approx(11.665686, abs=1e-6)
    assert found.alarm_milliamps == pytest.approx(85.7215, abs=1e-4)
    assert solve_volts(12.0, [[3.9]], [0.0], [9.2307]) is not None
    assert solve_volts(12.0, [[3.9]], [0.0], [9.2308]) is None
    starved = judge_supply(SupplySetting(volts=12.0), (run_,), (unit(9240 / 12, power_at=12.0),))
    assert starved.units[0].fit is Fit.STARVED
    assert starved.alarm_milliamps is None


@given(
    st.lists(
        st.tuples(st.floats(0.1, 4), st.floats(0, 0.1), st.floats(0, 1.2), st.integers(0, 4)),
        min_size=1,
        max_size=5,
    )
)
def test_circuits_are_those_that_scipy_solves(loads):
    """Any tree of runs with loads of current and of power, against scipy's root of the same equations."""
    parents = [min(parent, k) - 1 for k, (_, _, _, parent) in enumerate(loads)]
    ways = []
    for k in range(len(loads)):
        way, at = set(), k
        while at >= 0:
            way.add(at)
            at = parents[at]
        ways.append(way)
    ohm = np.array([[sum(loads[n][0] for n in one & other) for other in ways] for one in ways])
    current = np.array([load[1] for load in loads])
    power = np.array([load[2] for load in loads])
    ours = solve_volts(12.0, ohm, current, power)
    theirs = scipy.optimize.root(
        lambda v: v - 12.0 + ohm @ (current + power / v), np.full(len(loads), 12.0), tol=1e-13
    )
    if ours is None:
        # The brink: no voltages at which the source gives so much, so scipy does not come to rest either.
        assert not theirs.success or (theirs.x < 0).any() or np.abs(theirs.fun).max() > 1e-9
    else:
        assert ours == pytest.approx(theirs.x, abs=1e-7)


def test_the_battery_of_the_worked_examples():
    """0.25 A for 24 h and 0.75 A for half an hour is 8.32 Ah (a page on BS 5839-1); the rest by hand."""
    assert needed_ah(0.25, 24, 0.75, 0.5) == pytest.approx(8.3203125)
    # So little in alarm that it empties slowly: D is 1.
    assert needed_ah(0.25, 24, 0.30, 0.5) == pytest.approx(1.25 * (6 + 0.15))
    for hours, ah in ((12, 1.5), (30, 3.75), (60, 7.5)):
        assert needed_ah(0.1, hours, 0.0, 0.5) == pytest.approx(ah)
    # For 60 h it takes 5.71875 Ah with D = 1, and 0.3 A is still more than a twentieth of that.
    assert needed_ah(0.075, 60, 0.3, 0.25) == pytest.approx(5.71875 + 1.25 * 0.75 * 0.075)
    # What D = 1 would give for the first, 7.96875 Ah, is for a current of a twentieth of it at most.
    edge = 7.96875 / 20
    assert needed_ah((7.96875 / 1.25 - 0.5 * edge) / 24, 24, edge, 0.5) == pytest.approx(7.96875)
    # It is replaced when it is down to 80 %.
    assert pytest.approx(1 / 0.8) == AGEING
    # 75 mA for 12 h and 300 mA for a quarter hour: 1.21875 Ah with D = 1, which such a current does not get.
    assert needed_ah(0.075, 12, 0.3, 0.25) == pytest.approx(1.21875 + 1.25 * 0.75 * 0.075)


@pytest.mark.parametrize(
    ("degrees", "factor"),
    [
        (-3.9, 1.52), (-1.1, 1.43), (1.7, 1.35), (4.4, 1.3), (10, 1.19), (15.6, 1.11), (25, 1.0), (40, 1.0),
    ],
)  # fmt: skip
def test_the_battery_in_the_cold(degrees, factor):
    """IEEE 485, table 1; values from memory. Nothing is gained above 25 °C."""
    assert colder(degrees) == pytest.approx(factor)
    assert needed_ah(0.1, 12, 0, 0, temperature_c=degrees) == pytest.approx(1.5 * factor)


def test_the_battery_feeds_power_at_its_lowest():
    """1.2 W from a battery down to 10.5 V, over no more than a metre, is 114 mA and not 100."""
    setting = SupplySetting(
        volts=13.8, lowest_volts=10.5, standby_hours=10.0, own_milliamps=50.0, battery_ah=1.0
    )
    found = judge_supply(setting, (cable(2.5, 0.01),), (unit(100.0, power_at=12.0),))
    assert found.battery.rest_milliamps == pytest.approx(1200 / 10.5 + 50, abs=0.1)
    assert [change.kind for change in found.changes] == ["battery"]
    assert found.changes[0].value == pytest.approx(found.battery.needed_ah)


def test_what_fails_is_mended_by_what_is_told():
    """Each thing that is told to mend a supply does, and the next thinner size or lower voltage does not."""
    runs = (
        cable(0.22, 150.0, end="joint"),
        cable(0.22, 60.0, start="joint"),
        cable(0.22, 10.0, start="joint", end="b"),
    )
    units = (unit(60.0), unit(60.0, "b"))
    setting = SupplySetting(volts=12.0)
    found = judge_supply(setting, runs, units)
    assert [one.fit for one in found.units] == [Fit.TOO_LOW, Fit.TOO_LOW]
    by_kind = {(change.kind, change.run): change.value for change in found.changes}
    assert {kind for kind, _ in by_kind} >= {"run", "all runs", "volts"}
    size = by_kind["run", "joint"]
    thinner = max(mm2 for mm2 in CONDUCTOR_SIZES if mm2 < size)
    assert judge_supply(setting, (cable(size, 150.0, end="joint"), *runs[1:]), units).holds
    assert not judge_supply(setting, (cable(thinner, 150.0, end="joint"), *runs[1:]), units).holds
    volts = by_kind["volts", ""]
    assert judge_supply(SupplySetting(volts=volts), runs, units).holds
    assert not judge_supply(SupplySetting(volts=volts - 0.02), runs, units).holds


def test_too_much_for_a_unit():
    """A battery type of 3 V on a panel of 12: nothing is thickened, the panel has to give less."""
    found = judge_supply(SupplySetting(volts=12.0), (cable(0.5, 10.0),), (unit(5.0, volts=(2.4, 3.6)),))
    assert found.units[0].fit is Fit.TOO_HIGH
    assert [(change.kind, change.value) for change in found.changes] == [("less volts", 3.6)]


def test_too_little_in_alarm_and_too_much_at_rest():
    """A panel of 18 V that falls to 11, and 9 to 16 V: a thicker run alone would leave the 18."""
    setting = SupplySetting(volts=18.0, lowest_volts=11.0)
    found = judge_supply(setting, (cable(0.22, 200.0),), (unit(70.0),))
    assert found.units[0].fit is Fit.TOO_LOW
    by_kind = {change.kind: change.value for change in found.changes}
    assert by_kind["less volts"] == 16.0
    mended = SupplySetting(volts=by_kind["less volts"], lowest_volts=11.0)
    assert judge_supply(mended, (cable(by_kind["run"], 200.0),), (unit(70.0),)).holds


def test_a_drawn_path_has_the_ground_s_own_length(tmp_path):
    """Straight down a slope of 75 % twenty metres in plan are twenty-five (3-4-5); off it, it is told."""
    text = SLOPE.replace("fall = 10, towards = 135", "fall = 75, towards = 180") + (
        "[supply]\nvolts = 12\n[[supply.run]]\nto = \"pole\"\npath = [[0, -10], [0, 10]]\nextra = 2\n"
        "mm2 = 0.5\n"
    ) + option_text("fed")  # fmt: skip
    told = json.loads(results_json(job.run(written(tmp_path, text))))["options"][0]["supply"]["circuit"]
    assert told["runs"][0]["length_m"] == pytest.approx(27.0, abs=1e-3)
    assert told["runs"][0]["unknown_m"] == 0
    # Materials: the unit, and the cable by the metre.
    assert [one["length_m"] for one in told["materials"]] == [None, pytest.approx(27.0, abs=1e-3)]
    far = text.replace("[0, -10]", "[0, -60]")
    told = json.loads(results_json(job.run(written(tmp_path, far))))["options"][0]["supply"]["circuit"]
    assert told["runs"][0]["unknown_m"] == pytest.approx(45, abs=1)


@pytest.mark.parametrize(
    ("runs", "what"),
    [
        ('[[supply.run]]\nto = "pole"\nfrom = "joint"\nlength = 3\nmm2 = 0.5', "no run ends at 'joint'"),
        ('[[supply.run]]\nto = "pol"\nlength = 3\nmm2 = 0.5', "there is no mount 'pol'"),
        ('[[supply.run]]\nto = "pole"\nlength = 3\nmm2 = 0.5\n' * 2, "two runs end at 'pole'"),
        ('[[supply.run]]\nto = "panel"\nlength = 3\nmm2 = 0.5', "it ends at the panel"),
        (
            '[[supply.run]]\nto = "pole"\nfrom = "a"\nlength = 3\nmm2 = 0.5\n'
            '[[supply.run]]\nto = "a"\nfrom = "pole"\nlength = 3\nmm2 = 0.5',
            "the runs close a ring",
        ),
        ('[[supply.run]]\nto = "pole"\nmm2 = 0.5', "exactly one of path and length"),
        ('[[supply.run]]\nto = "pole"\nlength = 3\nmm2 = 0.5\nawg = 20', "exactly one of mm2, awg"),
        ('[[supply.run]]\nto = "pole"\nlength = 3\nmm2 = 0.6', "0.6 mm2 is no size of the table"),
    ],
)
def test_runs_that_make_no_tree(tmp_path: Path, runs, what):
    """They are refused before any survey is read, and the message says what to do."""
    with pytest.raises(InputError, match=what) as error:
        ready_site(written(tmp_path, f"{SLOPE}[supply]\nvolts = 12\n{runs}\n"))
    assert error.value.mend
    assert "supply" in error.value.where


def test_the_command(tmp_path, capsys):
    """It says the voltage, the caution, and what a site without a supply lacks."""
    site = written(
        tmp_path,
        SLOPE + '[supply]\nvolts = 12\n[[supply.run]]\nto = "pole"\nlength = 120\nmm2 = 0.5\nprice = 0.5\n'
        + option_text("fed"),
    )  # fmt: skip
    assert run("supply", site) == 0
    told = capsys.readouterr().out
    drop = 2 * 0.036 * 120 * 1.0786 * ONE.supply.milliamps / 1000
    assert f"{12 - drop:.2f} V at the lowest" in told
    assert "120.0 m of cable of 0.5 mm², class 2: 60" in told
    assert "Licensed practice" in told
    assert run("supply", written(tmp_path, SLOPE + option_text("fed"))) == 2
    assert "it has no [supply]" in capsys.readouterr().err


def test_a_run_may_say_its_start_by_default():
    """`from` is the panel where it is left out."""
    assert SupplyRun(to="pole", length=3.0, mm2=0.5).start == "panel"
    assert math.isclose(cable(0.5, 10.0).ohm, 0.78)


def test_what_an_electrician_is_told(tmp_path, capsys):
    """How warm the copper is taken, what the battery has to last and in what cold; a run that is missing
    once, however many units hang on it."""
    supply = (
        "[supply]\nvolts = 13.8\nlowest_volts = 10.5\nstandby_hours = 12\nbattery_temperature = 4.4\n"
        'temperature = 50\n[[supply.run]]\nto = "pole"\nlength = 80\nmm2 = 0.75\n'
    )
    post = '[[mount]]\nname = "post"\nat = [4, 0]\n'
    more = "".join(
        option_text("x", "post").partition('name = "x"\n')[2].replace("D1", name) for name in ("D2", "D3")
    )
    assert run("supply", written(tmp_path, SLOPE + post + supply + option_text("fed") + more)) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert told.count('lay a run to "post"') == 1
    assert "with its copper at 50 °C" in told
    rest = ONE.supply.milliamps / 1000
    ah = needed_ah(rest, 12, ONE.supply.most_milliamps / 1000, 0.5, temperature_c=4.4)
    assert "for 12 hours at rest" in told
    assert "for 0.5 hours in alarm" in told
    assert (
        f"new it has to have {ah:.2f} Ah (1.25 times as much, for it ages, 1.30 times as much in the cold"
        in told
    )
