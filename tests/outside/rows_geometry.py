"""Layers, cuts, butter block, roll-in, sheets and units against published figures and other formulas."""

from __future__ import annotations

import math

from most_pieces import most_pieces
from tourier import quantities, voice
from tourier.craft import block, butter, cuts, formula, properties, sheets
from tourier.craft.composition import mixture
from tourier.craft.cuts import Shape

IN = 0.0254
ROWS: list[dict] = []
# The dough of the worked figures: flour 1000, milk 250, water 270, sugar 120, butter 60, salt 20, fresh yeast 35 g.
D1 = (("bread flour", 1000), ("milk", 250), ("water", 270), ("sugar", 120), ("butter", 60), ("salt", 20),
      ("fresh yeast", 35))  # fmt: skip


def row(what, ours, theirs, tolerance, unit, source, label="published"):
    """Add one row."""
    ROWS.append({"what": what, "ours": ours, "theirs": theirs, "tolerance": tolerance, "unit": unit, "source": source,
                 "label": label})  # fmt: skip


def _fat(*folds):
    return lambda: sheets.layers(folds)[-1].fat


# --- layers ------------------------------------------------------------------------------------------------------

row("fat layers, three 3-folds", _fat(3, 3, 3), 27, 0, "", "EP 0445850 A1: 3^n for n half turns")
row("fat layers, one 3-fold and two 4-folds", _fat(3, 4, 4), 48, 0, "",
    "brotschafterin.com Plunderteig: Danish, 1 single and 2 double")  # fmt: skip
row("fat layers, 3-fold, 3-fold, 4-fold", _fat(3, 3, 4), 36, 0, "", "sweetnapa.com: a school formula states 36")
row("fat layers, six 3-folds", _fat(3, 3, 3, 3, 3, 3), 729, 0, "", "Leiths puff pastry (cooked.com): six single folds")
row("fat layers, puff of two 3-folds and two 4-folds", _fat(3, 3, 4, 4), 144, 0, "",
    "chef2chef.net laminated doughs: puff 144")  # fmt: skip
row("dough layers are fat layers + 1", lambda: sheets.layers((3, 3, 4, 4))[-1].dough, 145, 0, "",
    "chef2chef.net laminated doughs")  # fmt: skip


def _phi():
    dough, fat = 1.755 / properties.density(mixture(D1), 15.0), 0.5 / properties.density(
        butter.profile("standard-80").composition, 15.0)  # fmt: skip
    return fat / (dough + fat)


row("butter's share of the volume, 1755 g dough + 500 g butter", _phi, 0.27668, 2e-4, "",
    "masses over Choi & Okos densities, worked apart", "independent")  # fmt: skip
row("fat layer at 3.5 mm, 27 layers", lambda: sheets.layer_thickness(0.0035, _phi(), 27)[0] * 1e6, 35.9, 0.1, "µm",
    "T phi / F, worked apart", "independent")  # fmt: skip
row("dough layer at 3.5 mm, 27 layers", lambda: sheets.layer_thickness(0.0035, _phi(), 27)[1] * 1e6, 90.4, 0.1, "µm",
    "T (1 - phi) / (F + 1), worked apart", "independent")  # fmt: skip

# --- cuts --------------------------------------------------------------------------------------------------------

row("triangles of 3.5 in base in a row of 23 in",
    lambda: cuts.strip_capacity(Shape("", "triangle", 3.5 * IN, 11 * IN), False, 23 * IN, 0.0), 12, 0, "",
    "foodandwine.com classic croissants")  # fmt: skip
row("trim of 24 x 12 in squared to 23 x 11 in: edge for 12.15 %",
    lambda: cuts.edge_m(23 * IN, 11 * IN, 1 - 253 / 288) / IN, 0.5, 1e-9, "in",
    "foodandwine.com classic croissants")  # fmt: skip
