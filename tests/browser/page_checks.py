"""What a page is looked over for in a real browser: contrast of its text, height of its tables' rows."""

from __future__ import annotations

_LOW = """root => {
    const canvas = document.createElement('canvas').getContext('2d', { willReadFrequently: true });
    const rgba = (c) => { const m = c.match(/[\\d.]+/g).map(Number);
        if (c.startsWith('rgb')) return [m[0], m[1], m[2], m.length > 3 ? m[3] : 1];
        canvas.clearRect(0, 0, 1, 1); canvas.fillStyle = c; canvas.fillRect(0, 0, 1, 1); // another colour space
        const d = canvas.getImageData(0, 0, 1, 1).data; return [d[0], d[1], d[2], d[3] / 255]; };
    const over = (top, below) => top.slice(0, 3).map((v, i) => v * top[3] + below[i] * (1 - top[3]));
    const lum = ([r, g, b]) => { const f = (v) => (v /= 255) <= 0.03928 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4;
        return 0.2126 * f(r) + 0.7152 * f(g) + 0.0722 * f(b); };
    const ground = (e) => { // all grounds from the page's down to the text's own
        const all = [];
        for (let n = e; n; n = n.parentElement) {
            all.push(rgba(getComputedStyle(n).backgroundColor));
            if (all.at(-1)[3] === 1) break;
        }
        return all.reverse().reduce((below, c) => over(c, below), [255, 255, 255]); };
    const found = [], walk = document.createTreeWalker(root, NodeFilter.SHOW_TEXT);
    const check = (e, text, colour, scale) => {
        const style = getComputedStyle(e), below = ground(e);
        let seen = 1;
        for (let n = e; n; n = n.parentElement) seen *= Number(getComputedStyle(n).opacity);
        const top = rgba(colour), a = lum(over([...top.slice(0, 3), top[3] * seen], below)), b = lum(below);
        const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
        const px = parseFloat(style.fontSize), large = px >= 24 || (px >= 18.7 && style.fontWeight >= 700);
        if (ratio < (large ? 3 : 4.5))
            found.push([ratio.toFixed(2), text.slice(0, 40), colour, below.map(Math.round).join()]);
    };
    for (let t; (t = walk.nextNode());) {
        const e = t.parentElement;
        if (!t.textContent.trim() || !e.getClientRects().length) continue;
        if (e.closest('svg, style, script, .qc-hidden, .qck-told')) continue;
        check(e, t.textContent.trim(), getComputedStyle(e).color);
    }
    for (const e of root.querySelectorAll('input[placeholder]'))
        if (e.getClientRects().length && !e.value) check(e, e.placeholder, getComputedStyle(e, '::placeholder').color);
    return found; }"""
_FAINT = _LOW.replace(
    "const found = [], walk",
    "return (all) => all.map((e) => { const below = ground(e.parentElement);"
    " const top = rgba(getComputedStyle(e).borderTopColor), a = lum(over(top, below)), b = lum(below);"
    " return [(Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05), e.textContent.slice(0, 30)]; })"
    ".filter(([ratio]) => ratio < 3); const found = [], walk",
)
_TALL = """most => [...document.querySelectorAll('table tr')].map(
    (r) => [Math.round(r.getBoundingClientRect().height), r.textContent.trim().slice(0, 60)])
    .filter(([h]) => h > most)"""


def low_contrast(page, selector: str = "body") -> list:
    """Texts below a place whose contrast with their ground is too low, as WCAG 2.2 works it out (4.5:1, large 3:1)."""
    return page.locator(selector).first.evaluate(_LOW)


def faint_borders(page, selector: str) -> list:
    """Elements whose border stands out too little from what lies around them: 3:1 (WCAG 2.2, 1.4.11)."""
    return page.evaluate(f"selector => ({_FAINT})(document.body)([...document.querySelectorAll(selector)])", selector)


def tall_rows(page, most_px: int = 120) -> list:
    """Rows of tables higher than ``most_px``."""
    return page.evaluate(_TALL, most_px)


def unfold(page) -> None:
    """Open all that is folded."""
    page.eval_on_selector_all("details", "all => all.forEach(e => { e.open = true })")


def painted(page):
    """Wait until a page has drawn what was asked of it: with the next frame, which a busy machine has late.

    A canvas that grew is painted again with the frame after; the third sees both done.
    """
    for _ in range(3):
        page.evaluate("() => new Promise((done) => requestAnimationFrame(done))")
