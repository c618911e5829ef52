// The browser's own store, and a kernel that may be gone: for whatever must not be lost between a page and the log.

const GONE_MS = 12000; // a page that has not shown itself for so long is gone, and what it left may be offered
const SILENT_MS = 8000; // an answer that takes longer is told

function kept(name) { try { return JSON.parse(localStorage.getItem(name)); } catch { return null; } }
function keep(name, value) {
  try { if (value === null) localStorage.removeItem(name); else localStorage.setItem(name, JSON.stringify(value)); } catch { /* no store: the page itself still holds it */ }
}
function leftBehind(prefix, mine) { // what other pages keep under names of this beginning and no longer look after
  const found = [];
  try {
    for (let i = 0; i < localStorage.length; i++) {
      const name = localStorage.key(i);
      if (!name || !name.startsWith(prefix) || name === mine) continue;
      const queue = kept(name);
      if (queue && queue.edits?.length && (queue.closed || queue.silent || Date.now() - queue.alive > GONE_MS)) found.push([name, queue.edits]);
    }
  } catch { /* no store */ }
  return found;
}

function sendTo(model, message) { // a model whose kernel has gone refuses
  try { model.send(message); return true; } catch { return false; }
}
