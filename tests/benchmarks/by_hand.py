"""The book `feeds` as somebody would write it who needs no other: plain Python, and numpy over blocks of rows.

All are honest best efforts: tables flattened beforehand, what does not change taken out of the loop, direct
addresses where the keys lie on a grid. Each answers the size and the device, with slack in every comparison as the
engine has it; plain Python also says which check rejected each smaller size.
"""

from __future__ import annotations

from bisect import bisect_left
from pathlib import Path
from typing import Any

import numpy as np
import yaml

BOOK = yaml.safe_load((Path(__file__).parent / "feeds.yaml").read_text("utf-8"))
SIZES = BOOK["series"]["sizes"]["members"]
DEVICES = [float(rating) for rating in BOOK["series"]["devices"]["members"]]
METALS, COVERS = BOOK["terms"]["metals"], BOOK["terms"]["covers"]
SLACK = 1e-9


def _column(table: str, place: int) -> list[float]:
    rows = BOOK["tables"][table]["rows"]
    return [0.0 if row[place] == "-" else float(row[place]) for row in rows.values()]


BEARS = {
    (metal, cover): _column("bears", place)
    for place, (metal, cover) in enumerate(BOOK["tables"]["bears"]["columns"])
}
MOST = {metal: _column("most_device", place) for place, metal in enumerate(METALS)}
RESISTANCE = {metal: [ohm / 1000 for ohm in _column("resistance", place)] for place, metal in enumerate(METALS)}
HEATS = [float(bound) for bound in BOOK["tables"]["factor"]["rows"]]
FACTOR = {cover: _column("factor", place) for place, cover in enumerate(COVERS)}
HEIGHTS, ADDERS = [13.0, 90.0, 300.0, 900.0], [33.0, 22.0, 17.0, 14.0, 0.0]
COUNTS, BUNDLING = [3.0, 6.0, 9.0, 20.0, 30.0, 40.0], [1.0, 0.8, 0.7, 0.5, 0.45, 0.4, 0.35]
WALKS = {
    (metal, cover, ends): list(
        zip(range(len(SIZES)), BEARS[metal, ends], BEARS[metal, cover], MOST[metal], RESISTANCE[metal], strict=True)
    )
    for metal in METALS
    for cover in COVERS
    for ends in COVERS
}

AT_ENDS, IN_HEAT, GUARDED, DROPS = range(4)


def size_feed(
    short: float, strings: float, metal: str, cover: str, ends: str, ambient: float, height: float,
    bundled: float, length: float, voltage: float,
) -> tuple[int | None, float | None, list[int]]:
    """The place of the size, the device, and for each smaller size the check that rejected it."""
    current = short * strings
    steady = 1.25 * current
    required = 1.25 * steady
    place = bisect_left(DEVICES, required - SLACK * required)
    device = DEVICES[place] if place < len(DEVICES) else None
    heat = ambient + ADDERS[bisect_left(HEIGHTS, height - SLACK * height)]
    row = bisect_left(HEATS, heat - SLACK * abs(heat))
    factor = FACTOR[cover][row] if row < len(HEATS) else 0.0
    rejected: list[int] = []
    if not factor or device is None:
        return None, device, rejected
    weakened = factor * BUNDLING[bisect_left(COUNTS, bundled - SLACK * bundled)]
    enough, carried = required * (1 - SLACK), steady * (1 - SLACK)
    per_ohm, most = 2 * length * current, 0.03 * voltage * (1 + SLACK)
    for place, at_ends, bears, cap, resistance in WALKS[metal, cover, ends]:
        if at_ends < enough:
            rejected.append(AT_ENDS)
            continue
        carries = bears * weakened
        if carries < carried:
            rejected.append(IN_HEAT)
            continue
        over = bisect_left(DEVICES, carries * (1 - SLACK))
        if over == len(DEVICES) or device > min(DEVICES[over], cap):
            rejected.append(GUARDED)
            continue
        if per_ohm * resistance > most:
            rejected.append(DROPS)
            continue
        return place, device, rejected
    return None, device, rejected


# --- numpy ------------------------------------------------------------------------------------------------

