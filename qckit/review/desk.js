// The review desk: a photo with marks, on a canvas; every edit goes through the queue to Python, which writes it to the log.
// Plain browser code, shipped as it is; nothing is fetched from anywhere.

const DOUBTFUL = 0.2;
const SHAPES = { rectangle: "rectangle", circle: "circle", polygon: "polygon" };
const HOW = {
  rectangle: "drag from corner to corner, or press Enter at two corners.",
  circle: "drag across it from rim to rim, or press Enter at two opposite points of the rim.",
  polygon: "click its corners, or press Enter at each; then press the same key again, or click the first corner, to close it.",
};

function live(el) { // not known before the desk is on the page
  const cell = el.closest(".jp-OutputArea, .output_wrapper, .output");
  if (cell) cell.dataset.qckLive = "yes";
  return cell;
}

function render({ model, el }) {
  let marks = [], at = null, mode = "look", cross = null, corners = [], drag = null, tile = null, told = null;
  let goTo = null, filter = "all", hidden = false, last = null, opening = "", base = null, frame = 0, goOn = true;
  const size = () => [model.get("width_px"), model.get("height_px")];

  // ---- what is on the page
  const canvas = make("canvas", { class: "qck-canvas", "aria-hidden": "true" });
  const stage = make("div", {
    class: "qck-photo", tabindex: "0", role: "application", "aria-roledescription": "photo with marks",
    "aria-label": "Photo with marks. Arrow right and left go through the objects, those most worth a look first. " +
      "N, U, C, S, D set the stage. Enter says right as it is. X removes, Z undoes, A adds, H hides the marks. Plus, minus and 0 zoom.",
  }, canvas);
  const view = makeView(canvas, size);
  const said = make("div", { class: "qck-said", role: "status", "aria-live": "polite" });
  const tell = make("div", { class: "qck-told", role: "status", "aria-live": "polite", "aria-atomic": "true" });
  const status = make("div", { class: "qck-status", role: "status", "aria-live": "polite" });
  const advice = make("p", { class: "qck-advice" });
  const table = make("table", { class: "qck-counts", "aria-label": "Counts now" });
  const choose = make("select", { "aria-label": "Photo", onchange: openPhoto });
  const show = make("select", { "aria-label": "Show", onchange: () => { filter = show.value; keepVisible(); draw(); } },
    make("option", { value: "all" }, "all objects"), make("option", { value: "doubtful" }, "doubtful only"),
    ...STAGES.map((s) => make("option", { value: s }, `${LOOK[s].text.toLowerCase()} only`)),
    make("option", { value: "removed" }, "removed and not counted"));
  const initials = make("input", { type: "text", maxlength: "20", size: "6", "aria-label": "Initials", class: "qck-initials",
    placeholder: "initials", onchange: keepInitials });
  const button = (text, title, act, extra = {}) => make("button", { type: "button", title, onclick: () => { act(); if (document.activeElement !== initials) stage.focus(); }, ...extra }, text);
  const stageButtons = STAGES.map((s) => {
    const b = button("", `${LOOK[s].text}: key ${LOOK[s].key.toUpperCase()}`, () => stageKey(s), { "data-stage": s });
    b.append(icon(s), ` ${LOOK[s].text} `, make("kbd", {}, LOOK[s].key.toUpperCase()));
    return b;
  });
  const keyed = (text, key, act, extra = {}) => {
    const b = button(`${text} `, `key ${key}`, act, extra);
    b.append(make("kbd", {}, key === "Enter" ? "⏎" : key));
    return b;
  };
  const modeButton = (name, text, key) => keyed(text, key, () => setMode(mode === name ? "look" : name), { "data-mode": name, "aria-pressed": "false" });
  const shape = make("select", { "aria-label": "Shape of the part to count or leave out: key G", onchange: () => { corners = []; setMode(mode, true); } },
    ...Object.entries(SHAPES).map(([value, text]) => make("option", { value }, text)));
  const modes = [modeButton("add", "Add", "A"), modeButton("inside", "Count only inside…", "F"), modeButton("out", "Leave out…", "L")];
  const offer = make("div", { class: "qck-offer", role: "alert", hidden: "" });
  const hide = keyed("Hide marks", "H", toggleMarks, { "aria-pressed": "false" });
  const auto = make("input", { type: "checkbox", checked: "", onchange: () => { goOn = auto.checked; } });
  el.classList.add("qck-desk");
  el.append(
    make("div", { class: "qck-bar qck-first" }, make("label", {}, "Photo ", choose), make("label", {}, "Show ", show),
      make("label", {}, "Initials ", initials), status),
    make("div", { class: "qck-bar", role: "toolbar", "aria-label": "Stage of the chosen object" }, ...stageButtons,
      keyed("Right as it is", "Enter", confirmNow), keyed("Remove", "X", removeNow), keyed("Undo", "Z", undoNow), ...modes, make("label", {}, "Shape ", shape)),
    offer,
    make("div", { class: "qck-body" }, stage,
      make("div", { class: "qck-side" }, said, table, advice, tell,
        make("div", { class: "qck-bar" }, button("+", "zoom in: key +", () => zoom(1.5), { "aria-label": "Zoom in" }), button("−", "zoom out: key -", () => zoom(1 / 1.5), { "aria-label": "Zoom out" }),
          button("Whole photo", "key 0", fit), hide),
        make("div", { class: "qck-bar" }, button("◀ Previous", "key ←", () => step(-1)), button("Next ▶", "key →", () => step(1))),
        make("label", { class: "qck-auto" }, auto, " go on to the next after each"),
        make("details", {}, make("summary", {}, "Keys and marks"), make("table", { class: "qck-keys" },
          ...KEYS.map(([keys, what]) => make("tr", {}, make("th", { scope: "row" }, keys), make("td", {}, what)))))))
  );

  // ---- talk to Python: edits wait in the queue until the log has them
  const queue = makeQueue(model, () => { showStatus(); showOffer(); });
  function initialsNow() {
    const by = initials.value.trim();
    if (by) return by;
    last = { text: "Not saved: an edit needs the initials of who makes it. Write them into the field Initials.", bad: true };
    showStatus(); initials.focus();
    return "";
  }
  function send(edit) {
    const by = initialsNow();
    if (!by) return false;
    last = null;
    queue.add({ ...edit, by });
    return true;
  }
  function undoNow() {
    const by = initialsNow();
    if (!by) return;
    last = null;
    const taken = queue.undo(by);
    if (taken) last = { text: "Taken back before it was saved.", bad: false };
    goTo = taken?.id ?? null;
    readMarks(); showStatus();
  }
  function saveChanges() { try { model.save_changes(); } catch { /* the kernel has gone; the next edit tells */ } }
  function keepInitials() {
    const by = initials.value.trim();
    model.set("initials", by); saveChanges();
    try { localStorage.setItem(`qckit-initials:${model.get("site_key")}`, by); } catch { /* typed again the next time */ }
    if (by && last?.bad && /initials/.test(last.text)) { last = null; showStatus(); }
  }
  function lastInitials() { try { return localStorage.getItem(`qckit-initials:${model.get("site_key")}`) || ""; } catch { return ""; } }
  function openPhoto() {
    opening = choose.value; last = null;
    if (!sendTo(model, { do: "open", photo: opening })) { opening = ""; last = { text: "Not opened: the kernel has gone. Run the cell again.", bad: true }; photos(); }
    showStatus();
  }
  function showStatus() {
    const n = queue.waiting();
    let text = last ? last.text : "", bad = Boolean(last?.bad);
    if (n && queue.silent()) {
      text = `${n} waiting: the kernel does not answer; it is busy, or it has gone. NOT SAVED yet, kept in this ${queue.isUnsafe() ? "page ALONE, as the browser's store takes nothing: do not close it." : "browser. If it was restarted, run the cell again: they are offered there."}`;
      bad = true;
    } else if (n) text = `${n} waiting.${bad ? ` ${text}` : ""}`;
    else if (opening && !last) text = "Opening the photo.";
    if (status.textContent !== text) status.textContent = text;
    status.classList.toggle("qck-bad", bad);
    status.dataset.waiting = n;
  }
  function showOffer() {
    const list = queue.offered(), text = list.map((e) => e.uid).join();
    if (offer.dataset.of === text) return;
    offer.dataset.of = text;
    offer.hidden = !list.length;
    if (!list.length) { offer.replaceChildren(); return; }
    const photos = [...new Set(list.map((e) => e.photo))].join(", "), by = [...new Set(list.map((e) => e.by))].join(", ");
    offer.replaceChildren(
      `${list.length} ${list.length > 1 ? "changes" : "change"} by ${by} of ${photos} ${list.length > 1 ? "were" : "was"} not seen to be saved. `,
      button(list.length > 1 ? "Save them now" : "Save it now", "written to the log in the same initials; what it has already is not written twice", () => queue.takeOver(true)), " ",
      button(list.length > 1 ? "Forget them" : "Forget it", "they are lost", () => queue.takeOver(false)));
  }
  const others = typeof BroadcastChannel === "undefined" ? null : new BroadcastChannel(`qckit-desk:${model.get("site_key")}`);
  let looked = 0, asked = 0, askedAt = 0;
  function look() { // has somebody else written to the log?
    if (asked > looked && Date.now() - askedAt < 60000) return;
    asked += 1; askedAt = Date.now();
    sendTo(model, { do: "look", n: asked });
  }
  const lookAgain = setInterval(() => { if (!document.hidden && el.offsetParent) look(); }, 10000);
  if (others) others.onmessage = look;
  const seen = () => { if (!document.hidden) look(); };
  document.addEventListener("visibilitychange", seen);
  let stillTimer = null;
  function onMessage(message, buffers) {
    if (message.tile) { takeTile(message, buffers); return; }
    if (message.looked) { looked = message.looked; return; }
    if (message.opened) { opening = ""; last = { text: message.text, bad: message.bad }; if (message.bad) photos(); showStatus(); return; }
    const edit = message.answer && queue.answer(message);
    if (!edit) return;
    if (edit.photo === model.get("photo") && message.objects?.length === 1) [goTo] = message.objects; // once the marks have come
    if (!(last?.bad && !message.bad && queue.waiting())) last = { text: message.text, bad: message.bad };
    showStatus();
    clearTimeout(stillTimer);
    stillTimer = setTimeout(() => sendTo(model, { do: "still" }), 4000);
    if (others) others.postMessage({ photo: model.get("photo") });
  }

  // ---- marks
  function readMarks() {
    const before = at, place = marks.findIndex((m) => m.id === at);
    marks = model.get("marks").map(([id, x, y, r, stageName, counted, state, doubt, onEdge]) => ({ id, x, y, r, stage: stageName, counted, state, doubt, onEdge }));
    for (const edit of queue.of(model.get("photo"))) applyEdit(marks, edit);
    at = marks.some((m) => m.id === before) ? before : typeof before === "string" && marks[place] ? marks[place].id : null;
    if (marks.some((m) => m.id === goTo)) { at = goTo; view.centre(chosen()); askForTile(); } // to what was taken back
    goTo = null;
    counts(); describe(); draw();
  }
  const shown = (m) => filter === "all" ? true
    : filter === "doubtful" ? m.doubt > DOUBTFUL && m.counted
      : filter === "removed" ? !m.counted : m.stage === filter && m.counted;
  const chosen = () => marks.find((m) => m.id === at);
  function keepVisible() { const m = chosen(); if (m && !shown(m)) { at = null; describe(); } }
  function counts() {
    const now = model.get("counts");
    table.replaceChildren(
      make("caption", {}, "Counts now"),
      ...STAGES.slice(0, -1).map((s) => make("tr", {}, make("th", { scope: "row" }, icon(s), ` ${LOOK[s].text}`),
        make("td", { "data-count": s }, String(now[s] ?? 0)))),
      make("tr", { class: "qck-hatch" }, make("th", { scope: "row" }, "H%"), make("td", {}, model.get("hatch") || "–")));
    advice.textContent = model.get("advice");
    // told once it has settled, so that a quick series of edits is not read out one by one
    const words = STAGES.slice(0, -1).map((s) => `${now[s] ?? 0} ${LOOK[s].many}`).join(", ") + (model.get("hatch") ? `, hatched ${model.get("hatch")}` : "");
    clearTimeout(told);
    told = setTimeout(() => { if (tell.textContent !== `Counts: ${words}.`) tell.textContent = `Counts: ${words}.`; }, 700);
  }
  function describe() {
    const m = chosen();
    canvas.dataset.chosen = m ? m.id : "";
    for (const b of stageButtons) b.setAttribute("aria-pressed", String(Boolean(m) && m.stage === b.dataset.stage));
    if (!m) { said.textContent = `${marks.length} objects, ${marks.filter((k) => k.doubt > DOUBTFUL && k.counted).length} doubtful. None chosen.`; return; }
    const place = marks.filter(shown).indexOf(m) + 1;
    const why = m.counted ? "" : m.stage === "debris" || m.state === "removed by hand" || m.removed ? ", not counted"
      : `, not counted: ${m.onEdge ? "it touches the left or upper edge" : "it lies outside the part that counts"}`;
    said.textContent = `Object ${m.id}: ${m.stage}${why}` +
      `${m.state ? `, ${m.state}` : ""}${m.doubt > 0 ? `, ${Math.round(100 * (1 - m.doubt))} % sure` : ""}. Place ${place} of ${marks.filter(shown).length}.`;
  }
  function step(by) {
    const list = marks.filter(shown);
    if (!list.length) { describe(); return; }
    const now = list.findIndex((m) => m.id === at);
    at = list[now < 0 ? (by > 0 ? 0 : list.length - 1) : (now + by + list.length) % list.length].id;
    view.centre(chosen()); view.fitted = true;
    describe(); draw(); askForTile();
  }
  function stageKey(s) {
    if (mode === "add") { placeAt(cross, s); return; }
    const m = chosen();
    if (!m) { said.textContent = "Choose an object first: arrow right, or a click."; return; }
    if (typeof m.id === "string" || !send({ do: "stage", id: m.id, stage: s })) return; // one that waits has no number yet
    readMarks(); // shown at once; Python's answer is what counts
    if (goOn) step(1); else { describe(); draw(); }
  }
  function confirmNow() { const m = chosen(); if (m) stageKey(m.stage); }
  function removeNow() {
    const m = chosen();
    if (!m) { said.textContent = "Choose an object first: arrow right, or a click."; return; }
    if (typeof m.id === "string") return;
    send(m.state === "removed by hand" || m.removed ? { do: "restore", id: m.id } : { do: "remove", id: m.id });
    readMarks();
  }
  function placeAt(point, s) {
    if (!point) return;
    if (s === "debris") { said.textContent = "Debris is not counted: there is nothing to add."; return; }
    send({ do: "add", x: point.x, y: point.y, stage: s });
    readMarks();
  }
  const drawing = () => mode === "inside" || mode === "out";
  function setMode(next, keep = false) {
    if (drawing() && next === "look" && shape.value === "polygon" && corners.length > 2 && !keep) { region(); return; }
    mode = next; corners = [];
    cross = next === "look" ? null : cross && keep ? cross : toPhoto(canvas.clientWidth / 2, canvas.clientHeight / 2);
    for (const b of modes) b.setAttribute("aria-pressed", String(b.dataset.mode === mode));
    said.textContent = { look: "", add: "Add: click what was missed, or move the cross with the arrows, then press the stage's letter.",
      inside: `Count only inside a ${shape.value}: ${HOW[shape.value]}`, out: `Leave a ${shape.value} out: ${HOW[shape.value]}` }[mode];
    if (mode === "look") describe();
    draw();
  }
  function nextShape() {
    const all = Object.keys(SHAPES);
    shape.value = all[(all.indexOf(shape.value) + 1) % all.length];
    if (drawing()) setMode(mode, true); else said.textContent = `Shape: ${shape.value}.`;
  }
  function setCorner(p) { // a corner, or a point of the rim; two make a rectangle or a circle
    const first = corners[0];
    if (shape.value === "polygon" && corners.length > 2 && Math.hypot(p.x - first.x, p.y - first.y) * view.scale < 12) { region(); return; }
    corners.push({ ...p });
    if (shape.value !== "polygon" && corners.length === 2) { region(); return; }
    said.textContent = shape.value === "polygon" ? `${corners.length} corner${corners.length > 1 ? "s" : ""} set.` + (corners.length > 2 ? " The same key again closes it." : "") : "One point set.";
    draw();
  }
  function outlineOf(points, kind) { // what is being drawn, as Python takes it
    if (kind !== "circle") return { kind, points: points.map((p) => [p.x, p.y]) };
    const [a, b] = points, x = (a.x + b.x) / 2, y = (a.y + b.y) / 2, r = Math.hypot(a.x - b.x, a.y - b.y) / 2;
    return { kind: "ellipse", points: [[x - r, y - r], [x + r, y + r]] };
  }
  function region() {
    send({ do: "region", region: outlineOf(corners, shape.value), inside: mode === "inside" });
    corners = []; setMode("look");
  }

  // ---- the picture
  const toPhoto = view.toPhoto, toScreen = view.toScreen;
  function fit() { view.fit(); draw(); }
  function zoom(by, sx, sy) { view.zoom(by, sx, sy); draw(); askForTile(); }
  function toggleMarks() {
    hidden = !hidden;
    hide.setAttribute("aria-pressed", String(hidden));
    said.textContent = hidden ? "Marks are hidden; H shows them again." : "Marks are shown.";
    draw();
  }
  let tileTimer = null;
  function askForTile() { // when zoomed in beyond the picture sent, the part in view comes in full detail
    clearTimeout(tileTimer);
    if (view.scale < 1.2 * (model.get("base_scale") || 1)) { tile = null; return; }
    tileTimer = setTimeout(() => {
      const a = toPhoto(0, 0), b = toPhoto(canvas.clientWidth, canvas.clientHeight);
      sendTo(model, { do: "tile", corners: [a.x, a.y, b.x, b.y] });
    }, 150);
  }
  function draw() { if (!frame) frame = requestAnimationFrame(paint); }
  function paint() {
    frame = 0;
    const ratio = window.devicePixelRatio || 1, w = canvas.clientWidth, h = canvas.clientHeight;
    if (!w) return;
    if (model.get("width_px")) view.hold();
    if (canvas.width !== Math.round(w * ratio) || canvas.height !== Math.round(h * ratio)) { canvas.width = Math.round(w * ratio); canvas.height = Math.round(h * ratio); }
    const pen = canvas.getContext("2d");
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    pen.fillStyle = "#777"; pen.fillRect(0, 0, w, h);
    const o = toScreen({ x: 0, y: 0 });
    if (base) pen.drawImage(base, o.x, o.y, model.get("width_px") * view.scale, model.get("height_px") * view.scale);
    if (tile) { const t = toScreen({ x: tile.box[0], y: tile.box[1] }); pen.drawImage(tile.image, t.x, t.y, (tile.box[2] - tile.box[0]) * view.scale, (tile.box[3] - tile.box[1]) * view.scale); }
    for (const r of model.get("regions")) shadeRegion(pen, view, r, size());
    const thin = isThin(view, marks.filter(shown), w, h);
    for (let i = marks.length - 1; i >= 0; i--) {
      const m = marks[i], picked = m.id === at;
      if (shown(m) && (!hidden || picked)) paintMark(pen, view, m, { picked, hidden, thin, doubtful: m.doubt > DOUBTFUL && Boolean(m.counted) });
    }
    if (cross) crosshair(pen);
    Object.assign(canvas.dataset, { scale: view.scale, x: view.x, y: view.y, mode, marks: hidden ? "hidden" : "shown" });
  }
  function crosshair(pen) {
    const s = toScreen(cross);
    pen.lineWidth = 1.5; pen.strokeStyle = "#111"; pen.setLineDash([5, 4]);
    pen.beginPath(); pen.moveTo(s.x - 18, s.y); pen.lineTo(s.x + 18, s.y); pen.moveTo(s.x, s.y - 18); pen.lineTo(s.x, s.y + 18); pen.stroke();
    if (drawing()) {
      const points = [...(drag && drag.rect ? [drag.from] : corners), cross];
      if (points.length > 1) { const r = outlineOf(points, shape.value); pen.beginPath(); tracePath(pen, view, r.kind, r.points); pen.stroke(); }
      for (const p of corners) { const c = toScreen(p); pen.strokeRect(c.x - 4, c.y - 4, 8, 8); }
    }
    pen.setLineDash([]);
  }

  // ---- mouse and keys
  const where = (event) => { const box = canvas.getBoundingClientRect(); return [event.clientX - box.left, event.clientY - box.top]; };
  canvas.addEventListener("pointerdown", (event) => {
    stage.focus(); canvas.setPointerCapture(event.pointerId);
    const [sx, sy] = where(event);
    drag = { sx, sy, x: view.x, y: view.y, moved: false, from: toPhoto(sx, sy), rect: drawing() && shape.value !== "polygon" };
  });
  canvas.addEventListener("pointermove", (event) => {
    const [sx, sy] = where(event);
    if (!drag && drawing() && corners.length) { cross = toPhoto(sx, sy); draw(); }
    if (!drag) return;
    if (Math.hypot(sx - drag.sx, sy - drag.sy) > 4) drag.moved = true;
    if (!drag.moved) return;
    if (drag.rect) cross = toPhoto(sx, sy);
    else { view.x = drag.x - (sx - drag.sx) / view.scale; view.y = drag.y - (sy - drag.sy) / view.scale; }
    draw();
  });
  canvas.addEventListener("pointerup", (event) => {
    if (!drag) return;
    const [sx, sy] = where(event), p = toPhoto(sx, sy), was = drag;
    drag = null;
    if (was.moved) { if (was.rect) { corners = [was.from, p]; region(); } else askForTile(); return; }
    if (drawing()) { cross = p; setCorner(p); return; }
    if (mode === "add") { cross = p; said.textContent = "Now press the stage's letter: N, U, C or S, or the stage's button."; draw(); return; }
    // the nearest mark in the photo's own pixels, so that overlapping marks do not steal each other's clicks
    let best = null, distance = Math.max(26 / view.scale, 8);
    for (const m of marks) if (shown(m)) { const d = Math.hypot(m.x - p.x, m.y - p.y); if (d < distance) { best = m; distance = d; } }
    at = best ? best.id : null;
    describe(); draw();
  });
  canvas.addEventListener("wheel", (event) => { event.preventDefault(); const [sx, sy] = where(event); zoom(Math.exp(-event.deltaY * 0.0015), sx, sy); }, { passive: false });
  const ARROWS = { ArrowRight: [1, 0], ArrowLeft: [-1, 0], ArrowDown: [0, 1], ArrowUp: [0, -1] };
  stage.addEventListener("keydown", (event) => {
    if ((event.ctrlKey || event.metaKey) && event.key.toLowerCase() === "s") { // the notebook's own key: hand it on
      const { key, code, keyCode, ctrlKey, metaKey } = event;
      el.closest(".jp-Notebook")?.dispatchEvent(new KeyboardEvent("keydown", { key, code, keyCode, ctrlKey, metaKey, bubbles: true, cancelable: true }));
      event.preventDefault(); return;
    }
    if ((event.ctrlKey || event.metaKey) && event.key.toLowerCase() !== "z") return;
    if (event.altKey || event.key === "Tab") return;
    const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
    const letter = STAGES.find((s) => LOOK[s].key === key);
    const arrow = ARROWS[key];
    event.stopPropagation();
    if (arrow && event.shiftKey) { view.x += arrow[0] * 60 / view.scale; view.y += arrow[1] * 60 / view.scale; draw(); askForTile(); }
    else if (arrow && cross) { cross = { x: cross.x + arrow[0] * 8 / view.scale, y: cross.y + arrow[1] * 8 / view.scale }; draw(); }
    else if (key === "ArrowRight" || key === "ArrowDown") step(1);
    else if (key === "ArrowLeft" || key === "ArrowUp") step(-1);
    else if (letter) stageKey(letter);
    else if (key === "Enter") { if (drawing()) setCorner(cross); else confirmNow(); }
    else if (key === "Backspace" && corners.length) { corners.pop(); said.textContent = `${corners.length} corners set.`; draw(); }
    else if (key === "x" || key === "Delete" || key === "Backspace") removeNow();
    else if (key === "z") undoNow();
    else if (key === "h") toggleMarks();
    else if (key === "a") setMode(mode === "add" ? "look" : "add");
    else if (key === "f") setMode(mode === "inside" ? "look" : "inside");
    else if (key === "l") setMode(mode === "out" ? "look" : "out");
    else if (key === "g") nextShape();
    else if (key === "Escape") { corners = []; setMode("look"); }
    else if (key === "+" || key === "=") zoom(1.5);
    else if (key === "-") zoom(1 / 1.5);
    else if (key === "0") fit();
    else return;
    event.preventDefault();
  });
  for (const type of ["keydown", "keyup", "keypress"]) el.addEventListener(type, (event) => event.stopPropagation());

  // ---- what comes from Python
  async function picture() {
    const bytes = model.get("image");
    base = bytes && bytes.byteLength ? await createImageBitmap(new Blob([bytes], { type: "image/jpeg" })) : null;
    tile = null; fit();
  }
  function photos() {
    choose.replaceChildren(...model.get("photos").map(([name, text]) => make("option", { value: name }, text)));
    choose.value = model.get("photo");
  }
  async function takeTile(message, buffers) {
    const bytes = buffers[0].buffer ? buffers[0] : new DataView(buffers[0]);
    tile = { box: message.tile, image: await createImageBitmap(new Blob([bytes], { type: "image/jpeg" })) };
    draw();
  }
  let cell = null; // the still picture shows only where no desk lives
  const resize = new ResizeObserver(() => { cell ??= live(el); if (!view.fitted || view.all) fit(); else { view.shape(); draw(); } });
  resize.observe(stage);
  initials.value = model.get("initials") || lastInitials();
  if (initials.value !== model.get("initials")) { model.set("initials", initials.value); saveChanges(); }
  const listen = [["change:marks", readMarks], ["change:counts", counts], ["change:hatch", counts], ["change:advice", counts], ["change:regions", draw], ["change:refreshed", () => { queue.refreshed(); readMarks(); showStatus(); }],
    ["change:image", picture], ["change:photos", photos], ["change:photo", photos], ["msg:custom", onMessage]];
  for (const [name, act] of listen) model.on(name, act);
  photos(); readMarks(); picture(); showStatus(); showOffer();
  return () => { queue.stop(); others?.close(); clearInterval(lookAgain); document.removeEventListener("visibilitychange", seen); clearTimeout(stillTimer); if (cell) delete cell.dataset.qckLive; resize.disconnect(); clearTimeout(tileTimer); clearTimeout(told); for (const [name, act] of listen) model.off(name, act); };
}

export default { render };
