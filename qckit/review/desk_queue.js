// The queue between the page and the log. An edit stays in it, and in the browser's own store, until Python says that
// the log has it; what a lost kernel or a closed page leaves there is offered by the next desk of the same site.

const QUEUE_PLACE = "qckit-desk:";
const RETRY_MS = 5000; // a log that could not be written is tried again

function makeQueue(model, changed) {
  const keeper = makeKeeper(`${QUEUE_PLACE}${model.get("site_key")}:`, () => ({ edits, silent: silent() }));
  let edits = [], left = [], sent = 0, busy = false, pause = 0, settled = [];
  let lastNews = performance.now(); // as pause is, by a clock that nobody sets

  const write = () => { keeper.save(); };
  const silent = () => sent > 0 && performance.now() - lastNews > SILENT_MS;
  function flush() { // an undo goes alone, once everything before it is in the log: only then it is known what it undoes
    if (busy || !edits.length || performance.now() < pause) return;
    const first = edits[0].do === "undo" ? 1 : edits.findIndex((e) => e.do === "undo");
    const batch = edits.slice(0, first < 0 ? edits.length : first);
    if (batch[0].do === "undo" && batch[0].after === undefined) batch[0].after = model.get("step");
    busy = true; sent = batch.length; lastNews = performance.now();
    write();
    if (!sendTo(model, { do: "save", edits: batch })) lastNews = -Infinity; // told as silence at once
  }
  function add(edit) {
    edits.push({ uid: keeper.name(), photo: model.get("photo"), count: model.get("count_key"), ...edit });
    write(); flush(); changed();
  }
  function undo(by) { // what has not left the page yet is simply taken out of the queue
    const last = edits.at(-1);
    if (last && edits.length > sent && last.do !== "undo" && last.by === by && last.photo === model.get("photo")) { edits.pop(); write(); changed(); return last; }
    add({ do: "undo", by });
    return null;
  }
  function answer(message) {
    const at = edits.findIndex((e) => e.uid === message.answer);
    if (at < 0) return null;
    if (message.keep) { sent = 0; busy = false; pause = performance.now() + RETRY_MS; write(); return edits[at]; }
    const [edit] = edits.splice(at, 1);
    if (!message.bad) settled.push(edit); // shown as done until the marks come anew
    sent = Math.max(0, sent - 1); lastNews = performance.now();
    write();
    return edit;
  }
  function refreshed() { settled = []; if (sent === 0) { busy = false; flush(); } }

  // ---- queues that other desks of this site left behind
  async function takeOver(save) {
    const offered = left;
    left = [];
    for (const [name, list] of offered) await keeper.take(name, list, (got) => { if (save) for (const edit of got) edits.push({ ...edit, again: true }); });
    flush(); changed();
  }
  async function look() {
    left = await keeper.look((isTaken) => {
      const rest = edits.filter((edit) => !isTaken(edit));
      if (rest.length < edits.length) { edits = rest; sent = 0; busy = false; } // another desk took them over
    });
    changed();
  }
  function beat() { write(); flush(); changed(); look(); }
  const timer = setInterval(beat, 2000);
  window.addEventListener("pageshow", look); // a page that slept
  look();
  return {
    add, undo, answer, refreshed, takeOver, silent,
    offered: () => left.flatMap(([, list]) => list),
    isUnsafe: keeper.isUnsafe,
    waiting: () => edits.length || (busy ? 1 : 0), // the last one counts as saved once the counts have come along
    of: (photo) => [...settled, ...edits].filter((e) => e.photo === photo),
    stop() { clearInterval(timer); window.removeEventListener("pageshow", look); keeper.stop(); },
  };
}

// What an edit makes of the marks, so that it shows at once; the log's own answer comes after it.
function applyEdit(marks, edit) {
  if (edit.do === "add") {
    marks.push({ id: edit.uid, x: edit.x, y: edit.y, r: 19, stage: edit.stage, counted: 1, state: "waiting", doubt: 0 });
    return;
  }
  const m = marks.find((k) => k.id === edit.id);
  if (!m) return;
  if (edit.do === "stage") { m.stage = edit.stage; m.doubt = 0; m.state = "waiting"; }
  if (edit.do === "remove") { m.counted = 0; m.state = "waiting"; m.removed = true; }
  if (edit.do === "restore") { m.counted = 1; m.state = "waiting"; }
}
