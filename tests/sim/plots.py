"""Pictures for the report: errors, coverage and widths by class, as SVG that is the same for the same figures."""
import matplotlib

matplotlib.use("svg")
import matplotlib.pyplot as plt
import numpy as np
from scipy.stats import binom

from .table import absolute, at, groups, quant

matplotlib.rcParams.update({"svg.hashsalt": "loftwatch", "svg.fonttype": "none", "font.size": 9, "axes.spines.top": False, "axes.spines.right": False})
INSTANTS = (("after", "0.5 s after burnout"), ("half", "at half of coast"))
# Okabe and Ito's colours, with a marker of its own for each.
OURS, FIT, HAND = ("#0072B2", "o"), ("#009E73", "s"), ("#777777", "x")


def save(figure, folder, name):
    figure.savefig(folder / name, metadata={"Date": None, "Creator": None}, bbox_inches="tight")
    plt.close(figure)
    return name


def errors(rows, fits, key, value, unit, title, folder, name, hand=None):
    """Median and 90th percentile of an error by class, one line each, on a logarithmic axis."""
    classes = [c for c in groups(rows)]
    figure, axis = plt.subplots(figsize=(7.5, 0.32 * len(classes) + 1.2))
    for row, (cls, rs) in enumerate(groups(rows).items()):
        series = [(absolute(at(rs, key, value)), OURS, 0.0, "Loftwatch")]
        if fits:
            found = [fits[(r["cls"], r["seed"])].get(key) for r in rs if (r["cls"], r["seed"]) in fits]
            series.append((absolute([f[value] for f in found if f and f.get(value) is not None]), FIT, 0.2, "offline fit"))
        if hand:
            series.append((absolute(at(rs, key, hand)), HAND, -0.2, "drag-free hand sum"))
        for values, (colour, marker), shift, label in series:
            if not values:
                continue
            middle, far = quant(values, 0.5), quant(values, 0.9)
            axis.plot([middle, far], [row + shift] * 2, color=colour, linewidth=1.2)
            axis.plot([middle], [row + shift], marker, color=colour, markersize=4.5, label=label if row == 0 else None)
            axis.plot([far], [row + shift], "|", color=colour, markersize=7)
    axis.set(xscale="log", yticks=range(len(classes)), yticklabels=classes, xlabel=f"{title}, {unit}: median (marker) to 90th percentile (bar)")
    axis.invert_yaxis()
    axis.grid(axis="x", color="#dddddd", linewidth=0.6)
    axis.set_axisbelow(True)
    axis.legend(frameon=False, loc="lower right", fontsize=8)
    return save(figure, folder, name)


def coverage(rows, folder, name):
    """Share of truths inside the 90 % interval, with what chance alone would do to a true 90 % (99 % of the time)."""
    classes = groups(rows)
    what = (("h_in90", "height", "o"), ("t_in90", "time", "s"), ("v_in90", "airspeed", "^"))
    figure, axes = plt.subplots(1, 2, figsize=(9.5, 0.32 * len(classes) + 1.2), sharey=True)
    for axis, (key, title) in zip(axes, INSTANTS):
        for row, rs in enumerate(classes.values()):
            n = len(at(rs, key, "h_in90"))
            if n:
                lo, hi = binom.ppf([0.005, 0.995], n, 0.9) / n
                axis.plot([100 * lo, 100 * hi], [row, row], color="#cccccc", linewidth=6, solid_capstyle="butt")
            for (field, label, marker), colour in zip(what, ("#0072B2", "#E69F00", "#CC79A7")):
                inside = at(rs, key, field)
                if inside:
                    axis.plot([100 * np.mean(inside)], [row], marker, color=colour, markersize=4.5, label=label if row == 0 else None)
        axis.axvline(90, color="#777777", linewidth=0.8)
        axis.set(xlim=(30, 102), yticks=range(len(classes)), yticklabels=list(classes), xlabel="% inside the 90 % interval", title=title)
    axes[0].invert_yaxis()
    axes[0].legend(frameon=False, loc="lower left", fontsize=8)
    return save(figure, folder, name)


def draw(rows, fits, folder):
    """Draws all of them; returns (file, what it shows)."""
    folder.mkdir(parents=True, exist_ok=True)
    rows = [r for r in rows if "failed" not in r]
    out = []
    for key, when in INSTANTS:
        out.append((errors(rows, fits, key, "h_err", "%", f"Error of the apogee height {when}", folder, f"height-{key}.svg", "hand_h_err"),
                    f"Error of the apogee height {when}, by class"))
    out.append((errors(rows, fits, "half", "t_err", "s", "Error of the time of apogee at half of coast", folder, "time-half.svg", "hand_t_err"),
                "Error of the time of apogee at half of coast, by class"))
    out.append((errors(rows, fits, "half", "v_err", "m/s", "Error of the airspeed at apogee at half of coast", folder, "air-half.svg"),
                "Error of the airspeed at apogee at half of coast, by class"))
    out.append((coverage(rows, folder, "coverage.svg"), "Coverage of the 90 % intervals; grey: where 99 of 100 samples of a true 90 % would lie"))
    return out
