"""Draw the error budget: what 95 % of units stay within, before and after the ice point, and the shares."""

from __future__ import annotations

import io

import numpy as np

from hardware.budget.error_budget import CONTRIBUTIONS, Result, step_temperatures_c

_COLOURS = ("#0b5d8f", "#7b1fa2", "#8d99a6", "#d1671a", "#2e7d32", "#c62828", "#b8860b")
_DASHES = ("-", "--", ":", "-.", (0, (1, 1)), (0, (5, 1)), (0, (3, 1, 1, 1)))


def to_svg(result: Result, parts: dict[str, Result], r_fixed_ohm: float) -> str:
    """SVG text without a date, so that the same numbers give the same file."""
    import matplotlib

    matplotlib.use("svg")
    import matplotlib.pyplot as plt

    with plt.rc_context(
        {"svg.hashsalt": "tourier", "svg.fonttype": "none", "font.size": 10, "font.family": "DejaVu Sans"}
    ):
        figure, (whole, split) = plt.subplots(1, 2, figsize=(11, 4.4), sharex=True)
        t = result.celsius
        whole.axvspan(0, 30, color="#e8f1e9", zorder=0)
        whole.text(15, 1.04, "working range", ha="center", fontsize=9, color="#2e7d32")
        whole.plot(t, result.p95_k(False), color="#8d99a6", ls="--", lw=1.8)
        whole.plot(t, result.p95_k(), color="#0b5d8f", lw=2.4)
        whole.hlines(0.5, 0, 30, color="#c62828", lw=1.6)
        whole.text(1, 0.52, "goal 0.5 K", color="#c62828", fontsize=9)
        whole.text(-19, result.p95_k(False)[1] + 0.04, "straight from the parts", color="#5d6b78", fontsize=9)
        whole.text(33, result.p95_k()[55] - 0.24, "after one ice point", color="#0b5d8f", fontsize=9)
        for step in step_temperatures_c(r_fixed_ohm):
            if -20 < step < 60:
                whole.axvline(step, color="#d1671a", lw=0.9, ls=":")
                whole.text(
                    step, 0.02, f"step {step:.1f} °C", rotation=90, fontsize=8, color="#d1671a", ha="right", va="bottom"
                )
        whole.set(xlabel="true temperature, °C", ylabel="95 % of units within, K", ylim=(0, 1.1), xlim=(-20, 60))
        whole.set_title("Whole chain", fontsize=11)
        for name, colour, dash in zip(CONTRIBUTIONS, _COLOURS, _DASHES, strict=True):
            split.plot(t, parts[name].p95_k(), color=colour, ls=dash, lw=1.7, label=name)
        split.set(xlabel="true temperature, °C", ylabel="alone, after ice point, K", ylim=(0, None))
        split.set_title("Shares", fontsize=11)
        split.legend(fontsize=8.5, frameon=False, loc="upper left", ncols=2)
        for axis in (whole, split):
            axis.set_xticks(np.arange(-20, 61, 10))
            axis.grid(color="#e3e8ec", lw=0.7)
            axis.spines[["top", "right"]].set_visible(False)
        figure.tight_layout()
        buffer = io.StringIO()
        figure.savefig(buffer, format="svg", metadata={"Date": None, "Creator": None})
        plt.close(figure)
    return "\n".join(line.rstrip() for line in buffer.getvalue().splitlines()) + "\n"
