// The outline on the platen: its corners are dragged here and move in light at once.
const part = document.getElementById("outline");
const token = document.querySelector("meta[name=token]").content;

if (part) {
  const svg = part.querySelector("svg"), shape = svg.querySelector("polygon"), said = part.querySelector("#covered");
  const [, , width, height] = svg.getAttribute("viewBox").split(" ").map(Number);
  const corners = [...svg.querySelectorAll("g")];
  const at = corners.map((each) => [Number(each.dataset.x), Number(each.dataset.y)]);
  const untouched = new Set(part.dataset.begun ? [] : at.keys());  // how large it is shows once all were dragged
  let busy = false, next;

  const draw = () => {
    const radius = 26 * width / svg.clientWidth;  // a fingertip, whatever the screen
    at.forEach(([x, y], number) => {
      corners[number].setAttribute("transform", `translate(${x * width} ${y * height})`);
      corners[number].querySelector("circle").setAttribute("r", radius);
      corners[number].querySelector("text").setAttribute("font-size", radius);
    });
    shape.setAttribute("points", [0, 1, 3, 2].map((number) => `${at[number][0] * width},${at[number][1] * height}`).join(" "));
  };

  // One request at a time; of those that wait the newest goes. A corner in hand is `held`.
  const send = async (held) => {
    if (busy) { next = { held }; return; }
    busy = true;
    try {
      const answer = await fetch("/setup/outline", { method: "POST", body: JSON.stringify({ corners: at, held }), headers: { "content-type": "application/json", "x-token": token } });
      const found = await answer.json();
      if (held === undefined) {
        said.textContent = untouched.size && found.cover === "coarse" ? "" : found.words ?? found.said ?? "";
        said.classList.toggle("good", found.cover === "covers");
        const look = document.querySelector("img.look");
        if (look && found.look) look.src = `/setup/look.jpg?is=${found.look}`;
      }
    } catch { said.textContent = ""; }
    busy = false;
    if (next) { const then = next.held; next = undefined; send(then); }
  };
  const moved = (held) => { draw(); send(held); };
  const touch = (number) => untouched.delete(number);

  corners.forEach((corner, number) => {
    corner.addEventListener("pointerdown", (event) => { corner.setPointerCapture(event.pointerId); corner.classList.add("held"); touch(number); });
    corner.addEventListener("pointermove", (event) => {
      if (!corner.hasPointerCapture(event.pointerId)) return;
      const box = svg.getBoundingClientRect();
      at[number] = [(event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height].map((share) => Math.min(1, Math.max(0, share)));
      moved(number);
    });
    const end = () => { corner.classList.remove("held"); moved(); };
    corner.addEventListener("pointerup", end);
    corner.addEventListener("pointercancel", end);
    corner.addEventListener("keydown", (event) => {
      const step = (event.shiftKey ? 0.001 : 0.01), way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
      if (!way) return;
      event.preventDefault();
      touch(number);
      at[number] = at[number].map((share, axis) => Math.min(1, Math.max(0, share + way[axis] * step * (axis ? width / height : 1))));
      moved();
    });
  });
  part.hidden = false;
  draw();
  addEventListener("resize", draw);
}