_BEARS = np.array([[BEARS[metal, cover] for cover in COVERS] for metal in METALS]).reshape(6, -1)
_MOST = np.array([MOST[metal] for metal in METALS])
_RESISTANCE = np.array([RESISTANCE[metal] for metal in METALS])


def _spread(bounds: list[float], values: Any, step: float, beyond: Any) -> Any:
    """A table by address: for every step up to the last bound the value of its band, then what lies beyond."""
    count = round(bounds[-1] / step)
    places = [bisect_left(bounds, spot * step) for spot in range(count + 1)]
    return np.array([*(values[place] for place in places), beyond])


_ADDER = _spread(HEIGHTS, ADDERS, 1.0, 0.0)
_FACTOR = np.stack([_spread(HEATS, FACTOR[cover], 5.0, 0.0) for cover in COVERS])
_BUNDLING = _spread(COUNTS, BUNDLING, 1.0, 0.35)
_NEXT = _spread(DEVICES, DEVICES, 5.0, np.inf)
_GUARDS = _spread(DEVICES, DEVICES, 5.0, -1.0)


def _at(table: Any, value: Any, step: float) -> Any:
    spot = np.ceil(value * (1 / step) - SLACK * abs(value)).astype(np.intp)
    return table.take(np.minimum(np.maximum(spot, 0, out=spot), len(table) - 1, out=spot))


def size_feeds(
    short: Any, strings: Any, metal: Any, cover: Any, ends: Any, ambient: Any, height: Any, bundled: Any,
    length: Any, voltage: Any, block: int = 16384,
) -> tuple[Any, Any]:
    """The same for columns, metals and covers as codes; the size is -1 where there is none."""
    sizes = np.full(len(short), -1, np.intp)
    devices = np.empty(len(short))
    for start in range(0, len(short), block):
        part = slice(start, start + block)
        current = short[part] * strings[part]
        steady = 1.25 * current
        required = 1.25 * steady
        device = _at(_NEXT, required, 5.0)
        devices[part] = device
        heat = ambient[part] + _at(_ADDER, height[part], 1.0)
        spot = np.ceil(heat / 5.0 - SLACK).astype(np.intp)
        width = _FACTOR.shape[1]
        spot = np.minimum(np.maximum(spot, 2), width - 1) + width * cover[part]
        weakened = _FACTOR.ravel().take(spot) * _at(_BUNDLING, bundled[part], 1.0)
        metals = metal[part]
        own, at_ends = metals * 3 + cover[part], metals * 3 + ends[part]
        enough, carried = required * (1 - SLACK), steady * (1 - SLACK)
        per_ohm, most = 2 * length[part] * current, 0.03 * voltage[part] * (1 + SLACK)
        left = np.flatnonzero((weakened > 0) & np.isfinite(device))
        found = sizes[part]
        for place in range(len(SIZES)):
            if not len(left):
                break
            good = _BEARS[:, place].take(at_ends.take(left)) >= enough.take(left)
            rows = left[good]
            carries = _BEARS[:, place].take(own.take(rows)) * weakened.take(rows)
            rows, carries = _both(rows, carries, carries >= carried.take(rows))
            limit = np.minimum(_at(_GUARDS, carries, 5.0), _MOST[:, place].take(metals.take(rows)))
            rows = rows[device.take(rows) <= limit]
            rows = rows[per_ohm.take(rows) * _RESISTANCE[:, place].take(metals.take(rows)) <= most.take(rows)]
            found[rows] = place
            left = left[found.take(left) < 0]
    return sizes, devices


def _both(rows: Any, values: Any, mask: Any) -> tuple[Any, Any]:
    return rows[mask], values[mask]


# --- numpy, each check turned round -----------------------------------------------------------------------

