// Typing a paper card: Enter goes to the next field instead of sending a card half typed, a line takes over half and day's
// offset, and the fish typed so far are counted by what they took, to be held against the card.
const form = document.querySelector("[data-card]");
if (form) {
  const zone = form.elements.zone;
  const minutes = -new Date().getTimezoneOffset();
  if (zone.value === "+00:00") {
    const two = (n) => String(n).padStart(2, "0");
    zone.value = (minutes < 0 ? "-" : "+") + two(Math.floor(Math.abs(minutes) / 60)) + ":" + two(Math.abs(minutes) % 60);
  }
  const lines = Array.from(form.querySelectorAll("[data-line]"), (row) => Array.from(row.querySelectorAll("input")));
  const count = form.querySelector("[data-count]");
  const tell = () => {
    const took = new Map();
    for (const [half, , fly] of lines) if (half.value || fly.value) took.set(fly.value.toUpperCase() || "–", (took.get(fly.value.toUpperCase() || "–") ?? 0) + 1);
    const all = [...took.values()].reduce((a, b) => a + b, 0);
    count.textContent = all ? count.dataset.words.replace("{n}", all) + " " + [...took].map(([fly, n]) => fly + " " + n).join(", ") : "";
  };
  form.addEventListener("input", tell);
  form.addEventListener("focusin", (event) => {
    const at = lines.findIndex((line) => line[0] === event.target);
    if (at > 0 && !event.target.value && lines[at - 1][0].value) { event.target.value = lines[at - 1][0].value; event.target.select(); }
  });
  form.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || event.target.tagName === "BUTTON" || event.target.tagName === "TEXTAREA") return;
    event.preventDefault();
    const fields = Array.from(form.querySelectorAll("input:not([type=hidden]), select, button"));
    fields[fields.indexOf(event.target) + 1]?.focus();
  });
  tell();
}
