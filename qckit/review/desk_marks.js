// Stages and how each is drawn: by shape first, then by colour. Joined with desk.js into one piece of page code.

const STAGES = ["nauplius", "umbrella", "cyst", "shell", "debris"];
const LOOK = {
  nauplius: { colour: "#D55E00", key: "n", text: "Nauplius", many: "nauplii" },
  umbrella: { colour: "#CC79A7", key: "u", text: "Umbrella", many: "umbrella stages" },
  cyst: { colour: "#0072B2", key: "c", text: "Cyst", many: "cysts" },
  shell: { colour: "#5f5f5f", key: "s", text: "Shell", many: "shells" },
  debris: { colour: "#3d3d3d", key: "d", text: "Debris", many: "debris" },
};
const KEYS = [
  ["→ ←", "next and previous object, those most worth a look first"],
  ["N U C S D", "the stage"],
  ["Enter", "right as it is"],
  ["X", "remove, or put back"],
  ["Z", "undo (your own changes, those of earlier days too)"],
  ["A", "add: click, or move the cross with the arrows; then the stage's letter"],
  ["F, L", "count only inside a part, leave a part out: drag, or move the cross and press Enter"],
  ["G", "the part's shape: rectangle, circle, polygon"],
  ["H", "hide the marks, or show them again"],
  ["+ − 0", "zoom; 0 is the whole photo (from afar only doubtful ones are outlined)"],
  ["Shift →", "and the other arrows: move the photo"],
  ["Esc", "back"],
  ["marks", "dashed: doubtful; struck through: not counted"],
];
function make(tag, attributes = {}, ...children) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
    else if (value !== null && value !== undefined) node.setAttribute(name, value);
  }
  // the notebook looks at the focused element itself before it takes a key for one of its shortcuts
  if (attributes.tabindex || ["button", "select", "input", "summary"].includes(tag)) node.setAttribute("data-lm-suppress-shortcuts", "true");
  node.append(...children);
  return node;
}

// A stage is told by its shape: triangle, diamond, circle, square, cross.
function outline(pen, stage, x, y, r) {
  pen.beginPath();
  if (stage === "nauplius") {
    pen.moveTo(x, y - 1.3 * r); pen.lineTo(x + 1.15 * r, y + 0.85 * r); pen.lineTo(x - 1.15 * r, y + 0.85 * r);
    pen.closePath();
  } else if (stage === "umbrella") {
    pen.moveTo(x, y - 1.35 * r); pen.lineTo(x + 1.35 * r, y); pen.lineTo(x, y + 1.35 * r); pen.lineTo(x - 1.35 * r, y);
    pen.closePath();
  } else if (stage === "cyst") {
    pen.arc(x, y, r, 0, 2 * Math.PI);
  } else if (stage === "shell") {
    pen.rect(x - r, y - r, 2 * r, 2 * r);
  } else {
    const h = 0.6 * r;
    pen.moveTo(x - h, y - h); pen.lineTo(x + h, y + h); pen.moveTo(x + h, y - h); pen.lineTo(x - h, y + h);
  }
}

function icon(stage, size = 18) {
  const ratio = window.devicePixelRatio || 1;
  const canvas = make("canvas", { width: size * ratio, height: size * ratio, "aria-hidden": "true", class: "qck-icon" });
  canvas.style.width = canvas.style.height = `${size}px`;
  const pen = canvas.getContext("2d");
  pen.scale(ratio, ratio);
  outline(pen, stage, size / 2, size / 2 + (stage === "nauplius" ? 1 : 0), size * 0.33);
  // a pale edge first, so that dark marks show on a dark page too, as they do on a dark photo
  pen.lineWidth = 4.4; pen.strokeStyle = "#fff"; pen.stroke();
  pen.lineWidth = 2.2; pen.strokeStyle = LOOK[stage].colour; pen.stroke();
  return canvas;
}
