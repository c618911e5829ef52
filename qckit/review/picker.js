// Two points of known distance on a photo: click, or move the cross with the arrows and press Enter.
function render({ model, el }) {
  el.classList.add("qck-pick");
  const canvas = document.createElement("canvas"), said = document.createElement("p"), clear = document.createElement("button");
  canvas.tabIndex = 0;
  for (const node of [canvas, clear]) node.setAttribute("data-lm-suppress-shortcuts", "true"); // or the notebook takes the keys
  canvas.setAttribute("role", "application");
  canvas.setAttribute("aria-label", "Photo. Move the cross with the arrow keys, with Shift in steps of one, and press Enter at each of two points.");
  said.setAttribute("role", "status"); said.setAttribute("aria-live", "polite");
  clear.textContent = "Set both points again"; clear.type = "button";
  el.append(canvas, said, clear);
  let image = null, scale = 1, cross = null;
  const pen = canvas.getContext("2d");
  function sign(p, n) {
    const x = p[0] * scale, y = p[1] * scale;
    for (const [width, colour] of [[4, "#fff"], [2, "#0072B2"]]) {
      pen.lineWidth = width; pen.strokeStyle = colour;
      pen.beginPath(); pen.arc(x, y, 7, 0, 7); pen.moveTo(x - 14, y); pen.lineTo(x + 14, y); pen.moveTo(x, y - 14); pen.lineTo(x, y + 14); pen.stroke();
    }
    pen.fillStyle = "#fff"; pen.fillRect(x + 9, y - 24, 16, 16); pen.fillStyle = "#111"; pen.font = "13px sans-serif"; pen.fillText(n, x + 13, y - 11);
  }
  function draw() {
    if (!image) return;
    pen.drawImage(image, 0, 0, canvas.width, canvas.height);
    const points = model.get("points");
    points.forEach((p, i) => sign(p, i + 1));
    if (points.length === 2) { pen.beginPath(); pen.moveTo(points[0][0] * scale, points[0][1] * scale); pen.lineTo(points[1][0] * scale, points[1][1] * scale); pen.lineWidth = 2; pen.strokeStyle = "#0072B2"; pen.stroke(); }
    if (cross && points.length < 2) { pen.setLineDash([4, 3]); pen.lineWidth = 1.5; pen.strokeStyle = "#111"; pen.beginPath(); pen.moveTo(cross[0] * scale - 20, cross[1] * scale); pen.lineTo(cross[0] * scale + 20, cross[1] * scale); pen.moveTo(cross[0] * scale, cross[1] * scale - 20); pen.lineTo(cross[0] * scale, cross[1] * scale + 20); pen.stroke(); pen.setLineDash([]); }
    const d = points.length === 2 ? Math.hypot(points[0][0] - points[1][0], points[0][1] - points[1][1]) : 0;
    said.textContent = points.length === 2 ? `Both points are set, ${d.toFixed(1)} px apart. Run the next cell.` : `${points.length} of 2 points set. Click the ${points.length ? "second" : "first"} point, or use the arrows and Enter.`;
  }
  function put(p) { const points = model.get("points"); if (points.length < 2) { model.set("points", [...points, p]); model.save_changes(); } }
  canvas.addEventListener("click", (event) => { const box = canvas.getBoundingClientRect(); put([(event.clientX - box.left) * canvas.width / box.width / scale, (event.clientY - box.top) * canvas.height / box.height / scale]); });
  canvas.addEventListener("keydown", (event) => {
    const move = { ArrowRight: [1, 0], ArrowLeft: [-1, 0], ArrowDown: [0, 1], ArrowUp: [0, -1] }[event.key];
    if (move) { const far = event.shiftKey ? 1 : 10; cross = [(cross ? cross[0] : model.get("width_px") / 2) + move[0] * far, (cross ? cross[1] : model.get("height_px") / 2) + move[1] * far]; draw(); }
    else if (event.key === "Enter" && cross) put([...cross]);
    else return;
    event.preventDefault();
  });
  for (const type of ["keydown", "keyup", "keypress"]) el.addEventListener(type, (event) => event.stopPropagation());
  clear.addEventListener("click", () => { model.set("points", []); model.save_changes(); canvas.focus(); });
  model.on("change:points", draw);
  (async () => {
    image = await createImageBitmap(new Blob([model.get("image")], { type: "image/jpeg" }));
    canvas.width = image.width; canvas.height = image.height; canvas.style.maxWidth = "100%";
    scale = image.width / model.get("width_px");
    draw();
  })();
  return () => model.off("change:points", draw);
}
export default { render };
