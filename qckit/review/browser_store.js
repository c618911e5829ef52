// The browser's own store, and a kernel that may be gone: for whatever must not be lost between a page and the log.

const GONE_MS = 12000; // a page that has not shown itself for so long is gone, and what it left may be offered
const SILENT_MS = 8000; // an answer that takes longer is told
const FORGET_MS = 864e5; // what only says that entries were taken is needed no longer than a page sleeps

function kept(name) { try { return JSON.parse(localStorage.getItem(name)); } catch { return null; } }
function keep(name, value) {
  try { if (value === null) localStorage.removeItem(name); else localStorage.setItem(name, JSON.stringify(value)); } catch { /* no store: the page itself still holds it */ }
}
// Entries are taken from a page by name: that none are found is no sign of it, as a store may for a moment give nothing.
const nameOf = (edit) => edit.uid ?? edit.n;
function takeOut(name, edits, taken) { // some entries of another page, which is told of it where it may still be there
  const queue = kept(name) || { closed: true, edits }, names = taken.map(nameOf);
  const rest = queue.edits.filter((edit) => !names.includes(nameOf(edit)));
  if (rest.length || !queue.closed) keep(name, { ...queue, edits: rest, taken: [...(queue.taken || []), ...names] });
  else keep(name, null);
}
function notTaken(name, edits) { // what is left of a page's own entries
  const taken = kept(name)?.taken || [];
  return edits.filter((edit) => !taken.includes(nameOf(edit)));
}
function leftBehind(prefix, mine) { // what other pages keep under names of this beginning and no longer look after
  const found = [], over = [];
  try {
    for (let i = 0; i < localStorage.length; i++) {
      const name = localStorage.key(i);
      if (!name || !name.startsWith(prefix) || name === mine) continue;
      const queue = kept(name);
      if (queue && queue.edits?.length && (queue.closed || queue.silent || Date.now() - queue.alive > GONE_MS)) found.push([name, queue.edits]);
      else if (queue?.taken && !queue.edits?.length && !(Date.now() - queue.alive < FORGET_MS)) over.push(name);
    }
    over.forEach((name) => keep(name, null));
  } catch { /* no store */ }
  return found;
}

function sendTo(model, message) { // a model whose kernel has gone refuses
  try { model.send(message); return true; } catch { return false; }
}
