"""Charts of agreement: differences against means, and the confusion between stages."""

from __future__ import annotations

import numpy as np

from qckit import draw
from qckit.agreement.certificate_words import hatch_sentence, stage_sentences
from qckit.agreement.paired import bland_altman
from qckit.agreement.rates import OUTCOMES, CountRates
from qckit.stages import STAGES
from qckit.words import plural, signed

__all__ = ["certificate_charts", "draw_confusion", "draw_differences", "draw_hatch_pairs"]


def draw_differences(frame, *, first="photo", second="hand", unit="objects", ax=None):
    """Draw each pair's difference against its mean, with the bias and the limits within which a further pair lies.

    Parameters
    ----------
    frame : DataFrame, shape (n, any)
        Columns ``first`` and ``second``.
    first, second : str
        The two columns; differences are first minus second.
    unit : str
        Unit of the figure, for the axes.
    ax : Axes, optional

    Returns
    -------
    Axes

    Examples
    --------
    >>> pairs = pd.DataFrame({"photo": [101, 98, 120, 77], "hand": [100, 100, 118, 80]})
    >>> ax = agreement.draw_differences(pairs, unit="nauplii")
    >>> ax.get_ylabel()
    'photo minus hand [nauplii]'
    """
    a, b = frame[first].to_numpy(float), frame[second].to_numpy(float)
    got = bland_altman(a, b)
    ax = draw.points((a + b) / 2, a - b, ax=ax, marker="o")
    low, high = got.of_a_further_pair
    ax.axhspan(got.bias_low, got.bias_high, color=draw.INK, alpha=0.12, linewidth=0)
    draw.reference_line(got.bias, f"bias {signed(got.bias, 1)}", ax=ax, linestyle="-")
    draw.reference_line(low, signed(low, 1), ax=ax)
    draw.reference_line(high, signed(high, 1), ax=ax)
    ax.axhline(0, color=draw.INK, linewidth=0.8, linestyle=":")
    ax.set_xlabel(f"mean of {first} and {second} [{unit}]")
    ax.set_ylabel(f"{first} minus {second} [{unit}]")
    ax.set_title(f"{plural(got.n, 'photo')}: bias and 95 % limits of agreement")
    return ax


def draw_hatch_pairs(certificate, *, ax=None):
    """Draw H% by the kit against H% by eye, a point a photo of a certificate; see :func:`draw_differences`."""
    import pandas as pd

    pairs = pd.DataFrame(list(certificate.hatch_pairs), columns=["photo", "kit", "eye"])
    return draw_differences(pairs, first="kit", second="eye", unit="points of H%", ax=ax)


def certificate_charts(certificate, *, figsize=None):
    """Draw what a certificate shows, in the style of reports: (Axes, text alternative, caption) of each chart.

    What the kit made of each stage is drawn only where object was laid beside object: totals do not tell it.
    """
    charts, rates = [], certificate.rates
    with draw.style():
        if len(certificate.hatch_pairs) >= 3:
            ax = draw_hatch_pairs(certificate, ax=draw.new_axes(figsize=figsize))
            words = f"Difference of H% between kit and eye against their mean. {hatch_sentence(certificate.agreement)}"
            charts.append((ax, words, "H% by the kit against H% by eye"))
        if rates.is_by_object:
            ax = draw_confusion(rates, ax=draw.new_axes(figsize=figsize))
            words = " ".join(stage_sentences(certificate.agreement, rates))
            charts.append((ax, f"What the kit made of each stage: {words}", "Confusion between stages"))
    return charts


def draw_confusion(rates: CountRates, *, ax=None):
    """Draw what became of each true stage, as a table of shares with numbers in it.

    Parameters
    ----------
    rates : CountRates
    ax : Axes, optional

    Returns
    -------
    Axes

    Examples
    --------
    >>> ax = agreement.draw_confusion(agreement.rates_from_counts(by_hand, by_hand, n_draws=50))
    >>> ax.get_ylabel()
    'by hand'
    """
    ax = draw.new_axes(ax)
    share = np.nan_to_num(rates.matrix)
    ax.imshow(share, cmap="Greys", vmin=0, vmax=1.4, aspect="auto")
    for i in range(len(STAGES)):
        for j in range(len(OUTCOMES)):
            text = "–" if not rates.table[i].sum() else f"{100 * share[i, j]:.1f} %\n{rates.table[i, j]:.0f}"
            ax.text(j, i, text, ha="center", va="center", fontsize=9, color="white" if share[i, j] > 0.7 else draw.INK)
    ax.set_xticks(range(len(OUTCOMES)), OUTCOMES)
    ax.set_yticks(range(len(STAGES)), STAGES)
    ax.set_xlabel("the kit says")
    ax.set_ylabel("by hand")
    ax.grid(False)
    how = "" if rates.is_by_object else ", guessed from totals"
    ax.set_title(f"What the kit makes of each stage ({plural(rates.n_photos, 'photo')}{how})")
    return ax
