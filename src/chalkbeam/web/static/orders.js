// An order's table and pictures: what takes long is fetched after the page; a table can be pasted.
const form = document.getElementById("cells");

for (const place of document.querySelectorAll("[data-from]")) {
  if (place.dataset.done) continue;
  const busy = place.dataset.busy ? place : place.querySelector("[data-busy]");
  busy.textContent = busy.dataset.busy;
  busy.setAttribute("role", "status");
  busy.classList.add("busy");
  fetch(place.dataset.from, { headers: { accept: "text/html" } })
    .then((answer) => answer.text().then((text) => [answer.ok, text]))
    .then(([good, text]) => {
      const part = new DOMParser().parseFromString(text, "text/html");
      const found = good ? part.body : part.querySelector("[role=alert]");
      busy.classList.remove("busy");
      place.replaceChildren(...(found ? found.childNodes : []));
      place.querySelectorAll("template").forEach(mark);
      place.dataset.done = "yes";
    });
}

// What placing found is shown where it is to be mended.
function mark(template) {
  const { row, column } = template.dataset;
  const faults = document.querySelector(`#f${row} td > div`);
  if (!faults) return;
  faults.append(template.content.cloneNode(true));
  faults.closest("tr").hidden = false;
  document.getElementById(`r${row}`).classList.add("has-fault");
  const cell = form.elements[`c-${row}-${column}`];
  cell?.setAttribute("aria-invalid", "true");
  cell?.setAttribute("aria-describedby", `f${row}`);
}

const cell = (row, column) => form.elements[`c-${row}-${column}`];
const at = (input) => input.name.split("-").slice(1).map(Number);

if (form) {
  // The sizes to pick from are those of the row's style.
  form.addEventListener("change", ({ target }) => {
    if (target.dataset.field !== "style") return;
    const size = target.closest("tr").querySelector("[data-field=size]");
    const list = `pick-size-${target.value.trim().toLowerCase().replace(/[ _]/g, "-")}`;
    size?.setAttribute("list", document.getElementById(list) ? list : "pick-size");
  });
  form.addEventListener("paste", (event) => {
    const text = event.clipboardData.getData("text/plain").replace(/\r?\n$/, "");
    if (!event.target.name?.startsWith("c-") || event.target.readOnly || !/[\t\n]/.test(text)) return;
    event.preventDefault();
    const [top, left] = at(event.target);
    text.split(/\r?\n/).forEach((line, down) =>
      line.split("\t").forEach((word, right) => {
        const into = cell(top + down, left + right);
        if (into) into.value = word.trim();
      }),
    );
  });
  form.addEventListener("keydown", (event) => {
    if (!event.target.name?.startsWith("c-")) return;
    const step = { ArrowDown: 1, ArrowUp: -1, Enter: 1 }[event.key];
    if (!step || event.altKey || event.ctrlKey || event.metaKey) return;
    // With a pick list open the arrows are the list's.
    if (event.key !== "Enter" && event.target.list && !event.target.value) return;
    const [row, column] = at(event.target);
    const next = cell(row + step, column);
    if (!next) return;
    event.preventDefault();
    next.focus();
  });
}

// What was typed is not lost by adding artwork, or by leaving: other buttons save it first.
if (form) {
  const typed = () => new URLSearchParams(new FormData(form)).toString();
  const before = typed();
  let leaving = false;
  document.addEventListener("submit", async (event) => {
    leaving = true;
    if (event.target === form || event.target.method !== "post" || typed() === before) return;
    event.preventDefault();
    const answer = await fetch(form.action, { method: "POST", body: new URLSearchParams(new FormData(form)), headers: { accept: "text/html" } });
    if (!answer.ok) return form.requestSubmit(); // it is told what is wrong with it
    if (event.submitter?.name) event.target.append(Object.assign(document.createElement("input"), { type: "hidden", name: event.submitter.name, value: event.submitter.value }));
    event.target.submit();
  });
  addEventListener("beforeunload", (event) => {
    if (!leaving && typed() !== before) event.preventDefault();
  });
}