row("pieces of 8 x 16 cm on 35 x 100 cm",
    lambda: sum(most_pieces(Shape("", "rectangle", 0.08, 0.16), 1.0, 0.35, 0.0).counts), 24, 0, "",
    "bourkestreetbakery.com.au pain au chocolat")  # fmt: skip
row("triangles 10 x 25 cm on 60 x 40 cm, one row",
    lambda: cuts.strip_capacity(Shape("", "triangle", 0.10, 0.25), False, 0.60, 0.0), 11, 0, "",
    "floor(2 L / b) - 1", "independent")  # fmt: skip
row("the same sheet turned", lambda: sum(most_pieces(Shape("", "triangle", 0.10, 0.25), 0.60, 0.40, 0.0).counts),
    14, 0, "", "two rows of floor(2 x 40 / 10) - 1", "independent")  # fmt: skip

# --- block, roll-in, sheets --------------------------------------------------------------------------------------

row("butter block 250 g at 8 mm, side",
    lambda: block.fit(0.25 / 935.2, 7e-4, thickness_m=0.008).length_m * 100, 18.28, 0.01, "cm",
    "sqrt(m / (rho t)) at 935.2 kg/m3", "independent")  # fmt: skip
row("dough square for a 7.5 in block, envelope",
    lambda: block.fit(7.5 * 7.5 * IN * IN * 0.008, 1e-3, "envelope", 0.008).dough_length_m / IN, 10.5, 0.15, "in",
    "food20182019.blogspot.com: 7.5 in block in 10.5 in square")  # fmt: skip
row("dough for a 25 x 20 cm block, two-flap, length",
    lambda: block.fit(0.25 * 0.2 * 0.006, 8e-4, "two-flap", 0.006, 0.25).dough_length_m * 100, 50, 0.01, "cm",
    "farinapetra.it: 25 x 20 cm in 50 x 22 cm (2 cm of seam in the width)")  # fmt: skip
row("roll-in 55 % of flour as % of dough, base dough 206 % of flour",
    lambda: 100 * formula.butter_per_dough(206.0, of_flour=55.0) / (1 + formula.butter_per_dough(206.0, of_flour=55.0)),
    100 * 55 / 261, 1e-9, "%", "55 / (206 + 55), worked apart", "independent")  # fmt: skip
row("passes from 20 to 4 mm at 1.5 a pass", lambda: sheets.passes(0.02, 0.004, 1.5), 4, 0, "",
    "ceil(ln 5 / ln 1.5)", "independent")  # fmt: skip
row("triangle 9 x 27 cm at 3.5 mm, gas-free",
    lambda: 0.09 * 0.27 / 2 * 0.0035 * 1166.95 * 1000, 49.6, 0.1, "g",
    "b h / 2 t rho at 1166.95 kg/m3", "independent")  # fmt: skip
row("croissant 9 x 27 cm at 4 mm with 5 % gas: lies in the trade's 50 to 80 g (middle 65)",
    lambda: 0.09 * 0.27 / 2 * 0.004 * 1166.95 * (1 - 0.72 * formula.DOUGH_GAS) * 1000, 65, 15, "g",
    "common practice, no source", "common practice")  # fmt: skip

# --- units -------------------------------------------------------------------------------------------------------

row("68 °F", lambda: quantities.temperature_c("68 °F"), (68 - 32) / 1.8, 1e-9, "°C", "definition", "independent")
row("a difference of 9 °F", lambda: quantities.difference_k("9 Δ°F"), 5.0, 1e-9, "K", "definition", "independent")
row("1 1/2 in", lambda: quantities.length_m("1 1/2 in") * 1000, 38.1, 1e-9, "mm", "the international inch",
    "independent")  # fmt: skip
row("12 oz", lambda: quantities.mass_kg("12 oz") * 1000, 12 * 28.349523125, 1e-6, "g", "the avoirdupois ounce",
    "independent")  # fmt: skip
row("7.5 in rounded to sixteenths", lambda: voice.sixteenths(7.5 * IN), math.floor(7.5 * 16), 0, "1/16 in",
    "7.5 x 16", "independent")  # fmt: skip
