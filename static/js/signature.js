// A signature is strokes, not a picture: kept as data in the form, so that rotating, zooming, scrolling or a form that came
// back loses none. Units are those of the server: 3000 wide, 1000 high, milliseconds since the first touch.

const wide = 3000;
const high = 1000;
const near = 6; // Points closer than this to the last one add nothing that can be seen.
const most = 2800; // The server takes 3000 points; beyond this every second point within a stroke goes, never a stroke.

for (const field of document.querySelectorAll("[data-sign]")) begin(field);

function begin(field) {
  const kept = field.querySelector("[data-strokes]");
  const canvas = field.querySelector("canvas");
  const told = field.querySelector("[data-told]");
  const acts = field.querySelector("[data-sign-acts]");
  let strokes = read(kept.value);
  let drawing = null; // the pointer that draws, and its stroke
  let first = null; // time stamp of the first touch

  canvas.hidden = false;
  acts.hidden = false;

  function point(event) {
    // Asked for at each point: the page may have been scrolled or turned since the last.
    const box = canvas.getBoundingClientRect();
    const at = (value, from, size, to) => Math.max(0, Math.min(to, Math.round(((value - from) / size) * to)));
    first ??= event.timeStamp;
    return [
      at(event.clientX, box.left, box.width, wide),
      at(event.clientY, box.top, box.height, high),
      Math.max(0, Math.round(event.timeStamp - first)),
    ];
  }

  function add(event) {
    const [x, y, t] = point(event);
    const stroke = drawing.stroke;
    const [lastX, lastY] = [stroke.at(-3), stroke.at(-2)];
    if (stroke.length > 0 && Math.abs(x - lastX) < near && Math.abs(y - lastY) < near) return;
    stroke.push(x, y, t);
  }

  canvas.addEventListener("pointerdown", (event) => {
    if (drawing || (event.pointerType === "mouse" && event.button !== 0)) return;
    event.preventDefault();
    drawing = { pointer: event.pointerId, stroke: [] };
    strokes.push(drawing.stroke);
    attempt(() => canvas.setPointerCapture(event.pointerId));
    add(event);
    draw();
  });

  canvas.addEventListener("pointermove", (event) => {
    if (drawing?.pointer !== event.pointerId) return;
    const all = event.getCoalescedEvents?.() ?? [];
    for (const one of all.length > 0 ? all : [event]) add(one);
    draw();
  });

  // However a stroke ends, what was drawn of it stays: a turned tablet cancels the pointer.
  for (const end of ["pointerup", "pointercancel", "lostpointercapture"]) {
    canvas.addEventListener(end, (event) => {
      if (drawing?.pointer !== event.pointerId) return;
      drawing = null;
      keep();
    });
  }

  field.querySelector("[data-undo]").addEventListener("click", () => {
    strokes.pop();
    keep();
    draw();
  });
  field.querySelector("[data-wipe]").addEventListener("click", () => {
    strokes = [];
    first = null;
    keep();
    draw();
  });
  // A stroke still under the finger belongs to it as well.
  field.closest("form").addEventListener("submit", keep);

  function keep() {
    for (let before = Infinity; count(strokes) > most && count(strokes) < before; ) {
      before = count(strokes);
      strokes = strokes.map(thinned);
    }
    kept.value = JSON.stringify(strokes);
    told.textContent = strokes.length === 0 ? "Nothing is drawn." : strokes.length === 1 ? "One stroke." : `${strokes.length} strokes.`;
  }

  function draw() {
    const scale = devicePixelRatio || 1;
    const box = canvas.getBoundingClientRect();
    const [width, height] = [Math.round(box.width * scale), Math.round(box.height * scale)];
    if (width === 0) return;
    if (canvas.width !== width || canvas.height !== height) [canvas.width, canvas.height] = [width, height];
    const pen = canvas.getContext("2d");
    pen.clearRect(0, 0, width, height);
    pen.strokeStyle = getComputedStyle(canvas).color;
    pen.lineWidth = Math.max(2, width / 300);
    pen.lineCap = pen.lineJoin = "round";
    for (const stroke of strokes) {
      pen.beginPath();
      for (let at = 0; at < stroke.length; at += 3) pen.lineTo((stroke[at] / wide) * width, (stroke[at + 1] / high) * height);
      if (stroke.length === 3) pen.lineTo((stroke[0] / wide) * width + 0.1, (stroke[1] / high) * height);
      pen.stroke();
    }
  }

  new ResizeObserver(draw).observe(canvas);
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", draw);
  keep();
  draw();
}

function count(strokes) {
  return strokes.reduce((sum, stroke) => sum + stroke.length / 3, 0);
}

/** Ends and every second point between them. */
function thinned(stroke) {
  const points = stroke.length / 3;
  return stroke.filter((_, at) => {
    const point = Math.floor(at / 3);
    return point === 0 || point === points - 1 || point % 2 === 0;
  });
}

function read(text) {
  return attempt(() => JSON.parse(text || "[]")) ?? [];
}

function attempt(what) {
  try {
    return what();
  } catch {
    return null;
  }
}
