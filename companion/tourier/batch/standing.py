"""How long a pâton from a night in the fridge stands in the room before its last sheet: as layers, or as a block."""

from __future__ import annotations

import math

from tourier.batch.geometry import Unworkable
from tourier.batch.kitchenheat import KitchenHeat
from tourier.batch.limits import HOUR, MIN, Limits, span
from tourier.voice import span as lasting

#: Fat layers in the final sheet up to which the pâton is judged as layers, not as a block: the thickest published,
#: Macias Rodriguez & Marangoni 2018 (100 to 200 µm, and a tenth over).
THIN_LAYER_M = 220e-6
#: How long such a pâton stands, s: least, usual, most unless its core asks for more. Common practice, no source.
STAND_S = (10 * MIN, 15 * MIN, 30 * MIN)


def stood_c(heat: KitchenHeat, thickness_m: float, seconds: float) -> float:
    """Core after the night in the fridge and so long in the room, °C."""
    return heat.core_after_c(heat.laminate_m, thickness_m, heat.kitchen.fridge_c + 0.5, "room", seconds)


def paton_stand(heat: KitchenHeat, thickness_m: float, layer_m: float) -> Limits:
    """Limits of the stand. Raises Unworkable when thick butter never softens in this room.

    Butter in thin layers (`layer_m` in the final sheet) bends where a block breaks: the trade's minutes hold, and the
    core's are said beside them. With few thick layers the block's rule holds: until the butter bends.
    """
    start, b, said = heat.kitchen.fridge_c + 0.5, heat.butter, heat.voice
    aims = ((b.stop_low_c + b.window_low_c) / 2, b.window_low_c, heat.window_mid_c)
    times = [heat.core_s(heat.laminate_m, thickness_m, start, aim, "room") for aim in aims]
    right = f"{said.edge(b.window_low_c)} {said.degree}"
    if layer_m <= THIN_LAYER_M:
        why = (f"10 to 20 min: common practice, no source; layers this thin bend colder than a block. "
               f"The core is then at {said.temperature(stood_c(heat, thickness_m, STAND_S[1]))}")  # fmt: skip
        if math.isfinite(times[1]):
            why += f", at {right} after {lasting(times[1])}"
        return span(*STAND_S[:2], max(STAND_S[2], min(times[1], 4 * HOUR)), why)
    if not math.isfinite(times[0]):
        raise Unworkable(
            f"a room of {said.temperature(heat.kitchen.room_c)} never softens a cold pâton", "room temperature"
        )
    known = [t if math.isfinite(t) else 4 * HOUR for t in times]
    why = f"core from {said.degrees(start, 0)} to {right}: colder, the butter breaks"
    return span(known[0], known[1], known[2], why)
