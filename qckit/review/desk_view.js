// What the canvas shows: which part of the photo at which zoom, the drawn regions, the marks. No talk with Python here.

const SMALL = 3.5, CLOSE = 16, CROWD = 0.25; // marks thin out below this radius on the screen, and in a crowd until close
const NEXT_PX = 26; // "next" brings an object to at least this radius on the screen

function makeView(canvas, size) {
  const view = { scale: 1, x: 0, y: 0, fitted: false, all: false }; // screen px per photo px; photo point in the upper left corner
  const wide = () => canvas.clientWidth, high = () => canvas.clientHeight;
  view.toPhoto = (sx, sy) => ({ x: view.x + sx / view.scale, y: view.y + sy / view.scale });
  view.toScreen = (p) => ({ x: (p.x - view.x) * view.scale, y: (p.y - view.y) * view.scale });
  const most = () => Math.min(900, Math.max(240, window.innerHeight - 330));
  const whole = () => { const [w, h] = size(); return Math.min(wide() / w, most() / h); }; // the zoom that shows all of it
  view.shape = () => { // a photo lower than the window allows fills the canvas, which grows as it is zoomed in
    const [w, h] = size();
    if (!w || !wide()) return;
    const height = `${Math.round(Math.min(most(), Math.max(24, h * Math.max(whole(), view.scale))))}px`;
    if (canvas.style.height !== height) canvas.style.height = height;
  };
  view.fit = () => {
    const [w, h] = size();
    if (!w || !wide()) return;
    view.scale = whole();
    view.shape();
    view.x = (w - wide() / view.scale) / 2; view.y = (h - high() / view.scale) / 2;
    view.fitted = view.all = true;
  };
  view.zoom = (by, sx, sy) => { // about a place on the screen, or about the middle, which moves as the canvas grows
    const p = view.toPhoto(sx ?? wide() / 2, sy ?? high() / 2);
    view.all = false;
    view.scale = Math.min(Math.max(view.scale * by, 0.02), 12);
    view.shape();
    view.x = p.x - (sx ?? wide() / 2) / view.scale; view.y = p.y - (sy ?? high() / 2) / view.scale;
    if (size()[0]) view.hold(); // now, and not with the next frame: the next key may come before that
  };
  view.centre = (m) => { // in the middle, near enough to judge it; a closer zoom stays
    view.all = false;
    view.scale = Math.min(12, Math.max(view.scale, NEXT_PX / Math.max(m.r, 1)));
    view.shape();
    view.x = m.x - wide() / 2 / view.scale; view.y = m.y - high() / 2 / view.scale;
  };
  view.hold = () => { // the photo stays in view: it fills the canvas where it is larger, and is centred where it is smaller
    const [w, h] = size();
    for (const [side, seen, whole] of [["x", wide() / view.scale, w], ["y", high() / view.scale, h]])
      view[side] = whole <= seen ? (whole - seen) / 2 : Math.min(Math.max(view[side], -0.05 * seen), whole - 0.95 * seen);
  };
  return view;
}

function tracePath(pen, view, kind, points) { // a region's outline as a path on the screen
  const p = points.map(([x, y]) => view.toScreen({ x, y }));
  if (kind === "rectangle") pen.rect(p[0].x, p[0].y, p[1].x - p[0].x, p[1].y - p[0].y);
  else if (kind === "ellipse") pen.ellipse((p[0].x + p[1].x) / 2, (p[0].y + p[1].y) / 2, Math.abs(p[1].x - p[0].x) / 2, Math.abs(p[1].y - p[0].y) / 2, 0, 0, 2 * Math.PI);
  else { p.forEach((q, i) => (i ? pen.lineTo(q.x, q.y) : pen.moveTo(q.x, q.y))); pen.closePath(); }
}

