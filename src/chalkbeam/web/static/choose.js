// What is chosen in a form that only looks is shown at once; without this its button does it.
for (const form of document.querySelectorAll("form.chosen")) {
  form.querySelector("button").hidden = true;
  form.addEventListener("change", () => form.submit());
}
