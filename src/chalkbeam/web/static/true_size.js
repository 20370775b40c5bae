// Artwork as large on the screen as in the hand: a bank card is 85.60 mm wide (ISO/IEC 7810, ID-1).
const CARD = 85.6;
const part = document.getElementById("true-size");
const scale = document.getElementById("scale");
const bank = document.getElementById("bank");
const swatch = document.getElementById("swatch");

function draw() {
  const pixels = Number(scale.value); // a millimetre
  bank.style.width = `${CARD * pixels}px`;
  swatch.style.width = `${(Number(part.dataset.width) + 20) * pixels}px`;
  swatch.style.height = `${(Number(part.dataset.height) + 20) * pixels}px`;
}

scale.value = localStorage.getItem("pixels-a-millimetre") || String(96 / 25.4);
scale.addEventListener("input", () => {
  localStorage.setItem("pixels-a-millimetre", scale.value);
  draw();
});
part.hidden = false;
draw();
