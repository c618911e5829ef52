"""Charts and photos inside a page: embedded, so that the page needs nothing else."""

from __future__ import annotations

import base64
import io
import re
import shutil
from collections.abc import Iterable
from html import escape
from pathlib import Path
from urllib.parse import quote

from qckit.directions import isolated
from qckit.errors import InputError
from qckit.files import safe_name
from qckit.reports.blocks import Html
from qckit.words import plural

__all__ = ["figure", "figures", "thumbnails"]

_LARGEST_SVG = 400_000  # bytes; beyond this a bitmap is smaller and prints as well
_LEAST_SCALE = 0.8  # charts are not set side by side narrower than this share of the size they were drawn for
_LEAST_READABLE = 0.7  # on a narrow screen a chart is shrunk to this share of its size, and then scrolls
_WIDEST_PHOTO = 860  # CSS pixels: a page's text
_PHOTO_BUDGET = 4_000_000  # bytes of all embedded photos of one page


def figure(drawn, *, alt: str, caption: str = "", is_newest_last: bool = False) -> Html:
    """Show a chart, or a picture of pixels, with its description.

    Parameters
    ----------
    drawn : Axes, Figure or PIL.Image.Image
        A chart's figure is closed afterwards.
    alt : str
        What the chart shows, in words and with its main numbers, for readers who cannot see it.
    caption : str
        A sentence under the chart.
    is_newest_last : bool
        What the chart is for stands at its right end: a window too narrow for the chart shows that end first.

    Returns
    -------
    Html

    Raises
    ------
    InputError
        ``alt`` is empty.

    Examples
    --------
    >>> ax = charts.draw_control_chart(charts.p_chart([80, 82, 79, 85], 100, per=100))
    >>> "Four shares." in reports.figure(ax, alt="Four shares.").html
    True
    """
    return Html(f'<div class="qc">{_figure(drawn, alt, caption, is_newest_last)}</div>', caption or alt)


def figures(drawn: Iterable[tuple]) -> Html:
    """Show charts side by side where their letters stay legible; each is ``(Axes or Figure, alt, caption)``.

    Examples
    --------
    >>> ax = charts.draw_control_chart(charts.p_chart([80, 82, 79, 85], 100, per=100))
    >>> "Four shares." in reports.figures([(ax, "Four shares.", "")]).html
    True
    """
    drawn = list(drawn)
    widest = max((_width(getattr(each[0], "figure", each[0])) for each in drawn), default=0)
    columns = f"repeat(auto-fit, minmax(min(100%, {round(_LEAST_SCALE * widest)}px), 1fr))"
    inner = "".join(_figure(*each) for each in drawn)
    return Html(f'<div class="qc qc-side" style="grid-template-columns: {columns}">{inner}</div>', "charts")


def _figure(drawn, alt: str, caption: str, is_newest_last: bool = False) -> str:
    if not alt.strip():
        raise InputError("a figure has no alt text. Say in alt= what it shows, with its main numbers.")
    below = f"<figcaption>{escape(caption)}</figcaption>" if caption else ""
    if hasattr(drawn, "convert"):
        uri, width, style = _pixels_uri(drawn), min(drawn.width, _WIDEST_PHOTO), ""
    else:
        uri, width = _picture(getattr(drawn, "figure", drawn))
        style = f' style="--least: {round(_LEAST_READABLE * width)}px"'
    picture = f'<img src="{uri}" width="{width}"{style} alt="{escape(alt)}">'
    newest = " qc-newest" if is_newest_last else ""
    return f'<figure><div class="qc-scroll{newest}">{picture}</div>{below}</figure>'


def _width(fig) -> int:
    return round(fig.get_figwidth() * 96)


def _picture(fig) -> tuple[str, int]:
    """Return a data URI and its width in CSS pixels; the same figure gives the same bytes."""
    import matplotlib as mpl
    import matplotlib.pyplot as plt

    with mpl.rc_context({"svg.hashsalt": "qckit", "svg.fonttype": "path", "savefig.bbox": "tight"}):
        buffer, box = io.BytesIO(), _laid_out(fig)
        fig.savefig(buffer, format="svg", metadata={"Date": None, "Creator": None}, facecolor="white", bbox_inches=box)
        kind = "svg+xml"
        # as wide as what was drawn: stretched to the figure's width, letters of a narrow chart would be larger
        points = re.search(rb'<svg [^>]*?\bwidth="([\d.]+)pt"', buffer.getvalue())
        width = round(float(points[1]) * 96 / 72) if points else _width(fig)
        if buffer.tell() > _LARGEST_SVG:
            buffer, kind = io.BytesIO(), "png"
            fig.savefig(buffer, format="png", dpi=200, metadata={"Software": None}, facecolor="white")
    plt.close(fig)
    if kind == "svg+xml":
        return _svg_uri(buffer.getvalue().decode("utf-8")), width
    return _data_uri(buffer.getvalue(), f"image/{kind}"), width


def _laid_out(fig):
    """Lay a figure out as it will be written and return what it covers; left to itself it is drawn once for that."""
    import matplotlib as mpl
    from matplotlib.backends.backend_svg import FigureCanvasSVG, RendererSVG

    FigureCanvasSVG(fig)
    fig.dpi = 72  # an SVG's own: letters are as wide when measured as when written
    width, height = fig.get_size_inches() * 72
    if (engine := fig.get_layout_engine()) is not None:
        engine.execute(fig)
        fig.set_layout_engine(None)
    box = fig.get_tightbbox(RendererSVG(width, height, io.StringIO()))
    return box.padded(mpl.rcParams["savefig.pad_inches"])


