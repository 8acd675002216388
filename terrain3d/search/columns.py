"""The kept settings of all mounts as one table, and the covering problem they make."""

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from terrain3d.detector.pose import HeadSetting
from terrain3d.search.judge import Judged, zones_of
from terrain3d.search.problem import CoverProblem, Indices
from terrain3d.search.settings import Space
from terrain3d.search.target import Target
from terrain3d.units import Floats


@dataclass(frozen=True, eq=False)
class Columns:
    """Settings, one row each, as in `Judged`; `mount` is the place in the list of mounts.

    `holds` is (n, p) sparse: which of the target's cells each holds after its tolerance.
    """

    mount: Indices
    type_index: Indices
    height_m: Floats
    bearing_deg: Floats
    tilt_deg: Floats
    range_m: Floats
    range_set: Indices
    masked: Indices
    value: Floats
    nominal: Floats
    slack_deg: Floats
    animal: Indices
    holds: Any


_ROWS = [field.name for field in fields(Columns) if field.name not in ("mount", "holds")]


def columns_of(judged: Sequence[Judged], mounts: Sequence[int], n_cells: int) -> Columns:
    """Put the settings of several mounts together, each setting once.

    Parameters
    ----------
    judged : sequence of Judged
    mounts : sequence of int
        Which mount each belongs to; a mount may come more than once.
    n_cells : int
        Cells of the target.
    """
    mount = np.repeat(np.asarray(mounts, np.int64), [len(one.value) for one in judged])
    rows = {name: np.concatenate([getattr(one, name) for one in judged]) for name in _ROWS}
    holds = sparse.csr_array(sparse.vstack([_held(one, n_cells) for one in judged]))
    return _each_once(Columns(mount, **rows, holds=holds))


def joined(columns: Columns, others: Columns) -> Columns:
    """Both, those of the first in front, each setting once."""
    return _each_once(
        Columns(
            np.concatenate([columns.mount, others.mount]),
            **{name: np.concatenate([getattr(columns, name), getattr(others, name)]) for name in _ROWS},
            holds=sparse.csr_array(sparse.vstack([columns.holds, others.holds])),
        )
    )


def taken(columns: Columns, rows: Indices) -> Columns:
    """Some of the settings."""
    return Columns(
        columns.mount[rows],
        **{name: getattr(columns, name)[rows] for name in _ROWS},
        holds=columns.holds[rows],
    )


def same_row(columns: Columns, others: Columns, row: int) -> int:
    """Where among some settings one of others is."""
    return int(np.flatnonzero((_settings(columns) == _settings(others)[row]).all(axis=1))[0])


def _settings(columns: Columns) -> Floats:
    names = ("mount", "type_index", "height_m", "bearing_deg", "tilt_deg", "range_set", "masked")
    # So many zones are masked at most that their bits are whole as a float.
    return np.column_stack([getattr(columns, name) for name in names]).astype(float)


def _each_once(columns: Columns) -> Columns:
    return taken(columns, np.sort(np.unique(_settings(columns), axis=0, return_index=True)[1]))


def _held(judged: Judged, n_cells: int) -> Any:
    """(k, n_cells) sparse bool of the bits of one mount."""
    bits = np.unpackbits(judged.held, axis=1, count=len(judged.cells))
    row, column = np.nonzero(bits)
    start = np.concatenate([[0], np.cumsum(np.bincount(row, minlength=len(bits)))])
    cells = judged.cells[column]
    return sparse.csr_array((np.ones(len(row), bool), cells, start), shape=(len(bits), n_cells))


def heads_of(columns: Columns, space: Space, row: int) -> tuple[HeadSetting, ...]:
    """What is set head by head of a unit; none where all of them are as the unit is set."""
    type_index = int(columns.type_index[row])
    n_heads = len(space.detector_types[type_index].head)
    masked = zones_of(columns.masked[row, :n_heads])
    return space.heads_set(type_index, int(columns.range_set[row]), masked)


def costs(columns: Columns, space: Space) -> tuple[Floats, bool]:
    """What each unit costs, and whether that is money: the number of units where a price is not known."""
    prices = [detector_type.price for detector_type in space.detector_types]
    if any(price is None for price in prices):
        return np.ones(len(columns.mount)), False
    return np.array(prices, float)[columns.type_index], True


def currents(columns: Columns, space: Space) -> Floats | None:
    """What each unit draws, milliamps; None where a type does not say."""
    supplies = [detector_type.supply for detector_type in space.detector_types]
    if any(supply is None for supply in supplies):
        return None
    return np.array([supply.milliamps for supply in supplies if supply], float)[columns.type_index]


def problem_of(
    columns: Columns,
    space: Space,
    target: Target,
    at_most: tuple[tuple[NDArray[np.int64], int], ...] = (),
    **limits: Any,
) -> CoverProblem:
    """The covering problem of some settings: at most one unit a mount; of equals the more forgiving.

    Ties go to the larger slack of the aim, then to less ground on which an animal breaks the layers.
    """
    return CoverProblem(
        columns.holds,
        target.weight,
        costs(columns, space)[0],
        columns.mount,
        drawn=currents(columns, space),
        at_most=at_most,
        merits=(columns.slack_deg, -columns.animal.astype(float)),
        uncounted=target.whole - float(target.weight.sum()),
        **limits,
    )
