// Artwork dragged on a garment's picture; the fields beside it say the same, and move it, too.
const face = document.getElementById("face");
const art = document.getElementById("art");
const form = document.getElementById("place");
const field = form.elements;
const SNAP = 4; // mm: nearer to a line than this it is laid on it

const RIM = 10; // mm around the artwork that can be taken hold of, too

const number = (input) => Number(input.value) || 0;
const line = (select) => Number(select.selectedOptions[0]?.dataset.at ?? 0);
const half = (value) => Math.round(value * 2) / 2;

// Where the ink is: its middle across, its top along.
let x, y;

function size() {
  const width = Math.max(5, number(field.width));
  return [width, width * Number(art.dataset.share)];
}

function draw() {
  const [width, height] = size();
  art.setAttribute("transform", `translate(${x - width / 2} ${y})`);
  for (const part of art.children) {
    const rim = part.classList.contains("frame") ? RIM : 0;
    part.setAttribute("x", -rim);
    part.setAttribute("y", -rim);
    part.setAttribute("width", width + 2 * rim);
    part.setAttribute("height", height + 2 * rim);
  }
  for (const mark of face.querySelectorAll(".mark")) {
    const { along, across } = mark.dataset;
    mark.classList.toggle("used", along === field.along.value || across === field.across.value);
  }
  document.querySelector(".chosen [name=width]").value = width;
}

function read() {
  x = line(field.across) + number(field.right);
  y = line(field.along) + number(field.down);
  draw();
}

function write() {
  field.right.value = half(x - line(field.across));
  field.down.value = half(y - line(field.along));
  draw();
}

function snapped(value, select) {
  const near = [...select.options].map((each) => Number(each.dataset.at));
  const best = near.reduce((a, b) => (Math.abs(b - value) < Math.abs(a - value) ? b : a), Infinity);
  return Math.abs(best - value) < SNAP ? best : value;
}

function millimetres(event) {
  const point = new DOMPoint(event.clientX, event.clientY);
  return point.matrixTransform(face.getScreenCTM().inverse());
}

art.addEventListener("pointerdown", (event) => {
  event.preventDefault();
  const start = millimetres(event);
  const [from, top] = [x, y];
  art.setPointerCapture(event.pointerId);
  const move = (moved) => {
    const now = millimetres(moved);
    x = snapped(from + now.x - start.x, field.across);
    y = snapped(top + now.y - start.y, field.along);
    write();
  };
  art.addEventListener("pointermove", move);
  const end = () => art.removeEventListener("pointermove", move);
  art.addEventListener("pointerup", end, { once: true });
  art.addEventListener("pointercancel", end, { once: true });
});

for (const name of ["down", "right", "width"]) field[name].addEventListener("input", read);
// Measured from another line, the artwork stays where it is.
for (const name of ["along", "across"]) field[name].addEventListener("change", write);
read();
