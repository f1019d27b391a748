// A button that copies what stands in the page; without it the text is selected by hand.
const text = document.querySelector("[data-copy]");
const button = document.querySelector("[data-copy-button]");
if (text && button && navigator.clipboard) {
  button.hidden = false;
  button.addEventListener("click", async () => {
    await navigator.clipboard.writeText(text.textContent.trim());
    button.disabled = true;
  });
}
