// Puts members' names beside their pseudonyms on this screen. The list comes from the club's own records, to who may read it, and
// goes nowhere.
const button = document.querySelector("[data-names]");
const said = document.querySelector("[data-said]");
if (button) {
  button.hidden = false;
  button.addEventListener("click", async () => {
    const answer = await fetch(button.dataset.names, { headers: { Accept: "application/json" } });
    if (!answer.ok) {
      said.textContent = said.dataset.none;
      return;
    }
    const names = new Map((await answer.json()).items.map((one) => [one.pseudonym, one.name]));
    for (const row of document.querySelectorAll("[data-pseudonym]")) {
      row.querySelector(".club-name").textContent = names.get(row.dataset.pseudonym) ?? "";
    }
    button.disabled = true;
  });
}
