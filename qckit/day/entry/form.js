// The day's page and its forms. Enter goes to the next field, in the last one it writes; "-" in an empty field goes back.
// An entry is also kept in the browser's own store until the log has it (browser_store.js, joined before this).
export default { render };

const OTHER = "\u2026"; // stands for initials that are not in the list; no initials

function make(tag, options = {}, ...children) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(options)) {
    if (name === "text") node.textContent = value;
    else if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
    else if (value !== undefined && value !== false) node.setAttribute(name, value === true ? "" : value);
  }
  node.append(...children);
  return node;
}

function render({ model, el }) {
  let kind = model.get("first"), number = 0, again = "", counting = null, sounds = null, somebodyElse = false;
  const root = make("div", { class: "qcf", "data-lm-suppress-shortcuts": "true" });
  const page = make("div"), bar = make("div", { class: "qcf-bar" }), body = make("div");
  const status = make("p", { class: "qcf-status", role: "status", "aria-live": "polite" });
  root.append(bar, body, status, page); // the answer stands right below what was typed
  el.append(root);
  for (const type of ["keydown", "keyup", "keypress"]) root.addEventListener(type, (event) => event.stopPropagation());

  // ---- entries that the log has not confirmed: kept here, and what a lost kernel leaves is offered the next time
  const prefix = `qckit-day:${model.get("site_key")}:`, mine = prefix + Math.random().toString(36).slice(2);
  const offer = make("div", { class: "qcf-left", role: "status" });
  let waiting = [], stored = false, shownLeft = "";
  root.prepend(offer);
  const silent = () => waiting.length > 0 && Date.now() - waiting[0].at > SILENT_MS;
  function store() {
    waiting = notTaken(mine, waiting);
    keep(mine, waiting.length ? { alive: Date.now(), silent: silent(), edits: waiting } : null);
    stored = kept(mine) !== null;
  }
  function told() {
    status.className = "qcf-status qcf-bad";
    status.textContent = "No answer: the kernel may have stopped. What was typed is kept in this browser; run this cell again and it is offered.";
  }
  function drawLeft() {
    const left = leftBehind(prefix, mine), text = JSON.stringify(left);
    if (text === shownLeft) return;
    shownLeft = text;
    offer.replaceChildren(...left.flatMap(([name, edits]) => edits.map((edit) => {
      const take = (write) => {
        takeOut(name, edits, [edit]);
        if (write) { model.set("initials", edit.by); model.save_changes(); drawBar(); send(edit.do, edit.values); }
        drawLeft();
      };
      const typed = Object.values(edit.values).filter((value) => value !== "").join(", ");
      return make("div", { class: "qcf-bar" },
        make("span", { text: `Typed by ${edit.by || "nobody named"} at ${new Date(edit.at).toLocaleTimeString()}, and not known to be in the log: ${edit.do} ${typed}. See below whether it is there.` }),
        make("button", { type: "button", text: "Write it", onclick: () => take(true) }),
        make("button", { type: "button", text: "Leave it", onclick: () => take(false) }));
    })));
  }
  const beat = setInterval(() => {
    if (waiting.length || stored) store();
    if (silent()) told();
    drawLeft();
  }, 2000);
  function close() {
    waiting = notTaken(mine, waiting);
    if (waiting.length) keep(mine, { closed: true, edits: waiting });
    else if (stored) keep(mine, null);
  }
  function comeBack(event) { // a page that slept: what it had closed is another's where it is no longer there
    if (event.persisted) waiting = waiting.filter((one) => kept(mine)?.edits?.some((edit) => edit.n === one.n));
  }
  window.addEventListener("pageshow", comeBack);
  window.addEventListener("pagehide", close);

  const form = () => model.get("forms").find((one) => one.kind === kind) || model.get("forms")[0];
  const fields = () => [...body.querySelectorAll("input, select")].filter((node) => node.name);

  function send(what, values = {}) {
    number += 1;
    status.className = "qcf-status";
    status.textContent = "Writing …";
    waiting.push({ n: number, do: what, values, by: model.get("initials"), at: Date.now() });
    store();
    if (!sendTo(model, { n: number, do: what, values })) told();
  }

  function submit() {
    const values = Object.fromEntries(fields().map((node) => [node.name, node.value]));
    if (again) send("count again", { ...values, sample: again });
    else send(form().kind, values);
  }

  function onKey(event) {
    const all = fields(), place = all.indexOf(event.target);
    if (event.key === "Enter") {
      event.preventDefault();
      if (place + 1 < all.length) { all[place + 1].focus(); all[place + 1].select?.(); }
      else submit();
    } else if (event.key === "-" && event.target.value === "" && place > 0) {
      event.preventDefault();
      all[place - 1].focus();
      all[place - 1].select?.();
    }
  }

  function control(field) {
    const options = { name: field.name, "aria-label": (field.group ? field.group + " " : "") + field.label, onkeydown: onKey };
    if (field.options.length) {
      const node = make("select", options, ...field.options.map(([value, text]) => make("option", { value, text })));
      node.value = field.value;
      return node;
    }
    const node = make("input", { ...options, type: "text", inputmode: field.keys, autocomplete: "off" });
    node.value = field.value;
    return node;
  }

  function drawBar() {
    const open = (one) => { kind = one.kind; again = ""; counting = null; draw(true); };
    const tabs = model.get("forms").map((one) => make("button", { type: "button", text: one.title, "aria-pressed": String(one.kind === form()?.kind), onclick: () => open(one) }));
    const people = model.get("people"), by = model.get("initials");
    const known = people.length > 1 && !somebodyElse && (!by || people.includes(by));
    const who = known
      ? make("select", { "aria-label": "initials" }, make("option", { value: "", text: "who?" }), ...people.map((name) => make("option", { value: name, text: name })),
        make("option", { value: OTHER, text: "other…" }))
      : make("input", { "aria-label": "initials", placeholder: "initials", size: 5 });
    who.value = by;
    who.addEventListener("change", () => {
      somebodyElse = who.value === OTHER || (somebodyElse && who.value !== "");
      model.set("initials", who.value === OTHER ? "" : who.value.trim()); model.save_changes();
      if (who.value === OTHER || (!known && who.value === "")) { drawBar(); bar.querySelector("[aria-label=initials]").focus(); }
    });
    bar.replaceChildren(who, ...tabs,
      make("button", { type: "button", text: "Take back last", onclick: () => send("take back") }),
      make("button", { type: "button", text: "Meters calibrated", onclick: () => send("meters") }));
  }

  function drawForm(focus) {
    const one = form();
    if (!one) { body.replaceChildren(); return; }
    const box = make("div", { class: "qcf-fields" }), groups = {};
    for (const field of one.fields) {
      const node = make("label", { text: field.label }, control(field));
      if (!field.group) box.append(node);
      else {
        if (!groups[field.group]) { groups[field.group] = make("div", { class: field.group.length > 2 ? "qcf-group qcf-named" : "qcf-group" }, make("span", { text: field.group })); box.append(groups[field.group]); }
        groups[field.group].append(node);
      }
    }
    const buttons = [make("button", { type: "button", text: "Write", onclick: submit })];
    if (one.kind === "count") {
      buttons.push(make("button", { type: "button", text: "Tally by eye", onclick: startTally }));
      const hatch = box.querySelector("select[name=hatch]")?.value ?? one.fields[0].value;
      const names = one.again?.[hatch] || [];
      if (names.length) {
        const pick = make("select", { "aria-label": "count again" }, make("option", { value: "", text: "new subsamples" }), ...names.map((name) => make("option", { value: name, text: `again: ${name}` })));
        pick.value = again;
        pick.addEventListener("change", () => { again = pick.value; });
        buttons.push(pick);
      }
    }
    body.replaceChildren(...(one.note ? [make("p", { class: "qcf-note", text: one.note })] : []), box, make("div", { class: "qcf-bar" }, ...buttons));
    if (focus) (fields().find((node) => node.value === "") || fields()[0])?.focus();
  }

  // ---- the tally: counted here, so that nothing waits for the kernel; written when it is full
  function startTally() {
    counting = { done: [], presses: [] };
    drawTally();
  }

  function tallyCounts() { return model.get("tally").keys.map((_, i) => counting.presses.filter((p) => p === i).length); }

  function percent() {
    const { names } = model.get("tally");
    const rows = [...counting.done, tallyCounts()];
    const sum = (wanted) => rows.reduce((total, row) => total + row.reduce((s, n, i) => s + (wanted.includes(names[i]) ? n : 0), 0), 0);
    const full = sum(["nauplii", "umbrella", "cysts", "embryos"]);
    return full ? `H ${Math.round((100 * sum(["nauplii"])) / full)} %` : "H –";
  }

  function drawTally() {
    const { keys, names, letters, n } = model.get("tally"), most = again ? 1 : n;
    const now = tallyCounts().map((count, i) => `${letters[i]} ${count}`).join("  ");
    const legend = make("p", { class: "qcf-note" });
    keys.forEach((key, i) => legend.append(make("kbd", { text: key }), ` ${names[i]}   `));
    legend.append(make("kbd", { text: "Enter" }), " next, twice: end   ", make("kbd", { text: "Backspace" }), " undo   ", make("kbd", { text: "Esc" }), " leave");
    const pad = make("div", { class: "qcf-bar" }, ...keys.map((key, i) => make("button", { type: "button", text: `+ ${names[i]}`, onclick: () => { press(i); } })),
      make("button", { type: "button", text: "Undo", onclick: undo }), make("button", { type: "button", text: "Next", onclick: next }));
    const box = make("div", { class: "qcf-tally", tabindex: "0", role: "application", "aria-label": "tally", onkeydown: onTallyKey },
      legend, make("p", { class: "qcf-now", text: `${Math.min(counting.done.length + 1, most)}/${most}   ${now}   ${percent()}` }),
      ...counting.done.map((row, i) => make("p", { class: "qcf-note", text: `${i + 1}: ` + row.map((count, k) => `${letters[k]} ${count}`).join("  ") })), pad);
    const holder = body.querySelector(".qcf-tally");
    if (holder) holder.replaceWith(box); else body.append(box);
    box.focus({ preventScroll: true });
  }

  function press(i) { counting.presses.push(i); sound(); drawTally(); }
  function undo() {
    if (counting.presses.length) counting.presses.pop();
    else if (counting.done.length) counting.presses = counting.done.pop().flatMap((count, i) => Array(count).fill(i));
    drawTally();
  }
  function next() {
    const most = again ? 1 : model.get("tally").n;
    if (counting.presses.length) {
      counting.done.push(tallyCounts());
      counting.presses = [];
      if (counting.done.length < most) { drawTally(); return; }
    } else if (!counting.done.length) return; // Enter once more ends it early
    const { names } = model.get("tally");
    counting.done.forEach((row, r) => row.forEach((count, i) => { const node = body.querySelector(`[name="${names[i]}-${r}"]`); if (node) node.value = count; }));
    counting = null;
    submit();
  }
  function onTallyKey(event) {
    if (event.ctrlKey || event.metaKey || event.altKey || event.target.tagName === "BUTTON" && event.key === " ") return;
    const place = model.get("tally").keys.indexOf(event.key);
    if (place >= 0) press(place);
    else if (event.key === "Backspace") undo();
    else if (event.key === "Enter" && event.target.tagName !== "BUTTON") next();
    else if (event.key === "Escape") { counting = null; draw(true); }
    else return;
    event.preventDefault();
  }
  function sound() {
    if (model.get("tally").sound !== "soft") return;
    sounds = sounds || new AudioContext();
    const tone = sounds.createOscillator(), gain = sounds.createGain();
    gain.gain.value = 0.04;
    tone.frequency.value = 660;
    tone.connect(gain).connect(sounds.destination);
    tone.start();
    tone.stop(sounds.currentTime + 0.04);
  }

  function draw(focus) {
    page.innerHTML = model.get("page"); // made and escaped in Python
    drawBar();
    if (!counting) drawForm(focus);
  }

  model.on("change:page", () => { page.innerHTML = model.get("page"); });
  model.on("change:forms", () => { if (!counting && status.textContent !== "Writing …") draw(false); });
  model.on("change:status", () => {
    const answer = model.get("status");
    waiting = waiting.filter((one) => one.n !== answer.n);
    store();
    status.className = answer.bad ? "qcf-status qcf-bad" : "qcf-status";
    status.textContent = answer.text;
    if (answer.bad) return; // what was typed stays
    again = "";
    kind = model.get("first");
    draw(true);
  });
  draw(false);
  drawLeft();
  return () => { clearInterval(beat); close(); window.removeEventListener("pagehide", close); window.removeEventListener("pageshow", comeBack); };
}
