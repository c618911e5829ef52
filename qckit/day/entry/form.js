// The day's page and its forms. Enter goes to the next field, in the last one it writes; "-" in an empty field goes back.
// An entry is also kept in the browser's own store until the log has it, and so is what is typed or tallied and not yet
// sent, a draft for each form (browser_store.js, joined before this).
export default { render };

const TIMES = ["taken", "at"]; // fields that hold a time of day
const two = (number) => String(number).padStart(2, "0");
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
  let kind = model.get("first"), again = "", counting = null, sounds = null, somebodyElse = false;
  const root = make("div", { class: "qcf", "data-lm-suppress-shortcuts": "true" });
  const page = make("div"), bar = make("div", { class: "qcf-bar" }), body = make("div");
  const status = make("p", { class: "qcf-status", role: "status", "aria-live": "polite" });
  root.append(bar, body, status, page); // the answer stands right below what was typed
  el.append(root);
  for (const type of ["keydown", "keyup", "keypress"]) root.addEventListener(type, (event) => event.stopPropagation());

  // ---- entries that the log has not confirmed, and drafts: kept here, and what a lost page leaves is offered the next time
  const offer = make("div", { class: "qcf-left", role: "status" });
  let waiting = [], drafts = {}, left = [], shownLeft = "", draftTimer = null;
  const sentAt = new Map(); // by a clock that nobody sets
  root.prepend(offer);
  const unanswered = () => waiting.filter((one) => !one.refused);
  const silent = () => unanswered().some((one) => performance.now() - sentAt.get(one.uid) > SILENT_MS);
  const lasting = () => waiting.filter((one) => one.do !== "take back"); // sent later it would take back what came since
  const keeper = makeKeeper(`qckit-day:${model.get("site_key")}:`, () => ({ silent: silent(), edits: [...lasting(), ...Object.values(drafts)] }));
  async function save() {
    clearTimeout(draftTimer);
    await keeper.save();
    if (silent()) told();
  }
  function told() {
    status.className = "qcf-status qcf-bad";
    status.textContent = "No answer: the kernel may have stopped. " + (keeper.isUnsafe()
      ? "This browser's store takes nothing: what was typed is in this page ALONE. Write it down before you close it."
      : "What was typed is kept in this browser; run this cell again and it is offered.");
  }
  async function lookForLeft() {
    const found = await keeper.look((isTaken) => {
      waiting = waiting.filter((one) => !isTaken(one));
      for (const one of Object.values(drafts)) if (isTaken(one)) delete drafts[one.do];
    });
    const answer = model.get("status"), isKnown = (one) => one.uid === answer.n && !answer.bad; // came when its page had gone
    for (const [name, edits] of found) if (edits.some(isKnown)) await keeper.take(name, edits.filter(isKnown), () => {});
    left = found.map(([name, edits]) => [name, edits.filter((one) => !isKnown(one))]);
    drawLeft();
  }
  const isOfToday = (at) => new Date(at).toDateString() === new Date().toDateString();
  const clock = (at) => new Date(at).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", hourCycle: "h23" }); // as all times here
  const when = (at) => (isOfToday(at) ? clock(at) : `${new Date(at).toLocaleDateString()}, ${clock(at)}`);
  function sentence(edit) {
    const typed = [...Object.values(edit.values), ...(edit.tally ? edit.tally.done.flat().concat(`${edit.tally.presses.length} tallied`) : [])].filter((value) => value !== "").join(", ");
    const fate = edit.draft ? "and never sent" : edit.refused ? "and not written" : "and not known to be in the log";
    return `Typed by ${edit.by || "nobody named"} at ${when(edit.at)}, ${fate}: ${edit.do} ${typed}. ${edit.draft ? "" : edit.refused || "See below whether it is there."}`;
  }
  function drawLeft() {
    const all = [...waiting.filter((one) => one.refused).map((one) => ["", one]), ...left.flatMap(([name, edits]) => edits.map((one) => [name, one]))];
    const text = JSON.stringify([all, model.get("forms").map((one) => one.kind)]);
    if (text === shownLeft) return;
    shownLeft = text;
    offer.replaceChildren(...all.map(([name, edit]) => make("div", { class: "qcf-bar" },
      make("span", { text: sentence(edit) }),
      ...(edit.draft && !model.get("forms").some((one) => one.kind === edit.do) ? [] // its form is not offered now
        : [make("button", { type: "button", text: edit.draft ? "Go on with it" : "Write it", onclick: () => take(name, edit, true) })]),
      make("button", { type: "button", text: "Leave it", onclick: () => take(name, edit, false) }))));
  }
  async function take(name, edit, goOn) {
    if (goOn && edit.draft && drafts[edit.do]) {
      status.textContent = `Something else is typed under ${edit.do}: write it or empty it first.`;
      return;
    }
    left = left.map(([other, edits]) => [other, edits.filter((one) => other !== name || one.uid !== edit.uid)]);
    const claim = (got) => { if (got.length && goOn) { if (edit.draft) resume(edit); else sendAgain(edit); } };
    if (name) await keeper.take(name, [edit], claim);
    else {
      waiting = waiting.filter((one) => one !== edit);
      claim([edit]);
      save();
    }
    drawLeft();
  }
  function resume(draft) {
    const values = { ...draft.values }, day = new Date(draft.at);
    for (const name of isOfToday(draft.at) ? [] : TIMES) { // or it would be taken for one of today
      if (/^\D*\d{1,2}\D?\d{0,2}\D*$/.test(values[name] ?? "")) values[name] = `${day.getFullYear()}-${two(day.getMonth() + 1)}-${two(day.getDate())} ${values[name]}`;
    }
    drafts[draft.do] = { ...draft, values, uid: keeper.name() };
    kind = draft.do;
    again = draft.again;
    draw(true);
    if (draft.tally) goOnTallying();
  }
  function sendAgain(edit) { // under its own name, so that a kernel which had it says so
    model.set("initials", edit.by); model.save_changes(); drawBar();
    send(edit.do, edit.values, { uid: edit.uid, offered: true, at: edit.at, tally: edit.tally });
  }
  const beat = setInterval(() => { save(); lookForLeft(); }, 2000);
  window.addEventListener("pageshow", lookForLeft); // a page that slept

  // ---- drafts
  function keepDraft() { // what differs from what the form offered
    const one = form(), before = drafts[one.kind], values = typedNow(), begun = counting || before?.tally;
    const tally = begun?.presses.length || begun?.done.length ? begun : null;
    if (tally || one.fields.some((field) => values[field.name] !== field.value)) {
      drafts[one.kind] = { uid: keeper.name(), ...before, draft: true, do: one.kind, values, tally, again, by: model.get("initials"), at: before?.at ?? Date.now() };
    } else delete drafts[one.kind];
    clearTimeout(draftTimer);
    draftTimer = setTimeout(save, 300);
  }
  const typedNow = () => Object.fromEntries(fields().map((node) => [node.name, node.value]));
  function fillIn() { // what was typed before, whatever the form offers now
    const draft = drafts[form()?.kind];
    for (const node of draft ? fields() : []) {
      const value = draft.values[node.name];
      if (value === undefined) continue;
      if (node.tagName === "SELECT" && ![...node.options].some((option) => option.value === value)) node.append(make("option", { value, text: value }));
      node.value = value;
    }
  }
  function notWritten(edit, why) { // back into its form, or offered again where something else stands in that by now
    const name = edit.do === "count again" ? "count" : edit.do;
    if (!Object.keys(edit.values).length && !edit.offered) waiting = waiting.filter((one) => one !== edit);
    else if (edit.offered || drafts[name]) edit.refused = why;
    else {
      waiting = waiting.filter((one) => one !== edit);
      drafts[name] = { ...edit, uid: keeper.name(), draft: true, do: name, again: edit.values.sample || "" };
      if (!counting) fillIn();
    }
  }
  body.addEventListener("input", (event) => { if (event.target.name) keepDraft(); });

  const form = () => model.get("forms").find((one) => one.kind === kind) || model.get("forms")[0];
  const fields = () => [...body.querySelectorAll("input, select")].filter((node) => node.name);

  function send(what, values = {}, more = {}) {
    status.className = "qcf-status";
    status.textContent = "Writing …";
    const edit = { uid: keeper.name(), do: what, values, by: model.get("initials"), at: Date.now(), ...more };
    waiting.push(edit);
    sentAt.set(edit.uid, performance.now());
    if (!sendTo(model, { n: edit.uid, do: what, values, age_s: Math.max(0, (Date.now() - edit.at) / 1000) })) sentAt.set(edit.uid, -Infinity); // told as silence at once
    save();
  }

  function submit() {
    const what = again ? "count again" : form().kind, values = again ? { ...typedNow(), sample: again } : typedNow();
    const same = (one) => one.do === what && JSON.stringify(one.values) === JSON.stringify(values);
    if (!silent() && unanswered().some(same)) return; // Enter pressed twice
    const tally = drafts[form().kind]?.tally; // left aside, not written: it comes back where this is refused
    delete drafts[form().kind];
    send(what, values, { tally });
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
    const open = (one) => { kind = one.kind; again = drafts[kind]?.again ?? ""; counting = null; draw(true); };
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
      buttons.push(make("button", { type: "button", text: drafts.count?.tally ? "Tally anew" : "Tally by eye", onclick: startTally }));
      if (drafts.count?.tally) buttons.push(make("button", { type: "button", text: "Go on with the tally", onclick: goOnTallying }));
      const hatch = drafts.count?.values.hatch ?? box.querySelector("select[name=hatch]")?.value ?? one.fields[0].value;
      const names = one.again?.[hatch] || [];
      if (names.length) {
        const pick = make("select", { "aria-label": "count again" }, make("option", { value: "", text: "new subsamples" }), ...names.map((name) => make("option", { value: name, text: `again: ${name}` })));
        pick.value = again;
        pick.addEventListener("change", () => { again = pick.value; keepDraft(); });
        buttons.push(pick);
      }
    }
    body.replaceChildren(...(one.note ? [make("p", { class: "qcf-note", text: one.note })] : []), box, make("div", { class: "qcf-bar" }, ...buttons));
    fillIn();
    if (focus) (fields().find((node) => node.value === "") || fields()[0])?.focus();
  }

  // ---- the tally: counted here, so that nothing waits for the kernel; written when it is full
  function startTally() {
    counting = { done: [], presses: [] };
    drawTally();
  }

  function goOnTallying() {
    counting = drafts.count.tally;
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
    keepDraft();
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
    if (drafts.count) drafts.count.tally = null; // it stands in the fields now
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
  const isTyping = () => counting || drafts[form()?.kind];

  model.on("change:page", () => { page.innerHTML = model.get("page"); });
  model.on("change:forms", () => { if (!isTyping() && status.textContent !== "Writing …") draw(false); });
  model.on("change:status", () => {
    const answer = model.get("status"), edit = waiting.find((one) => one.uid === answer.n);
    if (!edit) return; // another view of this form asked
    if (answer.bad) notWritten(edit, answer.text);
    else waiting = waiting.filter((one) => one !== edit);
    save();
    drawLeft();
    status.className = answer.bad ? "qcf-status qcf-bad" : "qcf-status";
    status.textContent = answer.text;
    if (answer.bad || isTyping()) return; // what was typed stays
    kind = model.get("first");
    again = drafts[kind]?.again ?? "";
    draw(true);
  });
  draw(false);
  lookForLeft();
  return () => { clearInterval(beat); clearTimeout(draftTimer); window.removeEventListener("pageshow", lookForLeft); keeper.stop(); };
}
