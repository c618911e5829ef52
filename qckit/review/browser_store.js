// The browser's own store, and a kernel that may be gone: for whatever must not be lost between a page and the log.
// It is IndexedDB, which says when the disk has something. localStorage never does: it writes to the disk seconds to
// minutes later, and a page that asks for it while being opened can be left with one that no other page ever sees.

const GONE_MS = 12000; // a page that has not shown itself for so long is gone, and what it left may be offered
const SILENT_MS = 8000; // an answer that takes longer is told
const FORGET_MS = 864e5; // that an entry was taken need not be known longer than a page sleeps
const PAGES = "pages", TAKEN = "taken"; // what each page keeps, written by it alone; which of it another page took

const ended = (work) => new Promise((resolve) => { // whether the disk has it
  work.oncomplete = () => resolve(true);
  work.onabort = work.onerror = () => resolve(false);
});
const answered = (asked) => new Promise((resolve, reject) => { asked.onsuccess = () => resolve(asked.result); asked.onerror = () => reject(asked.error); });
const isFar = (then, most) => !(Math.abs(Date.now() - then) < most); // a clock may be set back, too

// Entries have a `uid`. `now()` gives what this page holds, {edits, silent}; a draft among them, {draft: true}, is typed
// but was never sent. An entry that another page takes is named as taken: that none is found is no sign of it.
function makeKeeper(prefix, now) {
  const view = Math.random().toString(36).slice(2), mine = prefix + view, under = IDBKeyRange.bound(prefix, `${prefix}\uffff`);
  let db = null, opening = null, stored = false, unsafe = false, made = 0;

  function open() {
    opening ??= new Promise((resolve, reject) => {
      const asked = indexedDB.open("qckit", 1);
      asked.onupgradeneeded = () => [PAGES, TAKEN].forEach((name) => asked.result.createObjectStore(name));
      asked.onerror = () => reject(asked.error);
      asked.onsuccess = () => {
        db = asked.result;
        db.onclose = db.onversionchange = () => { db.close(); db = opening = null; };
        resolve();
      };
    }).catch((error) => { opening = null; throw error; });
    return opening;
  }
  const writing = (names) => db.transaction(names, "readwrite", { durability: "strict" });

  function put(closed) { // begun before this returns, as a page that is being closed runs no further
    const { edits, silent } = now();
    if (!edits.length && !stored) return Promise.resolve(true);
    const work = writing([PAGES]), pages = work.objectStore(PAGES);
    if (edits.length) pages.put({ alive: Date.now(), silent, closed, edits }, mine); else pages.delete(mine);
    stored = edits.length > 0;
    const end = ended(work);
    work.commit?.();
    return end;
  }
  async function save() { // true once the disk has what this page holds
    let isDone = false;
    try { if (!db) await open(); isDone = await put(false); } catch { /* no store, or a full one */ }
    stored ||= !isDone; // what could not be let go is tried again, too
    unsafe = !isDone && now().edits.length > 0;
    return !unsafe;
  }
  function close() { try { put(true); } catch { /* no store, or not open yet: the page has said so */ } }

  // What pages under this beginning keep and no longer look after, as [name, entries]; `told` hears what was taken of mine.
  async function look(told) {
    try {
      if (!db) await open();
      const read = db.transaction([PAGES, TAKEN]), pages = read.objectStore(PAGES), taken = read.objectStore(TAKEN);
      const [names, kept, marks, times] = await Promise.all([answered(pages.getAllKeys(under)), answered(pages.getAll(under)), answered(taken.getAllKeys(under)), answered(taken.getAll(under))]);
      const isTaken = new Set(marks), found = [], over = [];
      told((edit) => isTaken.has(`${mine}|${edit.uid}`));
      names.forEach((name, i) => {
        const gone = kept[i].closed || isFar(kept[i].alive, GONE_MS);
        if (name === mine || !(gone || kept[i].silent)) return;
        const rest = kept[i].edits.filter((edit) => !isTaken.has(`${name}|${edit.uid}`) && (gone || !edit.draft));
        if (rest.length) found.push([name, rest]); else if (gone) over.push([PAGES, name]);
      });
      const isKept = (mark) => names.some((name) => mark.startsWith(`${name}|`)); // beside another that is still offered
      marks.forEach((mark, i) => { if (isFar(times[i], FORGET_MS) && !isKept(mark)) over.push([TAKEN, mark]); });
      if (over.length) { const work = writing([PAGES, TAKEN]); over.forEach(([where, key]) => work.objectStore(where).delete(key)); }
      return found;
    } catch { return []; }
  }
  // Take entries of another page, each by one page only: `claim` gets those that were still there, before they go.
  async function take(name, edits, claim) {
    let claimed = false;
    try {
      if (!db) await open();
      const work = writing([PAGES, TAKEN]), taken = work.objectStore(TAKEN), end = ended(work);
      const marks = await Promise.all(edits.map((edit) => answered(taken.get(`${name}|${edit.uid}`))));
      const got = edits.filter((_, i) => marks[i] === undefined);
      for (const edit of got) taken.put(Date.now(), `${name}|${edit.uid}`);
      claimed = true;
      claim(got);
      if (now().edits.length) { work.objectStore(PAGES).put({ alive: Date.now(), edits: now().edits }, mine); stored = true; }
      await end;
    } catch (error) {
      if (claimed) throw error;
      claim(edits); // no store: nobody else can have them
    }
  }
  function ask(event) { if (unsafe && now().edits.length) event.preventDefault(); } // "Leave the page?", in the browser's words
  window.addEventListener("pagehide", close);
  window.addEventListener("beforeunload", ask);
  open().catch(() => {});
  return {
    save, look, take,
    name: () => { made += 1; return `${view}-${made}`; },
    isUnsafe: () => unsafe,
    stop() { close(); window.removeEventListener("pagehide", close); window.removeEventListener("beforeunload", ask); },
  };
}

function sendTo(model, message) { // a model whose kernel has gone refuses
  try { model.send(message); return true; } catch { return false; }
}
