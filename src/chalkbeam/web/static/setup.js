// What makes the set-up quicker where scripts run; every step works without it.
const fresh = async (answer) => new DOMParser().parseFromString(await answer.text(), "text/html");

// While something is looked at or worked out, its part of the page is asked for again.
async function follow() {
  const live = document.getElementById("live");
  if (!live || !("busy" in live.dataset)) return;
  await new Promise((resolve) => setTimeout(resolve, 700));
  try {
    const answer = await fetch(location.pathname, { headers: { accept: "text/html" } });
    if (answer.redirected && new URL(answer.url).pathname !== location.pathname) return location.replace(answer.url);
    const found = (await fresh(answer)).getElementById("live");
    if (found && live.dataset.then === "anew" && !("busy" in found.dataset)) return location.reload();
    if (found) live.replaceWith(found);
  } catch { /* the page may be starting again: ask once more */ }
  follow();
}
follow();

// A photo goes as soon as it is taken.
const camera = document.getElementById("camera");
camera?.addEventListener("change", (event) => {
  if (event.target.type !== "file" || !event.target.files.length) return;
  document.getElementById("sending").hidden = false;
  camera.submit();
});

// A cross moves without the whole page being drawn again.
document.addEventListener("submit", async (event) => {
  if (!event.target.matches(".pad")) return;
  event.preventDefault();
  const key = event.submitter.value;
  const form = new URLSearchParams(new FormData(event.target, event.submitter));
  const answer = await fetch(event.target.action, { method: "POST", body: form, headers: { accept: "text/html" } });
  if (new URL(answer.url).pathname !== location.pathname) return location.assign(answer.url);
  const found = (await fresh(answer)).getElementById("content");
  document.getElementById("content").replaceWith(found);
  document.querySelector(`.pad [value="${key}"]`)?.focus();
});