def _pixels_uri(image) -> str:
    buffer = io.BytesIO()
    image.convert("RGB").save(buffer, format="JPEG", quality=82, optimize=True)
    return _data_uri(buffer.getvalue(), "image/jpeg")


def _svg_uri(text: str) -> str:
    """A drawing as text in its own address: no base64, no comments, coordinates to a hundredth of a point."""
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>|<!--.*?-->", "", text, flags=re.DOTALL)
    text = re.sub(r"(?<![(\d.])(-?\d+\.\d{2})\d+", r"\1", text)  # a scale, the first number in its bracket, stays exact
    text = re.sub(r"(translate\(-?\d+\.\d{2})\d+", r"\1", text)
    text = re.sub(r">\s+<", "><", text)
    text = _lighter(re.sub(r"\s*\n\s*", " ", text))
    if "'" in text:
        return _data_uri(text.encode("utf-8"), "image/svg+xml")
    return "data:image/svg+xml," + quote(text.replace('"', "'"), safe=" ='/:;,.()-+!*@?&$~")


def _lighter(text: str) -> str:
    """The same drawing without names that nothing refers to, and with the style of a row of like marks said once."""
    used = set(re.findall(r'(?:href="|url\()#([^")]+)', text))
    text = re.sub(r' id="([^"]+)"', lambda m: m[0] if m[1] in used else "", text)
    mark = r'<use xlink:href="(#[^"]+)" x="[^"]+" y="[^"]+" style="([^"]*)"/>'
    row = re.compile(mark + r'(?:<use xlink:href="\1" x="[^"]+" y="[^"]+" style="\2"/>)+')
    return row.sub(lambda m: f'<g style="{m[2]}">' + m[0].replace(f' style="{m[2]}"', "") + "</g>", text)


def _data_uri(data: bytes, mime: str) -> str:
    return f"data:{mime};base64,{base64.b64encode(data).decode('ascii')}"


def thumbnails(photos, *, out_dir: str | Path = "", caption: str = "", limit: int = 30) -> Html:
    """Show photos small; each opens larger in its place, without network or script.

    Parameters
    ----------
    photos : DataFrame, shape (n, any)
        Columns path (of the picture), title, and, where there is something to say, note.
    out_dir : path
        Folder of the report: full-size copies go into its ``checked/`` and are linked. Empty: none are made.
    caption : str
        What to look at.
    limit : int
        Most photos shown; a line says how many there are.

    Returns
    -------
    Html

    Examples
    --------
    >>> photos = pd.DataFrame({"path": [picture], "title": ["cone A"], "note": [""]})
    >>> "cone A" in reports.thumbnails(photos).html
    True
    """
    shown = photos.head(limit)
    width = 1100 if len(shown) <= 20 else 800
    most = _PHOTO_BUDGET // max(len(shown), 1)
    items = [_thumbnail(row, out_dir, width, most) for row in shown.to_dict("records")]
    more = f" The first {limit} of {len(photos)} are shown." if len(photos) > limit else ""
    head = f'<p class="qc-caption">{escape(caption + more)}</p>' if items and caption + more else ""
    inner = "".join(items) or "<p>There is no photo.</p>"
    return Html(f'<div class="qc">{head}<div class="qc-photos">{inner}</div></div>', plural(len(photos), "photo"))


def _thumbnail(row: dict, out_dir, width: int, most: int) -> str:
    path = Path(row["path"])
    title, remark = str(row.get("title") or path.name), str(row.get("note") or "")
    link = ""
    if not str(row["path"]) or not path.is_file():
        return f'<p class="qc-note">{escape(title)}: its photo cannot be shown. {escape(remark)}</p>'
    if str(out_dir):
        link = f' <a href="checked/{_placed(path, Path(out_dir) / "checked")}">Full size</a>'
    below = f"<p>{escape(remark)}{link}</p>" if remark or link else ""
    return (
        f'<details class="qc-photo"><summary><img src="{_shrunk(path, width, most)}" alt="{escape(title)}">'
        f"<span>{isolated(title)}</span></summary>{below}</details>"
    )


def _placed(path: Path, folder: Path) -> str:
    """Make sure a picture lies in a folder, and return its name there."""
    if path.parent == folder:
        return path.name
    name = safe_name(path.stem) + path.suffix.lower()
    folder.mkdir(parents=True, exist_ok=True)
    shutil.copyfile(path, folder / name)
    return name


def _shrunk(path: Path, width: int, most: int) -> str:
    """Return a photo as a data URI of at most about ``most`` bytes."""
    from PIL import Image

    with Image.open(path) as image:
        image.draft("RGB", (width, width))
        image = image.convert("RGB")
        image.thumbnail((width, width), Image.Resampling.LANCZOS)
        for quality in (72, 60, 45, 30):
            buffer = io.BytesIO()
            image.save(buffer, format="JPEG", quality=quality, optimize=True)
            if buffer.tell() <= most:
                break
    return _data_uri(buffer.getvalue(), "image/jpeg")