function shadeRegion(pen, view, r, [w, h]) { // what does not count is darkened and hatched
  const o = view.toScreen({ x: 0, y: 0 }), e = view.toScreen({ x: w, y: h });
  pen.save();
  pen.beginPath();
  if (r.inside) pen.rect(o.x, o.y, e.x - o.x, e.y - o.y);
  tracePath(pen, view, r.kind, r.points);
  pen.clip("evenodd");
  pen.fillStyle = "rgba(40, 40, 40, 0.45)"; pen.fillRect(o.x, o.y, e.x - o.x, e.y - o.y);
  pen.strokeStyle = "rgba(255, 255, 255, 0.35)"; pen.lineWidth = 1; pen.beginPath();
  for (let x = o.x - (e.y - o.y); x < e.x; x += 14) { pen.moveTo(x, e.y); pen.lineTo(x + e.y - o.y, o.y); }
  pen.stroke(); pen.restore();
  pen.beginPath(); tracePath(pen, view, r.kind, r.points);
  pen.lineWidth = 4; pen.strokeStyle = "#fff"; pen.stroke(); pen.lineWidth = 2; pen.strokeStyle = "#111"; pen.stroke();
}

// Full marks would hide the photo: they are tiny, or cover a good part of what is in view.
function isThin(view, marks, wide, high) {
  let n = 0, sum = 0;
  for (const m of marks) {
    const s = view.toScreen(m);
    if (s.x > 0 && s.y > 0 && s.x < wide && s.y < high) { n += 1; sum += m.r; }
  }
  const near = n ? view.scale * sum / n : 0, side = 2 * Math.max(6, near * 1.1 + 2);
  return near < SMALL || (near < CLOSE && n * side * side > CROWD * wide * high);
}

function paintMark(pen, view, m, { picked, doubtful, hidden, thin }) {
  const s = view.toScreen(m), near = m.r * view.scale, r = Math.max(6, near * 1.1 + 2);
  if (s.x < -50 || s.y < -50 || s.x > pen.canvas.clientWidth + 50 || s.y > pen.canvas.clientHeight + 50) return;
  if (!hidden && thin && !picked) { paintSmall(pen, m, s, doubtful); return; }
  if (!hidden) {
    pen.setLineDash(doubtful ? [4, 3] : []);
    pen.globalAlpha = m.counted ? 1 : 0.75;
    outline(pen, m.stage, s.x, s.y, r);
    pen.lineWidth = picked ? 6 : 3.6; pen.strokeStyle = "#fff"; pen.stroke();
    pen.lineWidth = picked ? 3.4 : 1.8; pen.strokeStyle = LOOK[m.stage].colour; pen.stroke();
    pen.setLineDash([]);
    if (!m.counted && m.stage !== "debris") { // struck through: does not count
      pen.beginPath(); pen.moveTo(s.x - r * 1.2, s.y + r * 1.2); pen.lineTo(s.x + r * 1.2, s.y - r * 1.2);
      pen.lineWidth = 1.8; pen.strokeStyle = "#222"; pen.stroke();
    }
  }
  if (picked) { // four ticks around the chosen one, so that it shows without colour
    pen.beginPath();
    for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) { pen.moveTo(s.x + dx * (r * 1.5 + 3), s.y + dy * (r * 1.5 + 3)); pen.lineTo(s.x + dx * (r * 1.5 + 15), s.y + dy * (r * 1.5 + 15)); }
    pen.lineWidth = 5; pen.strokeStyle = "#fff"; pen.stroke(); pen.lineWidth = 2.4; pen.strokeStyle = "#111"; pen.stroke();
  }
  pen.globalAlpha = 1;
}

function paintSmall(pen, m, s, doubtful) { // seen from afar: a dot beside the object, an outline only where a look is worth it
  if (!m.counted) return;
  if (doubtful) { outline(pen, m.stage, s.x, s.y, 5); pen.lineWidth = 1.3; pen.strokeStyle = LOOK[m.stage].colour; pen.stroke(); return; }
  pen.beginPath(); pen.arc(s.x, s.y, 1.6, 0, 2 * Math.PI);
  pen.fillStyle = LOOK[m.stage].colour; pen.fill();
}