_WIDE = len(_FACTOR[0])
_STEPS = round(max(DEVICES) / 5) + 1
_BEFORE = np.array([0.0, *(DEVICES[max(bisect_left(DEVICES, spot * 5.0) - 1, 0)] for spot in range(1, _STEPS))])
_BEFORE[: round(DEVICES[0] / 5) + 1] = 0.0
_BEARS_ROWS = _BEARS.ravel()
_REACH = round(_BEARS.max() / 5) + 2
_FIRST = np.array([[bisect_left(row.tolist(), spot * 5.0) for spot in range(_REACH)] for row in _BEARS]).ravel()
_CAPS = np.array([[bisect_left(row.tolist(), spot * 5.0) for spot in range(_STEPS)] for row in _MOST]).ravel()
_SHIFT, _BITS = 46, int(np.array([0.05]).view(np.int64)[0] >> 46)
_CUTS = int(np.array([20.0]).view(np.int64)[0] >> 46) - _BITS
_LOWEST = (np.arange(_CUTS + 1) + _BITS << _SHIFT).view(np.float64)
_THIN = np.array([[np.sum(row > low * (1 + 1 / 64)) for low in _LOWEST] for row in _RESISTANCE * 1000]).ravel()
_OHMS = np.concatenate([_RESISTANCE * 1000, np.zeros((2, 1))], axis=1).ravel()


def _steps(value: Any, most: int) -> Any:
    """How many steps of 5 reach a value."""
    spot = np.ceil(value * (0.2 * (1 - SLACK)))
    return np.minimum(spot, most, out=spot).astype(np.intp)


def threshold_feeds(
    short: Any, strings: Any, metal: Any, cover: Any, ends: Any, ambient: Any, height: Any, bundled: Any,
    length: Any, voltage: Any, block: int = 16384,
) -> tuple[Any, Any]:
    """The same without a walk: each check has a first size, and the last of them counts."""
    sizes = np.full(len(short), -1, np.intp)
    devices = np.empty(len(short))
    most_size = len(SIZES)
    for start in range(0, len(short), block):
        part = slice(start, start + block)
        current = short[part] * strings[part]
        steady = 1.25 * current
        required = 1.25 * steady
        need = _steps(required, _REACH - 1)
        spot = np.minimum(need, len(_NEXT) - 1)
        device = devices[part] = _NEXT.take(spot, mode="clip")
        tall = np.minimum(np.ceil(height[part] * (1 - SLACK)), 901).astype(np.intp)
        heat = ambient[part] + _ADDER.take(tall, mode="clip")
        warm = np.ceil(heat * (0.2 * (1 - SLACK)))
        warm = np.minimum(np.maximum(warm, 2, out=warm), _WIDE - 1, out=warm).astype(np.intp)
        weakened = _FACTOR.ravel().take(warm + _WIDE * cover[part], mode="clip")
        weakened *= _BUNDLING.take(np.ceil(bundled[part] * (1 - SLACK)).astype(np.intp), mode="clip")
        metals = metal[part]
        own = metals * 3 + cover[part]
        # what carries enough in the heat, and more than the device before the one that guards it
        with np.errstate(divide="ignore"):
            reach = np.maximum(steady * (1 - SLACK), _BEFORE.take(spot, mode="clip") * (1 + 2 * SLACK)) / weakened
        reach = np.minimum(np.ceil(reach * 0.2), _REACH - 1).astype(np.intp)
        size = np.maximum(
            _FIRST.take((metals * 3 + ends[part]) * _REACH + need, mode="clip"),
            _FIRST.take(own * _REACH + reach, mode="clip"),
        )
        np.maximum(size, _CAPS.take(metals * _STEPS + spot, mode="clip"), out=size)
        ohms = voltage[part] * (15.0 * (1 + SLACK)) / (length[part] * current)
        cut = np.minimum(np.maximum((ohms.view(np.int64) >> _SHIFT) - _BITS, 0), _CUTS)
        thin = _THIN.take(metals * (_CUTS + 1) + cut, mode="clip")
        thin += _OHMS.take(metals * (most_size + 1) + thin, mode="clip") > ohms
        np.maximum(size, thin, out=size)
        # what carries more than the greatest device is guarded by none
        carries = _BEARS_ROWS.take(own * most_size + size, mode="clip") * weakened
        size[~((weakened > 0) & (size < most_size) & (carries <= DEVICES[-1] * (1 + SLACK)) & np.isfinite(device))] = -1
        sizes[part] = size
    return sizes, devices
