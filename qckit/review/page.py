"""A camera's certificate as one printable page: what is known, how it was found, when to check again."""

from __future__ import annotations

import io
from html import escape

from qckit import draw
from qckit.columns import is_missing
from qckit.words import signed

__all__ = ["certificate_page"]

_PAGE = """<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; img-src data:; style-src 'unsafe-inline'">
<title>{title}</title><style>
@page {{ margin: 14mm }}
body {{ font: 14px/1.45 system-ui, sans-serif; color: #222; max-width: 780px; margin: 24px auto; padding: 0 16px }}
h1 {{ font-size: 22px; margin: 0 0 4px }} h2 {{ font-size: 16px; margin: 18px 0 6px }}
table {{ border-collapse: collapse; width: 100%; font-variant-numeric: tabular-nums }}
th, td {{ text-align: right; padding: 3px 8px; border-bottom: 1px solid #ccc }}
th:first-child, td:first-child {{ text-align: left }}
.charts {{ display: flex; gap: 12px; flex-wrap: wrap }} .charts figure {{ margin: 0; flex: 1 1 340px }}
.charts svg {{ width: 100%; height: auto }} .until {{ border: 2px solid #222; padding: 8px 12px; font-weight: 600 }}
.small {{ color: #555; font-size: 12px }}
</style></head><body><main>
<h1><bdi>{title}</bdi></h1><p>{about}</p><p class="until">{until}</p>
<h2>What the check showed</h2><ul>{sentences}</ul>
<div class="charts">{charts}</div>
<h2>Agreement, kit minus eye</h2>{agreement}
<h2>Method</h2><p class="small">{method}</p>
</main></body></html>
"""

_METHOD = (
    "The same photos were counted by the kit and by eye. Bias: Bland and Altman 1986, Lancet i:307-310. A single "
    "photo, in words and in the chart: where the next one lies with 95 % (Student's t, the doubt about the bias in "
    "it), wider than Bland and Altman's limits where photos are few. Concordance: Lin 1989, Biometrics 45:255-268. "
    "Shares with Wilson intervals, widened by how much they vary from photo to photo. Counts are corrected by solving "
    "for what would give the counts seen; in simulation its 95 % intervals hold the truth 93 to 97 times in 100 when "
    "single objects were paired, and somewhat less often when only totals were."
)


def certificate_page(certificate) -> str:
    """Write a certificate as a self-contained page.

    Parameters
    ----------
    certificate : Certificate
        From :func:`qckit.agreement.certify_camera` or :func:`qckit.agreement.read_certificate`.

    Returns
    -------
    str
        HTML without script or link; every text that came from a person is escaped.

    Examples
    --------
    >>> review.certificate_page(certificate).startswith("<!doctype html>")
    False
    """
    c = certificate
    what = ", ".join(filter(None, (c.camera, c.magnification, c.kind)))
    about = (
        f"Counted by eye by {c.made_by}; made {c.made_at[:10]}"
        + (f"; counter version {c.counter_version}" if c.counter_version else "")
        + f"; rates from {c.rates.source}."
    )
    return _PAGE.format(
        title=escape(f"Accuracy of camera {what}"),
        about=escape(about),
        until=escape(c.sentences[-1]),
        sentences="".join(f"<li>{escape(s)}</li>" for s in c.sentences[:-1]),
        charts=_charts(c),
        agreement=_table(c.agreement),
        method=escape(_METHOD),
    )


def _table(agreement) -> str:
    heads = {
        "figure": "figure",
        "n": "photos",
        "bias": "bias",
        "bias_low": "from",
        "bias_high": "to",
        "limit_low": "a photo from",
        "limit_high": "to",
        "ccc": "concordance",
    }
    rows = []
    for row in agreement[list(heads)].to_dict("records"):
        cells = [escape(str(row["figure"]).replace("hatch_pct", "H% (points)")), f"{row['n']:.0f}"]
        cells += [signed(row[k], 2) for k in list(heads)[2:-1]]
        cells.append("–" if is_missing(row["ccc"]) else f"{row['ccc']:.3f}")
        rows.append("<tr>" + "".join(f"<td>{v}</td>" for v in cells) + "</tr>")
    head = "".join(f'<th scope="col">{h}</th>' for h in heads.values())
    return f"<table><thead><tr>{head}</tr></thead><tbody>{''.join(rows)}</tbody></table>"


def _charts(c) -> str:
    """Charts as SVG inside the page, each with its text alternative."""
    from qckit.agreement.drawing import certificate_charts

    with draw.style():
        return "".join(_figure(ax, words) for ax, words, _ in certificate_charts(c, figsize=(5.4, 3.6)))


def _figure(ax, words) -> str:
    import matplotlib.pyplot as plt

    buffer = io.StringIO()
    ax.figure.savefig(buffer, format="svg", metadata={"Date": None})
    plt.close(ax.figure)
    return f"<figure>{draw.labelled_svg(buffer.getvalue(), words)}</figure>"
