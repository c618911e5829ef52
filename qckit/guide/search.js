// Search in the handbook's sections: every word must occur; those with it in their heading come first.
const field = document.getElementById("search"), list = document.getElementById("results"), contents = document.getElementById("contents"), found = document.getElementById("found");
function snippet(text, word) {
  const at = Math.max(0, text.toLowerCase().indexOf(word)), from = at > 60 ? text.lastIndexOf(" ", at - 60) + 1 : 0, p = document.createElement("p");
  const part = text.slice(from, at + 120), i = part.toLowerCase().indexOf(word);
  if (i < 0) { p.textContent = part; return p; }
  const mark = document.createElement("mark");
  mark.textContent = part.slice(i, i + word.length);
  p.append((from ? "…" : "") + part.slice(0, i), mark, part.slice(i + word.length) + "…");
  return p;
}
function search() {
  const words = field.value.toLowerCase().split(/\s+/).filter(Boolean);
  list.replaceChildren();
  list.hidden = !words.length; contents.hidden = Boolean(words.length);
  if (!words.length) { found.textContent = ""; return; }
  const hits = SECTIONS.filter((s) => words.every((w) => `${s.title} ${s.chapter} ${s.text}`.toLowerCase().includes(w)));
  const inTitle = (s) => words.every((w) => s.title.toLowerCase().includes(w)) ? 0 : 1;
  hits.sort((a, b) => inTitle(a) - inTitle(b));
  found.textContent = `${hits.length} ${hits.length === 1 ? "section" : "sections"} found.`;
  for (const s of hits.slice(0, 60)) {
    const li = document.createElement("li"), a = document.createElement("a");
    a.href = s.page; a.textContent = s.title && s.title !== s.chapter ? `${s.chapter}: ${s.title}` : s.chapter;
    li.append(a, snippet(s.text, words[0]));
    list.append(li);
  }
}
field.addEventListener("input", search);
