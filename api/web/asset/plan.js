// Asks how large the trial must be whenever what the answer hangs on was changed; without this a button asks.
const form = document.querySelector("[data-plan]");
const place = document.querySelector("#plan");
const matters = /^(plan\.|smallest_share|design|alpha|power|stopping|looks\.|swap\.after|draw\.block)/;
let waiting, asked = 0;

async function ask() {
  const turn = ++asked;
  place.setAttribute("aria-busy", "true");
  try {
    const answer = await fetch(form.dataset.plan, { method: "POST", body: new URLSearchParams(new FormData(form)), headers: { "X-Part": "plan" } });
    if (turn === asked && answer.ok) place.innerHTML = await answer.text();
  } finally {
    if (turn === asked) place.removeAttribute("aria-busy");
  }
}

if (form && place) {
  form.addEventListener("change", (event) => {
    if (!matters.test(event.target.name)) return;
    clearTimeout(waiting);
    waiting = setTimeout(ask, 600);
  });
}
